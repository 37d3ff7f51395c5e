"""After work on what feeds a motor its first turn is a short one, and it is looked at which way that is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import pytest
from job.nights import Night, desk

from troubleshoot.circuit.model import Pin
from troubleshoot.diagnosis.reasoner import Repaired
from troubleshoot.evidence.seen import Meter
from troubleshoot.evidence.unbalance import unbalance
from troubleshoot.evidence.words import Asked, Understood, read_typed
from troubleshoot.job.folding import then
from troubleshoot.job.proving import three_amps
from troubleshoot.job.rotation import doubted
from troubleshoot.job.state import State, Temporary

WAY = "is that the right way?"


@dataclass(frozen=True)
class Event:
    n: int
    kind: str
    data: dict[str, Any]


def mended(*suspects: str, **more: object) -> State:
    known = {s.id: s for s in desk().machine.suspects}
    return replace(State(), repaired=tuple(Repaired(known[s].group, s) for s in suspects), **more)  # type: ignore[arg-type]


def asked_at(state: State) -> list[str]:
    return [check.id for check in desk().proof.checks if doubted(desk(), state, check)]


def hop(a: str, b: str) -> str:
    return next(s.id for s in desk().machine.suspects if f"{a}>{b}" in s.id and s.id.endswith("open"))


@pytest.mark.parametrize(
    "suspect",
    ["M1 winding U open", "KM1 1-2 welded", "KM1 stuck in", hop("X2:1", "M1:U1"), hop("F1:2", "KM1:1")],
)
def test_work_on_the_motor_its_contactor_or_its_wires_asks_which_way_it_turns(suspect: str) -> None:
    assert asked_at(mended(suspect))[0] == "start S1"


@pytest.mark.parametrize(
    "suspect", ["K1 coil open", "S1 13-14 open", "F4 open", "YB1 coil open", hop("K1:14", "FR1:95")]
)
def test_work_on_the_control_circuit_does_not(suspect: str) -> None:
    assert suspect in {s.id for s in desk().machine.suspects}
    assert asked_at(mended(suspect)) == []


def test_it_is_asked_until_one_check_in_which_the_motor_turned_has_passed() -> None:
    state = mended(hop("X2:1", "M1:U1"))
    assert asked_at(replace(state, proof={"at rest": True}))[0] == "start S1"
    assert asked_at(replace(state, proof={"at rest": True, "start S1": True})) == ["start S1"]
    assert asked_at(replace(state, proof={"at rest": True, "start S1": False}))[1] == "hold S1"


@pytest.mark.parametrize(
    ("what", "asks"), [("motor leads off", True), ("motor cable off at M1", True), ("cover or guard off", False)]
)
def test_motor_leads_that_were_off_and_are_back_ask_it_too(what: str, asks: bool) -> None:
    off = replace(mended("K1 coil open"), temporary=(Temporary(what, "Ana", 7),))
    assert asked_at(off) == []
    back = then(off, Event(8, "put back", {"of": 7, "what": what, "by": "Ana", "again": False}))
    assert back.temporary == ()
    assert bool(asked_at(back)) == asks


def test_the_first_check_in_which_it_turns_says_so_before_anybody_starts_it() -> None:
    night = Night(hop("X2:1", "M1:U1"))
    night.type("motor hums")
    night.careful_until("repair")
    night.type("re-made")
    night.press("c")
    assert "Proof run, 1 of" in night.text
    assert WAY not in night.text
    night.press("enter")
    assert "Hold S1" in night.text
    assert WAY in night.text
    assert len(night.lines()) <= 21
    night.press("enter")
    assert WAY not in night.text


def test_two_motors_on_one_sheet_are_each_judged_by_their_own_three_currents() -> None:
    """Six clamps of 8 A and 3 A are even, twice; taken together they would be uneven by half."""
    meters = [
        Meter("amps", Pin("X2", str(k)), Pin(motor, lead))
        for motor in ("M1", "M2")
        for k, lead in enumerate(("U1", "V1", "W1"))
    ]
    asked = tuple(Asked("A", amps, True) for amps in (8.1, 8.1, 8.1, 3.0, 3.0, 3.0))
    read = read_typed("8.1 8.0 8.1 3.0 3.1 3.0", asked=asked)
    assert isinstance(read, Understood)
    found = three_amps(meters, read.answers)
    assert {tag: len(amps) for tag, amps in found.items()} == {"M1": 3, "M2": 3}
    assert all(unbalance(amps) < 3 for amps in found.values())
    assert three_amps(meters[:2], read.answers[:2]) == {}
