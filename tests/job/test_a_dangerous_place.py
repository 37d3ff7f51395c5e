"""A sump with its floats: what can hurt there besides volts is said before every look, reading and repair there."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import job.nights
import pytest
from job.nights import Night

import troubleshoot
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Pin, Situation
from troubleshoot.circuit.writing import write_circuit
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.doors import devices_seen
from troubleshoot.job.draw_looks import listed
from troubleshoot.job.sheet import Role
from troubleshoot.safety.caution import caution

FILE = Path(troubleshoot.__file__).parent / "circuits/float-pump.yaml"
SAID = "At sump with its floats: gas, falling in."


@pytest.fixture(autouse=True)
def known(monkeypatch):
    monkeypatch.setitem(job.nights.FILES, "float-pump", FILE)
    monkeypatch.setattr(job.nights, "circuits", cache(job.nights.circuits.__wrapped__))


def at_the_sump(night: Night) -> bool:
    """Whether what is asked now, in whole or in part, is at the sump."""
    devices, step = night.desk.machine.circuit.devices, night.stage.step
    items = () if step is None or step.kind == "measure" else listed(night.stage)
    tags = {*devices_seen(night.desk, items)}
    if step is not None:
        tags |= {p.device for item in step.items if isinstance(item, Meter) for p in (item.red, item.black)}
    if night.stage.name == "repair" and night.stage.suspect is not None:
        tags |= {p.device for p in night.desk.points_of(night.stage.group)}
    return any(devices[tag].place == "sump" for tag in tags if tag in devices)


@pytest.mark.parametrize("fault", ["B1 stuck at low", "4:X1:3>B1:13 open"])
def test_it_stands_before_every_look_reading_and_repair_there(fault: str) -> None:
    night = Night(fault, "float-pump")
    night.type("pump 1 won't pump")
    there = {"search": 0, "repair": 0}
    for _ in range(60):
        if night.stage.name in ("power", "proof"):
            break
        if at_the_sump(night) and night.stage.name in ("search", "confirm", "repair"):
            cautions = " ".join(line.text for line in night.sheet().lines if line.role is Role.CAUTION)
            if (
                "CAUTION read." not in cautions
            ):  # what was read and accepted stands in a few words, volts and movement only
                assert "gas, falling in" in " ".join(cautions.split()), night.text
            there[night.stage.name] = there.get(night.stage.name, 0) + 1
        night.careful()
    assert there["search"]
    assert there["repair"]


def test_a_float_that_hangs_is_looked_at_before_anybody_meters_its_contact() -> None:
    """On the meter a float that stays down and its contact that does not close are one and the same."""
    night = Night("B1 stuck at low", "float-pump")
    night.type("pump 1 won't pump")
    while night.stage.step is None or not night.stage.step.id.startswith("look again B1"):
        assert night.stage.name not in ("confirm", "isolate"), night.text
        night.careful()
    assert night.stage.name == "search"
    assert "Look at this alone: start float." in night.text


def test_the_caution_of_points_there_says_it_in_full_and_then_in_few_words() -> None:
    reasoner, rest = job.nights.desk("float-pump").reasoner, Situation()
    at = (Meter("ac volts", Pin("B1", "13"), Pin("B1", "14")),)
    first = caution(reasoner, at, rest, person="Ana")
    assert SAID in first.facts
    again = caution(reasoner, at, rest, person="Ana", before=first)
    assert SAID not in again.new
    assert "gas, falling in" in " ".join(" ".join(again.shown).split())
    assert SAID not in caution(reasoner, (Meter("ac volts", Pin("F4", "2"), Pin("NB", "1")),), rest, person="Ana").facts


def test_it_is_written_down_and_read_again() -> None:
    circuit = load_circuit(FILE.read_text(encoding="utf-8"), FILE.name)
    assert isinstance(circuit, Circuit)
    again = load_circuit(write_circuit(circuit, ""), "again")
    assert isinstance(again, Circuit)
    assert again.places["sump"].danger == circuit.places["sump"].danger == "gas, falling in"
