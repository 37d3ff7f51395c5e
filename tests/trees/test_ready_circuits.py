"""The trees on the ready circuits: they bind for every complaint of theirs that a circuit has, and lead to an end."""

from __future__ import annotations

import random

import pytest
from against import ready
from trees.played import TREES, bound, play, reasoner

from troubleshoot.evidence.seen import Meter
from troubleshoot.trees import Bound

LAST = ("confirm", "engine", "end")
PAIRS = [(tree, name) for name in ready.NAMES for tree in TREES if tree in ready.machine(name).circuit.complaints]


@pytest.mark.parametrize(("tree", "name"), PAIRS)
def test_the_tree_binds_and_ends_within_twelve_steps_whatever_is_wrong(tree, name):
    assert isinstance(bound(tree, name), Bound)
    suspects = reasoner(name).machine.suspects
    chosen = range(len(suspects)) if ready.ALL else random.Random(name).sample(range(len(suspects)), 5)
    for k in chosen:
        played = play(tree, name, k)
        assert played.last.step.kind in LAST, suspects[k].id
        items = [(what, step.situation.name) for step in played.asked for what in step.items]
        assert len(items) == len(set(items)), suspects[k].id


@pytest.mark.parametrize("name", [n for n in ready.NAMES if n.startswith(("three-wire", "reversing"))])
def test_behind_a_transformer_the_coil_is_read_against_the_secondary_not_the_supply(name):
    """Practice: the black lead goes on the other side of the control transformer; the supply's neutral is not there."""
    coil = next(s for s in bound("wont-start", name).fitted.values() if s.id == "coil")
    meters = [item for item in coil.items if isinstance(item, Meter)]
    assert meters
    assert {str(m.black) for m in meters} <= {"NB:1", "T1:X2"}
    assert all(115 < abs(e.value) < 126 for e, m in zip(coil.expects, meters, strict=True) if m.red.pin != "A2")
