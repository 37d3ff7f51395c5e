"""The rung drawn under a trip is the way that the current takes to pull the contactor in."""

from __future__ import annotations

from job.test_two_sources import desk

from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.rung import rung_lines


def test_with_start_held_the_held_button_is_drawn_and_not_the_contact_that_closes_after_it() -> None:
    held = Situation("rest", (Act("press", "S1"),))
    rung = rung_lines(desk(), [Meter("ac volts", Pin("KM1", "A1"), Pin("NB", "1"))], held, 200)[0]
    assert "[S1 13-14]" in rung
    assert "KM1 13-14" not in rung
