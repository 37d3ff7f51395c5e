"""The exact order equals brute force on small random cases, its bounds hold, and greedy and rollout are held against it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.diagnosis.optimum import Problem, Search, huffman


@st.composite
def problems(draw: st.DrawFn, most: int = 6) -> Problem:
    suspects = draw(st.integers(1, most))
    tests = draw(st.integers(0, 5))
    whole = st.integers(1, 9)
    return Problem(
        np.array(draw(st.lists(whole, min_size=suspects, max_size=suspects)), dtype=float),
        np.array(draw(st.lists(st.integers(0, 3), min_size=suspects, max_size=suspects)), dtype=np.intp),
        np.array(draw(st.lists(whole, min_size=tests, max_size=tests)), dtype=float),
        np.array(
            draw(st.lists(st.lists(st.integers(0, 2), min_size=suspects, max_size=suspects), min_size=tests, max_size=tests)),
            dtype=np.intp,
        ).reshape(tests, suspects),
    )  # fmt: skip


def brute(problem: Problem) -> float:
    """Every order there is, by the definition and nothing else."""
    tests = range(len(problem.cost))

    @cache
    def best(cell: frozenset[int]) -> float:
        if len({problem.group[k] for k in cell}) == 1:
            return 0.0
        total = sum(problem.chance[k] for k in cell)
        costs = []
        for t in tests:
            parts: dict[int, set[int]] = {}
            for k in cell:
                parts.setdefault(int(problem.codes[t, k]), set()).add(k)
            if len(parts) > 1:
                after = sum(sum(problem.chance[k] for k in p) / total * best(frozenset(p)) for p in parts.values())
                costs.append(problem.cost[t] + after)
        return min(costs, default=0.0)

    return float(best(frozenset(range(len(problem.chance)))))


@settings(max_examples=120, deadline=None, derandomize=True)
@given(problems())
def test_the_exact_order_costs_what_trying_every_order_finds(problem: Problem) -> None:
    found = Search(problem).exact()
    assert found.proved
    assert found.cost == pytest.approx(brute(problem), abs=1e-7)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(problems())
def test_no_bound_is_above_the_best_and_no_order_below_it(problem: Problem) -> None:
    search, best = Search(problem), brute(problem)
    everything = search.everything()
    assert search.least(everything) <= best + 1e-9
    assert best <= search.rollout(everything) + 1e-9
    assert search.rollout(everything) <= search.greedy(everything) + 1e-9


@settings(max_examples=60, deadline=None, derandomize=True)
@given(problems(), st.integers(0, 6))
def test_a_search_that_is_cut_short_still_brackets_the_best(problem: Problem, sets: int) -> None:
    found, best = Search(problem).exact(most_sets=sets), brute(problem)
    assert found.least <= best + 1e-9
    assert best <= found.cost + 1e-9
    assert found.gap >= -1e-12


def test_huffmans_own_example() -> None:
    """Huffman, A Method for the Construction of Minimum-Redundancy Codes, Proc. IRE 40 (1952), table I (from memory)."""
    weights = [0.20, 0.18, 0.10, 0.10, 0.10, 0.06, 0.06, 0.04, 0.04, 0.04, 0.04, 0.03, 0.01]
    assert huffman(weights, 2) == pytest.approx(3.42)


@pytest.mark.parametrize(("count", "ways", "mean"), [(8, 2, 3.0), (9, 3, 2.0), (4, 3, 1.5), (1, 2, 0.0)])
def test_equal_weights_need_what_counting_says(count: int, ways: int, mean: float) -> None:
    assert huffman([1 / count] * count, ways) == pytest.approx(mean)


def test_a_halving_search_of_64_equal_suspects_is_proved_the_best() -> None:
    """Six yes-or-no tests for 64 suspects: fewer do not do (Shannon), and these do."""
    suspects = np.arange(64, dtype=np.intp)
    bits = np.array([(suspects >> b) & 1 for b in range(6)], dtype=np.intp)
    found = Search(Problem(np.full(64, 1 / 64), suspects, np.full(6, 10.0), bits)).exact()
    assert found.proved
    assert found.cost == pytest.approx(60.0)


def test_what_no_test_tells_apart_ends_an_order() -> None:
    problem = Problem(
        np.array([0.5, 0.5]), np.array([0, 1], dtype=np.intp), np.array([3.0]), np.array([[1, 1]], dtype=np.intp)
    )
    assert Search(problem).exact().cost == 0.0


def test_numbers_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(ValueError, match="of one size"):
        Problem(np.ones(2), np.zeros(3, dtype=np.intp), np.ones(1), np.zeros((1, 2), dtype=np.intp))
    with pytest.raises(ValueError, match="above 0"):
        Problem(np.zeros(2), np.zeros(2, dtype=np.intp), np.ones(1), np.zeros((1, 2), dtype=np.intp))
