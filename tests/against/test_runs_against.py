"""Wires that share a conduit, on the demonstration machine: two witnesses for the same volts.

Witness: `against.dense` (LAPACK, every pair of a bundle with its own branch), and ngspice on the deck. Bundles of three,
four and of ten, which we make as a star.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from against import belt7
from against.dense import Panel, _contacts
from against.spice import compare

from troubleshoot.circuit.runs import touching
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.network import network_of, solve_all
from troubleshoot.solve.settle import settle

RUNS = """runs:
  - {conductors: [U, V, W, 'PE:PE:2>M1:PE'], in: cable, length: 20 m}
  - {conductors: ['10', '11', '32'], in: conduit, length: 25 m, to neighbour: 60 pF/m}
"""
DESK = """runs:
  - {conductors: ['10', '11', '25', '30', '31', '32', '33', '41', '42', '0V'], in: cable, length: 30 m}
"""
SUSPECTS = (
    "", "F4 open", "ES1 21-22 open", "10:X1:1>ES1:21 open", "11:X1:2>K1:13 open", "12:K1:14>FR1:95 open", "F1 open",
    "KM1 1-2 welded", "32:S2:12>X3:4 open", "G1 L1 lost", "11:X1:2>K1:13 to earth",
)  # fmt: skip
SITUATIONS = ("at rest", "start held", "isolated")


def with_runs(runs: str) -> Net:
    text = belt7.MACHINE.read_text(encoding="utf-8").replace("\nroles:", f"\n{runs}roles:")
    return compile_circuit(belt7.circuit_from(text), belt7.BeltProgram())


@pytest.mark.parametrize(("runs", "allowed_v"), [(RUNS, 1e-6), (DESK, 0.002)], ids=["pairs", "star"])
def test_the_oracle_finds_the_same_volts_at_every_terminal(runs, allowed_v, record_property):
    net = with_runs(runs)
    panel = Panel(net.circuit, net.scanner)
    pins = panel.pins()
    ours_at = [k for k, name in enumerate(net.nodes) if name in pins]
    theirs_at = [pins[net.nodes[k]] for k in ours_at]
    worst = 0.0
    for suspect in SUSPECTS:
        edits = belt7.suspects()[suspect].edits if suspect else ()
        for name in SITUATIONS:
            situation = net.circuit.situations[name].situation
            theirs = {tuple(sorted(a.state.items())): a for a in panel.answers(edits, situation)}
            for outcome in settle(net, edits, situation):
                other = theirs[tuple(sorted(outcome.state.items()))].volts
                for mine, his in ((outcome.network.ac_v, other.ac), (outcome.network.dc_v, other.dc)):
                    worst = max(worst, float(np.abs(mine[ours_at] - his[theirs_at]).max()))
    record_property("largest difference, volts", worst)
    print(f"largest difference {worst:.2g} V")
    assert worst < allowed_v


@pytest.mark.parametrize("runs", [RUNS, DESK], ids=["pairs", "star"])
@pytest.mark.parametrize("suspect", ["", "12:K1:14>FR1:95 open", "10:X1:1>ES1:21 open"])
def test_a_general_simulator_finds_the_same_volts(runs, suspect, ngspice, tmp_path):
    edits = belt7.suspects()[suspect].edits if suspect else ()
    compare(with_runs(runs), edits, suspect, ngspice, tmp_path)


@pytest.mark.parametrize("discs", range(2, 20))
def test_the_share_of_pairs_that_touch_is_that_of_the_densest_packing(discs):
    """Harborth's count of contacts, against discs laid one by one on a hexagonal grid."""
    assert touching(discs) == pytest.approx(_contacts(discs) / (discs * (discs - 1) / 2))


def test_runs_cost_little_fill():
    """Of the demonstration machine, ten wires to the desk: the plan's branches, and the time of a hundred solves."""
    plain, star = belt7.fresh_net(), with_runs(DESK)
    added = len(star.elements) - len(plain.elements)
    assert added == 2 * (2 * 10), "each of 10 conductors to earth and to the middle, at both ends"
    assert star.plan.slots - plain.plan.slots < 4 * added

    def seconds(net: Net) -> float:
        net.plan
        edits = [belt7.suspects()[s].edits if s else () for s in SUSPECTS]
        networks = [network_of(net, net.initial, e) for e in edits * 10]
        before = time.perf_counter()
        solve_all(net, networks)
        return time.perf_counter() - before

    print(f"slots {plain.plan.slots} -> {star.plan.slots}, solve {seconds(plain):.3f} -> {seconds(star):.3f} s")
