"""Scoring a reading between every two terminals, in every situation and with both meters: ours beside a plain loop.

The loop is what one would write first: `numpy.unique` over group and class of every pair. Both must find as many bits in
every pair that is looked at, in the best of all among them. Both count volts to the same millivolt: some faults of belt-7
leave points halfway in a circuit of 120 V, at 59.9998 V, which is under the edge of 60 V, and on it once each end is
rounded.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from against import belt7
from bench.every_pair import FINEST_V, score_pairs

from troubleshoot.diagnosis.plan import Planner
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.settle import settle_many

pytest.importorskip("pytest_benchmark")

EDGES = {"ac": (6.0, 60.0, 100.0, 180.0), "dc": (2.0, 12.0, 20.0, 30.0)}


@lru_cache(maxsize=1)
def tables():
    """(points, outcomes) volts of each situation and meter, with weight and group of each outcome."""
    suspects = list(belt7.suspects().values())
    names = list(dict.fromkeys(s.group for s in suspects))
    out = []
    for named in belt7.circuit().situations.values():
        found = settle_many(belt7.net(), [(s.edits, named.situation) for s in suspects])
        weight = np.array([s.prior * o.weight for s, outs in zip(suspects, found, strict=True) for o in outs])
        group = np.array([names.index(s.group) for s, outs in zip(suspects, found, strict=True) for _ in outs])
        for kind in ("ac", "dc"):
            volts = np.stack([o.network.volts(kind) for outs in found for o in outs], axis=1)
            out.append((volts, EDGES[kind], weight / weight.sum(), group))
    return out


def ours():
    return [score_pairs(volts, edges, weight, group) for volts, edges, weight, group in tables()]


def entropy(chances):
    return -(chances * np.log2(chances)).sum()


@lru_cache(maxsize=1)
def chosen():
    """Of each situation and meter 64 pairs: the one that ours finds best, and others drawn by a seed."""
    draw = np.random.default_rng(7)
    return [np.append(draw.integers(0, len(found.bits), 63), found.bits.argmax()) for found in ours()]


def plain():
    """The same for the chosen pairs, one after the other."""
    every = []
    for (volts, edges, weight, group), pairs in zip(tables(), chosen(), strict=True):
        own = entropy(np.bincount(group, weight)[np.unique(group)])
        counted, bits = np.round(volts / FINEST_V), []
        for red, black in zip(*(ends[pairs] for ends in np.triu_indices(len(volts), 1)), strict=True):
            found = np.digitize(np.abs(counted[red] - counted[black]), np.array(edges) / FINEST_V)
            _, both = np.unique(np.stack([group, found]), axis=1, return_inverse=True)
            _, seen = np.unique(found, return_inverse=True)
            bits.append(own + entropy(np.bincount(seen.ravel(), weight)) - entropy(np.bincount(both.ravel(), weight)))
        every.append(bits)
    return every


def test_a_trip_that_the_planner_chooses_tells_more_than_the_best_reading_between_any_two_terminals():
    """Of belt-7, before anything is known, in each situation: three readings that a careful person takes, with slips
    reckoned in, beside one reading without slips, across two circuits or two places if that tells most."""
    planner, situations = Planner(reasoner()), belt7.circuit().situations.values()
    of_each = np.reshape([found.bits.max() for found in ours()], (-1, 2)).max(axis=1)
    for named, most in zip(situations, of_each, strict=True):
        (trip,) = planner.trips(reasoner().prior, [named], most=1)
        assert trip.bits > most, named.name


@lru_cache(maxsize=1)
def reasoner():
    machine = describe(belt7.MACHINE.read_bytes(), belt7.MACHINE.name)
    assert isinstance(machine, Machine)
    return Reasoner(machine)


@pytest.mark.benchmark(group="score of every pair of terminals")
def test_every_pair_at_once(benchmark):
    tables()
    found = benchmark.pedantic(ours, rounds=3, warmup_rounds=1)
    benchmark.extra_info["readings"] = sum(len(one.bits) for one in found)
    assert len(found) == len(tables())


@pytest.mark.benchmark(group="score of every pair of terminals")
def test_a_hundredth_of_the_pairs_by_a_loop_over_unique(benchmark):
    """Of 6441 pairs 64, the best among them: what it takes times a hundred is the plain loop over all of them."""
    chosen()
    some = benchmark.pedantic(plain, rounds=1)
    for found, pairs, bits in zip(ours(), chosen(), some, strict=True):
        assert found.bits[pairs] == pytest.approx(bits, abs=1e-9)
