"""What somebody who countersigns has to have seen first: how the job stands, departures, what is open, earlier signatures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from troubleshoot.review.page import departures_of
from troubleshoot.review.reading import InTable
from troubleshoot.review.signing import plain_name

LIKE: Final = 85.0
"""Likeness, of 100, from which two names are asked about."""


def before_signing(one: InTable, name: str = "") -> tuple[str, ...]:
    """One sentence each; nothing where there is nothing to ask about. name: whose key it is, where it is known."""
    return tuple(_sentences(one, name))


def alike(one: str, other: str) -> bool:
    """Whether two names may be one person's: ``Cy`` and ``Cy B.``, ``Jo Smith`` and ``jo smiht``."""
    from rapidfuzz import fuzz

    a, b = (plain_name(name.replace(".", " ")) for name in (one, other))
    first, second = set(a.split()), set(b.split())
    return bool(first and second) and (first <= second or second <= first or fuzz.ratio(a, b) >= LIKE)


def _sentences(one: InTable, name: str) -> Iterator[str]:
    row = one.row
    if row is None:
        yield "There is no job in this log."
        return
    if row.not_begun:
        yield "This job was not begun: there is nothing to judge."
    if row.open:
        yield f"This job is not finished: {row.how or 'goes on'}."
    for worker in row.who:
        if name and alike(name, worker):
            yield f"{name} is much like {worker}, who worked on it: whoever did the work does not countersign it."
    for words in departures_of(row):
        yield f"Departure: {words}"
    for action in one.actions:
        if action.open:
            yield f"Open: {action.words}"
    for signed in one.signatures:
        if not signed.wrong:
            who = "you" if name and plain_name(signed.by) == plain_name(name) else signed.by
            more = f", and {signed.after} events of the work came after it" if signed.after else ""
            yield f"Already signed by {who}, up to event {signed.head}{more}."
