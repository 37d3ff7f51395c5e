"""The worse a machine is known, the likelier it is that what is wrong is not in its description.

The chances themselves are judgement; what is held here is what follows from them.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from against import ready
from job.nights import circuits, desk

from troubleshoot.circuit.model import Circuit, Pin, Variant
from troubleshoot.faults.doubt import WRONG, edits_of, not_described, variant_of
from troubleshoot.faults.suspects import NOT_MODELLED, OUTSIDE, suspects_of
from troubleshoot.machine import Machine


def known_as(circuit: Circuit, known) -> Circuit:
    program = replace(circuit.program, known=known) if circuit.program else None
    return replace(
        circuit,
        devices={t: replace(d, known=known) for t, d in circuit.devices.items()},
        hops=tuple(replace(h, known=known) for h in circuit.hops),
        program=program,
    )


@pytest.fixture(scope="module")
def belt() -> Circuit:
    return circuits()["belt-7"]


@pytest.mark.parametrize("known", ["assumed", "copied", "told"])
def test_a_machine_known_in_one_way_has_that_chance_of_a_fault_outside_its_description(belt, known):
    circuit = known_as(belt, known)
    assert not_described(circuit, suspects_of(circuit)) == pytest.approx(WRONG[known])


def test_each_element_that_hands_have_met_makes_the_description_surer(belt):
    assumed = known_as(belt, "assumed")
    before = not_described(assumed, suspects_of(assumed))
    for tag in ("M1", "KM1", "A1"):
        assumed = replace(assumed, devices={**assumed.devices, tag: replace(assumed.devices[tag], known="measured")})
        after = not_described(assumed, suspects_of(assumed))
        assert after < before
        before = after


@pytest.mark.parametrize("name", ["belt-7", *ready.NAMES])
def test_nothing_changes_on_the_shipped_machines_which_are_seen(name):
    machine = desk().machine if name == "belt-7" else ready.machine(name)
    before = suspects_of(machine.circuit, changes=tuple(machine.changes.values()))
    assert machine.suspects == before
    assert before[-1].prior >= NOT_MODELLED


def test_it_enters_belief_as_the_size_of_something_not_in_this_model(belt):
    machine = Machine(known_as(belt, "assumed"), None, "")
    assert machine.suspects[-1].id == OUTSIDE
    assert machine.suspects[-1].prior == pytest.approx(0.20, abs=0.005)
    assert sum(s.prior for s in machine.suspects) == pytest.approx(1)


@pytest.fixture(scope="module")
def two_ways(belt) -> Circuit:
    """Belt 7 with the overload contact before or after the coil."""
    cut = ("12:K1:14>FR1:95", "13:FR1:96>KM1:A1", "N:NB:2>KM1:A2")
    join = (
        (Pin("K1", "14"), Pin("KM1", "A1")),
        (Pin("KM1", "A2"), Pin("FR1", "95")),
        (Pin("FR1", "96"), Pin("NB", "2")),
    )
    variant = Variant("overload after", "the overload contact sits after the coil", 0.3, cut, join)
    return replace(belt, variants={variant.name: variant})


def test_a_fault_is_thought_of_in_both_wirings_and_mended_by_the_same_repair(two_ways):
    found = {s.id: s for s in Machine(two_ways, None, "").suspects}
    here, there = found["KM1 coil open"], found["KM1 coil open | overload after"]
    assert here.group == there.group
    assert there.prior == pytest.approx(here.prior * 0.3 / 0.7)
    assert set(edits_of(two_ways.variants["overload after"])) < set(there.edits)
    assert variant_of(there) == "overload after"
    assert not variant_of(here)


def test_a_wire_that_a_variant_does_not_have_cannot_break_in_it(two_ways):
    found = {s.id for s in Machine(two_ways, None, "").suspects}
    assert "13:FR1:96>KM1:A1 open" in found
    assert "13:FR1:96>KM1:A1 open | overload after" not in found


def test_the_chances_of_all_still_sum_to_one(two_ways):
    suspects = Machine(two_ways, None, "").suspects
    assert sum(s.prior for s in suspects) == pytest.approx(1)
    assert min(s.prior for s in suspects) > 0
    ways = {v: sum(s.prior for s in suspects if variant_of(s) == v) for v in ("overload after",)}
    # The unlikely faults are not thought of twice; that much less than its 0.3 the variant has.
    assert 0.15 < ways["overload after"] < 0.3


def test_the_first_reading_that_the_wirings_answer_differently_tells_which_it_is(two_ways):
    """Start held, 120 V circuit: before the coil 95 stands at 120 V to N, after it at next to nothing."""
    from troubleshoot.circuit.writing import write_circuit
    from troubleshoot.diagnosis.reasoner import Reasoner
    from troubleshoot.evidence.seen import Interval, Meter, Seen
    from troubleshoot.machine import describe

    machine = describe(write_circuit(two_ways), "two-ways")
    assert isinstance(machine, Machine)
    reasoner = Reasoner(machine)
    held = machine.circuit.situations["start held"].situation
    coil = Seen(
        Meter("ac volts", Pin("KM1", "A1"), Pin("KM1", "A2")),
        "119",
        Interval(118.5, 119.5, "V"),
        held,
        "asked",
        True,
        1,
    )

    def after(volts: str) -> float:
        low = float(volts)
        at_95 = Seen(
            Meter("ac volts", Pin("FR1", "95"), Pin("NB", "2")),
            volts,
            Interval(low - 0.5, low + 0.5, "V"),
            held,
            "asked",
            True,
            2,
        )
        belief = reasoner.belief((coil, at_95))
        return sum(p for s, p in zip(machine.suspects, belief, strict=True) if variant_of(s) == "overload after")

    assert after("0.5") > 0.9
    assert after("119") < 0.05
