"""A conveyor that drops out as Start is let go, and whose controller holds itself by an input that nobody described.

The truth is a broken wire from the contactor's auxiliary contact to that input. Story invented.
"""

from __future__ import annotations

import pytest
from job.strangers import Stranger

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit
from troubleshoot.faults.suspects import UNSEEN

ANSWERS = ("3", "2", "1", "6", "1", "1", "2")
"""400 V, controller, relay, 230 V from line and neutral, overload before the coil, no brake, no switch."""


@pytest.fixture
def dropped(tmp_path, monkeypatch) -> Stranger:
    """As far as the lights after Start was let go: all as they should be but the contactor, the motor and the output."""
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    person = Stranger(tmp_path, {})
    person.type("keg conveyor K-2 drops out as soon as Start is let go")
    person.press("1", *ANSWERS, "y", "8")
    for _ in range(8):
        step = person.stage.step
        if step is None or step.kind not in ("look", "lights"):
            break
        let_go = step.situation.name == "running"
        for line in person.sheet().lines if let_go else ():
            for key in line.keys:
                part = next((p.words for p in line.parts if p.key == key), line.text)
                if any(name in part for name in ("M1", "KM1", "%QX0.0")):
                    person.press(key)
        person.press("enter")
    return person


def test_a_program_that_nobody_gave_is_named_and_nobody_is_asked_for_its_copy(dropped):
    assert any(group.endswith(UNSEEN) and chance > 0.2 for group, chance in dropped.left().items())
    assert "copy" not in dropped.text


def test_that_an_input_watches_the_contactor_is_two_keys_and_leads_to_its_broken_wire(dropped, tmp_path):
    dropped.press("v")
    assert "t an input of the controller watches the contactor" in dropped.text
    dropped.press("t")
    assert dropped.kinds[-1] == "amended"
    assert "v" in dropped.live() or dropped.sheet().needs_caution
    dropped.careful_until("repair", fault="35:KM1:34>A1:%IX0.5 open")
    assert dropped.stage.group.startswith("wire 35")
    dropped.press("e", "1")
    kept = load_circuit((tmp_path / "keg-conveyor-k-2/circuit.yaml").read_text(encoding="utf-8"), "circuit.yaml")
    assert isinstance(kept, Circuit)
    assert kept.program is not None
    assert "contactor_in" in kept.program.text


def test_that_an_input_watches_the_contactor_is_asked_where_it_would_explain_what_was_read(dropped, tmp_path):
    assert dropped.stage.name == "repair"
    assert "is there a block on KM1 whose wires go to an input of A1" in dropped.text
    entry = dropped.sheet().entry
    assert entry is not None
    assert entry.digits_act, "its key needs no Enter"
    dropped.press(dropped.key_of("yes: an input watches KM1"))
    assert dropped.kinds[-1] == "amended"
    dropped.careful_until("repair", fault="35:KM1:34>A1:%IX0.5 open")
    assert dropped.stage.group.startswith("wire 35")
    assert "is there a block on KM1" not in dropped.text, "it is described by now"


def test_a_look_that_there_is_nothing_for_is_never_asked_again(dropped):
    dropped.press("v", "t")
    before = dropped.stage.step
    dropped.press("n")
    assert "7 there is none here" in dropped.text
    dropped.press("7")
    assert dropped.stage.step is None or dropped.stage.step.id != before.id
