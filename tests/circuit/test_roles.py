"""A role may be given only to a device that can play it: told where the file is read, never in the middle of a job."""

from __future__ import annotations

import pytest

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit
from troubleshoot.circuit.rows import ROLE_KINDS, ROLES
from troubleshoot.machine import Machine, describe
from troubleshoot.safety.doings import by_role, channels, doings
from troubleshoot.solve.settle import standing_many

ONE_OF_EACH = """
  supply: {kind: supply, volts: 400Y/230}
  dc supply: {kind: dc supply, in: 230 V, out: 24 V, limit: 2 A}
  control transformer: {kind: control transformer, in: 400 V, out: 230 V, power: 100 VA}
  disconnect: {kind: disconnect}
  fuse: {kind: fuse, amps: 2 A}
  breaker: {kind: breaker, amps: 6 A}
  overload: {kind: overload, set: 4 A}
  push button: {kind: push button, blocks: {'13-14': no}}
  emergency stop: {kind: emergency stop, blocks: {'11-12': nc}}
  selector: {kind: selector, positions: [off, run], blocks: {'13-14': [run]}}
  relay: {kind: relay, coil: 24 V DC, blocks: {'13-14': no}}
  contactor: {kind: contactor, coil: 24 V DC}
  lamp: {kind: lamp, lamp: 24 V DC}
  plc: {kind: plc}
  motor: {kind: motor, power: 1.5 kW, volts: 400 V, amps: 3.4 A}
  brake: {kind: brake, coil: 24 V DC, holds: motor}
  rectifier: {kind: rectifier, in: 230 V, form: full-wave}
  suppressor: {kind: suppressor, type: varistor}
  process switch: {kind: process switch, positions: [open, shut], blocks: {'13-14': [shut]}}
  load: {kind: load, ohms: 50 ohm}
  terminals: {kind: terminals, pins: ['1', '2']}
  plug: {kind: plug, poles: ['1']}
  bar: {kind: bar, pins: ['1', '2']}
  pull cord: {kind: pull cord, blocks: {'11-12': nc}}
  two-wire sensor: {kind: two-wire sensor, supply: 24 V DC}
  three-wire sensor: {kind: three-wire sensor, output: PNP}
  timer relay: {kind: timer relay, coil: 24 V DC, delay: on, time: 5 s, blocks: {'15-18': no}}
  safety relay: {kind: safety relay, supply: 24 V DC}
  horn: {kind: horn, horn: 24 V DC}
  unknown chain: {kind: unknown chain}
"""
"""A device of every kind, with the name of its kind for a tag."""


def _text(role: str, tag: str) -> str:
    return (
        f"machine: odd\ndevices:{ONE_OF_EACH}wires:\n"
        "  - {number: L1, run: ['supply:L1', 'disconnect:1']}\n"
        f"roles:\n  {role}: {tag}\ncomplaints: {{}}\n"
    )


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("role", ROLES)
def test_a_role_and_a_kind_either_fit_or_it_is_told_with_line_and_what_fits(role, kind):
    text = _text(role, kind)
    read = load_circuit(text, "odd.yaml")
    if kind in ROLE_KINDS[role]:
        assert isinstance(read, Circuit)
        return
    assert isinstance(read, tuple)
    (problem,) = read
    line = next(k for k, one in enumerate(text.splitlines(), 1) if one.startswith(f"  {role}: {kind}") and k > 30)
    assert (problem.at.file, problem.at.line) == ("odd.yaml", line)
    assert f"{kind} is a" in problem.what
    for fit in ROLE_KINDS[role]:
        assert fit in problem.what.partition("; here: ")[2], "every kind that fits is here, by its tag"


@pytest.mark.parametrize(("role", "kind"), [(r, k) for r, kinds in ROLE_KINDS.items() for k in kinds])
def test_whatever_may_play_a_role_can_be_used_as_it(role, kind):
    machine = describe(_text(role, kind).encode(), "odd.yaml", lambda name: b"")
    assert isinstance(machine, Machine)
    has = doings(machine)
    named = by_role(machine)
    cases = [((), n.situation) for n in named.values()]
    assert all(standing_many(machine.net, cases)) if cases else True
    assert channels(machine) is not None
    if role in ("start", "stop", "reset"):
        assert kind in {*has.starts, *has.stops, *has.resets}


def test_every_role_says_which_kinds_play_it_and_they_are_kinds():
    assert set(ROLE_KINDS) == set(ROLES)
    assert {kind for kinds in ROLE_KINDS.values() for kind in kinds} <= set(KINDS)
