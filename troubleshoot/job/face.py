"""The lights of one module drawn as they sit on it: inputs in the left column, outputs in the right.

Two columns fit sixteen points a side on a 24-row screen, which a list does not. Every light is a target of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Final

from troubleshoot.job.sheet import Line, Part, Role

LEAST_WIDTH: Final = 72
"""Columns below which two columns say too little each."""
WIDEST: Final = 96

_LAMPS: Final = {"on": "(*)", "off": "( )", "dim": "(.)", "unsteady": "(~)"}


@dataclass(frozen=True, slots=True)
class Lamp:
    """One light as it is to be drawn."""

    key: str
    label: str
    """What stands beside it: a point, ``RUN``."""
    words: str
    shown: str
    by_person: bool


def lamp_mark(shown: str) -> str:
    """``(*)`` lit, ``( )`` dark, ``(~)`` comes and goes."""
    return _LAMPS.get(shown, "   ")


def fits(left: Sequence[Lamp], right: Sequence[Lamp], width: int) -> bool:
    """Whether a drawn face says more than a list: two columns, and room for them."""
    return width >= LEAST_WIDTH and bool(left) and bool(right)


def face_lines(
    title: str, top: Sequence[Lamp], left: Sequence[Lamp], right: Sequence[Lamp], width: int
) -> tuple[Line, ...]:
    """The module: its name and its own lights in the upper edge, two columns of points, the lower edge.

    width: columns to draw in; at most `WIDEST` are used. top: lights of the module itself, at most as many as fit.
    """
    inner = (min(width, WIDEST) - 3) // 2
    edge = f"+-- {title} "
    parts: list[Part] = []
    for lamp in top:
        said = f" {lamp.key} {lamp_mark(lamp.shown)} {lamp.label} {_word(lamp)}{' <- you' if lamp.by_person else ''} "
        if len(edge) + len(said) + 4 > 2 * inner:
            said = f" {lamp.key} {lamp_mark(lamp.shown)} "
        edge += "-"
        parts.append(_part(lamp, len(edge), len(edge) + len(said)))
        edge += said
    lines = [Line(edge + "-" * (2 * inner + 2 - len(edge)) + "+", Role.FACE, parts=tuple(parts))]
    for one, other in zip_longest(left, right):
        halves = [_said(lamp, inner - 2) if lamp else "" for lamp in (one, other)]
        text = f"| {halves[0]:<{inner - 2}} | {halves[1]:<{inner - 2}} |"
        places = ((one, 0, inner + 1), (other, inner + 1, 2 * inner + 3))
        lines.append(Line(text, Role.FACE, parts=tuple(_part(p, a, b) for p, a, b in places if p)))
    lines.append(Line("+" + "-" * inner + "+" + "-" * inner + "+", Role.FACE))
    return tuple(lines)


def side_by_side(rows: Sequence[Lamp], width: int) -> tuple[Line, ...]:
    """A list that is too long for the screen in two columns, read downwards; every entry stays a target of its own.

    width: columns to draw in; at most `WIDEST` are used.
    """
    half = min(width, WIDEST) // 2
    middle = (len(rows) + 1) // 2
    lines = []
    for one, other in zip_longest(rows[:middle], rows[middle:]):
        text = "".join(f"{_said(lamp, half - 2):<{half}}" for lamp in (one, other) if lamp)
        places = ((one, 0, half), (other, half, 2 * half))
        lines.append(Line(text.rstrip(), Role.FACE, parts=tuple(_part(p, a, b) for p, a, b in places if p)))
    return tuple(lines)


def _part(lamp: Lamp, start: int, end: int) -> Part:
    who = "  <- you" if lamp.by_person else ""
    return Part(start, end, lamp.key, f"{lamp.key}  {lamp.label}  {lamp.words}  {_word(lamp)}{who}")


def _word(lamp: Lamp) -> str:
    return lamp.shown.upper() if lamp.by_person else lamp.shown


def _said(lamp: Lamp, room: int) -> str:
    """``7 (*) %QX0.0 interposing relay  ON <- you`` in `room` columns."""
    head = f"{lamp.key} {lamp_mark(lamp.shown)} {lamp.label}"
    words = f" {lamp.words}" if lamp.words else ""
    # The mark gives way first, since capitals alone say that a person set it; then the words, never the state.
    marks = (" <- you", " <-", "<-", "") if lamp.by_person else ("",)
    for mark in marks:
        tail = f" {_word(lamp)}{mark}"
        left = max(room - len(head) - len(tail), 0)
        if left >= len(words) or mark == marks[-1]:
            return f"{head}{words[:left]:<{left}}{tail}"[:room]
    raise AssertionError("the last mark always returns")
