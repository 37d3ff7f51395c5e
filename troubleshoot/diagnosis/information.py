"""How much a batch of readings is expected to tell: one arithmetic for the next trip and for the confirming test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.diagnosis.tables import Floats


@dataclass(frozen=True, slots=True)
class View:
    """Outcomes that matter to a choice, their weight, and which answer each belongs to (a repair group; this one or not)."""

    outcomes: npt.NDArray[np.intp]
    weight: Floats
    """(outcomes,) chance of suspect times chance of outcome; sums to 1."""
    group: npt.NDArray[np.intp]
    """(outcomes,) repair group, numbered."""
    names: tuple[str, ...]


def _entropy(p: Floats) -> Floats:
    out: Floats = -(p * np.log2(np.maximum(p, 1e-300))).sum(axis=-1)
    return out


def information(chances: Floats, view: View) -> Floats:
    """(items,) bits that each reading is expected to tell about the repair group: I(group; class)."""
    member = np.zeros((len(view.weight), len(view.names)))
    member[np.arange(len(view.weight)), view.group] = view.weight
    joint = np.matmul(member.T, chances)  # (items, groups, classes)
    seen = joint.sum(axis=1)
    group = member.sum(axis=0)
    given = joint / np.maximum(group[None, :, None], 1e-300)
    bits: Floats = _entropy(seen) - (group[None, :] * _entropy(given)).sum(axis=1)
    return bits


def beside(joint: Floats, chances: Floats) -> Floats:
    """Chances of a batch with each of several further readings beside it.

    joint: (outcomes, classes of the batch so far); chances: (items, outcomes, classes). Returns (items, outcomes, product).
    """
    both: Floats = (joint[None, :, :, None] * chances[:, :, None, :]).reshape(len(chances), len(joint), -1)
    return both
