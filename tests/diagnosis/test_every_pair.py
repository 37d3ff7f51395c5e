"""Mutual information of readings, scored many at once. Witness: the definition (Shannon 1948), written out in a loop."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.diagnosis.every_pair import classes_of_pairs, score


def by_definition(row, weight, group):
    bits = 0.0
    for c in set(row):
        for g in set(group):
            both = weight[(row == c) & (group == g)].sum()
            if both:
                bits += both * np.log2(both / (weight[row == c].sum() * weight[group == g].sum()))
    return bits


@given(st.integers(0, 2**32 - 1), st.integers(1, 12), st.integers(1, 30), st.integers(1, 5))
@settings(max_examples=60)
def test_every_reading_gets_the_information_of_the_definition_and_equal_ones_are_one(seed, readings, outcomes, groups):
    random = np.random.default_rng(seed)
    classes = random.integers(0, 3, (readings, outcomes)).astype(np.uint8)
    classes[-1] = classes[0]
    weight, group = random.random(outcomes) + 0.01, random.integers(0, groups, outcomes)
    weight /= weight.sum()
    found = score(classes, weight, group)
    assert found.bits == pytest.approx([by_definition(row, weight, group) for row in classes], abs=1e-5)
    for one in range(readings):
        for other in range(readings):
            assert (found.kind[one] == found.kind[other]) == np.array_equal(classes[one], classes[other])


def test_the_classes_of_every_pair_are_those_of_its_volts():
    random = np.random.default_rng(3)
    volts = random.normal(0, 60, (7, 20)) + 1j * random.normal(0, 60, (7, 20))
    edges = (6.0, 60.0, 120.0)
    red, black = np.triu_indices(7, 1)
    for v in (volts, volts.real):
        np.testing.assert_array_equal(classes_of_pairs(v, edges), np.digitize(np.abs(v[red] - v[black]), edges))
