"""The elimination beside a dense solve by LAPACK: ladders, stars and meshes of any shape, from milliohms to kilohms."""

from __future__ import annotations

import numpy as np
import pytest

from troubleshoot.solve.elimination import EARTH, LEAK_S, eliminate, node_voltages, plan

NODES, BRANCHES, CASES = 40, 60, 7


def _ends(seed: int) -> tuple[tuple[int, int], ...]:
    """A tree, so that all hangs together, then branches anywhere, some of them to earth."""
    rng = np.random.default_rng(seed)
    tree = [(k, int(rng.integers(k))) for k in range(1, NODES)]
    more = rng.integers(EARTH, NODES, (BRANCHES - NODES, 2)).tolist()
    return tuple((a, b) for a, b in (*tree, (0, EARTH), *more))


def _siemens(seed: int, kind: type) -> np.ndarray:
    rng = np.random.default_rng(seed + 100)
    size = rng.choice([1e-3, 1.0, 1e3], (len(_ends(seed)), CASES))
    out = size * rng.uniform(0.5, 2.0, size.shape)
    out[NODES - 1] = 50.0  # all hangs together and is earthed: on leaks alone the dense solve would have few digits
    return out * (1 - 0.3j) if kind is complex else out


def _dense(seed: int, siemens: np.ndarray, amps: np.ndarray) -> np.ndarray:
    out = np.empty(amps.shape, siemens.dtype)
    for case in range(CASES):
        matrix = np.zeros((NODES + 1, NODES + 1), siemens.dtype)
        for (a, b), s in zip(_ends(seed), siemens[:, case], strict=True):
            matrix[[a, b, a, b], [a, b, b, a]] += (0, 0, 0, 0) if a == b else (s, s, -s, -s)
        matrix = matrix[:-1, :-1] + LEAK_S * np.eye(NODES)
        out[:, :, case] = np.linalg.solve(matrix, amps[:, :, case])
    return out


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", [float, complex])
def test_volts_are_those_of_a_dense_solve(seed: int, kind: type) -> None:
    siemens = _siemens(seed, kind)
    amps = np.random.default_rng(seed).normal(size=(NODES, 2, CASES)).astype(kind)
    ours, dense = node_voltages(plan(NODES, _ends(seed)), siemens, amps), _dense(seed, siemens, amps)
    assert np.abs(ours - dense).max() <= 1e-9 * np.abs(dense).max()


@pytest.mark.parametrize("seed", range(6))
def test_what_enters_and_is_asked_for_at_a_few_nodes_needs_only_their_ways(seed: int) -> None:
    shape, siemens = plan(NODES, _ends(seed)), _siemens(seed, float)
    entered, asked = [3, 17], [5, 30]
    amps = np.zeros((NODES, 1, CASES))
    amps[entered] = 1.0
    done = eliminate(shape, siemens)
    carried = done.on(shape.way(entered)).carried(amps.copy())
    whole = node_voltages(shape, siemens, amps)
    some = np.array([4, 1])
    assert np.array_equal(done.on(shape.whole()).volts(carried), whole)
    assert np.array_equal(done.on(shape.way(asked)).volts(carried)[asked], whole[asked])
    assert np.array_equal(done.on(shape.way(asked), some).volts(carried[:, :, some])[asked], whole[asked][:, :, some])


def test_a_way_leaves_out_what_does_not_lie_on_it() -> None:
    """Of a star of ten arms of two nodes, one arm."""
    ends = [(0, EARTH), *((0, 2 * k + 1) for k in range(10)), *((2 * k + 1, 2 * k + 2) for k in range(10))]
    assert set(plan(21, tuple(ends)).way([2]).nodes.tolist()) <= {0, 1, 2, *(2 * k + 1 for k in range(10))}
    assert len(plan(21, tuple(ends)).way([2]).nodes) <= 4
    assert plan(21, tuple(ends)).way([EARTH]).nodes.size == 0


@pytest.mark.parametrize("tie", [10.0, 1e-3, 0.0])
def test_the_rounding_that_is_told_is_not_less_than_what_there_is(tie: float) -> None:
    """24 V behind 20 milliohms, floating or earthed: 1200 A in, 1200 A out, of which nothing may be left over.

    What should stand at the middle of a divider of equal arms, by symmetry: half of it to either side of earth.
    """
    ends = ((0, 1), (0, 2), (2, 1), (2, EARTH), (0, 3), (1, 4), (3, 4))
    siemens = np.array([[50.0], [0.1], [0.1], [tie], [300.0], [300.0], [0.01]])
    shape = plan(5, ends)
    amps = np.zeros((5, 1, 1))
    amps[0], amps[1] = 1200.0, -1200.0
    passage = eliminate(shape, siemens).on(shape.way([0, 1]))
    carried = passage.carried(amps)
    volts = eliminate(shape, siemens).on(shape.whole()).volts(carried)[:, 0, 0]
    told = passage.rounding(carried)[0]
    assert abs(volts[2]) <= told
    assert told < (1e-9 if tie else 1e-3)
