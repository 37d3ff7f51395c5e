"""Scoring a reading between every two terminals, in every situation and with both meters: ours beside a plain loop.

The loop is what one would write first: `numpy.unique` over group and class of every pair. Both merge nothing by hand; ours
scores readings that sort the outcomes alike once. The best pair of both must be equally good.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from against import belt7

from troubleshoot.diagnosis.every_pair import classes_of_pairs, score
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
    """The most bits of any pair, by situation and meter."""
    return [score(classes_of_pairs(v, edges), weight, group).bits.max() for v, edges, weight, group in tables()]


def entropy(chances):
    return -(chances * np.log2(chances)).sum()


def plain(pairs):
    """The same by a loop over the first `pairs` of every situation and meter."""
    best = []
    for volts, edges, weight, group in tables():
        own = entropy(np.bincount(group, weight)[np.unique(group)])
        bits = 0.0
        for red, black in zip(*(ends[:pairs] for ends in np.triu_indices(len(volts), 1)), strict=True):
            found = np.digitize(np.abs(volts[red] - volts[black]), edges)
            _, both = np.unique(np.stack([group, found]), axis=1, return_inverse=True)
            _, seen = np.unique(found, return_inverse=True)
            gain = own + entropy(np.bincount(seen.ravel(), weight)) - entropy(np.bincount(both.ravel(), weight))
            bits = max(bits, gain)
        best.append(bits)
    return best


@pytest.mark.benchmark(group="score of every pair of terminals")
def test_every_pair_at_once(benchmark):
    tables()
    best = benchmark.pedantic(ours, rounds=2)
    pairs = len(belt7.net().nodes) * (len(belt7.net().nodes) - 1) // 2
    benchmark.extra_info["readings"] = pairs * len(tables())
    assert len(best) == len(tables())


@pytest.mark.benchmark(group="score of every pair of terminals")
def test_a_hundredth_of_the_pairs_by_a_loop_over_unique(benchmark):
    """Of 6441 pairs the first 64: what it takes times a hundred is the plain loop over all of them."""
    tables()
    some = benchmark.pedantic(lambda: plain(64), rounds=1)
    for (volts, edges, weight, group), bits in zip(tables(), some, strict=True):
        assert score(classes_of_pairs(volts, edges)[:64], weight, group).bits.max() == pytest.approx(bits, abs=1e-5)
