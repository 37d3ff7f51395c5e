"""Every ready circuit in every named situation, whole and with one fault, settled a second time by the independent oracle.

Witness: `against.dense`. Faults of the program are left to `test_dense_program`; otherwise as `test_ready_ngspice`.
"""

from __future__ import annotations

import pytest
from against import ready
from against.alike import agree
from against.from_text import FromText

FEW = 2
ADRIFT = {"three-wire-corner-earthed": ("G1 L2 lost",)}
"""Faults that take away what holds a supply to earth: in a corner-earthed delta the earthed line itself."""


@pytest.mark.parametrize("name", ready.NAMES)
def test_the_oracle_ends_every_ready_circuit_in_the_same_state_at_the_same_volts(name, record_property):
    machine, suspects = ready.machine(name), ready.drawn(name, FEW, program=False)
    program = machine.circuit.program
    agreed = agree(
        machine.circuit, machine.net, FromText(program.text) if program else None, suspects, ADRIFT.get(name, ())
    )
    record_property("largest difference, volts", agreed.worst)
    print(f"{name}: {agreed.cases} cases, largest difference {agreed.worst:.2g} V: {agreed.where}")
    assert agreed.cases == len(suspects) * len(machine.circuit.situations)
