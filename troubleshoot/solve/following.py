"""Star-mesh elimination of one network that follows the one before it: only what a change reaches is eliminated anew.

A switch that moves changes the star of one node, that node's mesh the stars of its neighbours, and so on to earth: in a
near-tree panel a dozen nodes of a hundred. Every sum is taken anew from its parts, never mended by a difference, so the
digits are those of an elimination from the beginning however long the row of networks was.
Source: partial refactorization, Chan and Brandwajn, IEEE Trans. PWRS-1 (1986) 193, from memory.

For one network the calls of numpy cost ten times the work. So each star, and each way up to earth and back, becomes a few
lines of plain arithmetic, written out from the same `Plan` that numpy follows for many.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np

from troubleshoot.solve.elimination import LEAK_S, Array, Indices, Plan, Way

Number = Any
"""A float or a complex, as the network is."""
Numbers = list[Number]
_WIDEST = 40
"""Terms in a line."""


@dataclass(frozen=True, slots=True)
class _Star:
    """One node as it goes."""

    number: int
    """Of the star, in the order in which they go."""
    node: int
    near: tuple[int, ...]
    """The nodes around it, all of which go later."""
    share: int
    """Where its shares begin: of each neighbour, how much of the node's current leaves by it."""
    owners: tuple[int, ...]
    """The stars that are parts of the mesh it leaves."""
    eliminate: Callable[[Numbers, Numbers, Numbers, Numbers], None]
    """From what lies in the slots and what others left in cells: its shares, its total, what it leaves in its cells."""


@dataclass(frozen=True, slots=True)
class _Path:
    """A way with what is done on it."""

    way: Way
    stars: tuple[_Star, ...]
    up: Callable[[Numbers, Numbers], None]
    """Carry amperes of the nodes on, in place, by the shares."""
    down: Callable[[Numbers, Numbers, Numbers], Numbers]
    """From amperes carried, totals and shares to the volts of its nodes; elsewhere anything."""


@dataclass
class Follower:
    """The last network that was eliminated, of one kind of current, and all that is needed for the next."""

    plan: Plan
    stars: tuple[_Star, ...]
    owner: tuple[int, ...]
    """Of each slot, the star that it is a part of."""
    elements: tuple[tuple[int, ...], ...]
    """Of each slot, the elements that lie there."""
    base: Numbers
    """Of each slot, what lies there before anything is eliminated."""
    cell: Numbers
    """What the mesh of each star adds, branch by branch."""
    shares: Numbers
    totals: Numbers
    """Of each star, siemens from its node to all around it and to earth."""
    siemens: Array | None = None
    to_earth: Array | None = None
    paths: dict[int, _Path] = field(default_factory=dict)
    """By the identity of their ways."""

    def another(self) -> Follower:
        """One of the same plan that has met no network yet; what is written out is written out once."""
        return Follower(
            self.plan,
            self.stars,
            self.owner,
            self.elements,
            [0.0] * len(self.base),
            [0.0] * len(self.cell),
            [0.0] * len(self.shares),
            [0.0] * len(self.totals),
            paths=self.paths,
        )

    def follow(self, siemens: Array, to_earth: Array | None) -> Followed:
        """Eliminate one network. siemens: (elements,); to_earth: (nodes,), as of `elimination.eliminate`."""
        dirty = bytearray(len(self.stars))
        for slot in self._slots(siemens, to_earth):
            here = LEAK_S + (0.0 if to_earth is None else to_earth.item(slot)) if slot < self.plan.nodes else 0.0
            for element in self.elements[slot]:
                here += siemens.item(element)
            self.base[slot] = here
            dirty[self.owner[slot]] = 1
        self.siemens, self.to_earth = siemens, to_earth
        base, cell, shares, totals, stars = self.base, self.cell, self.shares, self.totals, self.stars
        at = dirty.find(1)
        while at >= 0:
            star = stars[at]
            star.eliminate(base, cell, shares, totals)
            for other in star.owners:
                dirty[other] = 1
            at = dirty.find(1, at + 1)
        return Followed(self)

    def _slots(self, siemens: Array, to_earth: Array | None) -> Iterator[int]:
        """Slots that are not as they were."""
        if self.siemens is None:
            yield from range(self.plan.slots)
            return
        for element in (siemens != self.siemens).nonzero()[0].tolist():
            slot = self.plan.slot_of_element.item(element)
            if slot >= 0:
                yield slot
        if to_earth is not self.to_earth:
            zero = np.zeros(self.plan.nodes)
            was, now = (zero if some is None else some for some in (self.to_earth, to_earth))
            yield from np.flatnonzero(was != now).tolist()

    def path(self, way: Way) -> _Path:
        """A way made ready."""
        found = self.paths.get(id(way))
        if found is None or found.way is not way:
            on = set(way.nodes.tolist())
            stars = tuple(star for star in self.stars if star.node in on)
            found = self.paths[id(way)] = _Path(way, stars, *_written(stars, self.plan.nodes))
        return found


@dataclass(frozen=True, slots=True)
class Followed:
    """One eliminated network, until its follower goes on to the next. In place of `elimination.Eliminated`."""

    follower: Follower

    def on(self, way: Way, cases: Indices | None = None) -> Along:
        """What stands on a way."""
        return Along(self.follower, self.follower.path(way))


@dataclass(frozen=True, slots=True)
class Along:
    """A way in one network. In place of `elimination.Passage`, whose words its own have."""

    follower: Follower
    path: _Path

    def carried(self, injected: Array) -> Array:
        """(nodes, sides, 1) amperes that each node has as it goes."""
        sides = _sides(injected)
        for amps in sides:
            self.path.up(amps, self.follower.shares)
        return _side_by_side(sides, injected)

    def volts(self, carried: Array) -> Array:
        """(nodes, sides, 1) volts of the nodes on the way."""
        totals, shares, down = self.follower.totals, self.follower.shares, self.path.down
        return _side_by_side([down(amps, totals, shares) for amps in _sides(carried)], carried)

    def rounding(self, carried: Array) -> Array:
        """(1,) volts by which the digits that `carried` has lost can be wrong at the most, for one side."""
        ohms, amps, lost = [0.0] * self.follower.plan.nodes, carried[:, 0, 0].tolist(), 0.0
        totals = self.follower.totals
        for star in reversed(self.path.stars):
            here = 1 / abs(totals[star.number])
            if star.near:
                here += max([ohms[other] for other in star.near])
            ohms[star.node] = here
            lost += here * abs(amps[star.node])
        return np.array([np.finfo(np.float64).eps * lost])


def _sides(numbers: Array) -> list[Numbers]:
    found: list[Numbers] = numbers[:, :, 0].T.tolist()
    return found


def _side_by_side(sides: list[Numbers], like: Array) -> Array:
    return np.array(sides, like.dtype).T[:, :, None]


def follower(plan: Plan) -> Follower:
    """One that has met no network yet."""
    order = [node for step in plan.steps for node in step.nodes.tolist()]
    near = [tuple(around) for step in plan.steps for around in step.neighbours.tolist()]
    arms = [tuple(slots) for step in plan.steps for slots in step.slots.tolist()]
    owner = [0] * plan.slots
    between: dict[tuple[int, int], int] = {}
    for at, (node, around, slots) in enumerate(zip(order, near, arms, strict=True)):
        owner[node] = at
        for other, slot in zip(around, slots, strict=True):
            owner[slot] = at
            between[node, other] = between[other, node] = slot
    adds: list[list[int]] = [[] for _ in range(plan.slots)]
    stars, cells, shares = [], 0, 0
    for at, (node, around, slots) in enumerate(zip(order, near, arms, strict=True)):
        # The nodes are taken as they go, so what adds to this star is known by now.
        onto = [*around, *(between[one, other] for k, one in enumerate(around) for other in around[k + 1 :])]
        parts = [(slot, *adds[slot]) for slot in (node, *slots)]
        eliminate = _elimination(tuple(map(len, parts)))(at, shares, cells, *(k for part in parts for k in part))
        stars.append(_Star(at, node, around, shares, tuple(dict.fromkeys(owner[slot] for slot in onto)), eliminate))
        for cell, slot in enumerate(onto, cells):
            adds[slot].append(cell)
        cells, shares = cells + len(onto), shares + len(around)
    elements: list[list[int]] = [[] for _ in range(plan.slots)]
    for element, slot in enumerate(plan.slot_of_element.tolist()):
        if slot >= 0:
            elements[slot].append(element)
    return Follower(
        plan, tuple(stars), tuple(owner), tuple(map(tuple, elements)), [0.0] * plan.slots, [0.0] * cells, [0.0] * shares,
        [0.0] * plan.nodes,
    )  # fmt: skip


@cache
def _elimination(shape: tuple[int, ...]) -> Callable[..., Any]:
    """Writes out the elimination of a star of one shape, for any numbers of slots and cells.

    shape: of its branch to earth, then of each to a neighbour, one and how many cells add to it.
    """
    names = [[f"p{part}_{k}" for k in range(count)] for part, count in enumerate(shape)]
    arms = range(1, len(shape))
    lines = ["def of(at, share, cell, " + ", ".join(name for part in names for name in part) + "):"]
    lines += [f" s{k} = share + {k - 1}" for k in arms]
    onto = [f"r{k} * g0" for k in arms] + [f"r{k} * g{j}" for k in arms for j in arms if j > k]
    lines += [f" c{k} = cell + {k}" for k in range(len(onto))]
    lines += [" def eliminate(b, c, r, t):"]
    for k, part in enumerate(names):
        lines += _sum(f"  g{k}", f"b[{part[0]}]", [f"c[{name}]" for name in part[1:]])
    lines += [*_sum("  total", "g0", [f"g{k}" for k in arms]), "  t[at] = total"]
    lines += [f"  r[s{k}] = r{k} = g{k} / total" for k in arms]
    lines += [f"  c[c{k}] = {what}" for k, what in enumerate(onto)]
    made: Callable[..., Any] = _made([*lines, " return eliminate"])["of"]
    return made


def _written(
    passed: Sequence[_Star], nodes: int
) -> tuple[Callable[[Numbers, Numbers], None], Callable[[Numbers, Numbers, Numbers], Numbers]]:
    """Writes out the way up and down of some stars, in the order in which they go."""
    lines = ["def up(a, r):", " pass"]
    for star in passed:
        lines += [f" x = a[{star.node}]"] if star.near else []
        lines += [f" a[{other}] += r[{star.share + k}] * x" for k, other in enumerate(star.near)]
    lines += ["def down(a, t, r):"]
    for star in reversed(passed):
        shares = [f"r[{star.share + k}] * v{other}" for k, other in enumerate(star.near)]
        lines += _sum(f" v{star.node}", f"a[{star.node}] / t[{star.number}]", shares)
    on = {star.node for star in passed}
    found = ", ".join(f"v{node}" if node in on else "0.0" for node in range(nodes))
    made = _made([*lines, f" return [{found}]"])
    return made["up"], made["down"]


def _sum(name: str, first: str, rest: Sequence[str]) -> list[str]:
    """Lines that add up; a rail with a thousand wires would make one line too deep for the compiler."""
    lines = [" + ".join([f"{name} = {first}", *rest[:_WIDEST]])]
    return lines + [f"{name} += " + " + ".join(rest[k : k + _WIDEST]) for k in range(_WIDEST, len(rest), _WIDEST)]


def _made(lines: Sequence[str]) -> dict[str, Any]:
    """What lines that were written here define."""
    scope: dict[str, Any] = {}
    exec(compile("\n".join(lines), "<written out by troubleshoot.solve.following>", "exec"), scope)
    return scope
