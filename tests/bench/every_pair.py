"""The score of a reading between every two points at once: which pair of terminals tells most about the repair.

The check on the planner, no part of the program: `diagnosis.candidates` lists the readings a careful person takes; this looks
at all of them, some thousands a situation, and says what the best of any would tell. What is alike is looked at once: points that stand at the same volts under every suspect,
suspects that give the same volts everywhere, readings that sort the suspects alike, repairs that no reading splits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from troubleshoot.diagnosis.tables import Floats

Indices = npt.NDArray[np.intp]
Classes = npt.NDArray[np.uint8]

FINEST_V = 1e-3
"""Volts nearer than this are one: finer than any meter that is carried to a panel shows."""


@dataclass(frozen=True, slots=True)
class Scored:
    """Information of many readings, and which of them are the same."""

    bits: Floats
    """(readings,) that each tells about the group."""
    kind: Indices
    """(readings,) equal for readings that sort the outcomes alike, name by name of the classes; from 0."""


def score_pairs(volts: npt.NDArray[np.inexact], edges: Sequence[float], weight: Floats, group: Indices) -> Scored:
    """Score the volts between every two points, each sorted into classes by `edges` as `numpy.digitize` does it.

    volts: (points, outcomes), real or complex. weight: (outcomes,) chances. group: (outcomes,) from 0. Pairs in the order
    of `numpy.triu_indices(points, 1)`. Volts count to `FINEST_V`, and so do the edges. Raises nothing.
    """
    counted = np.round(volts / FINEST_V)
    point, points = _alike(counted)
    outcome, outcomes = _alike(counted[points].T)
    few = counted[np.ix_(points, outcomes)]
    # One more reading than pairs: between two points that stand alike, which is nothing everywhere.
    classes = np.zeros((len(points) * (len(points) - 1) // 2 + 1, len(outcomes)), np.uint8)
    _sort(few, [edge / FINEST_V for edge in edges], classes[:-1])
    member = np.zeros((len(outcomes), int(group.max(initial=-1)) + 1))
    np.add.at(member, (outcome, group), weight)
    kind, first = _kinds(classes)
    bits = _information(classes[first], member / weight.sum())
    number = np.full((len(points), len(points)), kind[-1])
    number[_pairs(len(points))] = kind[:-1]
    number.T[_pairs(len(points))] = kind[:-1]
    red, black = _pairs(len(volts))
    every = number[point[red], point[black]]
    return Scored(bits[every], every)


@lru_cache(maxsize=64)
def _pairs(points: int) -> tuple[Indices, Indices]:
    red, black = np.triu_indices(points, 1)
    return red, black


def _alike(rows: npt.NDArray[np.inexact]) -> tuple[Indices, Indices]:
    """Of each row the number of its kind, and of each kind its first row."""
    numbers: dict[bytes, int] = {}
    first: list[int] = []
    kind = np.empty(len(rows), dtype=np.intp)
    # Adding nought makes one zero of the two that there are.
    for k, row in enumerate(np.ascontiguousarray(rows) + 0):
        kind[k] = numbers.setdefault(row.tobytes(), len(first))
        if kind[k] == len(first):
            first.append(k)
    return kind, np.array(first, dtype=np.intp)


def _sort(volts: npt.NDArray[np.inexact], edges: Sequence[float], into: Classes) -> None:
    """Write the class of every pair into (pairs, outcomes). Squares are compared: roots take longer than all the rest."""
    red, black = _pairs(len(volts))
    apart = np.zeros(into.shape, np.float32)
    for part in (volts.real, volts.imag) if np.iscomplexobj(volts) else (volts,):
        # Whole numbers of millivolts, up to 16 kV without a loss in single precision.
        single = np.ascontiguousarray(part, dtype=np.float32)
        across = single[red]
        across -= single[black]
        across *= across
        apart += across
    for edge in edges:
        into += apart >= np.float32(edge**2)


def _kinds(classes: Classes) -> tuple[Indices, Indices]:
    """Of each row the number of its kind, and of each kind its first row.

    By random sums of the rows, eight classes a word: equal rows have equal sums. Rows with equal ones are compared.
    """
    readings, outcomes = classes.shape
    padded = np.zeros((readings, -(-outcomes // 8) * 8), np.uint8)
    padded[:, :outcomes] = classes
    words = padded.view(np.uint64)
    odd = np.random.default_rng(1).integers(0, 2**64, (words.shape[1], 1), np.uint64) | np.uint64(1)
    sums = ((words ^ (words >> np.uint64(29))) @ odd)[:, 0]
    _, first, kind = np.unique(sums, return_index=True, return_inverse=True)
    if not np.array_equal(words, words[first[kind]]):
        _, first, kind = np.unique(words, axis=0, return_index=True, return_inverse=True)
    return kind.reshape(-1), first


def _information(classes: Classes, member: Floats) -> Floats:
    """Mutual information between the class of each reading and the group, in bits.

    classes: (readings, outcomes). member: (outcomes, groups) chance of each group in each outcome; sums to 1.
    I = H(class) + H(group) - H(both). A group that has a single outcome falls whole into one class, whichever it is: it
    gives the same to the last two, and both leave it out.
    """
    split = (member > 0).sum(axis=0) > 1
    # The last column is what the outcomes weigh altogether.
    wanted = np.hstack([member[:, split], member.sum(axis=1, keepdims=True)])
    found = np.empty((int(classes.max(initial=0)) + 1, len(classes), wanted.shape[1]))
    for c in range(1, len(found)):
        np.matmul((classes == c).astype(np.float64), wanted, out=found[c])
    found[0] = np.maximum(wanted.sum(axis=0) - found[1:].sum(axis=0), 0)
    surprise = found * np.log(np.maximum(found, 1e-300))
    own = member[:, split].sum(axis=0)
    bits: Floats = surprise[:, :, :-1].sum(axis=(0, 2)) - surprise[:, :, -1].sum(axis=0) - (own * np.log(own)).sum()
    told: Floats = np.maximum(bits / np.log(2), 0)
    return told
