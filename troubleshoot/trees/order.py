"""The best order of tests that a search finds, by what the model computes and nobody's slips: what a tree is held against.

Every walk round, module face and trip that the engine would plan is a test with its seconds. The order is greedy, always the
test that tells most about the repair for its time; only the first is chosen by trying the best few to their ends. No order is proved to be the best there is (finding that is as hard
as any problem of its kind); a lower figure than a tree's shows that the tree can be shorter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.plan import MOST_READINGS, Planner
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.seen import Light, Look
from troubleshoot.trees.answers import Answers, Indices, What
from troubleshoot.trees.walk import price

LEAST_BITS: Final = 1e-9
"""A test that tells less tells nothing."""
TRIED: Final = 8
"""Tests that are tried to their ends for the first of an order."""


@dataclass(frozen=True, slots=True)
class Column:
    """One test as numbers: what each suspect answers, and in which way it can share a trip."""

    items: tuple[What, ...]
    at: NamedSituation
    codes: Indices
    """(suspects,) the answer, numbered."""
    stand: tuple[str, ...]
    """Columns that stand alike can be one trip; empty: it is a trip by itself."""


@dataclass(frozen=True, slots=True)
class Test:
    """The test chosen for some suspects, and what each answer leaves of them."""

    items: tuple[What, ...]
    at: NamedSituation
    cost: float
    parts: tuple[Indices, ...]


@dataclass
class Order:
    """Greedy orders over one machine in some situations; what was found for a set of suspects is kept."""

    answers: Answers
    planner: Planner
    places: Sequence[NamedSituation]
    """Situations in which a reading may be asked."""
    looked: NamedSituation
    """In which one walks round."""
    chance: Floats
    """(suspects,) beforehand; 0 for those that do not matter."""
    columns: list[Column] = field(default_factory=list)
    """Every test, as it was when this was made."""
    _ranked: dict[bytes, tuple[Test, ...]] = field(default_factory=dict)
    _costs: dict[bytes, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        suspects = self.answers.reasoner.machine.suspects
        names = {name: k for k, name in enumerate(dict.fromkeys(s.group for s in suspects))}
        self.group = np.array([names[s.group] for s in suspects], dtype=np.intp)
        signs = self.answers.reasoner.machine.net.signs.values()
        looks: tuple[What, ...] = tuple(Look(s.name) for s in signs if s.kind == "look")
        lights: tuple[What, ...] = tuple(Light(s.name) for s in signs if s.kind == "light")
        sheets = [(self.looked, looks), *((at, (*lights, *looks)) for at in self.places)]
        self.columns = [self._sheet(items, at) for at, items in sheets if items]
        for at in self.places:
            picked = self.answers.picked(at.situation)
            lists = self.planner.candidates(at.situation)
            if not lists.items:
                continue
            classes = lists.chances.argmax(axis=2)[:, picked]
            for item, row in zip(lists.items, classes, strict=True):
                stand = (at.name, item.place, item.meter.mode, str(item.meter.black) if item.parked else "")
                self.columns.append(Column((item.meter,), at, row.astype(np.intp), stand))
        rows = [column.codes for column in self.columns]
        self._codes = np.stack(rows) if rows else np.zeros((0, len(suspects)), dtype=np.intp)

    def _sheet(self, items: tuple[What, ...], at: NamedSituation) -> Column:
        rows = list(zip(*(self.answers.said(item, at.situation) for item in items), strict=True))
        number = {row: k for k, row in enumerate(dict.fromkeys(rows))}
        return Column(items, at, np.array([number[row] for row in rows], dtype=np.intp), ())

    def cost(self, cell: Indices) -> float:
        """Expected seconds until only suspects are left that one repair mends or that no test here tells apart."""
        key = cell.tobytes()
        if key not in self._costs:
            test = self.choose(cell)
            self._costs[key] = 0.0 if test is None else test.cost + self._after(test, self.cost)
        return self._costs[key]

    def shortest(self, cell: Indices) -> float:
        """As `cost`, with the first test chosen by trying the best few to their ends; never more than `cost`."""
        return min((t.cost + self._after(t, self.cost) for t in self.ranked(cell)), default=0.0)

    def _after(self, test: Test, cost: Callable[[Indices], float]) -> float:
        weights = [float(self.chance[part].sum()) for part in test.parts]
        return sum(w * cost(part) for w, part in zip(weights, test.parts, strict=True)) / (sum(weights) or 1.0)

    def choose(self, cell: Indices) -> Test | None:
        """The test that tells most about the repair for its seconds; None where none tells anything."""
        return next(iter(self.ranked(cell)), None)

    def ranked(self, cell: Indices) -> tuple[Test, ...]:
        """The tests that tell most about the repair for their seconds, best first, a few at most."""
        key = cell.tobytes()
        if key not in self._ranked:
            self._ranked[key] = self._rank(cell)
        return self._ranked[key]

    def _rank(self, cell: Indices) -> tuple[Test, ...]:
        groups, group = np.unique(self.group[cell], return_inverse=True)
        total = float(self.chance[cell].sum())
        if len(groups) < 2 or total <= 0:
            return ()
        weight = self.chance[cell] / total
        alive: list[tuple[Column, Indices]] = []
        known: set[tuple[tuple[str, ...], bytes]] = set()
        here = self._codes[:, cell]
        for number in np.flatnonzero((here != here[:, :1]).any(axis=1)):
            column, codes = self.columns[number], np.unique(here[number], return_inverse=True)[1]
            mark = (column.stand, codes.tobytes())
            if mark not in known:
                known.add(mark)
                alive.append((column, codes))
        single = [bits(codes, group, weight) for _, codes in alive]
        found: list[tuple[float, float, Sequence[int], Indices]] = []
        for stand in dict.fromkeys(column.stand for column, _ in alive):
            inside = [k for k, (column, _) in enumerate(alive) if column.stand == stand]
            trips = self._trips(alive, single, inside, group, weight) if stand else [
                ([k], alive[k][1], single[k]) for k in inside
            ]  # fmt: skip
            for picked, codes, told in trips:
                if told > LEAST_BITS:
                    cost = self._price([i for k in picked for i in alive[k][0].items], alive[picked[0]][0].at)
                    found.append((told / cost, cost, picked, codes))
        found.sort(key=lambda one: -one[0])
        return tuple(
            Test(
                tuple(i for k in picked for i in alive[k][0].items), alive[picked[0]][0].at, cost,
                tuple(cell[codes == k] for k in range(int(codes.max()) + 1)),
            )
            for _, cost, picked, codes in found[:TRIED]
        )  # fmt: skip

    def _trips(
        self, alive: Sequence[tuple[Column, Indices]], single: Sequence[float], inside: Sequence[int], group: Indices,
        weight: Floats,
    ) -> list[tuple[list[int], Indices, float]]:  # fmt: skip
        """One, two and three readings of a place, each the one that tells most beside those before it.

        Columns, answers together, bits.
        """
        first = max(inside, key=lambda k: single[k])
        out = [([first], alive[first][1], single[first])]
        while len(out) < MOST_READINGS and len(inside) > len(out):
            picked, joint, told = out[-1]
            wide = 1 + max(int(alive[k][1].max()) for k in inside)
            joined = {k: joint * wide + alive[k][1] for k in inside if k not in picked}
            gains = {k: bits(codes, group, weight) for k, codes in joined.items()}
            more = max(gains, key=lambda k: gains[k])
            if gains[more] - told <= LEAST_BITS:
                break
            out.append(([*picked, more], np.unique(joined[more], return_inverse=True)[1], gains[more]))
        return out

    def _price(self, items: Sequence[What], at: NamedSituation) -> float:
        return price(self.answers.reasoner.machine.circuit, items, at)


def bits(codes: Indices, group: Indices, weight: Floats) -> float:
    """Bits that an answer tells about the repair."""
    wide = int(group.max()) + 1
    joint = (
        np.bincount(codes * wide + group, weight, (int(codes.max()) + 1) * wide).astype(np.float64).reshape(-1, wide)
    )
    return _entropy(joint.sum(axis=0)) + _entropy(joint.sum(axis=1)) - _entropy(joint.ravel())


def _entropy(p: Floats) -> float:
    some = p[p > 0]
    return float(-(some * np.log2(some)).sum())
