"""What a lesson says is so on the panel in front of the trainee: the point that is judged, the caution, the meter used."""

from __future__ import annotations

import pytest
from practice.desks import desk
from practice.learner import Learner

from troubleshoot.circuit.model import Act, Pin
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.tasks import STRAY_FROM, lesson
from troubleshoot.tui.answering import acts_at_once, acts_while_typing, live_keys


@pytest.mark.parametrize("machine", ["three-wire", "float-pump"])
@pytest.mark.parametrize("seed", range(4))
def test_every_stray_lesson_has_a_ghost_and_a_fed_point_each_judged_against_the_return(machine: str, seed: int) -> None:
    its = desk(machine)
    made = lesson(its, 3, seed)
    panel = Panel(its, made.faults, seed, fresh=False)
    backs = {its.machine.net.node(path[-1]) for path in its.rungs(its.shows("wont-start").situation)}
    asked = [t for t in made.tasks if t.kind == "fed"]
    assert sorted(t.fed for t in asked) == [False, True]
    for task in asked:
        meter = task.meters[0]
        assert str(meter.red) in task.words
        assert its.machine.net.node(meter.black) in backs
        truth = panel.truth("ac volts", meter.red, meter.black)
        loaded = abs(panel.truth("low-impedance volts", meter.red, meter.black).high)
        assert truth.floats is not task.fed
        assert (loaded > 50) is task.fed
        panel.red, panel.black = meter.red, meter.black
        taken = panel.meter(first=False)
        assert taken is not None
        assert (taken.shown.value or 0) >= STRAY_FROM


def test_the_stray_lesson_says_first_what_stray_and_with_load_mean() -> None:
    text = Learner(desk(), 3).text
    assert "Stray volts: a wire that nothing feeds" in " ".join(text.split())
    assert "with load" in text


def test_a_reading_asked_with_load_and_taken_without_is_not_taken() -> None:
    learner = Learner(desk(), 3, 1)
    while "with load" not in learner.course._sitting.task.words:
        learner.step()
        if learner.page == "intro":
            continue
    learner.press("c") if learner.sheet.needs_caution else None
    meter = learner.course._sitting.task.meters[0]
    learner.at_panel("leads off", "knob ac")
    shown = learner.once(meter)
    at = learner.course._sitting.at
    learner.type("nothing" if shown == "unsteady" else shown)
    assert learner.course._sitting.at == at
    assert "Your meter was on V AC" in " ".join(learner.text.split())


def test_the_caution_of_a_lesson_says_what_the_panel_in_front_does() -> None:
    learner = Learner(desk("float-pump"), 3)
    learner.press("enter")
    course = learner.course
    assert course._sitting.panel.motors() == ()
    assert "TURNS" not in learner.text
    course._sitting.panel.do(Act("put", "B1", "high"))
    assert course._sitting.panel.motors() == ("M1",)
    assert "TURNS as the panel stands now" in learner.text
    assert "may TURN" not in learner.text


def test_a_wandering_display_is_one_figure_below_the_supply_and_another_at_each_look() -> None:
    its = desk()
    panel = Panel(its, (), 0, fresh=False)
    panel.red, panel.black = Pin("KM1", "2"), Pin("NB", "1")
    looks = [panel.meter(first=False) for _ in range(4)]
    texts = {m.shown.text for m in looks if m}
    assert len(texts) > 1
    assert all(text.endswith(" V, wandering") for text in texts)
    most = panel.truth("ac volts", Pin("KM1", "1"), Pin("NB", "1")).high
    assert all((m.shown.value or 0) < most for m in looks if m)


def test_the_dot_goes_to_the_panel_at_once_and_every_letter_may_begin_an_answer() -> None:
    learner = Learner(desk(), 1)
    learner.press("enter")
    assert acts_at_once(learner.sheet, ".")
    assert not acts_at_once(learner.sheet, "7")
    halves = Learner(desk(), 2)
    halves.press("enter")
    halves.press("c")
    for sheet in (learner.sheet, halves.sheet):
        assert acts_while_typing(sheet, "."), "no answer begins with it"
        assert sheet.entry is not None
        assert not sheet.entry.rows_first
    stray = Learner(desk(), 3, 1)
    stray.press("enter")
    stray.press("c")
    stray.at_panel("press S2", "release S2")
    assert "u" in live_keys(stray.sheet)
    assert not acts_while_typing(stray.sheet, "u"), "unsteady is an answer, no undo"
