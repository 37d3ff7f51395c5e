"""What a beginner is told: a tick that nothing on the panel bears out, where lights begin, why a wrong answer was wrong."""

from __future__ import annotations

import pytest
from practice.desks import desk, hidden
from practice.learner import Learner
from practice.trainee import Trainee, begin

from troubleshoot.circuit.kinds.controller import inputs_of
from troubleshoot.circuit.model import Act
from troubleshoot.job.lists import item_keys, listed
from troubleshoot.practice import predicting
from troubleshoot.practice.bench import CARD_KEYS, METER_KEYS, rows, words_of
from troubleshoot.practice.exercise import choose
from troubleshoot.practice.judging import step_on_panel, told
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.tasks import lesson, open_rungs, why
from troubleshoot.practice.unsafe import Record


def test_a_tick_says_what_the_panel_shows_and_one_that_was_never_done_is_not_right() -> None:
    panel, record = Panel(desk(), (), 0, fresh=False), Record()
    steps = {s.id: s for s in desk().isolation(()).steps}
    done, words = step_on_panel(panel, record, steps["stop"])
    assert not done
    assert "no stop button was pressed on the panel" in words
    assert "M1 stands still is luck" in words
    record.stop_pressed = True
    assert step_on_panel(panel, record, steps["stop"]) == (True, "the stop was pressed; M1 stands still")
    assert step_on_panel(panel, record, steps["tell"])[1].startswith("the panel shows nothing of this one")
    panel.do(Act("open", "Q1"))
    assert step_on_panel(panel, record, steps["open Q1"]) == (True, "Q1 stands off")


def test_lights_begin_as_they_were_said_before_and_never_as_a_good_machine_has_them() -> None:
    t = Trainee(begin(hidden("latched-jog", "ES1 11-12 open"), desk("latched-jog")))
    for _ in range(30):
        stage = t.practice._stage()
        if t.page == "question" and t.practice._asks_first() and not any(hasattr(i, "red") for i in stage.step.items):  # type: ignore[union-attr]
            break
        t.step()
    said, its = t.practice._predictions, t.practice._fitting()
    first = said.first(its, stage)
    assert first == predicting.first_guess(its, stage), "nothing was said yet"
    key, item = next(zip(item_keys(stage), listed(stage), strict=False))
    t.press(key)
    now = said.guess(its, stage)[item.name]
    assert now != first[item.name]
    t.press("enter")
    assert said.first(its, stage)[item.name] == now
    assert {n: v for n, v in said.first(its, stage).items() if n != item.name} == {
        n: v for n, v in first.items() if n != item.name
    }
    again = type(said)(lambda kind, data: None)
    again.take_up(t.practice._log.events, frozenset())
    assert again.first(its, stage)[item.name] == now, "also after the program was closed"


def test_an_exercise_can_be_ended_while_a_prediction_is_asked() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    while not t.practice._asks_first():
        t.step()
    assert "e" in {k.key for k in t.sheet.keys}
    t.press("e")
    assert t.practice._ui.panel == "end"
    t.press("escape")
    assert t.practice._asks_first(), "and it is asked as before"


def test_the_debrief_of_a_lesson_repeats_why_for_each_point_that_was_missed() -> None:
    exercise = choose(desk(), 1, 0)
    its = lesson(desk(), 1, 0)
    missed, right = its.tasks[0], its.tasks[1]
    debrief = told(
        exercise, desk(), its, [(missed, 'one: "0"', False, "you expected 0"), (right, 'two: "1"', True, "")], 2, None
    )
    text = " ".join(line for section in debrief.sections for line in section.lines)
    assert why(desk(), missed) in text
    assert why(desk(), right) not in text or why(desk(), right) == why(desk(), missed)


def test_the_debrief_of_stray_volts_says_once_more_what_they_are() -> None:
    exercise, its = choose(desk(), 3, 0), lesson(desk(), 3, 0)
    debrief = told(exercise, desk(), its, [(t, "x", True, "") for t in its.tasks], 4, None)
    text = " ".join(line for section in debrief.sections for line in section.lines)
    assert all(words in text for words in its.teaches)
    assert "Nothing to add" not in text


@pytest.mark.parametrize("name", ["belt-7", "three-wire", "latched-jog"])
def test_every_point_of_a_rung_has_a_key_of_its_own(name: str) -> None:
    longest = max(open_rungs(desk(name)), key=lambda one: len(one[1]))[1]
    assert set(CARD_KEYS).isdisjoint({*METER_KEYS, *"tu.q?c"})
    panel = Panel(desk(name), (), 0, fresh=False)
    assert set(CARD_KEYS).isdisjoint({r.key for r in rows(panel)} - {""})
    for seed in range(40):
        task = lesson(desk(name), 2, seed).tasks[0]
        for k, meter in enumerate(task.meters[: len(CARD_KEYS)]):
            assert words_of(panel, CARD_KEYS[k], task.meters[: len(CARD_KEYS)]) == f"leads {meter.red} {meter.black}"
    assert len(longest) - 1 <= len(CARD_KEYS) + 2


def test_the_black_lead_of_a_rung_to_an_input_lies_on_its_common() -> None:
    machine = desk("belt-7").machine
    inputs = {p.terminal for g in inputs_of(machine.circuit.devices["A1"]) for p in g.points}
    seen = 0
    for seed in range(30):
        task = lesson(desk("belt-7"), 2, seed).tasks[0]
        back = task.path[-1]
        assert not (back.device == "A1" and back.pin in inputs), task.path
        if task.path[-2].pin in inputs:
            seen += 1
            assert machine.net.node(back) == machine.net.node(desk("belt-7").pins["A1:COM"])
    assert seen


def test_lesson_five_goes_on_after_a_stop_that_was_only_ticked_and_counts_it_as_not_right() -> None:
    learner = Learner(desk(), 5)
    learner.press("enter")
    learner.press("y")
    assert "Right." in learner.text
    learner.press("y")
    assert "Not so. No stop button was pressed on the panel" in " ".join(learner.text.split())
