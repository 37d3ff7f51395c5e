"""Random hands on every ready circuit, one press after the other, beside the independent oracle: 1e-6 V at every terminal.

Ours settles each press by itself on a net that has met all the others, as a person at a machine has it; the oracle
(`against.dense`) settles each history from the beginning. Faults of the program are left to `test_dense_program`.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from against import alike, ready
from against.from_text import FromText

from troubleshoot.circuit.model import Act, NamedSituation, Situation
from troubleshoot.solve import solving
from troubleshoot.solve.settle import settle

HISTORIES = 6 if ready.ALL else 1
FAULTS = 8 if ready.ALL else 1


def histories(machine, draw):
    """Situations that no circuit file names: what hands may do, and each beginning of it."""
    found = {}
    for number in range(HISTORIES):
        acts = []
        for _ in range(3):
            control = draw.choice([c for c in machine.net.controls.values() if "tripped" not in c.positions])
            acts.append(Act("put", control.var, draw.choice(control.positions)))
            if control.springs_back and draw.random() < 0.5:
                acts.append(Act("put", control.var, control.usual))
        for k in range(1, len(acts) + 1):
            name = f"{number}, {k} acts"
            found[name] = NamedSituation(name, name, Situation("rest", tuple(acts[:k])))
    return found


@pytest.mark.parametrize("name", ready.NAMES)
def test_the_oracle_ends_every_press_in_the_same_state_at_the_same_volts(name, monkeypatch):
    machine, draw = ready.machine(name), random.Random(f"{name} pressed")
    suspects = [machine.suspects[-1], *draw.sample([s for s in machine.suspects[:-1] if _wiring(s)], FAULTS)]
    circuit = replace(machine.circuit, situations=histories(machine, draw))
    program = circuit.program
    monkeypatch.setattr(solving, "FEW", 0)
    monkeypatch.setattr(alike, "settle_many", lambda net, cases: [settle(net, *case) for case in cases])
    agreed = alike.agree(circuit, machine.net, FromText(program.text) if program else None, suspects)
    print(f"{name}: {agreed.cases} presses, largest difference {agreed.worst:.2g} V: {agreed.where}")
    assert agreed.cases == len(suspects) * len(circuit.situations)


def _wiring(suspect):
    return all(edit.does != "program" for edit in suspect.edits)
