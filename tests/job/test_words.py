"""What a sheet says in words: what a complaint was taken for, why it is asked, what still stands after an answer was taken back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from job.nights import Night, desk

from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Look, Seen


def begun(said: str = "belt 7 dead", fault: str = "YB1 coil open") -> Night:
    night = Night(fault)
    night.bench.there(())
    night.type(said)
    return night


@pytest.mark.parametrize("said", ["belt 7 dead after the cleaning shift", "belt 7 dead since the night shift"])
def test_a_shift_that_is_a_time_of_day_says_nothing_of_how_often_it_stops(said: str) -> None:
    night = begun(said)
    assert night.state.complaint == "wont-start"
    assert "Taken for: " in night.text


def test_what_the_words_were_taken_for_stands_on_the_first_page_and_can_be_taken_otherwise() -> None:
    night = begun("belt 7 stops twice a shift")
    assert night.state.complaint == "stops-itself"
    words = desk().machine.circuit.complaints["stops-itself"].words[0]
    assert f"Taken for: {words}. Something else? u" in night.text
    night.press("u")
    dead = desk().machine.circuit.complaints["wont-start"].words[0]
    row = next(line.key for line in night.sheet().lines if line.key and line.text.endswith(f"  {dead}"))
    night.press(row)
    assert night.state.complaint == "wont-start"


@pytest.mark.parametrize("said", ["belt 7 dead", "belt 7 hums", "belt 7 stops twice a shift", "belt 7 brake drags"])
def test_why_always_says_something(said: str) -> None:
    night = begun(said)
    night.press("y")
    asked = 0
    for _ in range(12):
        while night.stage.name == "last":
            night.press("1")
        if night.stage.name != "search" or night.stage.step is None or night.stage.step.kind not in ("look", "lights"):
            break
        assert len(night.stage.step.why) > 20, night.stage.step
        night.press("w")
        assert f"Why: {night.stage.step.why.split()[0]}" in night.text
        night.press("w")
        night.press("enter")
        asked += 1
    assert asked


def test_a_look_of_which_some_was_seen_already_says_that_it_leaves_that_out() -> None:
    night = begun()
    night.press("y")
    night.press("2")
    while (step := night.stage.step) is not None and "listen to the motor" not in step.words:
        night.press("enter")
    assert step is not None
    shown = night.desk.shown(Look("M1"), step.situation)
    seen = Seen(Look("M1"), shown, shown, step.situation.situation, "asked", epoch=night.state.epoch)
    asked = set(step.items) | {Look("M1")}
    without = tuple(s for s in night.state.evidence if s.what not in asked or s.at != step.situation.situation)
    walked = night.desk.walk(replace(night.state, evidence=(*without, seen)))
    assert walked is not None
    assert walked.step is not None
    assert walked.step.id == step.id
    assert Look("M1") not in walked.step.items
    assert walked.step.words.endswith("What was seen already is left out.")


def test_marks_that_still_stand_after_an_answer_was_taken_back_are_named() -> None:
    night = begun()
    night.press("y")
    night.press("2")
    key = next(line.key for line in night.sheet().lines if line.key == "1")
    night.press(key)
    (item, shown) = next((item, shown) for (_, item), shown in night.state.marks.items())
    night.press("enter")
    night.press("u")
    assert (
        f"Taken back. Nothing is lost: the log keeps both. What you marked still stands: {item} {shown}." in night.text
    )


def test_a_motor_that_did_not_stop_is_one_press_away_from_turning_as_it_did() -> None:
    machine = desk()
    channel = machine.channels[0]
    motor = next(s for s in machine.machine.net.signs.values() if s.var == channel.motor)
    should, following, *_ = machine.values(Look(motor.name), channel.at)
    assert (should, following) == (motor.shows["still"], motor.shows[channel.runs])


def test_going_again_has_a_row_for_the_first_time() -> None:
    assert any("first time" in answer.words for answer in told.GOING.answers)
