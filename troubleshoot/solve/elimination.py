"""Star-mesh (Kron) elimination of a whole batch of networks of one shape, in one fixed order.

Every node but earth is turned from a star into the mesh between its neighbours. A conductance is only ever added to,
never subtracted from, so an open branch is an exact zero in its slot and an island held by nanosiemens keeps its digits.
Near-tree panels have almost no fill. Source: Kron reduction, G. Kron, Tensor Analysis of Networks (1939), from memory;
minimum-degree order, Tinney and Walker, Proc. IEEE 55 (1967) 1801, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

EARTH = -1
LEAK_S = 1e-9
"""Siemens from every node to earth, so that no network is singular: an island floats on nanosiemens."""

Array = npt.NDArray[np.inexact]


@dataclass(frozen=True, slots=True)
class _Step:
    """Elimination of one node."""

    node: int
    neighbours: npt.NDArray[np.intp]
    slots: npt.NDArray[np.intp]
    """Slot of the branch to each neighbour, at the time of elimination."""
    first: npt.NDArray[np.intp]
    second: npt.NDArray[np.intp]
    """Positions in `neighbours` of each pair that gets a branch."""
    targets: npt.NDArray[np.intp]
    """Slot of that branch."""


@dataclass(frozen=True, slots=True)
class Plan:
    """The fixed order for one shape of network: `nodes` nodes, branches between pairs, earth outside."""

    nodes: int
    slots: int
    slot_of_element: npt.NDArray[np.intp]
    """Element index to slot; slots 0 .. nodes-1 are the branches to earth."""
    steps: tuple[_Step, ...]
    element_nodes: npt.NDArray[np.intp]
    """(elements, 2): node of each end, EARTH for earth."""


def plan(nodes: int, ends: tuple[tuple[int, int], ...]) -> Plan:
    """Choose an order and lay out every slot, fill included, for branches with the given ends.

    ends: pairs of node numbers, EARTH for earth; a branch from a node to itself is not allowed.
    """
    near: list[set[int]] = [set() for _ in range(nodes)]
    slot: dict[tuple[int, int], int] = {}
    of_element = np.empty(len(ends), dtype=np.intp)

    def slot_for(i: int, j: int) -> int:
        key = (min(i, j), max(i, j))
        if key not in slot:
            slot[key] = nodes + len(slot)
        return slot[key]

    for e, (a, b) in enumerate(ends):
        if a == EARTH or b == EARTH:
            of_element[e] = max(a, b)
        else:
            near[a].add(b)
            near[b].add(a)
            of_element[e] = slot_for(a, b)
    steps: list[_Step] = []
    left = set(range(nodes))
    while left:
        # Ties go to the lowest number, so that the order, and with it every digit, is repeatable.
        node = min(left, key=lambda k: (len(near[k]), k))
        left.remove(node)
        around = sorted(near[node])
        slots = [slot_for(node, other) for other in around]
        pairs = list(combinations(range(len(around)), 2))
        targets = []
        for p, q in pairs:
            targets.append(slot_for(around[p], around[q]))
            near[around[p]].add(around[q])
            near[around[q]].add(around[p])
        for other in around:
            near[other].discard(node)
        near[node] = set()
        steps.append(
            _Step(
                node,
                np.array(around, dtype=np.intp),
                np.array(slots, dtype=np.intp),
                np.array([p for p, _ in pairs], dtype=np.intp),
                np.array([q for _, q in pairs], dtype=np.intp),
                np.array(targets, dtype=np.intp),
            )
        )
    return Plan(nodes, nodes + len(slot), of_element, tuple(steps), np.array(ends, dtype=np.intp).reshape(-1, 2))


def node_voltages(plan: Plan, siemens: Array, injected: Array, to_earth: Array | None = None) -> Array:
    """Voltage of every node against earth, for every case and right-hand side.

    siemens: (elements, cases) conductance or admittance of each branch.
    injected: (nodes, sides, cases) amperes into each node.
    to_earth: (nodes, cases) extra siemens from nodes to earth, the spare slots of earth faults.
    Returns (nodes, sides, cases) volts. Raises nothing: every node leaks to earth, so no network is singular.
    Source: nodal analysis; Ho, Ruehli, Brennan, IEEE Trans. CAS-22 (1975) 504 (from memory).
    """
    cases = siemens.shape[1]
    branch = np.zeros((plan.slots, cases), siemens.dtype)
    branch[: plan.nodes] = LEAK_S if to_earth is None else LEAK_S + to_earth
    for element, slot in enumerate(plan.slot_of_element):
        branch[slot] += siemens[element]
    flow = np.array(injected, dtype=np.result_type(siemens.dtype, injected.dtype))
    ratios: list[Array] = []
    totals: list[Array] = []
    for step in plan.steps:
        arms = branch[step.slots]
        total = arms.sum(axis=0) + branch[step.node]
        ratio = arms / total
        if step.targets.size:
            branch[step.targets] += ratio[step.first] * arms[step.second]
        if step.neighbours.size:
            branch[step.neighbours] += ratio * branch[step.node]
            flow[step.neighbours] += ratio[:, None, :] * flow[step.node]
        ratios.append(ratio)
        totals.append(total)
    volts = flow
    for step, ratio, total in zip(reversed(plan.steps), reversed(ratios), reversed(totals), strict=True):
        here = volts[step.node] / total
        if step.neighbours.size:
            here = here + (ratio[:, None, :] * volts[step.neighbours]).sum(axis=0)
        volts[step.node] = here
    return volts
