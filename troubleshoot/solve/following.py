"""Star-mesh elimination of one network that follows the one before it: only what a change reaches is eliminated anew.

A switch that moves changes the star of one node, that node's mesh the stars of its neighbours, and so on to earth: in a
near-tree panel a dozen nodes of a hundred. Every sum is taken anew from its parts, never mended by a difference, so the
digits are those of an elimination from the beginning however long the row of networks was. In plain numbers, since for one
network the calls of numpy cost more than the work.
Source: partial refactorization, Chan and Brandwajn, IEEE Trans. PWRS-1 (1986) 193, from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from troubleshoot.solve.elimination import LEAK_S, Array, Indices, Plan, Way

Number = Any
"""A float or a complex, as the network is."""


@dataclass(frozen=True, slots=True)
class _Star:
    """One node as it goes. Nodes are numbered by the order in which they go, the branches of the mesh it leaves are cells."""

    slot: int
    """Its branch to earth, which has the number of the node."""
    cells: tuple[int, ...]
    """What adds to it."""
    arms: tuple[tuple[int, tuple[int, ...]], ...]
    """To each neighbour: slot, and cells that add to it."""
    first: int
    """Its first cell: one to the earth of each neighbour, then one for each pair of them."""
    owners: tuple[int, ...]
    """Of each cell, whose star it is a part of."""


@dataclass
class Follower:
    """The last network that was eliminated, of one kind of current, and all that is needed for the next."""

    plan: Plan
    stars: tuple[_Star, ...]
    nodes: tuple[int, ...]
    """Of each star, its node."""
    near: tuple[tuple[int, ...], ...]
    """Of each star, the nodes around it, all of which go later."""
    rank: tuple[int, ...]
    """Of each node, when it goes."""
    owner: tuple[int, ...]
    """Of each slot, whose star it is a part of."""
    elements: tuple[tuple[int, ...], ...]
    """Of each slot, the elements that lie there."""
    base: list[Number]
    """Of each slot, what lies there before anything is eliminated."""
    cell: list[Number]
    ratios: list[tuple[Number, ...]]
    totals: list[Number]
    siemens: Array | None = None
    to_earth: Array | None = None
    ways: dict[int, tuple[Way, tuple[int, ...]]] = field(default_factory=dict)
    """Of ways by identity: what is passed, as it goes."""

    def follow(self, siemens: Array, to_earth: Array | None) -> Followed:
        """Eliminate one network. siemens: (elements,); to_earth: (nodes,), as of `elimination.eliminate`."""
        dirty = bytearray(len(self.stars))
        for slot in self._slots(siemens, to_earth):
            here = LEAK_S + (0.0 if to_earth is None else to_earth[slot].item()) if slot < self.plan.nodes else 0.0
            for element in self.elements[slot]:
                here += siemens[element].item()
            self.base[slot] = here
            dirty[self.owner[slot]] = 1
        self.siemens, self.to_earth = siemens, to_earth
        base, cell, stars, ratios, totals = self.base, self.cell, self.stars, self.ratios, self.totals
        at = dirty.find(1)
        while at >= 0:
            star = stars[at]
            own = base[star.slot]
            for c in star.cells:
                own += cell[c]
            total, arms = own, []
            for slot, cells in star.arms:
                arm = base[slot]
                for c in cells:
                    arm += cell[c]
                arms.append(arm)
                total += arm
            ratio = tuple([arm / total for arm in arms])
            ratios[at], totals[at] = ratio, total
            c, count = star.first, len(arms)
            owners = star.owners
            for share in ratio:
                cell[c] = share * own
                c += 1
            for one in range(count - 1):
                share = ratio[one]
                for other in range(one + 1, count):
                    cell[c] = share * arms[other]
                    c += 1
            for who in owners:
                dirty[who] = 1
            at = dirty.find(1, at + 1)
        return Followed(self)

    def _slots(self, siemens: Array, to_earth: Array | None) -> Iterator[int]:
        """Slots that are not as they were."""
        if self.siemens is None:
            yield from range(self.plan.slots)
            return
        for element in np.flatnonzero(siemens != self.siemens).tolist():
            slot = self.plan.slot_of_element[element].item()
            if slot >= 0:
                yield slot
        if to_earth is not self.to_earth:
            zero = np.zeros(self.plan.nodes)
            was, now = (zero if some is None else some for some in (self.to_earth, to_earth))
            yield from np.flatnonzero(was != now).tolist()

    def passed(self, way: Way) -> tuple[int, ...]:
        """Nodes of a way in the order in which they go, by their numbers in it."""
        found = self.ways.get(id(way))
        if found is None or found[0] is not way:
            found = self.ways[id(way)] = way, tuple(sorted(self.rank[node] for node in way.nodes.tolist()))
        return found[1]


@dataclass(frozen=True, slots=True)
class Followed:
    """One eliminated network, until its follower goes on to the next. In place of `elimination.Eliminated`."""

    follower: Follower

    def on(self, way: Way, cases: Indices | None = None) -> Along:
        """What stands on a way."""
        return Along(self.follower, self.follower.passed(way))


@dataclass(frozen=True, slots=True)
class Along:
    """A way in one network. In place of `elimination.Passage`."""

    follower: Follower
    passed: tuple[int, ...]

    def carried(self, injected: Array) -> Array:
        """As of `elimination.Passage`."""
        follower = self.follower
        for side in range(injected.shape[1]):
            amps = injected[:, side, 0].tolist()
            for at in self.passed:
                here = amps[follower.nodes[at]]
                if here:
                    for other, share in zip(follower.near[at], follower.ratios[at], strict=True):
                        amps[other] += share * here
            injected[:, side, 0] = amps
        return injected

    def volts(self, carried: Array) -> Array:
        """As of `elimination.Passage`."""
        found = np.empty_like(carried)
        follower = self.follower
        ratios, totals = follower.ratios, follower.totals
        down = [(at, follower.nodes[at], follower.near[at]) for at in reversed(self.passed)]
        for side in range(carried.shape[1]):
            volts = carried[:, side, 0].tolist()
            for at, node, near in down:
                here = volts[node]
                if here:
                    here /= totals[at]
                match near:
                    case (one,):
                        here += ratios[at][0] * volts[one]
                    case (one, two):
                        first, second = ratios[at]
                        here += first * volts[one] + second * volts[two]
                    case _:
                        for other, share in zip(near, ratios[at], strict=True):
                            here += share * volts[other]
                volts[node] = here
            found[:, side, 0] = volts
        return found

    def rounding(self, carried: Array) -> Array:
        """As of `elimination.Passage`."""
        follower = self.follower
        ohms = [0.0] * len(follower.nodes)
        amps = carried[:, 0, 0].tolist()
        lost = 0.0
        for at in reversed(self.passed):
            node, near = follower.nodes[at], follower.near[at]
            here = 1 / abs(follower.totals[at])
            if near:
                here += max([ohms[other] for other in near])
            ohms[node] = here
            lost += here * abs(amps[node])
        return np.array([np.finfo(np.float64).eps * lost])


def follower(plan: Plan) -> Follower:
    """One that has met no network yet."""
    order = [node for step in plan.steps for node in step.nodes.tolist()]
    rank = [0] * plan.nodes
    for at, node in enumerate(order):
        rank[node] = at
    near = [around for step in plan.steps for around in step.neighbours.tolist()]
    arms = [slots for step in plan.steps for slots in step.slots.tolist()]
    owner = [rank[node] for node in range(plan.nodes)] + [0] * (plan.slots - plan.nodes)
    between: dict[tuple[int, int], int] = {}
    for at, (around, slots) in enumerate(zip(near, arms, strict=True)):
        for other, slot in zip(around, slots, strict=True):
            owner[slot] = at
            between[(min(order[at], other), max(order[at], other))] = slot
    adds: list[list[int]] = [[] for _ in range(plan.slots)]
    targets: list[list[int]] = []
    firsts, cells = [], 0
    for around in near:
        firsts.append(cells)
        onto = list(around)
        for k, one in enumerate(around):
            onto += [between[(min(one, other), max(one, other))] for other in around[k + 1 :]]
        for slot in onto:
            adds[slot].append(cells)
            cells += 1
        targets.append(onto)
    stars = tuple(
        _Star(
            order[at], tuple(adds[order[at]]), tuple((slot, tuple(adds[slot])) for slot in arms[at]),
            firsts[at],
            tuple(dict.fromkeys(owner[slot] for slot in targets[at])),
        )
        for at in range(plan.nodes)
    )  # fmt: skip
    elements: list[list[int]] = [[] for _ in range(plan.slots)]
    for element, slot in enumerate(plan.slot_of_element.tolist()):
        if slot >= 0:
            elements[slot].append(element)
    return Follower(
        plan, stars, tuple(order), tuple(map(tuple, near)), tuple(rank), tuple(owner), tuple(map(tuple, elements)), [0.0] * plan.slots, [0.0] * cells,
        [()] * plan.nodes, [0.0] * plan.nodes,
    )  # fmt: skip
