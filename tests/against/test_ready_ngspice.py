"""A general circuit simulator finds the same volts on every ready circuit, in every named situation, whole and faulty.

Witness: ngspice (Debian package ``ngspice``), as in `test_ngspice`. A few faults of each circuit in the ordinary run, 200
with ``TROUBLESHOOT_TESTS=all``; which ones, a seed says.
"""

from __future__ import annotations

import pytest
from against import ready
from against.spice import compare

FEW = 3


@pytest.mark.parametrize("name", ready.NAMES)
def test_a_general_simulator_finds_the_same_volts_on_every_ready_circuit(name, ngspice, tmp_path, record_property):
    net, same, worst = ready.machine(name).net, set(), 0.0
    for suspect in ready.drawn(name, FEW, program=True):
        worst = max(worst, compare(net, suspect.edits, suspect.id, ngspice, tmp_path, same))
    record_property("largest difference over what is allowed", worst)
    print(f"{name}: {len(same)} different networks, largest difference {worst:.2g} of 10 mV or 0.1 %")
    assert len(same) > len(net.circuit.situations) / 2
