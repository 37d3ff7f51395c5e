"""Circuits that nobody should build: an answer or a clear error, never a library's warning, a nan, or no end.

Each with every warning an error. The laws that the answers are held to are Ohm's and Kirchhoff's.
"""

from __future__ import annotations

import numpy as np
import pytest
from against import belt7
from against.belt7 import circuit_from

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Act, Circuit, Situation
from troubleshoot.faults.suspects import suspects_of
from troubleshoot.solve.compiled import compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import settle, settle_many

pytestmark = pytest.mark.filterwarnings("error")

HEAD = """
machine: bad
title: a circuit that nobody should build
places: {panel: {words: panel}}
devices:
  G1: {kind: supply, at: panel, volts: 208Y/120, frequency: 60 Hz}
"""
TAIL = """
roles: {}
situations: {at rest: {words: nobody at the buttons}}
complaints: {}
"""


def built(devices: str, wires: str) -> Circuit:
    return circuit_from(f"{HEAD}{devices}wires:\n{wires}{TAIL}")


def outcomes(circuit: Circuit, *acts: Act, edits: tuple[Edit, ...] = ()):
    found = settle(compile_circuit(circuit, None), edits, Situation("rest", acts))
    assert sum(o.weight for o in found) == pytest.approx(1)
    for outcome in found:
        for network in outcome.networks:
            for kind in ("ac", "dc"):
                assert np.isfinite(network.volts(kind)).all()
    return found


def test_a_wire_from_one_phase_to_neutral_draws_thousands_of_amperes_and_is_answered():
    circuit = built("", "  - {number: S, run: ['G1:L1', 'G1:N']}\n")
    (outcome,) = outcomes(circuit)
    net = compile_circuit(circuit, None)
    a, b = net.index["G1:L1"], net.index["G1:N"]
    volts = abs(outcome.network.ac_v[a] - outcome.network.ac_v[b])
    wire = float(np.real(outcome.network.ac_s[net.element_index[circuit.hops[0].id]]))
    assert volts < 60
    assert volts * wire > 1000


def test_two_sources_against_each_other_in_a_loop():
    devices = "".join(
        f"  PS{k}: {{kind: dc supply, at: panel, in: 120 V, out: {volts} V, limit: 5 A}}\n"
        for k, volts in ((1, 24), (2, 12))
    )
    wires = "".join(
        f"  - {{number: '{number}', run: [{run}]}}\n"
        for number, run in (
            ("L", "'G1:L1', 'PS1:L', 'PS2:L'"), ("N", "'G1:N', 'PS1:N', 'PS2:N'"),
            ("P", "'PS1:+', 'PS2:+'"), ("M", "'PS1:-', 'PS2:-'"),
        )
    )  # fmt: skip
    circuit = built(devices, wires)
    net = compile_circuit(circuit, None)
    for outcome in outcomes(circuit):
        across = outcome.network.dc_v[net.index["PS1:+"]] - outcome.network.dc_v[net.index["PS1:-"]]
        assert 0 <= across <= 24.5


def test_an_island_that_nothing_feeds_has_no_volts():
    devices = "  H1: {kind: lamp, at: panel, lamp: 24 V DC}\n  H2: {kind: lamp, at: panel, lamp: 24 V DC}\n"
    circuit = built(devices, "  - {number: A, run: ['H1:X1', 'H2:X1']}\n  - {number: B, run: ['H1:X2', 'H2:X2']}\n")
    (outcome,) = outcomes(circuit)
    net = compile_circuit(circuit, None)
    assert outcome.state["H1"] == "off"
    assert abs(outcome.network.ac_v[net.index["H1:X1"]]) < 1e-6
    assert abs(outcome.network.dc_v[net.index["H1:X1"]]) < 1e-6


def test_a_coil_through_its_own_break_contact_chatters_and_says_so():
    devices = "  K1: {kind: relay, at: panel, coil: 120 V AC, blocks: {'11-12': nc}}\n"
    wires = "".join(
        f"  - {{number: '{number}', run: [{run}]}}\n"
        for number, run in (("1", "'G1:L1', 'K1:11'"), ("2", "'K1:12', 'K1:A1'"), ("N", "'K1:A2', 'G1:N'"))
    )
    (outcome,) = outcomes(built(devices, wires))
    assert not outcome.settled
    assert {state["K1"] for state in outcome.states} == {"in", "out"}


def test_a_wire_from_a_terminal_to_itself_is_refused_with_its_place_or_carries_nothing():
    text = f"{HEAD}  H1: {{kind: lamp, at: panel, lamp: 120 V AC}}\nwires:\n  - {{number: A, run: ['H1:X1', 'H1:X1']}}\n{TAIL}"
    found = load_circuit(text, "bad.yaml")
    if isinstance(found, Circuit):
        assert all(o.state["H1"] == "off" for o in outcomes(found))
    else:
        assert found
        assert all("bad.yaml:" in str(problem) for problem in found)


def test_both_ends_of_a_meter_on_one_terminal():
    net = belt7.net().with_meter(belt7.pin("K1:A1"), belt7.pin("K1:A1"), 1e7 + 0j, 1e7)
    (outcome,) = settle(net, (), Situation())
    assert np.isfinite(outcome.network.ac_v).all()


def test_every_part_of_a_machine_shorted_or_open_at_once():
    slots = [e.slot for e in belt7.net().elements]
    situation = Situation("rest", (Act("press", "S1"),))
    for siemens in (0.0, 1e3):
        edits = tuple(Edit("siemens", slot, siemens) for slot in slots if not slot.startswith("G1 "))
        for outcome in settle(belt7.net(), edits, situation):
            assert np.isfinite(outcome.network.ac_v).all()
            assert np.isfinite(outcome.network.dc_v).all()


def test_two_thousand_devices_are_answered():
    count = 2000
    devices = "".join(f"  H{k}: {{kind: lamp, at: panel, lamp: 120 V AC}}\n" for k in range(count))
    one, other = (", ".join(f"'H{k}:{pin}'" for k in range(count)) for pin in ("X1", "X2"))
    circuit = built(devices, f"  - {{number: A, run: ['G1:L1', {one}]}}\n  - {{number: N, run: ['G1:N', {other}]}}\n")
    net = compile_circuit(circuit, None)
    suspects = suspects_of(circuit)[:3]
    found = settle_many(net, [(s.edits, Situation()) for s in suspects])
    assert len(found) == len(suspects)
    # In a chain of 2000 joints the last lamps get the least: what is seen falls along the wire.
    volts = np.abs(found[0][0].network.ac_v)
    assert volts[net.index["H0:X1"]] >= volts[net.index[f"H{count - 1}:X1"]]
