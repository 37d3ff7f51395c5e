"""A tripped overload is a door to a cause, never the end of a job: resetting it needs a cause in words, or that none was found."""

from __future__ import annotations

from job.nights import Night


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
