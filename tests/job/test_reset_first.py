"""What was seen tripped is cooled and reset, as a step of its own in the record, before anything is asked that needs it to run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from job.nights import Night, desk, suspect

from troubleshoot.circuit.model import Act
from troubleshoot.job.codec import get_item, get_situation
from troubleshoot.job.decided import DRAWN_MS, Ui
from troubleshoot.job.rehearse import Event, rehearse
from troubleshoot.job.resetting import MOST, holds_off
from troubleshoot.job.view import view
from troubleshoot.review.telling import _TELLERS
from troubleshoot.safety.doings import after


def at_the_reset(fault: str = "M1 drags") -> Night:
    night = Night(fault)
    night.type("belt 7 overload trips")
    for _ in range(30):
        if night.stage.name == "reset":
            return night
        night.careful()
    raise AssertionError(night.text)


@pytest.mark.parametrize(
    ("fault", "by"), [("M1 drags", "engine"), ("FR1 tripped", "tree"), ("FR1 tripped", "engine"), ("M1 jammed", "tree")]
)
def test_nothing_that_needs_it_to_run_is_asked_between_a_trip_that_was_seen_and_its_reset(fault: str, by: str) -> None:
    played = rehearse(desk(), "trips-overload", suspect(fault), by=by)
    assert played.found
    _never_runs_tripped(played.events)


def _never_runs_tripped(events: Sequence[Event]) -> None:
    down = False
    for event in events:
        if event.kind in ("looked", "reading"):
            at = get_situation(event.data["situation"]).situation
            assert not (down and holds_off(desk(), "FR1", at)), event
        if event.kind == "looked" and all(a.device != "FR1" for a in at.acts):
            shown = [s for i, s, _ in event.data["items"] if getattr(get_item(i), "name", "") == "FR1"]
            down = shown[-1:] == ["tripped"] if shown else down
        if event.kind in ("reset", "repaired"):
            down = False


def test_the_page_says_what_a_reset_may_start_who_stands_clear_and_that_it_cools_first() -> None:
    night = at_the_reset("FR1 tripped")
    assert "FR1 (overload relay) has tripped, and the next step needs the machine to run." in night.text
    assert "First why: a jam" in night.text
    assert "Resetting FR1 WILL start M1 (belt motor) at once with S1 pressed" in night.text
    assert "Everybody clear of M1 (belt motor)" in night.text
    assert "Let it cool, some minutes" in night.text
    assert all(len(line) <= 80 for line in night.lines())
    assert len(night.lines()) <= 21
    night.press("y", drawn_ms=DRAWN_MS - 1)
    assert night.stage.name == "reset", "unread"
    night.press("y")
    assert night.stage.name != "reset"
    event = night.log.events[-1]
    assert (event.kind, event.data["tag"], event.data["times"]) == ("reset", "FR1", 1)
    assert any("WILL start" in line for line in event.data["told"])
    night.press("u")
    assert night.stage.name == "reset"


def test_it_is_not_reset_a_third_time() -> None:
    played = rehearse(desk(), "trips-overload", suspect("FR1 tripped"), by="engine")
    assert sum(e.kind == "reset" for e in played.events) <= MOST
    night = at_the_reset("FR1 tripped")
    state = night.state
    twice = replace(state, resets=(("FR1", 1), ("FR1", 2)))
    sheet = view(night.desk, twice, Ui(), 80, 0)
    assert "y" not in {k.key for k in sheet.keys}
    assert "NOT once more" in " ".join(line.text for line in sheet.lines)


def test_who_does_not_reset_it_is_asked_for_nothing_that_needs_it_to_run() -> None:
    night = at_the_reset("FR1 tripped")
    night.press("d")
    for _ in range(8):
        stage = night.stage
        if stage.name not in ("search", "confirm", "isolate", "repair"):
            break
        if stage.step is not None:
            assert not holds_off(desk(), "FR1", stage.step.situation.situation), stage.step
        night.careful()


def test_a_trip_by_its_own_test_button_wants_no_reset_and_a_machine_at_rest_neither() -> None:
    run = (Act("press", "S1"), Act("release", "S1"))
    assert holds_off(desk(), "FR1", after(*run))
    assert not holds_off(desk(), "FR1", after(*run, Act("test", "FR1")))
    assert not holds_off(desk(), "FR1", after())
    assert not holds_off(desk(), "FR1", after(Act("open", "Q1"), *run))


def test_the_review_tells_of_a_reset_how_often_and_what_was_told_before_it() -> None:
    said, details, _ = _TELLERS["reset"](
        Event(9, "reset", {"tag": "FR1", "by": "Ana", "told": ["Resetting FR1 can start M1."], "times": 2}), (), None
    )
    assert said == "FR1 cooled and reset, time 2 in this job, by Ana"
    assert details == (("hazard told before", "Resetting FR1 can start M1."),)
