"""What somebody who countersigns has to have seen first: how the job stands, departures, what is open, earlier signatures."""

from __future__ import annotations

from collections.abc import Iterator

from troubleshoot.review.page import departures_of
from troubleshoot.review.reading import ReadBack
from troubleshoot.review.signing import plain_name


def before_signing(one: ReadBack, name: str = "") -> tuple[str, ...]:
    """One sentence each; nothing where there is nothing to ask about. name: whose key it is, where it is known."""
    return tuple(_sentences(one, name))


def _sentences(one: ReadBack, name: str) -> Iterator[str]:
    row = one.row
    if row is None:
        yield "There is no job in this log."
        return
    if row.not_begun:
        yield "This job was not begun: there is nothing to judge."
    if row.open:
        yield f"This job is not finished: {row.how or 'goes on'}."
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
