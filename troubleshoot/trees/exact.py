"""What an order of tests could cost at best: the tests of a machine as plain numbers for the exact search.

Every sheet of lights and looks is a test, and every trip of one, two or three readings that can be made without moving: not
only the trips that a greedy choice would put together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from troubleshoot.circuit.model import Circuit
from troubleshoot.diagnosis.optimum import Problem
from troubleshoot.diagnosis.plan import MOST_READINGS
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.trees.answers import Indices
from troubleshoot.trees.order import Column, Order
from troubleshoot.trees.walk import price

MOST_TRIPS: Final = 4_000
"""Trips of one stand that are tried; where there are more, trips of three are left out there."""


@dataclass(frozen=True)
class Posed:
    """Suspects to be told apart, as a problem in numbers, and the way back to machine and tests."""

    problem: Problem
    trips: tuple[tuple[Column, ...], ...]
    """(tests,) the columns that each test takes together."""
    place: Mapping[int, int]
    """Index of a machine's suspect to its place in the problem: those alike in every answer and in repair share one."""

    def placed(self, cell: Indices) -> Indices:
        """The places of these suspects, each once."""
        return np.unique(np.array([self.place[int(k)] for k in cell], dtype=np.intp))


def pose(columns: Sequence[Column], circuit: Circuit, cell: Indices, group: Indices, chance: Floats) -> Posed:
    """The problem of telling these suspects apart by trips of up to three columns that stand alike.

    cell: indices into a machine's suspects; group, chance: (suspects of the machine,).
    """
    stands: dict[tuple[str, ...], list[Column]] = {}
    known: set[tuple[tuple[str, ...], bytes]] = set()
    trips: list[tuple[Column, ...]] = []
    for column in columns:
        row = _ways(column.codes[cell])
        if not row.any():
            continue
        if not column.stand:
            trips.append((column,))
        elif (column.stand, row.tobytes()) not in known:
            known.add((column.stand, row.tobytes()))
            stands.setdefault(column.stand, []).append(column)
    for some in stands.values():
        for size in range(1, MOST_READINGS + 1):
            if size < MOST_READINGS or len(some) ** size / 6 <= MOST_TRIPS:
                trips += combinations(some, size)
    number: dict[bytes, int] = {}
    rows: list[Indices] = []
    costs: list[float] = []
    picked: list[tuple[Column, ...]] = []
    for trip in trips:
        row = _ways(_joint(trip, cell))
        cost = price(circuit, [i for c in trip for i in c.items], trip[0].at)
        at = number.setdefault(row.tobytes(), len(rows))
        if at == len(rows):
            rows.append(row)
            costs.append(cost)
            picked.append(trip)
        elif cost < costs[at]:
            costs[at], picked[at] = cost, trip
    codes = np.stack(rows) if rows else np.zeros((0, len(cell)), dtype=np.intp)
    alike: dict[tuple[int, bytes], list[int]] = {}
    for k, suspect in enumerate(cell):
        alike.setdefault((int(group[suspect]), codes[:, k].tobytes()), []).append(k)
    members = list(alike.values())
    problem = Problem(
        np.array([float(chance[cell[m]].sum()) for m in members]), np.array([group[cell[m[0]]] for m in members], np.intp),
        np.array(costs), codes[:, [m[0] for m in members]],
    )  # fmt: skip
    return Posed(problem, tuple(picked), {int(cell[k]): at for at, m in enumerate(members) for k in m})


def problem_of(order: Order, cell: Indices) -> Problem:
    """The same for the tests of an order."""
    circuit = order.answers.reasoner.machine.circuit
    return pose(order.columns, circuit, cell, order.group, order.chance).problem


def _joint(trip: Sequence[Column], cell: Indices) -> Indices:
    joint = np.zeros(len(cell), dtype=np.intp)
    for column in trip:
        joint = joint * (1 + int(column.codes.max())) + column.codes[cell]
    return joint


def _ways(codes: Indices) -> Indices:
    """The same parting with its answers numbered in the order in which they come."""
    seen: dict[int, int] = {}
    return np.array([seen.setdefault(int(c), len(seen)) for c in codes], dtype=np.intp)
