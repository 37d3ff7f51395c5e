"""What somebody who worked on the machine may have left behind: a list of its own, taken in on demand."""

from __future__ import annotations

import math

import pytest
from against import belt7, hoist9
from against.belt7 import pin

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.evidence.told import LAST, chance
from troubleshoot.faults.suspects import suspects_of
from troubleshoot.faults.wiring import neighbours, wiring_suspects
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.meter import read
from troubleshoot.solve.settle import settle

WEIGHED, PAIRS = wiring_suspects(belt7.circuit())
LEFT = {s.id: s for s, _ in WEIGHED}
NET = belt7.net().with_spares(PAIRS)
HELD = Situation(acts=(Act("press", "S1"),))


@pytest.fixture(scope="module")
def machine() -> Machine:
    found = describe(belt7.MACHINE.read_text(encoding="utf-8"), "belt-7.yaml")
    assert isinstance(found, Machine)
    return found


def test_a_machine_takes_them_in_only_on_demand(machine):
    plain, worked_on = {s.id for s in machine.suspects}, {s.id for s in machine.with_wiring().suspects}
    assert worked_on - plain == LEFT.keys()
    assert plain < worked_on
    assert len(machine.net.elements) + len(PAIRS) == len(machine.with_wiring().net.elements)


def test_their_chances_are_low_and_all_still_sum_to_one(machine):
    everyone = machine.with_wiring().suspects
    assert math.fsum(s.prior for s in everyone) == pytest.approx(1)
    assert 0 < sum(s.prior for s in everyone if s.sort == "wiring") < 0.02
    assert len({s.id for s in everyone}) == len(everyone)


def test_that_somebody_worked_on_it_makes_them_many_times_likelier():
    """Judgement: the one answer for which this list exists."""
    assert chance(LAST.id, "worked on", "wiring") > 5 * chance(LAST.id, "worked on", "part")
    assert sum(said.chance.get("wiring", said.usual) for said in LAST.answers) <= 1


@pytest.mark.parametrize("suspect", LEFT.values(), ids=lambda s: s.id)
def test_every_edit_is_of_something_that_the_network_has(suspect):
    for edit in suspect.edits:
        assert edit.slot in (NET.element_index if edit.does in ("siemens", "times") else NET.initial)
    assert suspect.places
    assert all(suspect.repair)


def test_neighbours_sit_side_by_side_and_of_one_potential_may_touch():
    sides = neighbours(belt7.circuit())
    assert (pin("X3:1"), pin("X3:2")) in sides
    assert (pin("X3:1"), pin("X3:3")) not in sides
    numbers = {p: hop.number for hop in belt7.circuit().hops for p in (hop.a, hop.b)}
    assert all(numbers[a] != numbers[b] for a, b in PAIRS if f"{a} to {b} bridged" in LEFT)


def test_an_open_slot_changes_no_reading():
    """Nothing is joined until a fault joins it."""
    for situation in (Situation(), HELD):
        (plain,), (wide,) = settle(belt7.net(), (), situation), settle(NET, (), situation)
        assert dict(plain.state) == dict(wide.state)
        assert abs(plain.network.ac_v - wide.network.ac_v).max() < 1e-8


def test_start_and_stop_bridged_at_the_strip_start_the_machine_by_themselves():
    """24 V from the closed stop block reaches the start input: nobody pressed anything."""
    bridged = LEFT["X3:3 to X3:4 bridged"]
    (outcome,) = settle(NET, bridged.edits, Situation())
    assert outcome.state["A1 %IX0.1"] == "on"
    assert outcome.state["KM1"] == "in"


def test_a_wire_laid_one_terminal_on_leaves_its_own_dead_and_feeds_its_neighbour():
    moved = next(s for s in LEFT.values() if s.id == "31:S1:14>X3:3 moved to X3:2")
    (outcome,) = settle(NET, moved.edits, HELD)
    assert (outcome.state["A1 %IX0.1"], outcome.state["KM1"]) == ("off", "out")
    reading = read(NET, moved.edits, HELD, "dc volts", pin("X3:3"), pin("MB:1"))[0][0]
    assert abs(reading.value) < 0.1


def test_two_power_terminals_bridged_behind_the_fuses_take_one_of_them():
    """A short between two lines: the first of the two fuses clears it."""
    (outcome,) = settle(NET, LEFT["X2:1 to X2:2 bridged"].edits, HELD)
    assert "blown" in (outcome.state["F1"], outcome.state["F2"])


def test_a_coil_for_twice_the_volts_gets_them_all_and_does_not_pull_in():
    """Closed form: half of its rated volts, under any pick-up (IEC 60947-4-1: 85 % must do; from memory)."""
    wrong = LEFT["KM1 wrong coil"]
    (outcome,) = settle(NET, wrong.edits, HELD)
    assert outcome.state["KM1"] == "out"
    volts = read(NET, wrong.edits, HELD, "ac volts", pin("KM1:A1"), pin("KM1:A2"))[0][0].value
    assert volts == pytest.approx(120, abs=1)


def test_a_plug_counts_its_touching_contacts_among_its_own_failures():
    ids = {s.id for s in suspects_of(hoist9.circuit("half-wave"))}
    assert "X5 1 to 2 short" in ids
