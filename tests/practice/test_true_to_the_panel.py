"""What is claimed is held against the panel: a reset nobody made, a proof nobody ran, an answer before the prediction."""

from __future__ import annotations

import pytest
from practice.desks import desk, hidden
from practice.learner import Learner
from practice.test_practised import texts
from practice.trainee import Trainee, begin


def at_the_repair(fault: str) -> Trainee:
    t = Trainee(begin(hidden("three-wire", fault), desk()))
    for _ in range(80):
        if t.page == "question" and t.practice._stage().name == "repair":
            return t
        assert not t.over, t.text
        t.step()
    raise AssertionError(t.text)


def test_a_trip_is_reset_by_a_hand_on_the_panel_and_not_by_what_is_typed() -> None:
    t = at_the_repair("FR1 tripped")
    t.type("banana in the works")
    assert not any(e.kind == "repaired" for e in t.practice._log.events)
    assert "On the panel FR1 still stands tripped" in " ".join(t.text.split())
    t.put_right(t.practice._stage().suspect)
    assert not t.over
    t.type("belt was jammed")
    assert any(e.kind == "repaired" for e in t.practice._log.events)


def test_a_proof_that_was_ticked_off_and_never_run_heads_the_debrief_and_is_no_pass() -> None:
    t = at_the_repair("FR1 tripped")
    t.put_right(t.practice._stage().suspect)
    t.type("belt was jammed")
    for _ in range(10):
        if t.practice._stage().name == "proof" and t.practice._stage().check.situation.situation.acts:  # type: ignore[union-attr]
            break
        t.step()
    assert t.practice._stage().name == "proof"
    t.press("enter")
    t.press("e")
    t.press("5")
    assert t.over
    result = t.practice._debrief.result  # type: ignore[union-attr]
    assert result.found
    assert result.unproved > 1
    assert not result.passed
    pages = " ".join(texts(t).split())
    assert "proof checks made and true" in pages
    assert "of your answers false" in pages
    assert "Safe all the way" not in pages
    assert 'As the cause you wrote: "belt was jammed".' in pages


@pytest.mark.parametrize("how", ["a", "typed", "r"])
def test_no_lead_goes_on_before_it_was_said_what_should_be_there(how: str) -> None:
    learner = Learner(desk(), 1)
    learner.press("enter")
    meter = learner.course._task.meters[0]
    learner.press(".")
    learner.type("; ".join(w for p in (meter.red, meter.black) for w in learner.cover(p)) or "leads off")
    learner.type(f"leads {meter.red} {meter.black}") if how == "typed" else learner.press(how)
    assert not learner.over
    assert learner.course._record.metered == []
    assert "First say what should be there" in " ".join(learner.text.split())


def test_before_the_prediction_of_a_hidden_fault_no_lead_goes_on_either() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    while not (t.page == "question" and t.practice._asks_first() and t.practice._stage().step.kind == "measure"):  # type: ignore[union-attr]
        t.step()
    t.press(".")
    t.press("a")
    assert not t.over
    assert "First say what should be there" in " ".join(t.text.split())


def test_a_cover_that_comes_off_says_what_is_live_behind_it() -> None:
    learner = Learner(desk(), 2)
    learner.press("enter")
    said = " ".join(learner.at_panel("open panel").split())
    most = learner.course._panel.inside("panel")
    assert most[0] > 400
    assert f"LIVE INSIDE, up to {most[0]:.0f} V AC" in said
    assert "only a probe" in said


def test_the_knob_turns_both_ways() -> None:
    learner = Learner(desk(), 2)
    learner.press("enter")
    learner.press(".")
    before = learner.course._panel.setting.mode
    learner.press("k")
    assert learner.course._panel.setting.mode != before
    learner.press("v")
    assert learner.course._panel.setting.mode == before
    learner.press("v")
    assert learner.course._panel.setting.mode == "ac+dc volts"
