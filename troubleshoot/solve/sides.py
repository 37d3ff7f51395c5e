"""Which states and faults the alternating and the direct current of a net depend on, each for itself.

A current flows only where a loop of conductors holds a source of its kind. What hangs on such a loop by one point carries
none, whatever is switched or broken in it: pressing a button in a 24 V circuit changes no alternating current, and a
loose screw in the motor's leads no direct one. So a settle need not solve both for every pair of state and fault.
Blocks of a graph: Hopcroft and Tarjan, Comm. ACM 16 (1973) 372, from memory.

The one thing neglected is what the leak of `elimination.LEAK_S` at the points beyond feeds through: a microampere, some
millivolts across a coil where a supply has lost its tie to earth and floats on leaks. Hence this is for what a settle looks
at on its way, never for volts that somebody reads.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from troubleshoot.circuit.kinds.base import Branch, Part, Source, Spare, Switch, Variable, shaft_of
from troubleshoot.solve.codes import Codes, book_of
from troubleshoot.solve.columns import Indices, layout
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.converters import ports_of
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import EARTH
from troubleshoot.solve.turning import motor_ports

Kind = Literal["ac", "dc"]
Key = tuple[int, bytes]
"""What makes one kind's volts: a number for the edits that matter to it, and the states that do."""


@dataclass(frozen=True, slots=True)
class Side:
    """What one kind of current sees of some edits."""

    number: int
    """The same for edits that are the same to it."""
    columns: int
    """Which of `Sides.columns`: the states that matter."""


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """Edits that change a network by themselves, made ready: one object for equal ones."""

    edits: tuple[Edit, ...]
    ac: Side
    dc: Side


@dataclass
class Sides:
    """Keys of one net. Numbers are only ever added."""

    net: Net
    columns: list[Indices] = field(default_factory=list)
    _laid: dict[tuple[Edit, ...], Laid] = field(default_factory=dict)
    _reached: dict[tuple[Kind, tuple[Edit, ...]], tuple[frozenset[str], int]] = field(default_factory=dict)
    _numbers: dict[object, int] = field(default_factory=dict)
    _places: dict[tuple[int, ...], int] = field(default_factory=dict)

    def laid(self, edits: tuple[Edit, ...]) -> Laid:
        """Edits made ready. Only `numeric` ones."""
        found = self._laid.get(edits)
        if found is None:
            found = self._laid[edits] = Laid(edits, self._side("ac", edits), self._side("dc", edits))
        return found

    def keys(self, sides: Sequence[Side], codes: Codes) -> list[Key]:
        """What tells the volts of one kind apart. codes: (networks, variables); sides: that kind's, one a network."""
        places: dict[int, list[int]] = {}
        for k, side in enumerate(sides):
            places.setdefault(side.columns, []).append(k)
        found: list[Key] = [(0, b"")] * len(sides)
        for columns, some in places.items():
            relevant = codes[np.array(some, dtype=np.intp)[:, None], self.columns[columns]]
            content, width = relevant.tobytes(), relevant.shape[1] * relevant.itemsize
            for row, k in enumerate(some):
                found[k] = (sides[k].number, content[row * width : (row + 1) * width])
        return found

    def _side(self, kind: Kind, laid: tuple[Edit, ...]) -> Side:
        if ports_of(self.net):  # a rectifier joins the two
            matter, columns = laid, self._place(layout(self.net).relevant.tolist())
        else:
            slots, columns = self._matters(kind, laid)
            matter = tuple(e for e in laid if _name(e) in slots)
        return Side(self._numbers.setdefault((kind, columns, matter), len(self._numbers)), columns)

    def _place(self, columns: Iterable[int]) -> int:
        found = tuple(sorted(columns))
        if found not in self._places:
            self._places[found] = len(self.columns)
            self.columns.append(np.array(found, dtype=np.intp))
        return self._places[found]

    def _matters(self, kind: Kind, laid: tuple[Edit, ...]) -> tuple[frozenset[str], int]:
        # A fault to earth, and a joint where there was none, close loops that the net does not have.
        new = tuple(e for e in laid if e.does == "earth" or not _carries(self.net.elements[self._at(e)].part, kind))
        if (kind, new) not in self._reached:
            edges = dict(_edges(self.net, kind, new))
            slots = frozenset(_reached(self.net, kind, edges))
            self._reached[(kind, new)] = slots, self._place(_columns(self.net, kind, slots))
        return self._reached[(kind, new)]

    def _at(self, edit: Edit) -> int:
        return self.net.element_index[edit.slot]


def sides_of(net: Net) -> Sides:
    """The keys of a net; kept on it."""
    return net.kept("sides", Sides, Sides)


def laid_of(net: Net, edits: tuple[Edit, ...]) -> Laid:
    """Those edits as they are laid over a net. Only `numeric` ones."""
    return sides_of(net).laid(edits)


def _name(edit: Edit) -> str:
    return f"earth at {edit.slot}" if edit.does == "earth" else edit.slot


def _carries(part: Part, kind: Kind) -> bool:
    """Whether a part carries this kind of current in any of its states, unless a fault makes it."""
    match part:
        case Branch():
            return abs(part.ac if kind == "ac" else part.dc) < math.inf
        case Variable():
            return any(abs(ohms) < math.inf for ohms in (part.ac if kind == "ac" else part.dc).values())
        case Spare():
            return False
        case _:
            return True


def _edges(net: Net, kind: Kind, new: Sequence[Edit]) -> Iterator[tuple[str, tuple[int, int]]]:
    """What carries this kind of current, by name, with its ends."""
    joined = {e.slot for e in new}
    for element in net.elements:
        if element.a != element.b and (_carries(element.part, kind) or element.slot in joined):
            yield element.slot, (element.a, element.b)
    for e in new:
        if e.does == "earth":
            yield _name(e), (net.index[e.slot], EARTH)


def _reached(net: Net, kind: Kind, edges: Mapping[str, tuple[int, int]]) -> set[str]:
    """Names of what lies in a loop with a source of this kind, or on the way between points that a law looks at."""
    sources = {e.slot for e in net.elements if isinstance(e.part, Source) and e.part.net == kind}
    looked = [(net.index[law.a], net.index[law.b]) for law in net.laws if law.net == kind]
    if kind == "ac":  # what turns couples its three cores
        looked += [ends for port in motor_ports(net) for ends in port.ends]
    points = {point for pair in looked for point in pair}
    blocks = blocks_of(edges)
    # Blocks and points they meet in are a tree: cut off every twig that holds no source and nothing that is looked at.
    of_point: dict[int, set[int]] = {}
    for number, block in enumerate(blocks):
        for name in block:
            for point in edges[name]:
                of_point.setdefault(point, set()).add(number)
    meets = {n: {p for name in block for p in edges[name]} for n, block in enumerate(blocks)}
    kept = {n for n, block in enumerate(blocks) if block & sources}
    twigs = [n for n in meets if n not in kept]
    while twigs:
        number = twigs.pop()
        if number not in meets:
            continue
        holds = [p for p in meets[number] if p in points or len(of_point[p]) > 1]
        if len(holds) > 1:
            continue
        del meets[number]
        for point in holds:
            of_point[point].discard(number)
            twigs += [n for n in of_point[point] if n not in kept]
    return {name for n in meets for name in blocks[n]}


def blocks_of(edges: Mapping[str, tuple[int, int]]) -> list[set[str]]:
    """The blocks of a graph, by names of its edges: two edges of one block lie in a loop together; a bridge is its own."""
    near: dict[int, list[tuple[int, str]]] = {}
    for name, (a, b) in edges.items():
        near.setdefault(a, []).append((b, name))
        near.setdefault(b, []).append((a, name))
    order: dict[int, int] = {}
    low: dict[int, int] = {}
    passed: list[str] = []
    found: list[set[str]] = []
    for root in near:
        if root in order:
            continue
        order[root] = low[root] = len(order)
        walk = [(root, "", iter(near[root]))]
        while walk:
            here, came, onward = walk[-1]
            for there, name in onward:
                if name == came:
                    continue
                if there not in order:
                    passed.append(name)
                    order[there] = low[there] = len(order)
                    walk.append((there, name, iter(near[there])))
                    break
                if order[there] < order[here]:
                    passed.append(name)
                    low[here] = min(low[here], order[there])
            else:
                walk.pop()
                if walk:
                    above = walk[-1][0]
                    low[above] = min(low[above], low[here])
                    if low[here] >= order[above]:
                        cut = passed.index(came)
                        found.append(set(passed[cut:]))
                        del passed[cut:]
    return found


def _columns(net: Net, kind: Kind, slots: frozenset[str]) -> Iterator[int]:
    """Columns of the states that what has these names asks for."""
    asked: dict[str, None] = {}
    for element in net.elements:
        if element.slot in slots:
            match element.part:
                case Switch() as part:
                    asked |= {when.var: None for when in part.when}
                case Variable() as part:
                    asked[part.var] = None
                case Source() as part if part.when is not None:
                    asked[part.when.var] = None
                case _:
                    pass
    if kind == "ac":
        asked |= {port.var: None for port in motor_ports(net)}
        asked |= {shaft_of(motor): None for motor in net.motors if motor.shares}
    return map(book_of(net).column, asked)
