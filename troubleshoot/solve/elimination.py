"""Star-mesh (Kron) elimination of a whole batch of networks of one shape, in one fixed order.

Every node but earth is turned from a star into the mesh between its neighbours. A conductance is only ever added to,
never subtracted from, so an open branch is an exact zero in its slot and an island held by nanosiemens keeps its digits.
Near-tree panels have almost no fill. Source: Kron reduction, G. Kron, Tensor Analysis of Networks (1939), from memory;
minimum-degree order, Tinney and Walker, Proc. IEEE 55 (1967) 1801, from memory.

Currents are only carried up from the nodes that they enter, and volts only brought down to the nodes that are asked for.
Source: sparse vector methods, Tinney, Brandwajn and Chan, IEEE Trans. PAS-104 (1985) 295, from memory.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

EARTH = -1
LEAK_S = 1e-9
"""Siemens from every node to earth, so that no network is singular: an island floats on nanosiemens."""

Array = npt.NDArray[np.inexact]
Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Sums:
    """Rows of one array to be added onto rows of another, several onto one where they meet there."""

    parts: tuple[tuple[Indices, Indices], ...]
    """Rows that are added to, all different, and (rows, how many) the rows that are added."""

    def add(self, into: Array, what: Array) -> None:
        """Add rows of `what` onto `into`, in place."""
        for targets, sources in self.parts:
            if sources.shape[1] == 1:
                into[targets] = into[targets] + what[sources[:, 0]]
            else:
                into[targets] = into[targets] + what[sources].sum(axis=1)


def sums(targets: list[int]) -> Sums:
    """Row k goes onto row targets[k], for every k."""
    rows: dict[int, list[int]] = {}
    for k, target in enumerate(targets):
        rows.setdefault(target, []).append(k)
    by_count: dict[int, list[int]] = {}
    for target, sources in rows.items():
        by_count.setdefault(len(sources), []).append(target)
    return Sums(
        tuple(
            (np.array(chosen, dtype=np.intp), np.array([rows[t] for t in chosen], dtype=np.intp))
            for chosen in by_count.values()
        )
    )


@dataclass(frozen=True, slots=True)
class _Step:
    """Elimination of nodes that do not touch each other and have as many neighbours each, all at once."""

    nodes: Indices
    neighbours: Indices
    """(nodes, neighbours)."""
    slots: Indices
    """(nodes, neighbours): slot of the branch to each neighbour, at the time of elimination."""
    first: Indices
    second: Indices
    """Positions in a row of `neighbours` of each pair that gets a branch."""
    onto_branches: Sums
    """From (nodes x pairs) to slots."""
    onto_nodes: Sums
    """From (nodes x neighbours) to nodes, whose slots to earth have the same numbers."""


@dataclass(frozen=True, slots=True)
class _Leg:
    """Some nodes of one step."""

    step: int
    places: Indices | None
    """Which of the step's nodes; None: all."""
    nodes: Indices
    neighbours: Indices
    onto_nodes: Sums


@dataclass(frozen=True, slots=True)
class Way:
    """The nodes that some nodes are eliminated onto, themselves included: what their currents pass on the way to earth."""

    legs: tuple[_Leg, ...]

    @property
    def nodes(self) -> Indices:
        """Every node on it."""
        return np.concatenate([leg.nodes for leg in self.legs]) if self.legs else np.zeros(0, dtype=np.intp)


@dataclass(frozen=True, slots=True)
class Plan:
    """The fixed order for one shape of network: `nodes` nodes, branches between pairs, earth outside."""

    nodes: int
    slots: int
    slot_of_element: Indices
    """Element index to slot; slots 0 .. nodes-1 are the branches to earth; a branch with both ends at one node has -1."""
    onto_slots: Sums
    """From elements to slots."""
    steps: tuple[_Step, ...]
    element_nodes: Indices
    """(elements, 2): node of each end, EARTH for earth."""

    def way(self, nodes: Iterable[int]) -> Way:
        """The way to earth of some nodes; EARTH itself has none."""
        on = np.zeros(self.nodes, np.bool_)
        on[[node for node in nodes if node != EARTH]] = True
        legs = []
        for number, step in enumerate(self.steps):
            places = np.flatnonzero(on[step.nodes])
            if places.size:
                around = step.neighbours[places]
                on[around] = True
                which = places if places.size < step.nodes.size else None
                legs.append(_Leg(number, which, step.nodes[places], around, sums(around.ravel().tolist())))
        return Way(tuple(legs))

    def whole(self) -> Way:
        """The way of every node."""
        return Way(tuple(_Leg(k, None, s.nodes, s.neighbours, s.onto_nodes) for k, s in enumerate(self.steps)))


def plan(nodes: int, ends: tuple[tuple[int, int], ...]) -> Plan:
    """Choose an order and lay out every slot, fill included, for branches with the given ends.

    ends: pairs of node numbers, EARTH for earth; a branch whose ends are one node carries nothing and is left out.
    """
    near: list[set[int]] = [set() for _ in range(nodes)]
    slot: dict[tuple[int, int], int] = {}
    of_element = np.full(len(ends), -1, dtype=np.intp)

    def slot_for(i: int, j: int) -> int:
        return slot.setdefault((min(i, j), max(i, j)), nodes + len(slot))

    for e, (a, b) in enumerate(ends):
        if a == b:
            continue
        if a == EARTH or b == EARTH:
            of_element[e] = max(a, b)
        else:
            near[a].add(b)
            near[b].add(a)
            of_element[e] = slot_for(a, b)
    # Nodes go by their neighbours, fewest first. A node waits for those of its neighbours that went before it: its level.
    # One level goes at once, so of nodes with as many neighbours the lowest level goes first (a chain then takes the
    # logarithm of its length), and of those the lowest number: the order, and with it every digit, is repeatable.
    queue = [(len(around), 0, k) for k, around in enumerate(near)]
    heapq.heapify(queue)
    gone = [False] * nodes
    level = [0] * nodes
    batches: dict[tuple[int, int], list[tuple[int, list[int], list[int], list[int]]]] = {}
    while queue:
        count, waits, node = heapq.heappop(queue)
        if gone[node] or count != len(near[node]) or waits != level[node]:
            continue
        gone[node] = True
        around = sorted(near[node])
        targets = []
        for i, j in combinations(around, 2):
            targets.append(slot_for(i, j))
            near[i].add(j)
            near[j].add(i)
        for other in around:
            near[other].discard(node)
            level[other] = max(level[other], level[node] + 1)
            heapq.heappush(queue, (len(near[other]), level[other], other))
        slots = [slot_for(node, other) for other in around]
        batches.setdefault((level[node], len(around)), []).append((node, around, slots, targets))
    steps = tuple(_step(batches[key]) for key in sorted(batches))
    used = [e for e in range(len(ends)) if of_element[e] >= 0]
    onto = sums([int(of_element[e]) for e in used])
    rows = np.array(used, dtype=np.intp)
    onto = Sums(tuple((targets, rows[sources]) for targets, sources in onto.parts))
    ends_of = np.array(ends, dtype=np.intp).reshape(-1, 2)
    return Plan(nodes, nodes + len(slot), of_element, onto, steps, ends_of)


def _step(batch: list[tuple[int, list[int], list[int], list[int]]]) -> _Step:
    pairs = list(combinations(range(len(batch[0][1])), 2))
    return _Step(
        np.array([node for node, _, _, _ in batch], dtype=np.intp),
        np.array([around for _, around, _, _ in batch], dtype=np.intp).reshape(len(batch), -1),
        np.array([slots for _, _, slots, _ in batch], dtype=np.intp).reshape(len(batch), -1),
        np.array([p for p, _ in pairs], dtype=np.intp),
        np.array([q for _, q in pairs], dtype=np.intp),
        sums([target for _, _, _, targets in batch for target in targets]),
        sums([other for _, around, _, _ in batch for other in around]),
    )


@dataclass(frozen=True, slots=True)
class Eliminated:
    """Networks of one shape with every node gone: ready for any currents."""

    plan: Plan
    ratios: tuple[Array, ...]
    """Of each step, (nodes, neighbours, cases): share of a node's current that leaves by each neighbour."""
    totals: tuple[Array, ...]
    """Of each step, (nodes, cases) siemens from a node to all its neighbours and earth."""

    def on(self, way: Way, cases: Indices | None = None) -> Passage:
        """What stands on a way, of all networks or of some."""
        legs = []
        for leg in way.legs:
            ratio, total = self.ratios[leg.step], self.totals[leg.step]
            if leg.places is not None:
                ratio, total = ratio[leg.places], total[leg.places]
            legs.append((leg, ratio, total) if cases is None else (leg, ratio[:, :, cases], total[:, cases]))
        return Passage(tuple(legs))


@dataclass(frozen=True, slots=True)
class Passage:
    """A way in some networks."""

    legs: tuple[tuple[_Leg, Array, Array], ...]
    """With ratios and totals of its nodes."""

    def carried(self, injected: Array) -> Array:
        """(nodes, sides, cases) amperes that each node has as it goes, from as many into each; in place.

        No current may enter beside the way.
        """
        for leg, ratio, _ in self.legs:
            if leg.neighbours.size:
                flow = ratio[:, :, None] * injected[leg.nodes][:, None]
                leg.onto_nodes.add(injected, flow.reshape(leg.neighbours.size, *injected.shape[1:]))
        return injected

    def volts(self, carried: Array) -> Array:
        """(nodes, sides, cases) volts of the nodes on the way, from what `carried` gives. Elsewhere anything."""
        found = np.empty_like(carried)
        for leg, ratio, total in reversed(self.legs):
            here = carried[leg.nodes] / total[:, None]
            for k in range(leg.neighbours.shape[1]):
                np.add(here, ratio[:, k, None] * found[leg.neighbours[:, k]], out=here)
            found[leg.nodes] = here
        return found

    def rounding(self, carried: Array) -> Array:
        """(cases,) volts by which the digits that `carried` has lost can be wrong at the most, for one side.

        What is lost at a node is lost as a current into it, which can lift no point higher than that node; and that node by no
        more than what its own star takes and the highest of its neighbours, since their shares add up to one at the most.
        """
        ohms = np.zeros(carried.shape[::2])
        lost = np.zeros(carried.shape[2])
        for leg, _, total in reversed(self.legs):
            here = 1 / np.abs(total)
            if leg.neighbours.size:
                here += ohms[leg.neighbours].max(axis=1)
            ohms[leg.nodes] = here
            lost += (here * np.abs(carried[leg.nodes, 0])).sum(axis=0)
        return np.finfo(np.float64).eps * lost


def eliminate(plan: Plan, siemens: Array, to_earth: Array | None = None) -> Eliminated:
    """Eliminate every node of every case.

    siemens: (elements, cases) conductance or admittance of each branch.
    to_earth: (nodes, cases) extra siemens from nodes to earth, the spare slots of earth faults.
    Raises nothing: every node leaks to earth, so no network is singular.
    """
    cases = siemens.shape[1]
    branch = np.zeros((plan.slots, cases), siemens.dtype)
    branch[: plan.nodes] = LEAK_S if to_earth is None else LEAK_S + to_earth
    plan.onto_slots.add(branch, siemens)
    ratios: list[Array] = []
    totals: list[Array] = []
    for step in plan.steps:
        arms = branch[step.slots]
        own = branch[step.nodes]
        total = own + arms.sum(axis=1)
        ratio = arms / total[:, None]
        if step.first.size:
            across = ratio[:, step.first] * arms[:, step.second]
            step.onto_branches.add(branch, across.reshape(across.shape[0] * across.shape[1], cases))
        if step.neighbours.size:
            step.onto_nodes.add(branch, (ratio * own[:, None]).reshape(step.neighbours.size, cases))
        ratios.append(ratio)
        totals.append(total)
    return Eliminated(plan, tuple(ratios), tuple(totals))


def node_voltages(plan: Plan, siemens: Array, injected: Array, to_earth: Array | None = None) -> Array:
    """Voltage of every node against earth, for every case and right-hand side.

    siemens, to_earth: as for `eliminate`. injected: (nodes, sides, cases) amperes into each node.
    Returns (nodes, sides, cases) volts. Raises nothing.
    Source: nodal analysis; Ho, Ruehli, Brennan, IEEE Trans. CAS-22 (1975) 504 (from memory).
    """
    passage = eliminate(plan, siemens, to_earth).on(plan.whole())
    return passage.volts(passage.carried(np.array(injected, dtype=np.result_type(siemens, injected))))
