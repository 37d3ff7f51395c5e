"""One job as blocks of a report: how far it can be trusted, what came of it, what is open, then the whole of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Final

from troubleshoot.evidence.seen import Word
from troubleshoot.job.codec import get_understood
from troubleshoot.job.naming import act_words, left_open
from troubleshoot.report.blocks import (
    Block,
    Facts,
    Heading,
    Items,
    Line,
    Report,
    Shares,
    Span,
    Spans,
    Table,
    Timeline,
    Tone,
    Words,
)
from troubleshoot.review.actions import not_proved, stops_first
from troubleshoot.review.expecting import OPEN_OHMS, Expecting, Moved, middle
from troubleshoot.review.reading import SHORT, InTable, ReadBack
from troubleshoot.review.signing import SHARED
from troubleshoot.store.row import UNPROVED, is_left_out

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.store.row import Awaited, JobRow

MOST_LINES: Final = 4
"""Repairs drawn; more cannot be told apart on a page."""


CHANGED: Final = "The description has changed since this job began: what should be is by the new one."
OFF_SCALE: Final = 1.25
"""Where a reading beyond the meter's range is drawn, in what should be there at most."""


def short(stamp: str) -> str:
    """A wall time as one says it: ``23 Nov 03:10``."""
    try:
        return f"{datetime.fromisoformat(stamp):%d %b %H:%M}"
    except ValueError:
        return stamp


def job_report(one: ReadBack, desk: Desk | None, moved: Sequence[Moved], made: str = "") -> Report:
    """A job read back. moved: how the suspicion moved, as far as it was worked out."""
    title = f"{one.row.machine}: {one.row.said}" if one.row is not None else one.name
    return Report(title, tuple(_blocks(one, desk, moved)), heads_of(one), made)


def heads_of(one: InTable) -> tuple[tuple[str, int, str], ...]:
    """What anchors this log."""
    return ((one.name, *one.verdict.head),) if one.verdict.head is not None else ()


def _blocks(one: ReadBack, desk: Desk | None, moved: Sequence[Moved]) -> Iterator[Block]:
    for words, tone in one.banner():
        yield Words(words, tone)
    if one.signatures:
        yield Words(SHARED, Tone.NOTE)
    if one.row is None:
        yield Words("There is no job in this log, or none that can be trusted.", Tone.BAD)
    else:
        yield from _outcome(one, one.row)
        yield from _open(one)
        if checks := tuple(proof_answers(one, one.expecting(desk))):
            yield Heading("Proof run, as it was answered")
            yield Table("check", CHECKED, checks)
    yield Heading("What happened")
    if desk is None:
        yield Words("This machine is not described here: what should have been is not shown.", Tone.NOTE)
    elif one.expecting(desk).changed:
        yield Words(CHANGED, Tone.CAUTION)
    by_n = {m.n: m for m in moved}
    yield Timeline(one.moments(desk, by_n))
    spans = tuple(_spans(one, desk))
    if spans:
        yield Heading("Readings beside what should be")
        yield Spans("The bar is what a good machine gives, the mark is what was read.", spans)
    if len(moved) > 1:
        yield Heading("How the suspicion moved")
        yield shares(moved)
    if one.row is not None and one.row.not_proved:
        yield Heading("Not proved by the proof run")
        yield Items(not_shown(one.row))


def _outcome(one: ReadBack, row: JobRow) -> Iterator[Block]:
    yield Facts(tuple(facts_of(one, row)))
    if row.departures:
        yield Heading("Departures")
        yield Items(departures_of(row))


def facts_of(one: InTable, row: JobRow) -> Iterator[tuple[str, str]]:
    """A job in short facts."""
    yield "machine", row.machine
    yield "said", row.said
    yield "worked on by", ", ".join(row.who) + (f"; second person {row.second}" if row.second else "")
    told = "as told" if row.down_told else "when the job began; nobody said when it stopped"
    minutes = row.minutes_down
    until = f" to {short(row.down_to)}, {minutes} min" if minutes is not None else ", not handed back"
    yield "down", f"{short(row.down_from)} ({told}){until}"
    yield "ended", row.ending
    for words in not_mended(row, awaited_in(one)):
        yield "found", words
    for found in row.found:
        note = f" ({found.note})" if found.note else ""
        yield "found", f"{found.words}: {act_words(found.act, found.item)}{note}; {found.sure}"
    if not row.found and not row.confirmed:
        yield "found", "nothing" if one.verdict.whole else f"nothing{after_good(one, 'up to')}"
    for awaited in awaited_in(one):
        yield "awaited", awaited.words
    yield "proved", proved_words(row)
    yield (
        "on the way",
        (
            f"{_count(row.readings, 'reading')}, {_count(row.trips, 'trip')}, {_count(row.looks, 'look')}, "
            f"{_count(row.cautions, 'caution')}, "
            f"{row.corrections} taken back (normal work)"
        ),
    )
    if one.set_back_min:
        yield (
            "clock",
            f"moved back {one.set_back_min} min during the job; lengths of time are by the clock that only runs",
        )
    if row.most_volts:
        alone = "nobody else is named and nobody helped" if row.alone else "not alone"
        yield "live work", f"up to {row.most_volts} V; {alone}"
    yield "record", f"{row.events} events, head {row.events}:{row.head[:SHORT]}"


def awaited_in(one: InTable) -> tuple[Awaited, ...]:
    """The parts that are still awaited: not fitted, and not closed with a word."""
    closed = {a.n for a in one.actions if a.sort == "part" and not a.open}
    return tuple(part for part in one.row.waits_for_part if part.n not in closed) if one.row is not None else ()


def not_mended(row: JobRow, awaited: Sequence[Awaited] | None = None) -> tuple[str, ...]:
    """Faults that are confirmed and not mended, with why: ``S1 13-14, confirmed, waiting for part``. awaited: the parts that are
    still awaited, where it is known which of them were closed with a word."""
    waits = (
        row.how.removeprefix("waiting: ")
        if row.how.startswith("waiting: ")
        else "part"
        if (row.waits_for_part if awaited is None else awaited)
        else ""
    )
    return tuple(
        f"{one.group}, confirmed, {f'waiting for {waits}' if waits else 'not mended'}" for one in row.confirmed
    )


def not_shown(row: JobRow) -> tuple[str, ...]:
    """What the proof run did not show: the checks that were not done, stops first, then what no check can show."""
    checks = stops_first(w for w in row.not_proved if is_left_out(w))
    return (*checks, *left_open(w for w in row.not_proved if not is_left_out(w)))


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def departures_of(row: JobRow) -> tuple[str, ...]:
    """Departures in words; checks that were left out make one sentence together."""
    one_by_one = [
        d.words if d.sort == "caution unread" else f"{d.words} (event {d.n})"
        for d in row.departures if d.sort not in UNPROVED
    ]  # fmt: skip
    left = not_proved(row)
    return (*one_by_one, left) if left and any(d.sort in UNPROVED for d in row.departures) else tuple(one_by_one)


def proved_words(row: JobRow) -> str:
    """``12 of 12 checks``; ``no`` where none was done."""
    passed = sum(c.passed for c in row.proved)
    left = sum(is_left_out(w) for w in row.not_proved)
    return f"{passed} of {len(row.proved) + left} checks" if row.proved or left else "no"


def unknown_words(one: InTable) -> str:
    """Of a record that does not hold: what may be open is not known."""
    return f"What is left open{after_good(one)} is unknown: the record does not hold from there on."


def after_good(one: InTable, side: str = "after") -> str:
    """`` after event 38``, the last that holds; empty where none does."""
    return f" {side} event {one.verdict.events}" if one.verdict.events else ""


def _open(one: ReadBack) -> Iterator[Block]:
    yield Heading("Still to do")
    yield Table(
        "action", ("id", "what", "stands"),
        tuple((a.id, a.words, f"{a.standing}, {short(a.closed_at)}" + (f": {a.note}" if a.note else "") if a.closed_by else a.standing)
              for a in one.actions),
        "Nothing is left open." if one.verdict.whole else "",
    )  # fmt: skip
    if not one.verdict.whole:
        yield Words(unknown_words(one), Tone.CAUTION)
    if one.comments:
        yield Heading("Written back")
        yield Table(
            "comment", ("at", "by", "about", "words"),
            tuple((short(c.at), c.by, f"event {c.about}" if c.about else "the job", c.text) for c in one.comments),
        )  # fmt: skip


CHECKED: Final = ("event", "at", "by", "check", "came out", "answered")


def proof_answers(one: ReadBack, expecting: Expecting) -> Iterator[tuple[str, ...]]:
    """Every check of the proof run that stands, under `CHECKED`: who answered when, and what was typed or seen beside what
    should be."""
    by, gone = "", one.gone
    for event in one.events:
        data = event.data
        if event.kind in ("opened", "resumed"):
            by = str(data.get("who", by))
        if event.kind != "proved" or event.n in gone:
            continue
        try:
            answers = [
                f"{(should := expecting.reading(item, data['situation'])).where}: "
                + (f"typed {str(typed)!r}" if item[0] == "meter" else str(typed))
                + (f" (should be {should.should})" if should.should else "")
                for item, typed, _ in data["items"]
            ]
            came, check = ("as it should be" if data["passed"] else "NOT as it should be"), str(data["words"])
        except (KeyError, TypeError, ValueError, IndexError):
            continue  # a form of a later program: it stands in the timeline
        yield str(event.n), f"{event.when:%d %b %H:%M:%S}", by, check, came, "; ".join(answers)


def _spans(one: ReadBack, desk: Desk | None) -> list[Span]:
    """Every reading that has a range beside it, those outside theirs first."""
    return sorted(_in_order(one, desk), key=lambda s: s.low <= s.seen <= s.high)


def _in_order(one: ReadBack, desk: Desk | None) -> Iterator[Span]:
    expecting, gone = one.expecting(desk), one.gone
    for event in one.events:
        if event.kind not in ("reading", "proved") or event.n in gone:
            continue
        for row in event.data.get("items") or ():
            try:
                item, typed, understood = row
                if item[0] != "meter":
                    continue
                should = expecting.reading(item, event.data["situation"])
            except (KeyError, TypeError, ValueError, IndexError):
                continue  # a form of a later program: it stands in the timeline
            if should.low is None or should.high is None:
                continue
            if (number := middle(understood)) is None:
                # As a word: a meter that shows nothing stands at 0, one that shows OL beyond all that should be there.
                unit = {"amps": "A", "ohms": "ohm"}.get(str(item[1]), "V")
                if get_understood(understood) is Word.NOTHING:
                    number = (0.0, unit)
                elif get_understood(understood) is Word.OL:
                    beyond = unit != "ohm" or should.high < OPEN_OHMS
                    number = (max(should.high, 1.0) * OFF_SCALE, unit) if beyond else (should.high, unit)
                    typed = f"{typed} (off the scale)" if beyond else typed
                else:
                    continue
            if should.low >= OPEN_OHMS:
                number = (min(abs(number[0]), should.high), number[1])  # all that is open is open enough
            yield Span(
                f"{event.n}: {should.where}",
                should.low,
                should.high,
                abs(number[0]),
                number[1],
                str(typed),
                should.should,
            )


def shares(moved: Sequence[Moved]) -> Shares:
    """The likeliest repairs from event to event."""
    most: dict[str, float] = {}
    for one in moved:
        for words, p in one.likeliest:
            most[words] = max(most.get(words, 0.0), p)
    names = sorted(most, key=lambda name: -most[name])[:MOST_LINES]
    told: list[Mapping[str, float]] = [dict(one.likeliest) for one in moved]
    lines = tuple(Line(name, tuple((float(k), at.get(name, 0.0)) for k, at in enumerate(told))) for name in names)
    return Shares(
        "Chance of the likeliest repairs after each event, by its number.",
        tuple(f"{one.n}" for one in moved), lines,
    )  # fmt: skip
