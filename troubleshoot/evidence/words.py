"""What was typed at a reading, to what it means; and what is shown back before it counts.

The table of phrases is the vocabulary; `read_typed` fills a card of one to a few readings in order and either
understands the whole line or asks back. It never guesses between two meanings that would lead to different doors.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from types import MappingProxyType
from typing import Final

from troubleshoot.evidence.number import SCALE, Doubt, Number
from troubleshoot.evidence.phrases import ALL, BEEPS, GAP, LIGHTS, OHMS_ONLY, WANDERS
from troubleshoot.evidence.scanning import Typed, scan
from troubleshoot.evidence.seen import Interval, Unit, Word
from troubleshoot.text.problem import nearest

LONGEST: Final = 4096
"""Bytes of one answer; more is a paste that went into the wrong field."""
ISH: Final = 0.10
"""Half-width of ``24ish`` as a share of the number. Own choice, no published source."""
BEEPS_BELOW: Final = 30.0
"""Ohms under which a continuity tester beeps: 20 to 50 by maker (common practice, no published source)."""
BEYOND: Final[MappingProxyType[Unit, float]] = MappingProxyType({"V": 1e6, "A": 1e6, "ohm": 1e12})
"""Upper end of ``>550``: finite, so that it can be written in a log, and above any hand-held instrument."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One reading on the card."""

    unit: Unit
    expected: float | None = None
    """What it should be, in `unit`; None when nobody knows."""
    expected_shown: bool = False
    """The person could see `expected` before typing."""
    ac: bool = False
    """An AC reading has no sign: a typed minus is dropped, and the echo says so."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What was understood for one reading of the card."""

    said: str
    """The part of the line that answers it, as typed; empty when nothing does."""
    understood: Interval | Word | None
    """None: skipped, the line ended before it."""
    echo: str
    """What is shown back: ``2: 0.2 mV``."""
    weak: bool = False
    """Said to be right after seeing what right would be."""
    around: Interval | None = None
    """The number that wandered, beside `Word.UNSTEADY`."""

    @property
    def most(self) -> float | None:
        """The most that it can have been, without its sign; None where it is a word that stands for no number."""
        match self.understood:
            case Interval() as number:
                return max(abs(number.low), abs(number.high))
            case Word.NOTHING:
                return 0.0
            case _:
                return None


@dataclass(frozen=True, slots=True)
class Understood:
    """The whole card in card order; readings without an answer stand at its end."""

    said: str
    answers: tuple[Answer, ...]

    @property
    def echo(self) -> str:
        return "  ".join(answer.echo for answer in self.answers)

    @property
    def missing(self) -> int:
        """How many readings of the card were not answered."""
        return sum(answer.understood is None for answer in self.answers)


@dataclass(frozen=True, slots=True)
class AskBack:
    """The line was not taken: why, in words, and whole lines that could be typed instead."""

    said: str
    words: str
    instead: tuple[str, ...] = ()


_NAMES: Final[MappingProxyType[Unit, str]] = MappingProxyType({"V": "volts", "A": "amps", "ohm": "ohms"})


def read_typed(text: str, *, asked: tuple[Asked, ...]) -> Understood | AskBack:
    """What a typed line says about the readings on the card, or a question back.

    text: one line as typed. asked: one entry a reading, in the order of the card.
    Returns all answers in card order (the last ones skipped when fewer were typed), or an `AskBack` whose `instead`
    are whole lines to type. Volts, amperes, ohms. The width of an interval is the last digit typed, never the
    accuracy of the meter. Raises nothing.

    At ohms a ``0`` stays a number (a closed contact) and ``nothing`` is asked back, since it is said of both a
    closed contact and an open one.
    """
    if refused := _unfit(text):
        return refused
    line = GAP.sub(" ", text.strip()).replace("\u2212", "-")
    every = ALL.match(line)
    items = scan(line, every.end() if every else 0)
    if isinstance(items, Doubt):
        return _ask(text, line, items)
    if every is not None:
        if len(items) != 1:
            return AskBack(text, "say one thing after 'all', or one answer for each reading")
        items = items * len(asked)
    placed = _place(line, items, asked)
    if isinstance(placed, Doubt):
        return _ask(text, line, placed)
    answers = []
    for index, question in enumerate(asked):
        if index >= len(placed):
            answers.append(Answer("", None, f"{index + 1}: skipped"))
            continue
        answer = _answer(line, placed[index], question, index + 1)
        if isinstance(answer, Doubt):
            return _ask(text, line, answer)
        answers.append(answer)
    return Understood(text, tuple(answers))


def read_light(text: str) -> Word | AskBack:
    """ON, OFF, DIM, UNSTEADY or COULDNT for what was typed at one light, or a question back."""
    if refused := _unfit(text):
        return refused
    phrase = GAP.sub(" ", text.strip()).lower()
    if word := LIGHTS.get(phrase):
        return word
    near = nearest(phrase[:40], LIGHTS)
    return AskBack(text, "on, off, dim, flickers, or ? for could not tell", (near,) if near else ())


def _unfit(text: str) -> AskBack | None:
    """Refuse what no hand types at a meter, before any grammar sees it."""
    if len(text) > LONGEST or len(text.encode("utf-8", "replace")) > LONGEST:
        return AskBack(text[:LONGEST], "that is too long for an answer: a paste in the wrong place?")
    if not text.strip():
        return AskBack(text, "nothing typed yet")
    stripped = text.strip()
    if any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") and c != "\t" for c in stripped):
        return AskBack(text, "one line at a time, without control characters")
    if any(c.isnumeric() and not c.isascii() for c in stripped):
        plain = unicodedata.normalize("NFKC", stripped)
        return AskBack(text, "those digits are not plain 0 to 9", (plain,) if plain.isascii() else ())
    return None


def _ask(text: str, line: str, doubt: Doubt) -> AskBack:
    return AskBack(text, doubt.words, tuple(line[: doubt.start] + new + line[doubt.end :] for new in doubt.instead))


def _place(line: str, items: Sequence[Typed], asked: Sequence[Asked]) -> tuple[Typed, ...] | Doubt:
    """Which item answers which reading: in order, an unsteady word joining the number it describes."""
    joined: list[Typed] = []
    for item in items:
        last = joined[-1] if joined else None
        describes = item.word is Word.UNSTEADY and last is not None and last.first is not None and not last.wanders
        if describes and last is not None and not item.opens:
            joined[-1] = replace(last, end=item.end, wanders=True, phrase=item.phrase)
        else:
            joined.append(item)
    apart = len(items) == len(asked)
    if apart and len(joined) < len(items):
        doubtful = next((i for i in joined if i.wanders and i.phrase in WANDERS), None)
        if doubtful is not None:
            said = line[doubtful.start : doubtful.end]
            return Doubt(f"is {said[:40]!r} one reading or two? Put ; between readings", 0, 0)
    chosen = tuple(items) if apart else tuple(joined)
    if len(asked) > 1:
        for item in chosen:
            if item.spaced_range:
                plain = "-".join(part.text for part in (item.first, item.second) if part is not None)
                return Doubt(
                    "is the dash a range, or a reading you did not take?", item.start, item.end,
                    (plain, plain.replace("-", " ? ")),
                )  # fmt: skip
    for item in chosen if len(chosen) < len(asked) else ():
        if item.first is not None and item.first.comma:
            two = line[item.start : item.end].replace(",", " ")
            words = f"is {item.first.text} one reading or two?"
            return Doubt(words, item.start, item.end, (two.replace(" ", "."), two))
    if len(chosen) > len(asked):
        return Doubt(f"{len(chosen)} answers typed, {len(asked)} asked: type one for each, in order", 0, 0)
    return chosen


def _answer(line: str, item: Typed, asked: Asked, number: int) -> Answer | Doubt:
    said = line[item.start : item.end]
    if item.first is None:
        return _worded(said, item, asked, number)
    reading = _interval(item, asked, number)
    if isinstance(reading, Doubt):
        return reading
    interval, shown = reading
    if item.wanders:
        return Answer(said, Word.UNSTEADY, f"{number}: unsteady, {shown}", around=interval)
    plain = item.second is None and not item.bound and not item.about
    # A closed contact reads 0 ohm: there, nought is a value and not the absence of one.
    if plain and item.first.value == 0 and asked.unit != "ohm":
        return Answer(said, Word.NOTHING, f"{number}: nothing ({shown})")
    return Answer(said, interval, f"{number}: {shown}")


def _worded(said: str, item: Typed, asked: Asked, number: int) -> Answer | Doubt:
    if item.phrase in OHMS_ONLY and asked.unit != "ohm":
        return Doubt(f"{item.phrase!r} is for ohms, and reading {number} is in {_NAMES[asked.unit]}", 0, 0)
    if item.phrase in BEEPS:
        return Answer(said, Interval(0.0, BEEPS_BELOW, "ohm"), f"{number}: beeps, under {BEEPS_BELOW:g} ohm")
    word = item.word
    assert word is not None, "a phrase without a number stands in PHRASES or in BEEPS"
    if word is Word.NOTHING and asked.unit == "ohm":
        if item.phrase in ("o", "zero"):
            return Answer(said, Interval(0.0, 0.5, "ohm"), f"{number}: 0 ohm ({said!r} taken as zero)")
        return Doubt(f"{said!r} at ohms: 0 ohm (closed) or OL (open)?", item.start, item.end, ("0", "OL"))
    note = " (letter O taken as zero)" if item.phrase == "o" else ""
    if item.phrase == "-":
        note = " (not read)"
    weak = word is Word.RIGHT and asked.expected_shown
    if word is Word.RIGHT:
        note = f", as expected ({_plain(asked.expected)} {asked.unit})" if asked.expected is not None else ""
    if word is Word.OL:
        note = " (open)" if asked.unit == "ohm" else " (over range)"
    return Answer(said, word, f"{number}: {word.value}{note}", weak=weak)


def _interval(item: Typed, asked: Asked, number: int) -> tuple[Interval, str] | Doubt:
    """What the number spans in the unit asked, and how it is shown back."""
    first, second = item.first, item.second
    assert first is not None
    # 118-121 V, 0.2-0.4 mV: the unit is said once, at the end.
    lead = replace(first, prefix=second.prefix, unit=second.unit) if second is not None and first.bare else first
    for part in (lead, second):
        if part is not None and (doubt := _unit_doubt(part, item, asked, number)):
            return doubt
    low, high = _span(lead)
    if second is not None:
        tail = replace(second, prefix=lead.prefix, unit=lead.unit) if second.bare and not lead.bare else second
        ends = sorted((lead.value * SCALE[lead.prefix], tail.value * SCALE[tail.prefix]))
        low, high = ends[0], ends[1]
    # Said only of a minus that was typed: a plain 0 spans a little to both sides as well.
    ac_minus = asked.ac and (lead.value < 0 or (second is not None and second.value < 0))
    if asked.ac and low < 0:
        low, high = min(abs(low), abs(high)) if high < 0 else Decimal(0), max(abs(low), abs(high))
    if high > Decimal(BEYOND[asked.unit]) or low < -Decimal(BEYOND[asked.unit]):
        return Doubt(f"no meter for this work reads that many {_NAMES[asked.unit]}", item.start, item.end)
    if asked.unit == "ohm":
        if high < 0:
            return Doubt("ohms below zero: a live circuit, or the leads not zeroed?", item.start, item.end)
        low = max(low, Decimal(0))
    interval = Interval(float(low), float(high), asked.unit)
    unit = f"{lead.prefix}{asked.unit}"
    shown = f"{lead.text} {unit}"
    if second is not None:
        same = second.bare or (second.prefix, second.unit) == (lead.prefix, lead.unit)
        shown = (
            f"{lead.text} to {second.text} {unit}" if same else f"{shown} to {second.text} {second.prefix}{asked.unit}"
        )
    if ac_minus:
        shown = shown.replace("-", "")
    if item.about:
        centre, half = interval.middle, max(abs(interval.middle) * ISH, (interval.high - interval.low) / 2)
        low_end = max(0.0, centre - half) if asked.unit == "ohm" else centre - half
        interval = Interval(low_end, centre + half, asked.unit)
        shown = f"about {shown} ({_plain(interval.low)} to {_plain(interval.high)} {asked.unit})"
    typed = float(lead.value * SCALE[lead.prefix])
    if item.bound == "over":
        interval, shown = Interval(typed, BEYOND[asked.unit], asked.unit), f"more than {shown}"
    elif item.bound == "under":
        interval, shown = Interval(min(0.0, typed), max(0.0, typed), asked.unit), f"less than {shown}"
    if first.comma or (second is not None and second.comma):
        shown += " (comma read as decimal point)"
    if ac_minus:
        shown += " (minus dropped: AC has no sign)"
    return interval, shown


def _span(part: Number) -> tuple[Decimal, Decimal]:
    scale, half = SCALE[part.prefix], part.step / 2
    return (part.value - half) * scale, (part.value + half) * scale


def _unit_doubt(part: Number, item: Typed, asked: Asked, number: int) -> Doubt | None:
    """Wrong unit, or a scale a thousand times off what is expected: ask once rather than guess."""
    said, want = part.text, asked.unit
    sized = {"over": ">", "under": "<"}.get(item.bound, "")
    if part.unit is not None and part.unit != want:
        return Doubt(
            f"{said} {part.prefix}{part.unit}, but reading {number} is in {_NAMES[want]}", item.start, item.end
        )

    def which(*units: str) -> Doubt:
        options = tuple(f"{sized}{said} {unit}" for unit in units)
        return Doubt(f"reading {number}: {said} {' or '.join(units)}?", item.start, item.end, options)

    if part.prefix == "m" and want == "ohm":
        return which("Mohm", "ohm")
    if part.prefix in ("M", "G") and want != "ohm":
        return which(f"m{want}", want)
    if not part.bare or asked.expected is None or part.value == 0:
        return None
    ratio = abs(float(part.value)) / abs(asked.expected) if asked.expected else 1.0
    if want == "ohm":
        return which("ohm", "kohm", "Mohm") if asked.expected >= 1e4 and ratio < 0.1 else None
    # Auto-ranging meters show millivolts with a small "m" that is easily left out; a leaky input at 5 V of 24 is real.
    if abs(asked.expected) >= 5 and (abs(part.value) < 1 or ratio >= 100):
        return which(want, f"m{want}")
    return None


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"
