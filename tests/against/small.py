"""Small circuits written out in a test: loaded, compiled, asked."""

from __future__ import annotations

import pytest
from against.belt7 import circuit_from, pin

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import Mode, read
from troubleshoot.solve.settle import settle

REST = Situation()
NONE: tuple[Edit, ...] = ()


def net_of(text: str) -> Net:
    """The network of a circuit file, its program left out."""
    return compile_circuit(circuit_from(text), None)


def machine_of(text: str) -> Machine:
    """The machine of a circuit file, with its program."""
    found = describe(text, "test.yaml")
    assert isinstance(found, Machine), "\n".join(map(str, found))
    return found


def joint(hop: str, ohms: float) -> Edit:
    return Edit("siemens", hop, 1 / ohms)


def opened(slot: str) -> Edit:
    return Edit("siemens", slot, 0.0)


def fault(machine: Machine, suspect: str) -> tuple[Edit, ...]:
    """The edits of one suspect, by its id."""
    return next(s.edits for s in machine.suspects if s.id == suspect)


def ends(
    net: Net, edits: tuple[Edit, ...] = NONE, *after: Act, hold: dict[str, str] | None = None
) -> list[dict[str, str]]:
    """Every state in which it may end, likeliest first."""
    situation = Situation(acts=after, hold=frozenset((hold or {}).items()))
    return [dict(outcome.state) for outcome in settle(net, edits, situation)]


def end(net: Net, edits: tuple[Edit, ...] = NONE, *after: Act, hold: dict[str, str] | None = None) -> dict[str, str]:
    """The one state in which it ends, at rest."""
    situation = Situation(acts=after, hold=frozenset((hold or {}).items()))
    (outcome,) = settle(net, edits, situation)
    assert outcome.settled
    return dict(outcome.state)


def reads(
    net: Net, edits: tuple[Edit, ...], red: str, black: str, mode: Mode = "ac volts", after: tuple[Act, ...] = (),
    hold: dict[str, str] | None = None,
) -> float:  # fmt: skip
    """What a meter shows where nothing is left open."""
    found = read(net, edits, Situation(acts=after, hold=frozenset((hold or {}).items())), mode, pin(red), pin(black))
    assert len(found) == 1, "this case is meant to lie outside every band"
    return found[0][0].value


def about(value: float):
    """0.5 % or 0.1 V."""
    return pytest.approx(value, rel=0.005, abs=0.1)
