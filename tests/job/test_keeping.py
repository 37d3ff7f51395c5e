"""After a passed proof: six good readings, and next time they are what should be there."""

from __future__ import annotations

from pathlib import Path

import pytest
from job.strangers import Stranger

from troubleshoot.evidence.baseline import read_lines

TAPS = ("1", "2", "1", "4", "1", "2", "2")
"""All known: controller, relay, 120 V from one line, overload before the coil, brake on the leads, no switch."""
FAULT = "K1 coil open"


def proved(folder: Path) -> Stranger:
    person = Stranger(folder, {})
    person.type("belt 12 dead")
    person.press("1", *TAPS)
    person.careful_until("handback", fault=FAULT)
    return person


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("plant")
        patch.setenv("TROUBLESHOOT_PLANT", str(folder))
        yield folder


@pytest.fixture(scope="module")
def done(folder: Path) -> Stranger:
    """Six readings taken and the machine handed back; 24 V was a little low."""
    person = proved(folder)
    assert "b good readings for next time: it runs once more, live" in person.text
    person.press("b")
    assert person.sheet().needs_caution, "live readings, so their caution first"
    person.press("c")
    person.type("209 208 210 118 23.5 208")
    assert "six good readings" not in person.text
    person.press("y")
    return person


def test_six_readings_cover_the_lines_the_coil_24_volts_and_the_brake(done, folder):
    kept = read_lines((folder / "belt-12/baseline.jsonl").read_text(encoding="utf-8"))
    assert [g.value for g in kept] == [209, 208, 210, 118, 23.5, 208]
    assert [str(g.meter.red) for g in kept[3:]] == ["KM1:A1", "PS1:+", "YB1:1"]
    assert {(g.situation, g.who) for g in kept} == {("running", "Ana")}


def test_next_time_it_is_what_should_be_there_and_drift_is_said(done, folder):
    again = proved_again(folder)
    again.press("b", "c")
    assert "should be 118 V AC on 2026-11-25 (computed" in again.text
    again.type("209 208 210 105 23.5 208")
    assert "KM1:A1 to KM1:A2: 11% under the 118 V of 2026-11-25" in again.text


def proved_again(folder: Path) -> Stranger:
    from troubleshoot.circuit.load import load_circuit
    from troubleshoot.circuit.model import Circuit

    circuit = load_circuit((folder / "belt-12/circuit.yaml").read_text(encoding="utf-8"), "circuit.yaml")
    assert isinstance(circuit, Circuit)
    person = Stranger(folder, {"belt-12": circuit})
    person.type("belt 12 dead")
    person.careful_until("handback", fault=FAULT)
    return person


def test_they_can_be_left_out(folder):
    person = proved(folder)
    person.press("y")
    assert person.state.ended == "mended"


def test_undo_of_the_readings_keeps_nothing(folder, tmp_path, monkeypatch):
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    person = proved(tmp_path)
    person.press("b", "c")
    person.type("209 208 210 118 23.5 208")
    person.press("u")
    assert "six good readings" in " ".join(person.text.split()) or person.stage.step is not None
    if person.stage.name != "handback":
        person.press("u")
    person.press("y")
    assert not (tmp_path / "belt-12/baseline.jsonl").exists()
