"""One job of the review as sheets: how it came out, what happened, and what is written back to it. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, LiveKey, Role
from troubleshoot.report.blocks import Moment, Report, Timeline, Tone
from troubleshoot.report.text import lines_of
from troubleshoot.review.before_signing import before_signing
from troubleshoot.review.expecting import Moved
from troubleshoot.review.page import CHANGED, departures_of, facts_of, job_report, unknown_words
from troubleshoot.review.reading import ReadBack
from troubleshoot.review.signing import SHARED, refusal
from troubleshoot.review.table_page import BACK, Page
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk

SHOWN_ACTIONS: Final = "123456789abdfgijlmnoprstuvxz"
"""Keys of what can be closed."""


@dataclass
class Opened:
    """The job that is open, and what was worked out of it."""

    handle: str
    one: ReadBack
    moved: list[Moved] = field(default_factory=list)
    still: Iterator[Moved] | None = None
    desk: Desk | None = None
    asked: bool = False
    """Whether the machine was looked for."""


def outcome(pen: Pen, job: Opened, leads_back: bool) -> Page:
    """How it came out, and what is still asked of somebody. leads_back: there is a table to go back to."""
    one = job.one
    banner = one.banner()
    for words, tone in banner:
        if tone is Tone.BAD:
            pen.put(show(words), Role.DANGER, indent="   ")
    if job.desk is not None and one.expecting(job.desk).changed:
        pen.put(CHANGED, Role.TASK)
    if one.row is None:
        pen.put("There is no job in this log, or none that can be trusted.", Role.DANGER)
    else:
        # First what asks for something: the page may be longer than the screen.
        for words in departures_of(one.row):
            pen.put(f"departure    {show(words)}", Role.TASK, indent=" " * 13)
    for action in sorted(one.actions, key=lambda a: not a.open):
        by = f" ({action.standing}: {action.note or 'no word'})" if action.closed_by else ""
        name = "open" if action.open else "closed"
        pen.put(f"{name:<12} {show(action.words + by)}", Role.TASK if action.open else Role.NOTE, indent=" " * 13)
    if not one.verdict.whole:
        pen.put(f"{'open':<12} {unknown_words(one)}", Role.TASK, indent=" " * 13)
    for back in one.comments:
        about = f" of event {back.about}" if back.about else ""
        pen.put(f"written      {show(back.by)}{about}: {show(back.text)}", Role.NOTE, indent=" " * 13)
    if one.row is not None:
        for name, value in facts_of(one, one.row):
            pen.put(f"{name:<12} {show(value)}", Role.ROW, indent=" " * 13)
    for words, tone in banner:
        if tone is not Tone.BAD:
            pen.put(show(words), Role.NOTE, indent="   ")
    some_open = any(a.open for a in one.actions)
    keys = [LiveKey("h", "what happened", "everything, in order, beside what should have been")]
    if one.verdict.whole and one.row is not None:
        keys.append(LiveKey("m", "comment", "writes a comment back to this job"))
        keys += [LiveKey("k", "close", "closes something that was left open")] if some_open else []
        keys.append(LiveKey("g", "sign", "countersigns with your own key, up to the newest event"))
    if leads_back:
        keys.append(BACK)
    return f"REVIEW  {one.name}", None, tuple(keys)


def happened(pen: Pen, job: Opened, standing_out: bool) -> Page:
    """Everything in order, or only what stands out."""
    if job.still is not None or not job.asked:
        pen.put("What should have been is still being worked out.", Role.NOTE)
    elif job.desk is None:
        pen.put("This machine is not described here: what should have been is not shown.", Role.NOTE)
    elif job.one.expecting(job.desk).changed:
        pen.put(CHANGED, Role.TASK)
    report = job_report(job.one, job.desk, tuple(job.moved))
    for block in report.blocks:
        if isinstance(block, Timeline):
            for moment in block.moments:
                if not standing_out or moment.tone in (Tone.BAD, Tone.CAUTION):
                    _draw(pen, moment)
    if standing_out:
        other = LiveKey("w", "all of it", "everything that happened, in order")
        return f"REVIEW  {job.one.name}  what stands out", None, (other, BACK)
    other = LiveKey(
        "w", "stands out", "only what is marked with !: cautions, clocks, what was refused or is not as it should be"
    )
    return f"REVIEW  {job.one.name}  what happened", None, (other, BACK)


def naming(pen: Pen, job: Opened, login: str) -> Page:
    """Who writes back. login: whoever is logged in."""
    pen.put("Who is writing back? Said once, it stands on every page until you leave, and in the record.", Role.TASK)
    pen.put(f"1  {show(login)}, who is logged in here", Role.ROW, key="1", indent="   ")
    return (
        f"REVIEW  {job.one.name}  your name", Entry("Your name", example="Kim Ode", rows_first=True),
        (LiveKey("1", "logged in", "whoever is logged in", shown=False), BACK),
    )  # fmt: skip


def commenting(pen: Pen, job: Opened) -> Page:
    """A comment is typed."""
    pen.put("Write back to this job. It is an event of its own: nothing that was recorded changes.", Role.TASK)
    pen.put("A number first means that event: 22 ring gap kit ordered", Role.NOTE)
    return f"REVIEW  {job.one.name}  comment", Entry("Comment", example="ring gap kit ordered"), (BACK,)


def closing(pen: Pen, job: Opened) -> Page:
    """Something that was left open is closed."""
    pen.put("Which of these is done?", Role.TASK)
    for key, action in zip(SHOWN_ACTIONS, (a for a in job.one.actions if a.open), strict=False):
        pen.put(f"{key}  {show(action.words)}", Role.ROW, key=key, indent="   ")
    pen.put("Type its key, a blank, and what was done about it.", Role.NOTE)
    return (
        f"REVIEW  {job.one.name}  close",
        Entry("Key, and what was done", example="1 guard refitted"),
        (BACK,),
    )


def signing(pen: Pen, job: Opened, who: str, key_file: str) -> Page:
    """The countersignature: what to know before it, the key file, then its passphrase."""
    if no := refusal(job.one.events, who, who):
        pen.put(show(no), Role.TASK)
        return f"REVIEW  {job.one.name}  countersign", None, (BACK,)
    head = job.one.verdict.head
    pen.put(f"Countersign up to event {head[0] if head else 0}, as somebody who did not do this work.", Role.TASK)
    first = before_signing(job.one, who, job.desk)
    for words in first:
        pen.put(f" - {show(words)}", Role.ROW, indent="   ")
    if first:
        pen.put("Sign all the same? Your key and passphrase say yes, Esc says no.", Role.TASK)
    pen.put(SHARED, Role.NOTE)
    pen.put("A key of your own is made by: troubleshoot review key NAME -o FILE", Role.NOTE)
    if not key_file:
        return f"REVIEW  {job.one.name}  countersign", Entry("Your key file", example="~/kim.key"), (BACK,)
    pen.put(f"Key file: {show(key_file)}", Role.ROW)
    return f"REVIEW  {job.one.name}  countersign", Entry("Passphrase", secret=True), (BACK,)


def _draw(pen: Pen, moment: Moment) -> None:
    # Not as a danger: those are drawn above all the rest, and here order is what matters. The mark says it in the words.
    role = Role.TASK if moment.tone in (Tone.BAD, Tone.CAUTION) else Role.ROW
    rows = list(lines_of(Report("", (Timeline((moment,)),)), pen.width))[1:]
    for k, row in enumerate(rows):
        pen.fixed(row, role if k == 0 else Role.NOTE)
