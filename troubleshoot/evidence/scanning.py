"""A typed line, cut into its items: numbers with their units and bounds, phrases, ranges, separators. What each means is not known here."""

from __future__ import annotations

from dataclasses import dataclass, replace

from troubleshoot.evidence.number import Doubt, Number, read_number
from troubleshoot.evidence.phrases import (
    _EVERY_PHRASE,
    ABOUT,
    AND,
    BETWEEN,
    GAP,
    LONE_DASH,
    LONE_O,
    NEEDS_A_METER,
    NOT_NUMBERS,
    OLD_OVER_RANGE,
    OR_SO,
    OVER,
    PHRASE,
    PHRASES,
    SEPARATOR,
    THEN,
    TO,
    TOKEN,
    TRAILING_POINT,
    UNDER,
)
from troubleshoot.evidence.seen import Word
from troubleshoot.text.problem import nearest


@dataclass(frozen=True, slots=True)
class Typed:
    """One item of the line, before it is known which reading it answers."""

    start: int
    end: int
    word: Word | None = None
    phrase: str = ""
    first: Number | None = None
    second: Number | None = None
    bound: str = ""
    about: bool = False
    spaced_range: bool = False
    wanders: bool = False
    """A number with an unsteady word behind it."""
    opens: bool = False
    """A separator was typed in front of it."""


def scan(line: str, at: int) -> tuple[Typed, ...] | Doubt:
    """Cut a line into items, left to right, each character looked at a bounded number of times."""
    items: list[Typed] = []
    separated = False
    while at < len(line):
        if gap := GAP.match(line, at):
            at = gap.end()
        elif items and THEN.match(line, at):
            return Doubt("one after the other: which of them was with the load on? Type that one", 0, len(line))
        elif mark := SEPARATOR.match(line, at):
            if separated or not items:
                return Doubt(f"something is missing before {mark[0]!r}: type ? for a reading you could not take", 0, 0)
            separated, at = True, mark.end()
        else:
            item = _item(line, at)
            if isinstance(item, Doubt):
                return item
            items.append(replace(item, opens=separated))
            separated, at = False, item.end
    if not items:
        return Doubt("nothing typed yet", 0, 0)
    return tuple(items)


def _item(line: str, at: int) -> Typed | Doubt:
    if phrase := PHRASE.match(line, at):
        return _phrase(phrase[0].lower(), at, phrase.end())
    if old := OLD_OVER_RANGE.match(line, at):
        return Typed(at, old.end(), Word.OL, "1 .")
    if point := TRAILING_POINT.match(line, at):
        number = point[0][:-1]
        options = (number, "OL") if number == "1" else (number,)
        return Doubt(f"is {point[0][:24]!r} {' or '.join(options)}?", at, point.end(), options)
    if letter := LONE_O.match(line, at):
        return Typed(at, letter.end(), Word.NOTHING, "o")
    if dash := LONE_DASH.match(line, at):
        # On paper a dash stands for a reading nobody took, or a point that is not there: never for no volts.
        return Typed(at, dash.end(), Word.COULDNT, "-")
    return _numeric(line, at)


def _phrase(phrase: str, start: int, end: int) -> Typed | Doubt:
    if phrase in NOT_NUMBERS:
        return Doubt("no display shows that: OL for over range or open?", start, end, ("OL",))
    if phrase in NEEDS_A_METER:
        return Doubt(f"what does the meter say? {phrase!r} is for lights", start, end)
    return Typed(start, end, PHRASES.get(phrase), phrase)


def _numeric(line: str, start: int) -> Typed | Doubt:
    """A number with what may stand around it: about, over, under, a second number, ish."""
    at, bound, about = start, "", False
    between = BETWEEN.match(line, at)
    if between is not None:
        at = between.end()
    elif over := OVER.match(line, at):
        bound, at = "over", over.end()
    elif under := UNDER.match(line, at):
        bound, at = "under", under.end()
    elif near := ABOUT.match(line, at):
        about, at = True, near.end()
    if gap := GAP.match(line, at):
        at = gap.end()
    first = read_number(line, at)
    if first is None:
        return _not_understood(line, start)
    if isinstance(first, Doubt):
        return first
    at, second, spaced = first.end, None, False
    joint = AND.match(line, at) if between else TO.match(line, at)
    if joint is not None and not bound:
        reached = read_number(line, joint.end())
        if isinstance(reached, Doubt):
            return reached
        if reached is not None:
            second, at = reached, reached.end
            spaced = joint[0].strip() != joint[0] and joint[0].strip().lower() not in ("to", "and")
            if more := TO.match(line, at):
                if isinstance(read_number(line, more.end()), Number):
                    return Doubt("one after the other, or bouncing? Type bouncing, or the one with the load on", 0, 0)
    if ish := OR_SO.match(line, at):
        about, at = True, ish.end()
    if at < len(line) and line[at] not in " ;/,":
        if line[at] == ">" or line.startswith(("->", "=>", "\u2192"), at):
            return Doubt("one after the other: which of them was with the load on? Type that one", 0, 0)
        return _not_understood(line, start)
    return Typed(start, at, first=first, second=second, bound=bound, about=about, spaced_range=spaced)


def _not_understood(line: str, start: int) -> Doubt:
    token = TOKEN.match(line, start)
    shown = token[0][:24] if token else ""
    near = nearest(shown.lower(), _EVERY_PHRASE) if any(c.isalpha() for c in shown) else None
    end = token.end() if token else start
    return Doubt(
        f"{shown!r} is not a reading I understand", start, end, (near,) if near is not None and near in PHRASES else ()
    )
