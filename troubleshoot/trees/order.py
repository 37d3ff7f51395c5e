"""The best order of tests that a search finds, by what the model computes and nobody's slips: what a tree is held against.

Every walk round, module face and trip that the engine would plan is a test with its seconds. The order is greedy: always
the test that tells most about the repair for its time. No order is proved to be the best there is (finding that is as hard
as any problem of its kind); a lower figure than a tree's shows that the tree can be shorter.
"""

from __future__ import annotations

from collections.abc import Sequence
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
    _columns: list[Column] = field(default_factory=list)
    _chosen: dict[bytes, Test | None] = field(default_factory=dict)
    _cost: dict[bytes, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        suspects = self.answers.reasoner.machine.suspects
        names = {name: k for k, name in enumerate(dict.fromkeys(s.group for s in suspects))}
        self.group = np.array([names[s.group] for s in suspects], dtype=np.intp)
        signs = self.answers.reasoner.machine.net.signs.values()
        looks: tuple[What, ...] = tuple(Look(s.name) for s in signs if s.kind == "look")
        lights: tuple[What, ...] = tuple(Light(s.name) for s in signs if s.kind == "light")
        sheets = [(self.looked, looks), *((at, (*lights, *looks)) for at in self.places)]
        self._columns = [self._sheet(items, at) for at, items in sheets if items]
        for at in self.places:
            picked = self.answers.picked(at.situation)
            lists = self.planner.candidates(at.situation)
            if not lists.items:
                continue
            classes = lists.chances.argmax(axis=2)[:, picked]
            for item, row in zip(lists.items, classes, strict=True):
                stand = (at.name, item.place, item.meter.mode, str(item.meter.black) if item.parked else "")
                self._columns.append(Column((item.meter,), at, row.astype(np.intp), stand))

    def _sheet(self, items: tuple[What, ...], at: NamedSituation) -> Column:
        rows = list(zip(*(self.answers.said(item, at.situation) for item in items), strict=True))
        number = {row: k for k, row in enumerate(dict.fromkeys(rows))}
        return Column(items, at, np.array([number[row] for row in rows], dtype=np.intp), ())

    def cost(self, cell: Indices) -> float:
        """Expected seconds until only suspects are left that one repair mends or that no test here tells apart."""
        total, todo = 0.0, [(cell, 1.0)]
        while todo:
            part, share = todo.pop()
            test = self.choose(part)
            if test is None:
                continue
            total += share * test.cost
            weight = self.chance[part].sum()
            todo += [(p, share * float(self.chance[p].sum() / weight)) for p in test.parts]
        return total

    def choose(self, cell: Indices) -> Test | None:
        """The test that tells most about the repair for its seconds; None where none tells anything."""
        key = cell.tobytes()
        if key not in self._chosen:
            self._chosen[key] = self._choose(cell)
        return self._chosen[key]

    def _choose(self, cell: Indices) -> Test | None:
        groups, group = np.unique(self.group[cell], return_inverse=True)
        if len(groups) < 2:
            return None
        weight = self.chance[cell] / self.chance[cell].sum()
        alive: list[tuple[Column, Indices]] = []
        known: set[tuple[tuple[str, ...], bytes]] = set()
        for column in self._columns:
            codes = np.unique(column.codes[cell], return_inverse=True)[1]
            mark = (column.stand, codes.tobytes())
            if codes.max() > 0 and mark not in known:
                known.add(mark)
                alive.append((column, codes))
        best: tuple[float, tuple[What, ...], NamedSituation, float, Indices] | None = None
        single = [_bits(codes, group, weight) for _, codes in alive]
        for stand in dict.fromkeys(column.stand for column, _ in alive):
            inside = [k for k, (column, _) in enumerate(alive) if column.stand == stand]
            first = max(inside, key=lambda k: single[k])
            picked, joint, bits = [first], alive[first][1], single[first]
            while stand and len(picked) < MOST_READINGS and len(inside) > len(picked):
                joined = {
                    k: np.unique(joint * 64 + alive[k][1], return_inverse=True)[1] for k in inside if k not in picked
                }
                gains = {k: _bits(codes, group, weight) for k, codes in joined.items()}
                more = max(gains, key=lambda k: gains[k])
                if gains[more] - bits <= LEAST_BITS or not self._pays(alive, picked, more, bits, gains[more]):
                    break
                picked.append(more)
                joint, bits = joined[more], gains[more]
            options = [(picked, joint, bits)] if stand else [
                ([k], alive[k][1], single[k]) for k in inside
            ]  # fmt: skip
            for one, codes, told in options:
                if told <= LEAST_BITS:
                    continue
                items = tuple(i for k in one for i in alive[k][0].items)
                at = alive[one[0]][0].at
                cost = self._price(items, at)
                if best is None or told / cost > best[0]:
                    best = (told / cost, items, at, cost, codes)
        if best is None:
            return None
        _, items, at, cost, codes = best
        return Test(items, at, cost, tuple(cell[codes == k] for k in range(int(codes.max()) + 1)))

    def _price(self, items: Sequence[What], at: NamedSituation) -> float:
        return price(self.answers.reasoner.machine.circuit, items, at)

    def _pays(
        self, alive: Sequence[tuple[Column, Indices]], picked: Sequence[int], more: int, bits: float, all_bits: float
    ) -> bool:
        """Whether a further reading tells more for the seconds of the trip than the trip without it."""
        items = [i for k in picked for i in alive[k][0].items]
        at = alive[picked[0]][0].at
        without, beside = self._price(items, at), self._price([*items, *alive[more][0].items], at)
        return all_bits / beside > bits / without


def _bits(codes: Indices, group: Indices, weight: Floats) -> float:
    """Bits that an answer tells about the repair."""
    wide = int(group.max()) + 1
    joint = (
        np.bincount(codes * wide + group, weight, (int(codes.max()) + 1) * wide).astype(np.float64).reshape(-1, wide)
    )
    return _entropy(joint.sum(axis=0)) + _entropy(joint.sum(axis=1)) - _entropy(joint.ravel())


def _entropy(p: Floats) -> float:
    some = p[p > 0]
    return float(-(some * np.log2(some)).sum())
