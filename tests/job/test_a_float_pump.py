"""A pump on a float and a hand/off/auto switch that nobody described; its float's cable is cut. Story invented."""

from __future__ import annotations

import pytest
from job.strangers import Stranger

from troubleshoot.job.draw_looks import for_this_machine

ANSWERS = ("8", "1", "9", "1", "1", "4")
"""230 V between lines, straight, control between two lines, overload before the coil, no brake, hand/off/auto."""


@pytest.fixture
def pump(tmp_path, monkeypatch) -> Stranger:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    person = Stranger(tmp_path, {})
    person.type("sewage lift station pump 1 does not start")
    person.press("1", *ANSWERS, "y", "8")
    return person


def stands(person: Stranger) -> None:
    """The motor stands and the contactor is out."""
    for line in person.sheet().lines:
        if line.key and any(f"{tag} " in line.text for tag in ("M1", "KM1")):
            person.press(line.key)
    person.press("enter")


def test_what_it_does_in_hand_is_asked_before_any_meter_and_leaves_what_starts_it(pump):
    stands(pump)
    assert "Does it go in hand? Who has tried it says so, without trying again." in pump.text
    assert "stand clear" in pump.text
    pump.press("enter")
    assert pump.stage.step is not None
    assert pump.stage.step.kind == "measure"
    left = [group for group, chance in pump.left().items() if chance > 0.02]
    assert not any(group.startswith(("F4", "F9", "KM1", "CH1")) for group in left)


def test_the_cut_cable_is_named_after_one_trip_read_against_a_line_that_is_really_there(pump):
    stands(pump)
    pump.press("enter")
    meters = pump.stage.step.items
    assert {str(m.black) for m in meters} == {"F9:2"}
    pump.press("c")
    values = {"S3:23": "230", "S3:24": "230", "B1:13": "230", "B1:14": "0", "S3:14": "0"}
    pump.type(" ".join(values[str(m.red)] for m in meters))
    groups = [group for group, chance in pump.left().items() if chance > 0.1]
    assert any("B1" in group for group in groups)
    assert all(any(word in group for word in ("B1", "wire 17", "wire 14", "not in this model")) for group in groups)
    assert {d.place for d in pump.now.machine.circuit.devices.values()} == {"panel", "motor"}, (
        "nobody is sent to the float"
    )


def test_nobody_is_told_to_hold_a_start_that_is_not_there_or_to_lift_a_float(pump):
    from dataclasses import replace

    stands(pump)
    step = pump.stage.step
    words = for_this_machine(pump.now, replace(step, words="Have Start held and read the lights again."))
    assert words == "Switch in hand: read the lights again."
    assert "lift" not in pump.text.replace("lift station", "")


def test_a_row_whose_thing_is_not_there_says_so_and_is_never_asked_again(pump):
    row = next(line for line in pump.sheet().lines if "B1 " in line.text)
    for _ in range(4):
        pump.press(row.key)
        shown = next(line.text for line in pump.sheet().lines if line.key == row.key)
        assert "UNSTEADY" not in shown
        if "THERE IS NONE" in shown:
            break
    assert "THERE IS NONE" in shown
    before = len([g for g in pump.left() if g.startswith("B1")])
    stands(pump)
    assert "B1" in pump.state.out
    assert len([g for g in pump.left() if g.startswith("B1")]) == before, "what is not there is no evidence"
    assert not any(getattr(i, "name", "") == "B1" for i in (pump.stage.step.items if pump.stage.step else ()))


def test_a_machine_without_a_switch_is_not_looked_at_above_all_at_its_switch(tmp_path, monkeypatch):
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    person = Stranger(tmp_path, {})
    person.type("keg conveyor K-2 stops when I let go")
    person.press("1", "3", "2", "1", "6", "1", "1", "2", "y", "8")
    assert "Look at the switches and flags." in person.text
    assert "run and jog" not in person.text
