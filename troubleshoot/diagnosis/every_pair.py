"""The score of a reading between every two points at once: which pair of terminals tells most about the repair.

`candidates` lists the readings a careful person takes; this looks at all of them, some thousands a situation, and says
what the best of any would tell. Readings that say the same of every suspect are scored once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.diagnosis.tables import Floats

Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Scored:
    """Information of many readings, and which of them are the same."""

    bits: Floats
    """(readings,) that each tells about the group."""
    kind: Indices
    """(readings,) equal for readings that sort the outcomes alike, name by name of the classes; from 0."""


def classes_of_pairs(volts: Floats, edges: Sequence[float]) -> npt.NDArray[np.uint8]:
    """(pairs, outcomes) class of the volts between every two points, as `numpy.digitize` of their size by `edges`.

    volts: (points, outcomes). Pairs in the order of `numpy.triu_indices(points, 1)`.
    """
    points, outcomes = volts.shape
    real, imaginary = np.ascontiguousarray(volts.real), np.ascontiguousarray(volts.imag)
    found = np.empty((points * (points - 1) // 2, outcomes), np.uint8)
    start = 0
    for red in range(points - 1):
        # Squares are compared: the root of every pair took longer than all the rest.
        apart = real[red] - real[red + 1 :]
        apart *= apart
        if np.iscomplexobj(volts):
            across = imaginary[red] - imaginary[red + 1 :]
            across *= across
            apart += across
        row = found[start : start + len(apart)]
        np.greater_equal(apart, edges[0] ** 2, out=row.view(np.bool_))
        for edge in edges[1:]:
            row += (apart >= edge**2).view(np.uint8)
        start += len(row)
    return found


def score(classes: npt.NDArray[np.uint8], weight: Floats, group: Indices) -> Scored:
    """Mutual information between the class of each reading and the group.

    classes: (readings, outcomes), small numbers. weight: (outcomes,) chances. group: (outcomes,) from 0. Raises nothing.
    """
    readings, outcomes = classes.shape
    if not readings or not outcomes:
        return Scored(np.zeros(readings), np.zeros(readings, dtype=np.intp))
    padded = np.zeros((readings, -(-outcomes // 8) * 8), np.uint8)
    padded[:, :outcomes] = classes
    # Two random sums of a row, eight classes a word; equal rows have equal sums. Rows with equal ones are compared.
    words = padded.view(np.uint64)
    odd = np.random.default_rng(1).integers(0, 2**64, (words.shape[1], 1), np.uint64) | np.uint64(1)
    mixed = words ^ (words >> np.uint64(29))
    sums = (mixed @ odd)[:, 0]
    _, first, kind = np.unique(sums, return_index=True, return_inverse=True)
    if not np.array_equal(words, words[first[kind]]):
        _, first, kind = np.unique(words, axis=0, return_index=True, return_inverse=True)
    kind = kind.reshape(-1)
    return Scored(_information(classes[first], weight, group)[kind], kind)


def _information(classes: npt.NDArray[np.uint8], weight: Floats, group: Indices) -> Floats:
    """In single precision: right to a hundred-thousandth of a bit, and twice as fast."""
    groups, most = int(group.max()) + 1, int(classes.max()) + 1
    member = np.zeros((len(weight), groups), np.float32)
    member[np.arange(len(weight)), group] = weight / weight.sum()
    joint = np.stack([(classes == c).astype(np.float32) @ member for c in range(most)], axis=1)
    own = float(_entropy(member.sum(axis=0)[None])[0])
    return (_entropy(joint.sum(axis=2)) + own - _entropy(joint.reshape(len(classes), -1))).astype(np.float64)


def _entropy(chances: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Bits of each row."""
    out: npt.NDArray[np.float32] = -(chances * np.log2(np.where(chances > 0, chances, np.float32(1)))).sum(axis=1)
    return out
