"""How long the whole dictionary takes: every suspect in every named situation, from a fresh network.

Asked for with ``pytest -n 0 tests/bench``. Beside ours: the same settles one by one through LAPACK, and LAPACK alone over
every distinct network that ours has solved (no settling, no second step for the motors and none for the DC digits).
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path
from time import process_time

import pytest
from against import belt7

import troubleshoot
import troubleshoot.solve.glimpsing as glimpsing_room
import troubleshoot.solve.lockstep as lockstep_room
import troubleshoot.solve.network as network_room
import troubleshoot.solve.solving as solving_room
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.machine import Machine, describe
from troubleshoot.safety.hazard_list import hazard_list
from troubleshoot.solve.columns import build
from troubleshoot.solve.elimination import LEAK_S
from troubleshoot.solve.lockstep import known_of
from troubleshoot.solve.reflexes import reflexes_of
from troubleshoot.solve.settle import settle, settle_many

np = pytest.importorskip("numpy")
pytest.importorskip("pytest_benchmark")

GROUP = "dictionary of belt-7"


def _machine() -> Machine:
    """As the program itself has it: with the suspects of its controller's program."""
    path = Path(troubleshoot.__file__).parent / "machines" / "belt-7.yaml"
    found = describe(path.read_bytes(), path.name)
    assert isinstance(found, Machine)
    return found


def _cases(suspects=None):
    suspects = belt7.suspects().values() if suspects is None else suspects
    return [(s.edits, n.situation) for s in suspects for n in belt7.circuit().situations.values()]


def _matrices(plan, siemens, to_earth):
    """The nodal matrix of each case."""
    count = plan.nodes + 1
    one, two = plan.element_nodes[:, 0] % count, plan.element_nodes[:, 1] % count
    flat = np.concatenate([one * count + one, two * count + two, one * count + two, two * count + one])
    for case in range(siemens.shape[1]):
        s = siemens[:, case]
        signed = np.concatenate([s, s, -s, -s])
        matrix = np.bincount(flat, signed.real, count * count).astype(siemens.dtype)
        if np.iscomplexobj(siemens):
            matrix += 1j * np.bincount(flat, signed.imag, count * count)
        matrix = matrix.reshape(count, count)[:-1, :-1]
        matrix[np.diag_indices(plan.nodes)] += LEAK_S + (0 if to_earth is None else to_earth[:, case])
        yield matrix


@dataclass
class Dense:
    """What stands in for the elimination: every case a full matrix."""

    matrices: list

    def on(self, way, cases=None):
        return self if cases is None else Dense([self.matrices[k] for k in cases])

    def carried(self, injected):
        return injected

    def rounding(self, carried):
        return np.full(carried.shape[2], np.inf)

    def volts(self, carried):
        out = np.empty(carried.shape, np.result_type(carried, *self.matrices[:1]))
        for case, matrix in enumerate(self.matrices):
            out[:, :, case] = np.linalg.solve(matrix, carried[:, :, case])
        return out


def _dense(plan, siemens, to_earth=None):
    return Dense(list(_matrices(plan, siemens, to_earth)))


@pytest.mark.benchmark(group=GROUP)
def test_in_lockstep_by_star_mesh_elimination(benchmark):
    found = benchmark.pedantic(
        lambda net: settle_many(net, _cases()), setup=lambda: ((belt7.fresh_net(),), {}), rounds=3
    )
    assert len(found) == len(_cases())


@pytest.mark.benchmark(group=GROUP)
def test_one_by_one_by_dense_lapack(benchmark, monkeypatch):
    """Each case by itself from the beginning, each network a full matrix; nothing kept from one case to the next."""
    _densely(monkeypatch)

    def run(net):
        found = []
        for edits, situation in _cases():
            for name in ("settled", "glimpses", "lately"):
                net.scratch.pop(name, None)
            found.append(settle(net, edits, situation))
        return found

    found = benchmark.pedantic(run, setup=lambda: ((belt7.fresh_net(),), {}), rounds=1)
    assert len(found) == len(_cases())


@pytest.mark.benchmark(group=GROUP)
def test_lapack_alone_over_every_distinct_network(benchmark, monkeypatch):
    kept, solve = [], network_room.solve
    monkeypatch.setattr(network_room, "solve", lambda net, columns: kept.append(columns) or solve(net, columns))
    net = belt7.fresh_net()
    settle_many(net, _cases())

    def run():
        for columns in kept:
            extra = columns.to_earth()
            _dense(net.plan, columns.ac_s, extra).volts(columns.ac_a[:, None])
            _dense(net.plan, columns.dc_s, extra).volts(columns.dc_a[:, None])

    benchmark.pedantic(run, rounds=1)
    benchmark.extra_info["networks"] = sum(columns.ac_s.shape[1] for columns in kept)


@pytest.mark.benchmark(group="what the program computes ahead on belt-7")
@pytest.mark.parametrize("wiring", [False, True], ids=["as it is", "after somebody worked on it"])
def test_the_dictionary_with_the_suspects_that_the_program_uses(benchmark, wiring):
    def made():
        machine = _machine().with_wiring() if wiring else _machine()
        return (machine.net, _cases(machine.suspects)), {}

    benchmark.pedantic(settle_many, setup=made, rounds=2)


@pytest.mark.benchmark(group="what the program computes ahead on belt-7")
def test_the_list_of_hazards(benchmark):
    """Its time over that of one dictionary, both from a fresh network and in time of the processor, is the figure."""
    machine, began = _machine(), process_time()
    settle_many(machine.net, _cases(machine.suspects))
    dictionary, spent = process_time() - began, []

    def run(reasoner):
        start = process_time()
        found = hazard_list(reasoner)
        spent.append(process_time() - start)
        return found

    assert benchmark.pedantic(run, setup=lambda: ((Reasoner(_machine()),), {}), rounds=2)
    benchmark.extra_info["dictionaries"] = round(min(spent) / dictionary, 2)


START = Situation("rest", (Act("press", "S1"),))
MET = {"met before": ("ends",), "its networks met": ("ends", "looks"), "new": ("ends", "looks", "networks")}
"""What is forgotten before a press, beside each way to measure one."""


def _forget(net, what):
    """Leave of a net what is settled before anybody presses, and of what was met after a press what is not in `what`.

    ``ends``: what this history ends in. ``looks``: what any history ends in that presses the button of a machine which stands
    as this one does. ``networks``: the volts of every network, what the laws saw in it and what they did.
    """
    known = known_of(net)
    known.ends = {key: ends for key, ends in known.ends.items() if not key[1].acts}
    if "looks" in what:
        known.looks.clear()
    if "networks" in what:
        reflexes = reflexes_of(net)
        for kept in (reflexes._sights, reflexes._known, reflexes._parts):
            kept.clear()
        for name in ("glimpses", "lately", "slips", "siemens of motors"):
            net.scratch.pop(name, None)


def _densely(patch):
    """The baseline: each network built from the beginning and a full matrix, each round as `lockstep` has it."""
    patch.setattr(solving_room, "eliminated", lambda net, kind, siemens, extra: _dense(net.plan, siemens, extra))
    patch.setattr(lockstep_room, "ahead", lambda net, run: None)
    for room in (glimpsing_room, network_room):
        patch.setattr(room, "beside", lambda net, codes, laid: build(net, codes[None], [laid.edits]))


@pytest.mark.parametrize("ours", [True, False], ids=["ours", "dense"])
@pytest.mark.parametrize("how", MET)
def test_one_settle_after_a_press(benchmark, monkeypatch, how, ours):
    """The start button of a machine at rest, nothing wrong: from the press to the volts of every point.

    ``met before`` is a press made again on a machine that stands as it did then, whatever was done in between: in another
    history, after a dictionary, after the list of hazards. ``its networks met`` is one whose rounds must be gone through,
    because since then time has passed, say, or another history leads to it; but its networks, and what the laws do in them,
    were met. ``new`` has met nothing. ``dense`` has met nothing either: the same with each network a full matrix.
    """
    benchmark.group = f"one settle after a press on belt-7, {how}"
    net = belt7.fresh_net()
    for _ in range(10):
        _forget(net, MET["new"])
        settle(net, (), START)
    forgotten = MET[how] if ours else MET["new"]
    if not ours:
        _densely(monkeypatch)
    found = benchmark.pedantic(
        lambda: settle(net, (), START), setup=lambda: _forget(net, forgotten), rounds=200, warmup_rounds=5
    )
    assert found[0].state["M1"] == "turning"


def _pressed(machine, whose):
    """Suspects and histories that no dictionary holds: what some hands did, drawn by a seed."""
    draw = random.Random(3)
    faults = machine.suspects[:-1]
    while True:
        edits = {"the machine whole": 0, "one fault": 1, "two faults": 2}[whose]
        acts = []
        for _ in range(draw.randint(2, 4)):
            control = draw.choice(
                [c for c in machine.net.controls.values() if c.var in ("Q1", "ES1", "S1", "S2", "S3")]
            )
            acts.append(Act("put", control.var, draw.choice([p for p in control.positions if p != "tripped"])))
            if draw.random() < 0.5:
                acts.append(Act("put", control.var, control.usual))
        yield tuple(e for s in draw.sample(faults, edits) for e in s.edits), tuple(acts)


@pytest.mark.parametrize("ours", [True, False], ids=["ours", "dense"])
@pytest.mark.parametrize("whose", ["the machine whole", "one fault", "two faults"])
def test_one_settle_after_a_press_that_the_dictionary_does_not_hold(benchmark, monkeypatch, whose, ours):
    """As the program is used: the dictionary is computed first, then somebody presses what it has no situation for.

    Every press is another: of another fault (or two), after another history, which was settled before the press. Of the
    machine whole they come again in the end, as they do when one machine is pressed for an hour.
    """
    benchmark.group = f"one settle after a press on belt-7 that the dictionary does not hold, {whose}"
    machine = _machine()
    net, cases = machine.net, _pressed(machine, whose)
    settle_many(net, _cases(machine.suspects))

    def begun():
        edits, acts = next(cases)
        settle(net, edits, Situation("rest", acts[:-1]))
        if not ours:
            known_of(net).looks.clear()
            for name in ("glimpses", "lately"):
                net.scratch.pop(name, None)
        known_of(net).ends = {key: ends for key, ends in known_of(net).ends.items() if len(key[1].acts) < len(acts)}
        return (edits, Situation("rest", acts)), {}

    def press(edits, situation):
        (first, *_) = settle(net, edits, situation)
        return first.network.volts("ac"), first.network.volts("dc")

    for _ in range(20):
        (edits, situation), _ = begun()
        press(edits, situation)
    if not ours:
        _densely(monkeypatch)
    volts = benchmark.pedantic(press, setup=begun, rounds=150)
    assert all(np.isfinite(some).all() for some in volts)
