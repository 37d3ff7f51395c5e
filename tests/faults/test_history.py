"""A machine's own past moves its priors a little, within bounds, and rules nothing out."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import troubleshoot
from troubleshoot.faults.history import LEAST, MOST, SHAPE, factors, with_history
from troubleshoot.faults.suspects import OUTSIDE
from troubleshoot.machine import Machine, describe

FILE = Path(troubleshoot.__file__).parent / "machines/belt-7.yaml"
FOUND = describe(FILE.read_bytes(), FILE.name)
assert isinstance(FOUND, Machine)
USUAL = FOUND.suspects
GROUPS = sorted({s.group for s in USUAL if s.broken and s.id != OUTSIDE})
WIRE = "wire 12, K1:14 to FR1:95"
COUNTS = st.dictionaries(st.sampled_from([*GROUPS, "a part that is not here any more"]), st.integers(0, 60), max_size=6)


def chance(suspects, group: str) -> float:
    return sum(s.prior for s in suspects if s.group == group)


@given(COUNTS)
def test_whatever_the_past_the_bounds_hold_and_the_chances_sum_to_what_they_did(counts: dict[str, int]) -> None:
    moved = with_history(USUAL, counts)
    assert [s.id for s in moved] == [s.id for s in USUAL]
    assert sum(s.prior for s in moved) == pytest.approx(sum(s.prior for s in USUAL), rel=1e-9)
    for before, after in zip(USUAL, moved, strict=True):
        assert LEAST * before.prior * (1 - 1e-9) <= after.prior <= MOST * before.prior * (1 + 1e-9)
        if not before.broken or before.id == OUTSIDE:
            assert after.prior == before.prior


@given(st.sampled_from(GROUPS), st.integers(0, 20))
def test_one_more_confirmed_repair_never_makes_a_part_less_suspect(group: str, times: int) -> None:
    fewer, more = with_history(USUAL, {group: times, WIRE: 3}), with_history(USUAL, {group: times + 1, WIRE: 3})
    assert chance(more, group) >= chance(fewer, group) * (1 - 1e-9)


def test_one_repair_moves_little_and_ten_move_much() -> None:
    usual = chance(USUAL, WIRE)
    one, ten = (chance(with_history(USUAL, {WIRE: n}), WIRE) / usual for n in (1, 10))
    assert 1.5 < one < 2.5
    assert ten == pytest.approx(MOST)


def test_the_factor_is_the_mean_of_a_gamma_after_a_poisson_count() -> None:
    """Against the textbook: with a Gamma(shape a, rate a) prior and n events where m were expected, the mean is (a + n) / (a + m);
    found here by integrating prior times likelihood numerically."""
    import numpy as np

    p = chance(USUAL, WIRE) / sum(s.prior for s in USUAL if s.broken and s.id != OUTSIDE)
    times = np.linspace(1e-6, 60, 600_001)
    weight = times ** (SHAPE - 1) * np.exp(-SHAPE * times) * np.exp(-2 * p * times) * times**2
    mean = float((times * weight).sum() / weight.sum())
    found = factors(USUAL, {WIRE: 2})
    others = [f for g, f in found.items() if g != WIRE]
    # All are scaled together; another group with next to no expectation has the factor 1 before that.
    assert found[WIRE] / max(others) == pytest.approx(mean, rel=0.02)


def test_without_a_past_nothing_moves() -> None:
    assert with_history(USUAL, {}) == USUAL
    assert with_history(USUAL, {WIRE: 0}) == USUAL
    assert FOUND.with_past({}) is FOUND


def test_a_machine_with_a_past_is_the_same_machine_but_for_its_priors() -> None:
    other = FOUND.with_past({WIRE: 2})
    assert other.content == FOUND.content
    assert chance(other.suspects, WIRE) > chance(FOUND.suspects, WIRE)
    assert other.with_wiring().past == {WIRE: 2}
