"""A fuse that blew and a relay that tripped, put right by an act of a situation, as it is written."""

from __future__ import annotations

import pytest
from against import belt7
from against.small import machine_of

from troubleshoot.circuit.acts import parse_acts, reach
from troubleshoot.circuit.model import Situation
from troubleshoot.solve.settle import settle

SMALL = """
machine: small
devices:
  G1: {kind: supply, volts: 208Y/120}
  F1: {kind: fuse, amps: 2 A}
  Q2: {kind: breaker, amps: 4 A}
  H1: {kind: lamp, lamp: 120 V AC}
wires:
  - {number: '1', run: ['G1:L1', 'Q2:1']}
  - {number: '2', run: ['Q2:2', 'F1:1']}
  - {number: '3', run: ['F1:2', 'H1:X1']}
  - {number: N, run: ['G1:N', 'H1:X2']}
roles: {}
complaints: {}
"""


@pytest.mark.parametrize(
    ("suspect", "acts", "lit"),
    [
        ("F1 open", "", "off"), ("F1 open", "refit F1", "on"), ("", "trip Q2", "off"), ("", "trip Q2; close Q2", "on"),
        ("Q2 tripped", "", "off"), ("Q2 tripped", "close Q2", "on"), ("H1 open", "refit F1", "off"),
    ],
)  # fmt: skip
def test_a_lamp_behind_a_fuse_and_a_breaker(suspect, acts, lit):
    machine = machine_of(SMALL)
    done = parse_acts(acts, reach(machine.circuit.devices))
    assert isinstance(done, tuple), done
    edits = next((s.edits for s in machine.suspects if s.id == suspect), ())
    (outcome,) = settle(machine.net, edits, Situation(acts=done))
    assert outcome.state["H1"] == lit


def test_a_whole_fuse_put_in_on_a_short_blows_again():
    done = parse_acts("press S1; refit F4", reach(belt7.circuit().devices))
    assert isinstance(done, tuple), done
    (outcome,) = settle(belt7.net(), belt7.suspects()["KM1 coil short"].edits, Situation(acts=done))
    assert outcome.state["F4"] == "blown"
