"""Wires that share a conduit, on the demonstration machine: two witnesses for the same volts.

Witness: `against.dense` (LAPACK, every pair of a bundle with its own branch), and ngspice on the deck. Bundles of three,
four and of ten, which we make as a star.
"""

from __future__ import annotations

import math
import re
import time

import numpy as np
import pytest
from against import belt7
from against.dense import Panel, _contacts
from against.spice import compare
from measure.hazard_lists import shipped

from troubleshoot.circuit.acts import parse_acts, reach
from troubleshoot.circuit.model import Situation
from troubleshoot.circuit.runs import touching
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.meter import read
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
    """The demonstration machine with other runs than its own."""
    text, own = re.subn(r"\nruns:\n(  .*\n)+", "\n", belt7.MACHINE.read_text(encoding="utf-8"))
    assert own == 1
    return compile_circuit(belt7.circuit_from(text.replace("\nroles:", f"\n{runs}roles:")), belt7.BeltProgram())


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
            electrical = set(next(iter(theirs.values())).state)  # a gap or a lining that is only looked at is not in it
            for outcome in settle(net, edits, situation):
                other = theirs[tuple(sorted((k, v) for k, v in outcome.state.items() if k in electrical))].volts
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
    plain, star = with_runs(""), with_runs(DESK)
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


METER_FARADS, METER_OHMS = 0.1e-9, 1e7
GHOSTS = {
    # Wire 11 beside the live 10 in the cable to the desk: one neighbour of 15 m.
    "belt-7": ("press ES1", "", "X1:2", 120, 60, 15 * 100e-12, 15 * 100e-12),
    # Wire 4 beside 2 and 3, which are live, and 5, which the coil holds: 5/6 of the pairs of four touch.
    "float-pump": ("put S1 in off", "", "X1:3", 230, 50, 2 * 25 * 5 / 6 * 100e-12, (25 * 5 / 6 + 25) * 100e-12),
    # Wires 10 and 11 hang together through the limit switch, each beside 7 and 8, which are live.
    "reversing-conveyor": (
        "press S1; release S1", "10:X1:4>X3:3 open", "X3:3", 120, 60, 4 * 18 * 5 / 6 * 50e-12, 2 * 18 * 60e-12,
    ),
}  # fmt: skip
"""By machine: after what, with what wrong, where; the neighbours' volts and hertz, farads to them and to all that is earthed."""


@pytest.mark.parametrize("name", GHOSTS)
def test_a_machine_as_it_is_shipped_shows_what_couples_into_a_dead_wire_and_a_load_takes_it_away(name):
    """By hand: a divider of the capacitances, the meter's 10 megohm and 100 pF beside that to earth."""
    after, fault, at, live, hertz, near, earth = GHOSTS[name]
    found = describe(shipped()[name].read_bytes(), name)
    assert isinstance(found, Machine)
    acts = parse_acts(after, reach(found.circuit.devices))
    assert isinstance(acts, tuple)
    edits = next((s.edits for s in found.suspects if s.id == fault), ())
    omega = 2 * math.pi * hertz
    by_hand = live * omega * near / abs(1 / METER_OHMS + 1j * omega * (near + earth + METER_FARADS))
    ((shown, _),) = read(found.net, edits, Situation("rest", acts), "ac volts", belt7.pin(at), belt7.pin("NB:1"))
    assert shown.floating
    assert shown.span is not None
    assert shown.span[0] < by_hand < shown.span[1]
    assert shown.value == pytest.approx(by_hand, rel=0.01), "a control transformer sags a little"
    ((loaded, _),) = read(
        found.net, edits, Situation("rest", acts), "low-impedance volts", belt7.pin(at), belt7.pin("NB:1")
    )
    assert loaded.value < 1
