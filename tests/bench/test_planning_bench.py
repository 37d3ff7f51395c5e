"""What a person waits for at a trip, its plan and its caution, beside one dense settle of one network.

The tables of both are made before the clock starts, as they are in a job (they are computed while people read); the first
caution of all, which makes its own, is timed by itself.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from against import belt7

import troubleshoot
from troubleshoot.circuit.model import Pin
from troubleshoot.diagnosis.plan import Planner
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.machine import Machine, describe
from troubleshoot.safety.caution import caution
from troubleshoot.solve.elimination import LEAK_S
from troubleshoot.solve.settle import settle

GROUP = "one trip of belt-7"
TRIP = [Meter("ac volts", Pin("KM1", pin), Pin("NB", "1")) for pin in ("A1", "A2")]


def reasoner() -> Reasoner:
    path = Path(troubleshoot.__file__).parent / "machines" / "belt-7.yaml"
    found = describe(path.read_bytes(), path.name)
    assert isinstance(found, Machine)
    return Reasoner(found)


@pytest.fixture(scope="module")
def warm() -> Reasoner:
    """A reasoner with every table that a trip with Start held needs."""
    made = reasoner()
    planner = Planner(made)
    planner.trips(made.prior, [made.situation("start held")])
    caution(made, TRIP, made.situation("start held").situation, person="Ann", hands=2)
    return made


@pytest.mark.benchmark(group=GROUP)
def test_baseline_one_network_by_a_dense_matrix(benchmark) -> None:
    net = belt7.fresh_net()
    network = settle(net, (), belt7.circuit().situations["start held"].situation)[0].network
    ends = net.plan.element_nodes

    def dense() -> object:
        out = []
        for siemens, amps in ((network.ac_s, network.ac_a), (network.dc_s, network.dc_a)):
            matrix = np.zeros((net.plan.nodes + 1, net.plan.nodes + 1), siemens.dtype)
            for i, j, sign in ((0, 0, 1), (1, 1, 1), (0, 1, -1), (1, 0, -1)):
                np.add.at(matrix, (ends[:, i], ends[:, j]), sign * siemens)
            matrix = matrix[:-1, :-1] + LEAK_S * np.eye(net.plan.nodes)
            out.append(np.linalg.solve(matrix, amps))
        return out

    benchmark(dense)


@pytest.mark.benchmark(group=GROUP)
def test_the_next_trip_is_planned(benchmark, warm) -> None:
    situation = warm.situation("start held")

    def plan() -> object:
        planner = Planner(warm, _lists=dict(kept))
        return planner.trips(warm.prior, [situation])

    first = Planner(warm)
    first.trips(warm.prior, [situation])
    kept = first._lists
    assert benchmark(plan)


@pytest.mark.benchmark(group=GROUP)
def test_the_trip_gets_its_caution(benchmark, warm) -> None:
    situation = warm.situation("start held").situation
    assert benchmark(lambda: caution(warm, TRIP, situation, person="Ann", hands=2)).lines


@pytest.mark.benchmark(group=GROUP)
def test_the_very_first_caution_makes_its_tables(benchmark) -> None:
    def first(made: Reasoner) -> object:
        return caution(made, TRIP, made.situation("start held").situation, person="Ann", hands=2)

    assert benchmark.pedantic(first, setup=lambda: ((reasoner(),), {}), rounds=2)
