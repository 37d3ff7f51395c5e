"""Mutual information of readings, scored many at once. Witness: the definition (Shannon 1948), written out in a loop."""

from __future__ import annotations

import numpy as np
import pytest
from bench.every_pair import score_pairs
from hypothesis import given, settings
from hypothesis import strategies as st


def by_definition(row, weight, group):
    bits = 0.0
    for c in set(row):
        for g in set(group):
            both = weight[(row == c) & (group == g)].sum()
            if both:
                bits += both * np.log2(both / (weight[row == c].sum() * weight[group == g].sum()))
    return bits


EDGES = (6.0, 60.0, 120.0)


def panel(random, points, outcomes, kind):
    """Volts of some points: few levels, so that points, outcomes and readings come that are alike."""
    levels = random.normal(0, 70, 4) + 1j * (random.normal(0, 70, 4) if kind == "ac" else np.zeros(4))
    volts = levels[random.integers(0, 4, (points, outcomes))]
    volts[-1] = volts[0]
    volts[:, -1] = volts[:, 0]
    return volts if kind == "ac" else volts.real


@given(
    st.integers(0, 2**32 - 1), st.integers(2, 7), st.integers(1, 30), st.integers(1, 6), st.sampled_from(["ac", "dc"])
)
@settings(max_examples=80)
def test_every_pair_gets_the_information_of_the_definition_and_equal_readings_are_one(
    seed, points, outcomes, groups, kind
):
    random = np.random.default_rng(seed)
    volts = panel(random, points, outcomes, kind)
    weight, group = random.random(outcomes) + 0.01, random.integers(0, groups, outcomes)
    found = score_pairs(volts, EDGES, weight, group)
    red, black = np.triu_indices(points, 1)
    classes = np.digitize(np.abs(volts[red] - volts[black]), EDGES)
    weight /= weight.sum()
    assert found.bits == pytest.approx([by_definition(row, weight, group) for row in classes], abs=1e-9)
    for one in range(len(red)):
        for other in range(len(red)):
            assert (found.kind[one] == found.kind[other]) == np.array_equal(classes[one], classes[other])


def test_volts_that_differ_by_less_than_a_meter_shows_are_one_and_a_millivolt_over_an_edge_is_over():
    volts = np.array([[0.0, 0.0, 0.0], [59.9994, 60.0, 60.0004]])
    found = score_pairs(volts, [60.0], np.ones(3), np.arange(3))
    assert found.bits == pytest.approx([by_definition(np.array([0, 1, 1]), np.ones(3) / 3, np.arange(3))], abs=1e-9)


def test_two_points_at_the_same_volts_tell_nothing_and_no_point_is_no_reading():
    assert score_pairs(np.full((2, 5), 24.0), EDGES, np.ones(5), np.arange(5)).bits == pytest.approx([0.0], abs=1e-9)
    assert score_pairs(np.zeros((1, 5)), EDGES, np.ones(5), np.arange(5)).bits.size == 0
