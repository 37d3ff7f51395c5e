"""The cheapest order of tests there is, proved: a search over sets of suspects with bounds from both sides.

What is searched is a problem in numbers (`Problem`): suspects with their chance and repair, tests with their seconds and each
suspect's answer. An order ends where one repair is left, or suspects that no test tells apart. Finding the best order is
NP-hard (Hyafil and Rivest 1976), so the search is bounded by a number of sets; where that runs out it says how far from the
best it may be.

Bounds from below, of which the larger counts: information (an order must tell the entropy of the leaves that it cannot
avoid, and a test with k answers tells at most log2 k for its seconds; Shannon) and Huffman's code (no order with tests of at
most k answers reaches those leaves in fewer tests than the best k-ary code, each at least the cheapest test's seconds;
Huffman 1952).
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

MOST_SETS: Final = 20_000
"""Sets of suspects that a search looks into before it gives up the proof: some ten seconds."""
LEAST_BITS: Final = 1e-9
TOLERANCE: Final = 1e-9
MOST_AT_ONCE: Final = 4_000_000
"""Comparisons of codes that are held in memory at once."""


@dataclass(frozen=True)
class Problem:
    """Suspects and tests as numbers.

    chance: (suspects,) above 0; group: (suspects,) which repair mends each; cost: (tests,) seconds above 0;
    codes: (tests, suspects) each suspect's answer, numbered from 0.
    """

    chance: Floats
    group: Indices
    cost: Floats
    codes: Indices

    def __post_init__(self) -> None:
        tests, suspects = self.codes.shape
        if len(self.chance) != suspects or len(self.group) != suspects or len(self.cost) != tests:
            raise ValueError("chance, group, cost and codes are not of one size")
        if (self.chance <= 0).any() or (self.cost <= 0).any():
            raise ValueError("chances and costs are above 0")

    @cached_property
    def alike(self) -> Indices:
        """(suspects,) class of those that no test tells apart."""
        rows = self.codes.T if len(self.codes) else np.zeros((len(self.chance), 1), dtype=np.intp)
        return np.unique(rows, axis=0, return_inverse=True)[1].reshape(-1).astype(np.intp)


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found: an order of expected seconds `cost`, and that none costs less than `least`."""

    cost: float
    least: float
    sets: int
    """Sets of suspects looked into."""

    @property
    def proved(self) -> bool:
        """The order is the best there is."""
        return self.cost <= self.least + TOLERANCE * max(1.0, self.cost)

    @property
    def gap(self) -> float:
        """Share by which the order may cost more than the best, at most."""
        return self.cost / self.least - 1 if self.least > 0 else 0.0


@dataclass(frozen=True, slots=True)
class _Test:
    number: int
    cost: float
    parts: tuple[tuple[float, int], ...]
    """(share, set) of what each answer leaves."""


@dataclass(slots=True)
class _Node:
    """One set of suspects: bounds of the expected seconds from it, per chance of the set."""

    low: float
    high: float
    tests: tuple[_Test, ...] | None = None
    """The tests tried so far that may be in the best order; None: not looked into."""
    waiting: list[tuple[float, int]] = field(default_factory=list)
    """A heap of the others: a bound from below of the expected seconds with each, and its number."""


@dataclass
class Search:
    """Orders over one problem. Sets of suspects are bit masks; what was found out about one is kept."""

    problem: Problem
    _nodes: dict[int, _Node] = field(default_factory=dict)
    _greedy: dict[int, float] = field(default_factory=dict)
    _picks: dict[int, int | None] = field(default_factory=dict)
    _last: tuple[int, Indices, Indices] | None = None
    _above: dict[int, Indices] = field(default_factory=dict)
    """By set: tests among which all are that part it, from the set that it came out of. Two tests that part that one alike
    part this one alike, so the cheaper of them is enough."""

    # ------------------------------------------------------------------------------------------- simple orders

    def everything(self) -> Indices:
        """Every suspect."""
        return np.arange(len(self.problem.chance), dtype=np.intp)

    def greedy(self, cell: Indices) -> float:
        """Expected seconds where the test that tells most about the repair for its seconds is always next."""
        key = _mask(cell)
        if key not in self._greedy:
            test = self.pick(cell)
            self._greedy[key] = 0.0 if test is None else self._then(cell, test)
        return self._greedy[key]

    def rollout(self, cell: Indices) -> float:
        """Expected seconds where each test is chosen by trying every one with the greedy order behind it."""
        tests = self._worth(cell)
        if not tests:
            return 0.0
        best = min(tests, key=lambda t: (round(self._then(cell, t), 9), t))
        parts = self._parts(cell, best)
        return float(self.problem.cost[best]) + sum(share * self.rollout(part) for share, part in parts)

    def pick(self, cell: Indices) -> int | None:
        """The greedy choice; None where one repair is left or nothing tells."""
        key = _mask(cell)
        if key not in self._picks:
            worth, first = self._worth_rows(cell)
            told = self._told(cell, first)
            gains = {t: float(b) / float(self.problem.cost[t]) for t, b in zip(worth, told, strict=True)}
            best = max(worth, key=lambda t: (round(gains[t], 12), -t), default=None)
            # Parting two suspects of one repair tells nothing by itself; where nothing else is left, any that parts does.
            self._picks[key] = best
        return self._picks[key]

    def rolled(self, cell: Indices, most: int) -> int | None:
        """The first test of a one-step rollout over so many of the tests that tell most for their seconds.

        None where one repair is left or nothing tells.
        """
        worth, first = self._worth_rows(cell)
        told = self._told(cell, first)
        ranked = sorted((-float(b) / float(self.problem.cost[t]), t) for t, b in zip(worth, told, strict=True))
        return min((t for _, t in ranked[:most]), key=lambda t: (round(self._then(cell, t), 9), t), default=None)

    def after(self, cell: Indices, test: int) -> float:
        """Expected seconds with this test first and the best order known behind it."""
        node = self._nodes.get(_mask(cell))
        known = next((t for t in (node.tests or ()) if t.number == test), None) if node is not None else None
        return self._high(known) if known is not None else self._then(cell, test)

    def _then(self, cell: Indices, test: int) -> float:
        return float(self.problem.cost[test]) + sum(
            share * self.greedy(part) for share, part in self._parts(cell, test)
        )

    def _told(self, cell: Indices, first: Indices) -> Floats:
        """(tests,) bits that each tells about the repair. first: (tests, suspects) from `firsts`."""
        weight = self.problem.chance[cell] / self.problem.chance[cell].sum()
        group = firsts(self.problem.group[cell][None, :])[0]
        both = _both(first, group)
        out: Floats = _entropies(group[None, :], weight) + _entropies(first, weight) - _entropies(both, weight)
        return out

    def _ends(self, cell: Indices) -> bool:
        groups, alike = self.problem.group[cell], self.problem.alike[cell]
        return bool((groups == groups[0]).all() or (alike == alike[0]).all())

    def _worth(self, cell: Indices) -> list[int]:
        """Tests that part these suspects, of each way of parting the cheapest."""
        return self._worth_rows(cell)[0]

    def _worth_rows(self, cell: Indices) -> tuple[list[int], Indices]:
        """The same, and (tests, suspects) how each parts them, as `firsts`."""
        if self._ends(cell):
            return [], np.zeros((0, len(cell)), dtype=np.intp)
        tests, first = self._parting(cell)
        ways: dict[bytes, int] = {}
        small = first.astype(np.uint16)
        cost = self.problem.cost[tests]
        for k in range(len(tests)):
            way = small[k].tobytes()
            if way not in ways or cost[k] < cost[ways[way]]:
                ways[way] = k
        rows = sorted(ways.values())
        key = _mask(cell)
        if key not in self._above or len(rows) < len(self._above[key]):
            self._above[key] = tests[rows]
        return [int(tests[k]) for k in rows], first[rows]

    def _parting(self, cell: Indices) -> tuple[Indices, Indices]:
        """Numbers of the tests that part these suspects, and how. The last answer is kept: it is asked for twice in a row."""
        key = _mask(cell)
        if self._last is None or self._last[0] != key:
            known = self._above.get(key)
            codes = self.problem.codes[:, cell] if known is None else self.problem.codes[np.ix_(known, cell)]
            parting = np.flatnonzero((codes != codes[:, :1]).any(axis=1))
            self._last = (key, parting if known is None else known[parting], firsts(codes[parting]))
        return self._last[1], self._last[2]

    def _parts(self, cell: Indices, test: int) -> list[tuple[float, Indices]]:
        codes = self.problem.codes[test, cell]
        total = float(self.problem.chance[cell].sum())
        above = self._above.get(_mask(cell))
        found = []
        for code in sorted(set(codes.tolist())):
            part = cell[codes == code]
            if above is not None:
                self._above.setdefault(_mask(part), above)
            found.append((float(self.problem.chance[part].sum()) / total, part))
        return found

    # -------------------------------------------------------------------------------------------- the exact order

    def exact(
        self, cell: Indices | None = None, *, most_sets: int = MOST_SETS, enough: Callable[[], bool] = lambda: False
    ) -> Found:
        """The best order from these suspects (all, where none are named), or as near to it as so many sets allow.

        Best first in the way of AO* (Nilsson 1980): the set whose bounds are worst, in the test that promises most, is looked
        into next, and what is learnt there goes up to where it came from. enough: asked after every set; true ends the search
        with what it has found. Raises nothing.
        """
        root = _mask(self.everything() if cell is None else cell)
        self._node(root)
        looked = 0
        while looked < most_sets and not enough():
            node = self._nodes[root]
            if node.high - node.low <= TOLERANCE * max(1.0, node.high):
                break
            looked += self._deepen(root, most_sets - looked)
        node = self._nodes[root]
        return Found(node.high, min(node.low, node.high), looked)

    def best(self, cell: Indices) -> int | None:
        """The first test of the best order found from these suspects, which `exact` has come by; the greedy choice elsewhere."""
        node = self._nodes.get(_mask(cell))
        if node is None or not node.tests:
            return self.pick(cell)
        return min(node.tests, key=lambda t: (round(self._high(t), 9), t.number)).number

    def _deepen(self, key: int, left: int) -> int:
        """Follow the most promising tests down to a set that is new, look into it, and carry its bounds back up."""
        path: list[int] = []
        looked = 0
        while True:
            node = self._nodes[key]
            path.append(key)
            if node.tests is None:
                self._expand(key)
                looked += 1
                break
            promising = self._promising(key)
            open_parts = [
                (share * (self._nodes[part].high - self._nodes[part].low), part)
                for share, part in promising.parts if self._nodes[part].high - self._nodes[part].low > TOLERANCE / 10
            ]  # fmt: skip
            if not open_parts:
                break
            key = max(open_parts)[1]
        for above in reversed(path):
            self._carry(above)
        return max(looked, 1)

    def _carry(self, key: int) -> None:
        node = self._nodes[key]
        if node.tests is None:
            return
        lows = [self._low(t) for t in node.tests]
        node.low = max(node.low, min([node.waiting[0][0] if node.waiting else math.inf, *lows]))
        node.high = min(node.high, min(self._high(t) for t in node.tests))
        # A test that cannot be better than what is known is never looked at again.
        node.tests = tuple(t for t, low in zip(node.tests, lows, strict=True) if low <= node.high + TOLERANCE)
        node.low = min(node.low, node.high)

    def _low(self, test: _Test) -> float:
        return test.cost + sum(share * self._nodes[part].low for share, part in test.parts)

    def _high(self, test: _Test) -> float:
        return test.cost + sum(share * self._nodes[part].high for share, part in test.parts)

    def _expand(self, key: int) -> None:
        """Every test that may yet be better than the best order known from this set, by its bound; the greedy one at once."""
        node, cell = self._nodes[key], _members(key)
        worth, first = self._worth_rows(cell)
        lows = self._least_with(cell, worth, first)
        greedy = self.pick(cell)
        node.waiting = [
            (float(low), t) for t, low in zip(worth, lows, strict=True) if low <= node.high + TOLERANCE and t != greedy
        ]
        heapq.heapify(node.waiting)
        node.tests = ()
        if greedy is not None:
            self._try(key, greedy)

    def _try(self, key: int, test: int) -> _Test:
        """Bounds of the sets that a test leaves: it is one of the tests of its set from now on, if it may be the best."""
        node = self._nodes[key]
        parts = tuple((share, _mask(part)) for share, part in self._parts(_members(key), test))
        for _, part in parts:
            self._node(part)
        made = _Test(test, float(self.problem.cost[test]), parts)
        if not node.tests or self._low(made) <= node.high + TOLERANCE:
            node.tests = (*(node.tests or ()), made)
        return made

    def _promising(self, key: int) -> _Test:
        """The test of a set with the lowest bound; those that wait with a bound below it are tried first."""
        node = self._nodes[key]
        low, _, best = min((self._low(t), t.number, t) for t in node.tests or ())
        while node.waiting and node.waiting[0][0] < low:
            tried = self._try(key, heapq.heappop(node.waiting)[1])
            if (its := self._low(tried)) < low:
                low, best = its, tried
        return best

    def _least_with(self, cell: Indices, tests: Sequence[int], first: Indices) -> Floats:
        """(tests,) no order with this test first has fewer expected seconds.

        What a test leaves in doubt about the leaves (`_leaves`) has to be told by others, and none tells a bit for fewer
        seconds than the best of all these does. first: (tests, suspects) from `firsts`.
        """
        cost = self.problem.cost[list(tests)]
        answers = (first == np.arange(len(cell))).sum(axis=1)
        leaf, weight = self._leaf_of(cell), self.problem.chance[cell] / self.problem.chance[cell].sum()
        left = _entropies(_both(first, leaf), weight) - _entropies(first, weight)
        out: Floats = cost + np.maximum(left, 0.0) * float((cost / np.log2(answers)).min(initial=np.inf))
        return out

    def _node(self, key: int) -> _Node:
        if key not in self._nodes:
            cell = _members(key)
            if self._ends(cell):
                self._nodes[key] = _Node(0.0, 0.0, ())
            else:
                self._nodes[key] = _Node(self.least(cell), self.greedy(cell))
        return self._nodes[key]

    def least(self, cell: Indices) -> float:
        """No order from these suspects has fewer expected seconds: the larger of the information and the Huffman bound."""
        if self._ends(cell):
            return 0.0
        parting, first = self._parting(cell)
        if not len(parting):
            return 0.0
        answers = (first == np.arange(len(cell))).sum(axis=1)
        cost = self.problem.cost[parting]
        weights = self._leaves(cell)
        if len(weights) < 2:
            return float(cost.min())
        told = _entropy(weights) * float((cost / np.log2(answers)).min())
        coded = huffman(weights, int(answers.max())) * float(cost.min())
        return max(told, coded, float(cost.min()))

    def _leaves(self, cell: Indices) -> Floats:
        """(leaves,) chances of the leaves that no order can avoid, summing to 1."""
        weights = np.bincount(self._leaf_of(cell), self.problem.chance[cell])
        weights = weights[weights > 0]
        return np.asarray(weights / weights.sum(), dtype=np.float64)

    def _leaf_of(self, cell: Indices) -> Indices:
        """(suspects,) the place in `cell` of the first suspect of the same leaf.

        A leaf is one repair, or suspects that nothing tells apart: so suspects joined by either are counted as one leaf.
        """
        parent: dict[tuple[str, int], tuple[str, int]] = {}

        def root(one: tuple[str, int]) -> tuple[str, int]:
            while parent.setdefault(one, one) != one:
                one = parent[one]
            return one

        for k in cell:
            parent[root(("group", int(self.problem.group[k])))] = root(("alike", int(self.problem.alike[k])))
        place: dict[tuple[str, int], int] = {}
        return np.array(
            [place.setdefault(root(("group", int(self.problem.group[k]))), at) for at, k in enumerate(cell)],
            dtype=np.intp,
        )


def huffman(weights: Sequence[float] | Floats, ways: int) -> float:
    """Mean length of the best code for these weights with so many symbols: Huffman 1952.

    weights: sum to 1; ways: 2 or more. No code is needed for one weight.
    """
    heap = [float(w) for w in weights]
    if len(heap) < 2:
        return 0.0
    # Empty leaves fill up the first joining, so that every later one is full.
    heap += [0.0] * (-(len(heap) - 1) % (ways - 1))
    heapq.heapify(heap)
    mean = 0.0
    while len(heap) > 1:
        joined = sum(heapq.heappop(heap) for _ in range(ways))
        mean += joined
        heapq.heappush(heap, joined)
    return mean


def _entropy(p: Floats) -> float:
    some = p[p > 0]
    return float(-(some * np.log2(some)).sum())


def _mask(cell: Indices) -> int:
    """The set of these suspects, which are in rising order, as a number with one bit each."""
    if not len(cell):
        return 0
    bits = np.zeros(int(cell[-1]) + 1, dtype=np.bool_)
    bits[cell] = True
    return int.from_bytes(np.packbits(bits, bitorder="little").tobytes(), "little")


def _members(key: int) -> Indices:
    """(suspects,) of a set, in rising order."""
    raw = np.frombuffer(key.to_bytes(-(-key.bit_length() // 8), "little"), dtype=np.uint8)
    return np.flatnonzero(np.unpackbits(raw, bitorder="little")).astype(np.intp)


def firsts(codes: Indices) -> Indices:
    """(rows, columns) the first column with the same code: the way in which a row parts, whatever its answers are called."""
    out = np.empty(codes.shape, dtype=np.intp)
    some = max(1, MOST_AT_ONCE // max(1, codes.shape[1] ** 2))
    for k in range(0, len(codes), some):
        part = codes[k : k + some]
        out[k : k + some] = (part[:, :, None] == part[:, None, :]).argmax(axis=2)
    return out


def _both(first: Indices, label: Indices) -> Indices:
    """(rows, columns) the first column with the same label and the same in `first`. label: (columns,)."""
    both = np.empty_like(first)
    for one in np.unique(label):
        mine = np.flatnonzero(label == one)
        both[:, mine] = mine[firsts(first[:, mine])]
    return both


def _entropies(first: Indices, weight: Floats) -> Floats:
    """(rows,) bits of doubt about the answer of each row. weight: (columns,), sums to 1."""
    rows, columns = first.shape
    flat = (first + columns * np.arange(rows)[:, None]).ravel()
    p = np.bincount(flat, np.broadcast_to(weight, first.shape).ravel(), rows * columns).reshape(rows, columns)
    out: Floats = -(p * np.log2(np.where(p > 0, p, 1.0))).sum(axis=1)
    return out


__all__ = ["MOST_SETS", "Found", "Problem", "Search", "huffman"]
