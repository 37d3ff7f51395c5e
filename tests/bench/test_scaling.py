"""What a larger plant costs: 1, 4 and 16 conveyors on one supply and one controller, every suspect, two situations.

The exponent is how the time grows with the number of conveyors; the suspects grow as fast, and so does each network.
"""

from __future__ import annotations

import resource

import pytest
from bench import conveyors

from troubleshoot.solve.settle import settle_many

pytest.importorskip("pytest_benchmark")


@pytest.mark.benchmark(group="dictionary of conveyors on one supply")
@pytest.mark.parametrize("wires_and_devices_only", [True, False], ids=["wiring and devices", "program too"])
@pytest.mark.parametrize("count", [1, 4, 16])
def test_the_dictionary_of_so_many_conveyors(benchmark, count, wires_and_devices_only):
    def made():
        machine = conveyors.machine(count)
        suspects = [s for s in machine.suspects if not (wires_and_devices_only and s.sort == "program")]
        cases = [(s.edits, named.situation) for named in machine.circuit.situations.values() for s in suspects]
        benchmark.extra_info |= {"nodes": len(machine.net.nodes), "suspects": len(suspects)}
        return (machine.net, cases), {}

    benchmark.pedantic(settle_many, setup=made, rounds=1)
    benchmark.extra_info["peak MB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
