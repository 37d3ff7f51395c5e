"""What a proof says of a tree is so: held against a walk of every fault by itself, and against plain arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
from against import ready
from trees.played import number, play, reasoner, tree
from trees.proofs import LIBRARY, proof, shows, tools

from troubleshoot.safety.doings import UNBIDDEN
from troubleshoot.trees.order import Order, bits

SHORT = [(t, m) for m in ("three-wire", "hoist") for t in LIBRARY if t in reasoner(m).machine.circuit.complaints]
ALL = [(t, m) for m in (*ready.NAMES, "belt-7") for t in LIBRARY if t in reasoner(m).machine.circuit.complaints]


@pytest.mark.parametrize(("name", "machine"), ALL if ready.ALL else SHORT)
def test_every_tree_of_the_library_is_safe_and_keeps_its_promises(name, machine):
    found = proof(name, machine)
    assert found.unsafe == ()
    assert found.broken == ()
    assert found.suspects > 0


@pytest.mark.parametrize(("name", "machine"), SHORT)
def test_what_becomes_of_the_faults_adds_up_to_all_of_them(name, machine):
    found = proof(name, machine)
    parts = (found.named, found.together_share, found.wrong_share, found.handed_share, found.nameless_share)
    assert all(-1e-9 <= part <= 1 + 1e-9 for part in parts)
    assert sum(parts) == pytest.approx(1)


def test_every_fault_walked_by_itself_comes_to_the_same_end():
    """Second method: each suspect settled alone and answered with unrounded values, no table and nothing shared."""
    found = proof("wont-start", "three-wire")
    ends = {s: e for e in (*found.together, *found.wrong) for s in e.suspects}
    assert len(ends) > 20
    for suspect, ending in sorted(ends.items())[::3]:
        played = play("wont-start", "three-wire", number("three-wire", suspect))
        assert played.last.step is not None
        assert played.last.step.id == ending.node, suspect


def test_a_fault_that_answers_tell_apart_by_halves_costs_a_bit_a_halving():
    """Information in bits (Shannon): one of two equally likely repairs is one bit, of four two; an answer alike none."""
    four = np.arange(4)
    even = np.full(4, 0.25)
    assert bits(four, four, even) == pytest.approx(2)
    assert bits(four // 2, four, even) == pytest.approx(1)
    assert bits(np.zeros(4, dtype=np.intp), four, even) == pytest.approx(0)
    uneven = np.array([0.5, 0.25, 0.125, 0.125])
    assert bits(four, four, uneven) == pytest.approx(1.75)
    assert bits(four, np.zeros(4, dtype=np.intp), even) == pytest.approx(0)


def test_the_order_parts_faults_until_one_repair_is_left_or_nothing_tells_and_its_cost_is_the_mean_of_its_ways():
    answers, planner = tools("three-wire")
    circuit = reasoner("three-wire").machine.circuit
    held = shows("three-wire", "wont-start")
    scope = answers.scope("wont-start", held.situation)
    chance = np.zeros(len(reasoner("three-wire").machine.suspects))
    chance[scope.suspects] = scope.chance
    order = Order(answers, planner, [held, circuit.situations["at rest"]], circuit.situations["as found"], chance)
    walked, mean, todo = 0.0, 0.0, [(scope.suspects, 0.0)]
    while todo:
        cell, spent = todo.pop()
        test = order.choose(cell)
        if test is None:
            walked += chance[cell].sum()
            mean += chance[cell].sum() * spent
            continue
        assert len(test.parts) > 1
        assert sorted(np.concatenate(test.parts)) == sorted(cell)
        assert sum(1 for item in test.items if hasattr(item, "red")) <= 3
        todo += [(part, spent + test.cost) for part in test.parts]
    assert walked == pytest.approx(1)
    assert mean == pytest.approx(order.cost(scope.suspects))


@pytest.mark.parametrize(("complaint", "door"), [("trips-overload", "FR1 tripped"), ("blows-fuse", "F6 open")])
def test_that_it_has_tripped_or_blown_is_a_door_to_a_cause_and_never_the_cause(complaint, door):
    """Practice: a fuse does not blow because it has blown."""
    machine = reasoner("three-wire").machine
    answers, _ = tools("three-wire")
    at = shows("three-wire", complaint)
    ids = [s.id for s in machine.suspects]
    assert ids.index(door) not in answers.scope(complaint, at.situation).suspects
    belief = reasoner("three-wire").belief([answers.complaint(complaint, at.situation)])
    without = reasoner("three-wire").prior
    assert belief[ids.index(door)] < 0.01 * without[ids.index(door)] / without.max()


@pytest.mark.parametrize(
    ("machine", "complaint", "inside", "outside"),
    [
        ("belt-7", "hums", "F2 open", "KM1 coil open"),
        ("belt-7", "trips-overload", "M1 shaft stuck", "F4 open"),
        ("belt-7", "brake-drags", "YB1 gap worn", "KM1 coil open"),
        ("belt-7", "brake-slips", "YB1 does not set", "YB1 gap worn"),
        ("belt-7", "jog-latches", "S3 13-14 welded", "S1 13-14 open"),
        ("belt-7", "starts-itself", "K1 13-14 welded", "K1 13-14 open"),
        ("belt-7", "light-lies", "H1 open", "A1 stopped"),
        ("hoist", "wrong-way", "KM2 stuck in", "KM1 stuck in"),
        ("two-in-sequence", "waits", "KM1 23-24 open", "KM1 coil open"),
        ("three-wire", "blows-fuse", "KM1 coil short", "KM1 coil open"),
    ],
)
def test_a_complaint_is_made_of_the_faults_that_show_it_and_of_no_others(machine, complaint, inside, outside):
    answers, _ = tools(machine)
    ids = [s.id for s in reasoner(machine).machine.suspects]
    scope = {ids[k] for k in answers.scope(complaint, shows(machine, complaint).situation).suspects}
    if inside not in ids:
        inside = next(i for i in ids if i.startswith("M1") and i in scope)
    assert inside in scope
    assert outside not in scope


def test_the_trees_of_a_machine_that_moves_unbidden_begin_with_the_disconnect_open_and_never_press_start():
    for name in sorted(UNBIDDEN):
        found = tree(name)
        assert found.situation == "isolated", name
        names = [n.name for n in found.nodes.values() if hasattr(n, "name")]
        assert not {"running", "start held", "running a minute", "jog held", "jog let go"} & set(names), name


def test_a_step_that_tells_nothing_and_a_node_that_nobody_comes_to_are_named():
    found = proof("waits", "two-in-sequence")
    assert "comes" in found.idle
    assert math.isfinite(found.ratio)
