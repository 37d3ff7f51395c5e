"""A network drawn as a ladder rung with the standard's textual symbols, live state by word and shape.

``| |`` and ``|/|`` are contacts, ``( )`` the coil (IEC 61131-3, textual ladder symbols, from memory). Under each contact stands
``closed`` or ``open``; a conductor with power on it is drawn ``=``, one without ``-``: on a plain console light and
heavy lines are one glyph, so neither colour nor weight carries anything here. Pure ASCII.

    |   start                      |
    |  closed       stop_ok  motor |
    |===| |===+======| |======( )--|
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Final

from troubleshoot.program.known import names_in
from troubleshoot.program.model import Program, Value
from troubleshoot.program.network import Contact, Group, network, resolve

WIDTH: Final = 72
"""Columns of a drawing where no width is asked: a page, or a screen of 80 with its margins."""
NARROWEST: Final = 40
"""Columns below which nothing can be read; a smaller width is taken as this."""

_LONGEST_LABEL: Final = 16
_LEAST: Final = 9
"""Columns that a numbered network takes as a contact, at most."""
_LEAST_CONTACT: Final = 16
"""A written-out comparison needs this much; what is left of its text is cut."""
_LEAST_GROUP: Final = 2 * _LEAST + 2
_ROWS: Final = 3
"""Lines of one contact: label, wire with symbol, state."""


@dataclass(frozen=True, slots=True)
class _Drawing:
    """Lines of equal length; the wire enters and leaves on line `_WIRE`."""

    lines: tuple[str, ...]
    live: bool
    """Power comes out on the right."""

    @property
    def width(self) -> int:
        return len(self.lines[0])


_WIRE: Final = 1


def draw(
    program: Program,
    output: str,
    *,
    width: int = WIDTH,
    values: Mapping[str, Value] | None = None,
    unknown: Set[str] = frozenset(),
) -> tuple[str, ...]:
    """The network that drives `output` (a name or an address) in lines of at most `width` columns, at least 40.

    values: `ScanResult.values` for live state, None for the network alone. unknown: names whose state nobody knows; their
    contacts are marked ``?`` and no power is drawn behind them. What does not fit in one row is cut into
    networks numbered ``(1)``, ``(2)`` ..., drawn above the one that uses them. Empty where nothing drives `output` as
    a plain network. Names longer than 16 letters are cut with ``~``.
    """
    name = resolve(program, output)
    part = network(program, name) if name is not None else None
    if name is None or part is None:
        return ()
    pen = _Pen(max(width, NARROWEST), values, unknown)
    coil = _cut(name, _LONGEST_LABEL if width >= 60 else 8)
    body = pen.fit(part, True, pen.room(coil))
    return (*pen.above, *pen.rung(body, coil, None if values is None else bool(values.get(name, False))))


def _cut(label: str, most: int = _LONGEST_LABEL) -> str:
    return label if len(label) <= most else label[: most - 1] + "~"


@dataclass(frozen=True, slots=True)
class _Aside:
    """A part that is drawn as a network of its own, further up; here it is one contact."""

    label: str
    closed: bool

    def conducts(self, _: Mapping[str, Value]) -> bool:
        return self.closed


@dataclass(frozen=True, slots=True)
class _Row:
    """What stands in one row already, some of it aside."""

    parts: tuple[_Any, ...]


_Any = Contact | Group | _Aside | _Row


class _Pen:
    """Draws parts into blocks of lines; what is too wide becomes a numbered network above."""

    def __init__(self, width: int, values: Mapping[str, Value] | None, unknown: Set[str]) -> None:
        self.width = width
        self.values = values
        self.unknown = unknown
        self.above: list[str] = []
        self.count = 0

    def room(self, coil: str) -> int:
        """Columns left for the network of a rung."""
        return self.width - max(len(coil), 3) - 4

    def rung(self, body: _Drawing, coil: str, on: bool | None) -> list[str]:
        """Both rails, the network and its coil, as wide as it needs."""
        head = max(len(coil), 3)
        state = "" if on is None else "on" if on else "off"
        wire = self._wire(body.live)
        tail = [" " + coil.center(head) + " ", wire + "( )".center(head, wire) + wire, " " + state.center(head) + " "]
        rows = []
        for index, line in enumerate(body.lines):
            end = tail[index] if index < _ROWS else " " * (head + 2)
            if index <= _WIRE or (line + end).strip(" |"):
                rows.append(f"|{line}{end}|")
        return rows

    def fit(self, part: _Any, fed: bool, room: int) -> _Drawing:
        """A part drawn in at most `room` columns. `fed`: power arrives at its left end."""
        match part:
            case _Aside(label, closed):
                return self._block(label, "| |", fed, "closed" if closed else "open")
            case Contact():
                if not part.plain and self._natural(part) > room < _LEAST_CONTACT:
                    return self.fit(self._aside(part), fed, room)
                return self._contact(part, fed, room)
            case Group("parallel"):
                if room < _LEAST_GROUP and self._natural(part) > room:
                    return self.fit(self._aside(part), fed, room)
                return self._parallel(part, fed, room)
            case _:
                if room < 2 * _LEAST and self._natural(part) > room:
                    return self.fit(self._aside(part), fed, room)
                return self._series(part.parts, fed, room)

    def _natural(self, part: _Any) -> int:
        """Columns a part takes where there is room enough."""
        state = 6 if self.values is not None else 3
        match part:
            case _Aside(label, _):
                return max(len(label), state) + 2
            case Contact():
                label = _cut(part.label)
                return max(len(label) + (0 if part.plain else 2 if part.closed_when else 6), state) + 2
            case Group("parallel", parts):
                return max(map(self._natural, parts)) + 2
            case _:
                return sum(map(self._natural, part.parts))

    def _series(self, parts: Sequence[_Any], fed: bool, room: int) -> _Drawing:
        row: list[tuple[_Any, int]] = []
        used = 0
        for part in parts:
            need = self._natural(part)
            least = _LEAST_CONTACT if isinstance(part, Contact) else _LEAST_GROUP
            if row and used + need > room and (need <= room - _LEAST or room - used < least):
                # The row is full: what stands so far becomes a network of its own, its number one contact here.
                before = self._aside(_Row(tuple(each for each, _ in row)))
                used = self._natural(before)
                row = [(before, used)]
            if used + need > room:
                if room - used >= least:
                    need = room - used
                else:
                    part = self._aside(part)
                    need = self._natural(part)
            row.append((part, need))
            used += need
        drawn: list[_Drawing] = []
        live = fed
        for part, need in row:
            drawn.append(self.fit(part, live, need))
            live = drawn[-1].live
        return _beside(drawn)

    def _parallel(self, group: Group, fed: bool, room: int) -> _Drawing:
        branches = [self.fit(part, fed, room - 2) for part in group.parts]
        inner = max(branch.width for branch in branches)
        live = any(branch.live for branch in branches)
        lines: list[str] = []
        for index, branch in enumerate(branches):
            first, last = index == 0, index == len(branches) - 1
            for row, line in enumerate(branch.lines):
                if row == _WIRE:
                    lines.append(f"+{line.ljust(inner, self._wire(branch.live))}+")
                else:
                    # The upright joins the branches' wires; nothing above the first or below the last.
                    edge = " " if (first and row < _WIRE) or (last and row > _WIRE) else "|"
                    lines.append(f"{edge}{line.ljust(inner)}{edge}")
        return _Drawing(tuple(lines), live)

    def _aside(self, part: _Any) -> _Aside:
        """Draw a part as network ``(n)`` above, fed from the rail, and give the contact that stands for it."""
        body = self.fit(part, True, self.room("(12345)"))
        self.count += 1
        label = f"({self.count})"
        closed = body.live and self.values is not None
        self.above += [*self.rung(body, label, None if self.values is None else closed), ""]
        return _Aside(label, closed)

    def _contact(self, contact: Contact, fed: bool, room: int) -> _Drawing:
        closed = "closed" if self.values is not None and contact.conducts(self.values) else "open"
        if self.unknown and names_in(contact.source) & self.unknown:
            closed = "?"
        if contact.plain:
            label = _cut(contact.label, max(1, min(_LONGEST_LABEL, room - 2)))
            return self._block(label, "| |" if contact.closed_when else "|/|", fed, closed)
        sign = "" if contact.closed_when else "NOT "
        text = _cut(contact.label, max(1, min(_LONGEST_LABEL, room - 4 - len(sign))))
        return self._block("", f"[{sign}{text}]", fed, closed)

    def _block(self, label: str, symbol: str, fed: bool, how: str) -> _Drawing:
        state = "" if self.values is None else how
        inner = max(len(label), len(symbol), len(state))
        live = fed and state == "closed"
        left = (inner - len(symbol)) // 2
        wire = self._wire(fed) * (left + 1) + symbol + self._wire(live) * (inner - len(symbol) - left + 1)
        return _Drawing((f" {label.center(inner)} ", wire, f" {state.center(inner)} "), live)

    def _wire(self, live: bool) -> str:
        return "=" if live and self.values is not None else "-"


def _beside(blocks: Sequence[_Drawing]) -> _Drawing:
    """Blocks in series, left to right."""
    height = max(len(block.lines) for block in blocks)
    rows = ["".join(b.lines[row] if row < len(b.lines) else " " * b.width for b in blocks) for row in range(height)]
    return _Drawing(tuple(rows), blocks[-1].live)
