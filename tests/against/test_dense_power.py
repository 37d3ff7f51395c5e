"""The hoist (rectified brake, lever between two contactors, suppressors, plug) and what a hand may have left behind in the
belt, settled a second time by the independent oracle.

Witness: `against.dense`, whose rectifier balances powers round by round where ours is worked out at once. All faults of
the kinds that belt-7 lacks, every ninth of the others, in every named situation.
"""

from __future__ import annotations

import pytest
from against import belt7, hoist9
from against.alike import agree

from troubleshoot.faults.wiring import wiring_suspects
from troubleshoot.solve.settle import settle_many

NEW = ("TB1", "YB1", "Z1", "Z2", "V3", "X5", "KM1 interlock", "KM2")


@pytest.mark.parametrize("form", hoist9.FORMS)
def test_the_hoist_ends_as_the_oracles_does_and_at_the_same_volts(form):
    everyone = list(hoist9.suspects(form).values())
    chosen = [s for k, s in enumerate(everyone) if s.id.startswith(NEW) or k % 9 == 0]
    assert agree(hoist9.circuit(form), hoist9.net(form), None, chosen).cases > 400


def test_the_hoist_meets_bands_races_and_blown_fuses_at_all():
    """Otherwise the test above would test little."""
    outcomes = settle_many(
        hoist9.net("half-wave"),
        [
            (s.edits, n.situation)
            for s in hoist9.suspects("half-wave").values()
            for n in hoist9.circuit("half-wave").situations.values()
        ],
    )
    states = [o.state for found in outcomes for o in found]
    assert any(len(found) > 1 for found in outcomes)
    for var, value in (
        ("F5", "blown"),
        ("YB1", "released"),
        ("PS1", "limiting"),
        ("V3", "blocking"),
        ("M1", "turning backward"),
    ):
        assert any(state[var] == value for state in states), (var, value)


def test_what_was_left_behind_in_the_belt_reads_as_the_oracle_says():
    weighed, pairs = wiring_suspects(belt7.circuit())
    chosen = [suspect for suspect, _ in weighed][::8]
    assert agree(belt7.circuit(), belt7.net().with_spares(pairs), belt7.BeltProgram(), chosen).cases > 100
