"""What a person waits for at a trip, its plan and its caution, beside one dense settle of one network.

The tables of both are made before the clock starts, as they are in a job (they are computed while people read); the first
caution of all, which makes its own, is timed by itself.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest
from against import belt7

import troubleshoot
from troubleshoot.circuit.model import Pin
from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.diagnosis.information import View, beside
from troubleshoot.diagnosis.plan import MOST_READINGS, WORTH_BITS, Planner
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.codec import put_situation
from troubleshoot.job.desk import Desk
from troubleshoot.job.erring import Erring
from troubleshoot.job.stage import stage_of
from troubleshoot.job.state import State
from troubleshoot.job.trial import _Course
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
        planner = Planner(warm, lists=dict(kept))
        return planner.trips(warm.prior, [situation])

    first = Planner(warm)
    first.trips(warm.prior, [situation])
    kept = first.lists
    assert benchmark(plan)


DECIDED = "one decision of belt-7: belief after a sheet, then the next trip"


@pytest.fixture(scope="module")
def job() -> tuple[Desk, State]:
    """Belt 7 won't start, a fuse is open, and every light has been read: when most suspects are left."""
    desk = open_desk("belt-7")
    truth = next(s for s in desk.machine.suspects if s.id == "F3 open")
    course = _Course(desk, Erring(desk, (truth,), random.Random(0)))
    course.write("opened", {
        "who": "bench", "machine": desk.machine.name, "complaint": "wont-start", "said": "wont-start",
        "shows": put_situation(desk.shows("wont-start")),
    })  # fmt: skip
    course.write("choose", {"source": "engine"})
    while (stage := stage_of(desk, course.state)).step is None or stage.step.kind != "measure":
        course._answer(stage)
    return desk, course.state


@pytest.mark.benchmark(group=DECIDED)
def test_baseline_every_trip_by_the_definition_over_every_outcome(benchmark, job) -> None:
    desk, state = job
    belief = desk.belief(state)

    def by_the_definition() -> set[Meter]:
        found = []
        for named in desk.places(state):
            lists, table = desk.planner.candidates(named.situation), desk.reasoner.table(named.situation)
            view = desk.planner.view(table, belief)
            chances = lists.chances[:, view.outcomes, :]
            stands: dict[object, list[int]] = {}
            for k, c in enumerate(lists.items):
                stands.setdefault((c.place, c.meter.mode, c.meter.black if c.parked else ""), []).append(k)
            for inside in stands.values():
                batch, joint, bits = [], np.ones((len(view.outcomes), 1)), 0.0
                while len(batch) < MOST_READINGS and (rest := [k for k in inside if k not in batch]):
                    both = np.stack([beside(joint, chances[k]) for k in rest])
                    gains = _mutual(both, view).round(9)
                    best = int(np.argmax(gains))
                    if gains[best] - bits < WORTH_BITS:
                        break
                    bits = float(gains[best])
                    batch.append(rest[best])
                    joint = both[best]
                if batch:
                    items = [lists.items[k] for k in batch]
                    found.append((bits / desk.planner._cost(named, items), {c.meter for c in items}))
        return max(found, key=lambda one: one[0])[1]

    assert benchmark(by_the_definition) == set(desk.trips(state)[0].items)


def _mutual(chances: np.ndarray, view: View) -> np.ndarray:
    member = np.zeros((len(view.weight), len(view.names)))
    member[np.arange(len(view.weight)), view.group] = view.weight
    joint = np.matmul(member.T, chances)
    seen, group = joint.sum(axis=1), member.sum(axis=0)
    given = joint / np.maximum(group[None, :, None], 1e-300)

    def entropy(p: np.ndarray) -> np.ndarray:
        return -(p * np.log2(np.maximum(p, 1e-300))).sum(axis=-1)

    return entropy(seen) - (group[None, :] * entropy(given)).sum(axis=1)


@pytest.mark.benchmark(group=DECIDED)
def test_a_decision_belief_and_the_next_trip(benchmark, job) -> None:
    desk, state = job

    def decide() -> object:
        desk._trips.clear()
        desk._beliefs.clear()
        # What was seen in the last situation is new to belief, what was seen before it is not.
        last = state.evidence[-1].at
        for key in [key for key in desk.reasoner._logs if key[0] == last]:
            del desk.reasoner._logs[key]
        return desk.trips(state)

    assert benchmark(decide)


@pytest.mark.benchmark(group=GROUP)
def test_the_trip_gets_its_caution(benchmark, warm) -> None:
    situation = warm.situation("start held").situation
    assert benchmark(lambda: caution(warm, TRIP, situation, person="Ann", hands=2)).lines


@pytest.mark.benchmark(group=GROUP)
def test_the_very_first_caution_makes_its_tables(benchmark) -> None:
    def first(made: Reasoner) -> object:
        return caution(made, TRIP, made.situation("start held").situation, person="Ann", hands=2)

    assert benchmark.pedantic(first, setup=lambda: ((reasoner(),), {}), rounds=2)
