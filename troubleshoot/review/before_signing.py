"""What somebody who countersigns has to have seen first: how the job stands, departures, what is open, earlier signatures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from troubleshoot.log.event import canonical
from troubleshoot.review.actions import NO_ACTION, told_elsewhere
from troubleshoot.review.page import awaited_in, departures_of, not_mended
from troubleshoot.review.reading import InTable, ReadBack
from troubleshoot.review.signing import plain_name

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk

LIKE: Final = 85.0
"""Likeness, of 100, from which two names are asked about."""


def before_signing(one: InTable, name: str = "", desk: Desk | None = None) -> tuple[str, ...]:
    """One sentence each; nothing where there is nothing to ask about. name: whose key it is, where it is known; desk: the
    machine, where it is described: readings are then held to it."""
    return tuple(_sentences(one, name, desk))


def not_as_it_should(one: InTable, desk: Desk | None) -> Iterator[str]:
    """Readings of a job that are not what a good machine gives, each as it was read last: a later one at the same points in
    the same state stands in its place, and a repair ends what was read before it."""
    if desk is None or not isinstance(one, ReadBack):
        return
    expecting, gone = one.expecting(desk), one.gone
    last: dict[str, str] = {}
    for event in one.events:
        if event.n in gone:
            continue
        if event.kind == "repaired":
            last.clear()
        if event.kind not in ("reading", "proved"):
            continue
        try:
            for item, typed, understood in event.data["items"]:
                key = canonical([item, event.data["situation"]["name"]])
                last.pop(key, None)
                if item[0] == "meter" and expecting.off(item, event.data["situation"], understood):
                    should = expecting.reading(item, event.data["situation"])
                    last[key] = f"{should.where} read {str(typed)!r}, should be {should.should} (event {event.n})"
        except (KeyError, TypeError, ValueError, IndexError):
            continue  # a form of a later program: it stands in the timeline
    yield from last.values()


def alike(one: str, other: str) -> bool:
    """Whether two names may be one person's: ``Cy`` and ``Cy B.``, ``Jo Smith`` and ``jo smiht``."""
    from rapidfuzz import fuzz

    a, b = (plain_name(name.replace(".", " ")) for name in (one, other))
    first, second = set(a.split()), set(b.split())
    return bool(first and second) and (first <= second or second <= first or fuzz.ratio(a, b) >= LIKE)


def _sentences(one: InTable, name: str, desk: Desk | None) -> Iterator[str]:
    row = one.row
    if row is None:
        yield "There is no job in this log."
        return
    if row.not_begun:
        yield "This job was not begun: there is nothing to judge."
    if row.open:
        yield f"This job is not finished: {row.how or 'goes on'}."
    if not row.found:
        yield f"Nothing was mended: found {', '.join(not_mended(row, awaited_in(one))) or 'nothing'}."
    if not (row.proved or row.not_begun):
        yield "Nothing of the proof run is on record."
    for worker in row.who:
        if name and alike(name, worker) and plain_name(name) != plain_name(worker):
            yield f"{name} is much like {worker}, who worked on it: whoever did the work does not countersign it."
    for words in departures_of(row):
        yield f"Departure: {words}"
    for action in one.actions:
        if action.open:
            yield f"Open: {action.words}"
    for no in row.cannot:
        # They ask nothing of anybody, and are therefore not open; a check that was refused is told as not proved.
        if no.reason in NO_ACTION and not told_elsewhere(no, row):
            yield f"Refused as unsafe, a good decision: {no.words.rstrip('.')} (event {no.n})."
    if odd := list(not_as_it_should(one, desk)):
        yield f"Not as it should be, and not read again since: {'; '.join(odd)}."
    for signed in one.signatures:
        if not signed.wrong:
            who = "you" if name and plain_name(signed.by) == plain_name(name) else signed.by
            more = f", and {signed.after} events of the work came after it" if signed.after else ""
            yield f"Already signed by {who}, up to event {signed.head}{more}."
