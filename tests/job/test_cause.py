"""A tripped overload is a door to a cause, never the end of a job: resetting it needs a cause in words, or that none was found."""

from __future__ import annotations

from job.nights import Night

from troubleshoot.circuit.model import Pin
from troubleshoot.evidence.seen import Meter


def _at_the_reset() -> Night:
    night = Night("FR1 tripped")
    night.type("conv dead")
    while night.stage.name != "repair":
        night.careful()
    return night


def test_done_alone_is_no_cause() -> None:
    night = _at_the_reset()
    assert "find the cause, then reset" in night.text
    before = len(night.log.events)
    assert "y" not in night.live(), "there is no key for done"
    for slip in ("y", "ok", "12"):
        night.type(slip)
        assert f"'{slip}' says no cause" in night.text
    assert len(night.log.events) == before


def test_a_cause_in_words_or_none_found_goes_into_the_record() -> None:
    for words in ("jam at the tail pulley", "cause not found"):
        night = _at_the_reset()
        night.type(words)
        repaired = next(e for e in night.log.events if e.kind == "repaired")
        assert (repaired.data["act"], repaired.data["note"]) == ("find the cause, then reset", words)


def test_a_blown_fuse_without_a_cause_is_not_replaced_before_its_feed_was_read_for_a_short() -> None:
    night = Night("F6 open")
    night.type("conv dead")
    night.careful_until("repair")
    assert "Part: F6" in night.text, "a new fuse has a rating"
    night.type("cause not found")
    assert "repaired" not in night.kinds
    assert "No new fuse into a short" in night.text
    night.careful_until("search")
    step = night.stage.step
    assert step is not None
    assert all(isinstance(m, Meter) and m.mode == "ohms" and m.red == Pin("F6", "2") for m in step.items)
    night.careful()
    night.careful_until("repair")
    night.type("cause not found")
    repaired = next(e for e in night.log.events if e.kind == "repaired")
    assert (repaired.data["item"], repaired.data["note"]) == ("fuse F6", "cause not found")


def test_a_fuse_found_dead_is_followed_by_lock_and_ohms_and_by_no_other_light_or_helper() -> None:
    """24 V before it and nothing after it: whatever blew it, nothing behind it is worth a look with the power on."""
    night = Night("F6 open")
    night.type("conv dead")
    asked: list[tuple[str, int]] = []
    while night.stage.name != "isolate":
        step = night.stage.step
        if step is not None:
            asked.append((step.kind, step.situation.hands))
        night.careful()
    assert all(hands == 1 for _, hands in asked)
    step = night.stage.step
    assert step is not None
    assert all(isinstance(m, Meter) and m.mode == "ohms" for m in step.items)
    assert {str(m.red) for m in step.items if isinstance(m, Meter)} > {"F6:1"}, "the fuse, and its feed to earth"
