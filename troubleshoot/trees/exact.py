"""What an order of tests could cost at best: the tests of a machine as plain numbers for the exact search.

Every sheet of lights and looks is a test, and every trip of one, two or three readings that can be made without moving: not
only the trips that a greedy choice would put together.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Final

import numpy as np

from troubleshoot.diagnosis.optimum import Found, Problem, Search
from troubleshoot.diagnosis.plan import MOST_READINGS
from troubleshoot.trees.answers import Indices
from troubleshoot.trees.order import Column, Order
from troubleshoot.trees.walk import price

MOST_SUSPECTS: Final = 70
"""Ways in which suspects answer that are searched to the end; beyond, one step is looked ahead and no proof is tried."""
MOST_TRIPS: Final = 4_000
"""Trips of one stand that are tried; where there are more, trips of three are left out there."""


def problem_of(order: Order, cell: Indices) -> tuple[Problem, tuple[tuple[Column, ...], ...]]:
    """The problem of telling these suspects apart, and the columns that each of its tests takes together.

    Suspects that one repair mends and that answer alike throughout count as one.
    """
    stands: dict[tuple[str, ...], list[Column]] = {}
    ways: dict[tuple[tuple[str, ...], bytes], None] = {}
    alone: list[Column] = []
    for column in order.columns:
        row = _ways(column.codes[cell])
        if not row.any():
            continue
        if not column.stand:
            alone.append(column)
        elif (column.stand, row.tobytes()) not in ways:
            ways[column.stand, row.tobytes()] = None
            stands.setdefault(column.stand, []).append(column)
    trips: list[tuple[Column, ...]] = [(c,) for c in alone]
    for columns in stands.values():
        for size in range(1, MOST_READINGS + 1):
            if size > 2 and len(columns) ** 3 / 6 > MOST_TRIPS:
                continue
            trips += combinations(columns, size)
    kinds: dict[bytes, int] = {}
    circuit = order.answers.reasoner.machine.circuit
    rows: list[Indices] = []
    costs: list[float] = []
    picked: list[tuple[Column, ...]] = []
    for trip in trips:
        row = _ways(_joint(trip, cell))
        key = row.tobytes()
        cost = price(circuit, [i for c in trip for i in c.items], trip[0].at)
        if key not in kinds:
            kinds[key] = len(rows)
            rows.append(row)
            costs.append(cost)
            picked.append(trip)
        elif cost < costs[kinds[key]]:
            costs[kinds[key]], picked[kinds[key]] = cost, trip
    codes = np.stack(rows) if rows else np.zeros((0, len(cell)), dtype=np.intp)
    return _merged(order, cell, np.array(costs), codes), tuple(picked)


def _joint(trip: Sequence[Column], cell: Indices) -> Indices:
    joint = np.zeros(len(cell), dtype=np.intp)
    for column in trip:
        joint = joint * (1 + int(column.codes.max())) + column.codes[cell]
    return joint


def _ways(codes: Indices) -> Indices:
    """The same parting with its answers numbered in the order in which they come."""
    seen: dict[int, int] = {}
    return np.array([seen.setdefault(int(c), len(seen)) for c in codes], dtype=np.intp)


def _merged(order: Order, cell: Indices, cost: np.ndarray[tuple[int], np.dtype[np.float64]], codes: Indices) -> Problem:
    alike: dict[tuple[int, bytes], list[int]] = {}
    for k, suspect in enumerate(cell):
        alike.setdefault((int(order.group[suspect]), codes[:, k].tobytes()), []).append(k)
    members = list(alike.values())
    chance = np.array([float(order.chance[cell[m]].sum()) for m in members])
    group = np.array([order.group[cell[m[0]]] for m in members], dtype=np.intp)
    return Problem(chance, group, cost, codes[:, [m[0] for m in members]])


def best_order(order: Order, cell: Indices, *, most_sets: int) -> Found:
    """The cheapest order for these suspects, or how near to it one has come; beyond `MOST_SUSPECTS` by one step ahead."""
    problem, _ = problem_of(order, cell)
    search = Search(problem)
    everything = search.everything()
    if len(everything) > MOST_SUSPECTS:
        return Found(search.greedy(everything), search.least(everything), 0)
    return search.exact(most_sets=most_sets)
