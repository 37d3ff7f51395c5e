"""How much a batch of readings is expected to tell: one arithmetic for the next trip and for the confirming test.

Outcomes that every reading considered answers alike are one case here, and repairs of which nothing can be told apart are one
answer: neither changes what a reading tells of the repair, and hundreds of outcomes become some tens (`narrowed`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.diagnosis.tables import Floats

Labels = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class View:
    """Outcomes that matter to a choice, their weight, and which answer each belongs to (a repair group; this one or not)."""

    outcomes: npt.NDArray[np.intp]
    weight: Floats
    """(outcomes,) chance of suspect times chance of outcome; sums to 1."""
    group: npt.NDArray[np.intp]
    """(outcomes,) repair group, numbered."""
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cases:
    """A view in which outcomes with equal readings are one case; weights sum to 1."""

    first: Labels
    """(cases,) place in `View.outcomes` of an outcome of each case: its readings are those of all of them."""
    weight: Floats
    """(cases,)"""
    alone: Floats
    """(cases,) weight of the answers that are this one case and no other."""
    shared: Floats
    """(answers, cases) weight of the answers that are several cases."""


def alike(chances: Floats) -> Labels:
    """(outcomes,) a number for each, the same where every one of these readings has the same chances.

    chances: (items, outcomes, classes).
    """
    columns = np.ascontiguousarray(chances.transpose(1, 0, 2)).reshape(chances.shape[1], -1)
    numbers: dict[bytes, int] = {}
    return np.array([numbers.setdefault(row.tobytes(), len(numbers)) for row in columns], dtype=np.intp)


def narrowed(view: View, labels: Labels) -> Cases:
    """A view by case. labels: (outcomes of the view,) from `alike`, of the readings that will be asked about or of more."""
    _, first, case = np.unique(labels, return_index=True, return_inverse=True)
    member = np.zeros((len(view.names), len(first)))
    np.add.at(member, (view.group, case), view.weight)
    several = (member > 0).sum(axis=1) > 1
    return Cases(first.astype(np.intp), member.sum(axis=0), member[~several].sum(axis=0), member[several])


def _p_log_p(p: Floats) -> Floats:
    out: Floats = p * np.log2(np.maximum(p, 1e-300))
    return out


def entropies(chances: Floats) -> Floats:
    """(..., cases) bits of doubt that each reading leaves of itself. chances: (..., cases, classes)."""
    out: Floats = -_p_log_p(chances).sum(axis=-1)
    return out


def of_the_case(chances: Floats, cases: Cases) -> Floats:
    """(items,) bits that each reading tells about the case: no less than about the answer. chances: (items, cases, classes)."""
    told: Floats = entropies(np.matmul(cases.weight, chances)) - entropies(chances) @ cases.weight
    return told


def information(chances: Floats, doubt: Floats, cases: Cases, joint: Floats | None = None) -> Floats:
    """(items,) bits that each reading, beside those of a batch, is expected to tell about the answer: I(answer; classes).

    chances: (items, cases, classes); doubt: (items, cases), entropies of the whole batch, which are the sum of its readings',
    for these err each for themselves once the outcome is known; joint: (cases, classes of the batch so far), None without.
    """
    rows = np.vstack([cases.weight[None, :], cases.shared])
    before = joint if joint is not None else np.ones((len(cases.weight), 1))
    # (answers and all of them together, cases, classes so far): what is left to weigh is one product of matrices.
    weighed = (rows[:, :, None] * before[None, :, :]).transpose(0, 2, 1).reshape(-1, len(cases.weight))
    both = np.matmul(weighed, chances).reshape(len(chances), len(rows), -1)
    known = _p_log_p(both).sum(axis=2)
    left = doubt @ cases.alone - known[:, 1:].sum(axis=1) + float(_p_log_p(cases.shared.sum(axis=1)).sum())
    bits: Floats = -known[:, 0] - left
    return bits


def beside(joint: Floats, chances: Floats) -> Floats:
    """(cases, product of classes) chances of a batch with one further reading. (cases, classes) each."""
    both: Floats = (joint[:, :, None] * chances[:, None, :]).reshape(len(joint), -1)
    return both


def batched(
    chances: Floats, cases: Cases, first: list[int], rest: list[int], most: int, worth: float, further: float,
) -> tuple[list[int], float]:  # fmt: skip
    """The best batch, one reading after the other: which ones, and the bits it tells.

    chances: (items, cases, classes); first: readings with which it may begin; rest: those with which it may go on; most:
    readings in it; worth, further: bits that the first, and every further one, must add.
    """
    doubt = entropies(chances)
    batch: list[int] = []
    joint, known = np.ones((chances.shape[1], 1)), np.zeros(chances.shape[1])
    bits = 0.0
    while len(batch) < most:
        asked = [k for k in (rest if batch else first) if k not in batch]
        if not asked:
            break
        # Where two tell the same, the first stands: rounding must not ask for another point.
        gains = information(chances[asked], known + doubt[asked], cases, joint).round(9)
        best = int(np.argmax(gains))
        if gains[best] - bits < (further if batch else worth):
            break
        bits = float(gains[best])
        batch.append(asked[best])
        joint, known = beside(joint, chances[asked[best]]), known + doubt[asked[best]]
    return batch, bits
