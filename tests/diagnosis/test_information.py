"""What readings tell, reckoned over cases that read alike, is what the definition says: I(answer; class) over every outcome."""

from __future__ import annotations

import numpy as np
import pytest

from troubleshoot.diagnosis.information import View, alike, batched, beside, entropies, information, narrowed


def by_the_definition(chances: np.ndarray, view: View) -> np.ndarray:
    """Shannon's mutual information in bits, outcome by outcome: sum of p(g, c) log2 p(g, c) / (p(g) p(c))."""
    out = []
    for item in chances:
        joint = np.zeros((len(view.names), item.shape[1]))
        for outcome, (weight, group) in enumerate(zip(view.weight, view.group, strict=True)):
            joint[group] += weight * item[outcome]
        apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
        out.append(float((joint * np.log2(np.where(joint > 0, joint / np.maximum(apart, 1e-300), 1.0))).sum()))
    return np.array(out)


def readings(seed: int) -> tuple[np.ndarray, View]:
    """Six readings of five classes over forty outcomes of nine answers, of which a few read alike; one reading tells nothing."""
    dice = np.random.default_rng(seed)
    kinds = dice.dirichlet(np.full(5, 0.4), size=(6, 7))
    kinds[5] = kinds[5, 0]
    chances = kinds[:, dice.integers(7, size=40), :]
    weight = dice.dirichlet(np.ones(40))
    group = np.concatenate([np.arange(9), dice.integers(9, size=31)])
    return chances, View(np.arange(40), weight, group, tuple("abcdefghi"))


@pytest.mark.parametrize("seed", range(6))
def test_it_is_mutual_information(seed: int) -> None:
    chances, view = readings(seed)
    cases = narrowed(view, alike(chances))
    assert len(cases.first) <= 7
    merged = chances[:, cases.first, :]
    assert information(merged, entropies(merged), cases) == pytest.approx(by_the_definition(chances, view), abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_a_batch_tells_what_its_readings_tell_together(seed: int) -> None:
    chances, view = readings(seed)
    cases = narrowed(view, alike(chances))
    batch, bits = batched(chances[:, cases.first, :], cases, list(range(6)), list(range(6)), 3, 0.0, 0.0)
    joint = np.ones((40, 1))
    for k in batch:
        gains = by_the_definition(np.stack([beside(joint, one) for one in chances]), view)
        free = [i for i in range(6) if i not in batch[: batch.index(k)]]
        assert gains[k] == pytest.approx(max(gains[free]), abs=1e-9)
        joint = beside(joint, chances[k])
    assert bits == pytest.approx(float(by_the_definition(joint[None], view)[0]), abs=1e-9)


def test_a_reading_that_tells_too_little_is_not_begun_with() -> None:
    chances, view = readings(0)
    cases = narrowed(view, alike(chances))
    assert batched(chances[:, cases.first, :], cases, [5], list(range(6)), 3, 0.01, 0.01) == ([], 0.0)
