"""A careful person finds and proves one fault of a kind that the demo machine has not, led by the tree and by the engine."""

from __future__ import annotations

from functools import cache

import pytest
from against import ready
from job.nights import TREES, _tree

from troubleshoot.job.desk import Desk
from troubleshoot.job.rehearse import rehearse

CASES = [
    ("three-wire", "wont-start", "T1 open"),
    ("float-pump", "wont-start", "S1 13-14 open"),
    ("three-wire-corner-earthed", "wont-start", "S1 13-14 open"),
    ("three-wire-unearthed", "wont-start", "F7 open"),
    ("reversing-conveyor", "wont-start", "B1 11-12 open"),
    ("star-delta-fan", "wont-start", "KM3 coil open"),
    ("hoist", "wont-start", "YB1 coil open"),
    ("safety-relay-conveyor", "wont-start", "KM1 coil open"),
    ("two-in-sequence", "wont-start", "KM1 coil open"),
    ("latched-jog", "wont-start", "K1 coil open"),
]
ORDINARY = CASES if ready.ALL else CASES[:2]
"""A desk for each takes seconds."""


@cache
def desk(name: str) -> Desk:
    return Desk(ready.machine(name), {tree: _tree(tree) for tree in TREES})


@pytest.mark.parametrize("by", ["tree", "engine"])
@pytest.mark.parametrize(("name", "complaint", "fault"), ORDINARY)
def test_it_is_named_first_and_proved(name, complaint, fault, by):
    truth = next(s for s in desk(name).machine.suspects if s.id == fault)
    played = rehearse(desk(name), complaint, truth, by=by)
    assert played.found, (played.named, played.ranked[:3])
    assert played.ended == "mended"
    assert played.confirmed
