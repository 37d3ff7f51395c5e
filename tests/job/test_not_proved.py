"""A check that cannot be done takes no other with it unseen, and nothing is called proved while a stop is not."""

from __future__ import annotations

import pytest
from job.nights import Night

from troubleshoot.store.row import is_left_out


@pytest.fixture
def night() -> Night:
    """Mended, its power back, the first two checks seen: what comes is read with a clamp while it runs."""
    night = Night("S1 13-14 open", "fan-2")
    night.type("fan 2 dead")
    night.careful_until("proof")
    while not (night.stage.check and night.stage.check.readings):
        night.careful()
    return night


def refuse(night: Night, whole: str) -> str:
    """Refused as unsafe: 1 the readings, 2 the check. What was shown before it was chosen."""
    night.press("n")
    night.press("6")
    shown = night.text
    night.press(whole)
    return shown


def test_who_will_not_clamp_still_sees_it_run_and_stop(night: Night) -> None:
    assert night.stage.check is not None
    check, number = night.stage.check.id, night.text.split("Proof run, ")[1][:1]
    assert "1 not the readings" in " ".join(refuse(night, "1").split())
    assert f"Proof run, {number} of" in night.text
    assert night.stage.check is not None
    assert (night.stage.check.id, night.stage.check.readings) == (check, ())
    assert night.sheet().entry is None
    night.press("enter")
    while night.stage.name == "proof":
        night.careful()
    done = [c for c in night.desk.proof.checks if night.state.proof.get(c.id)]
    assert len(done) == len(night.desk.proof.checks) - 1
    assert not night.desk.stops_left(night.state)
    # What was seen of it goes for what was seen: that check is not proved, and nothing is called so.
    assert "The proof run is through." in night.lines()
    assert "its readings (could not be done)" in night.text


def test_what_goes_on_from_a_check_that_was_refused_is_named_before_and_after(night: Night) -> None:
    shown = refuse(night, "2")
    stops = [c for c in night.desk.proof.checks if c.stops]
    assert stops
    assert all(" ".join(c.words.split()) in shown for c in stops), shown
    while night.stage.name == "proof":
        night.careful()
    text = night.text
    assert "The proof run is through." in night.lines()
    assert "Proved." not in text
    assert f"NOT PROVED: that these stop it ({len(stops)}):" in text
    assert "not offered: needs check 3" in text
    assert "told that these stops are not proved" in text
    night.press("y")
    event = next(e for e in reversed(night.log.events) if e.kind == "ended")
    left = [w for w in event.data["not_proved"] if is_left_out(w)]
    assert sum("could not be done" in w for w in left) == 1
    assert sum("not offered: needs check 3" in w for w in left) == len(left) - 1 > 0
    # Stops are told first.
    assert "it stops." in left[0]


def test_a_refused_stop_that_had_failed_is_not_proved_by_being_seen(night: Night) -> None:
    """A channel is proved by its own reading: the motor stands for more reasons than one."""
    while not (night.stage.check and night.stage.check.channel):
        night.careful()
    stop = night.stage.check.id
    refuse(night, "1")
    night.press("enter")
    assert night.state.proof[stop] is False
    assert night.state.proving


def test_a_whole_run_that_passed_is_proved(night: Night) -> None:
    night.careful_until("handback")
    assert "Proved. Ready to hand back." in night.lines()
    assert "y  hand it back" in night.lines()


def test_half_a_confirming_test_is_not_taken() -> None:
    """Two values where three are asked: the third says whose fault it is."""
    night = Night("KM1 coil open", "fan-2")
    night.type("fan 2 dead")
    for _ in range(60):
        step = night.stage.step
        if (
            night.stage.name == "confirm"
            and step is not None
            and step.group
            and len(step.items) > 1
            and not night.sheet().needs_caution
        ):
            break
        night.careful()
    else:
        pytest.skip("no confirming card of several readings on the way")
    before = len(night.log.events)
    night.type("0.3")
    assert len(night.log.events) == before
    assert "2 (" in night.text
    assert "is missing" in night.text
