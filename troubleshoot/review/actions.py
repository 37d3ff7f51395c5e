"""What a job left for somebody else to do, what was written back to it, and the events that write back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.job.reasons import REASONS, why_words
from troubleshoot.review.expecting import Happened
from troubleshoot.store.written import CLOSED, COMMENT

if TYPE_CHECKING:
    from troubleshoot.store.row import Awaited, CouldNot, JobRow

NO_ACTION: Final = frozenset({"unsafe"})
"""Reasons of what could not be done that ask nothing of anybody: it was a good decision."""


@dataclass(frozen=True, slots=True)
class Action:
    """One thing that is still to do, or was closed."""

    id: str
    """``12``, or ``53.2`` where one event left several."""
    n: int
    part: int
    sort: str
    """``temporary``, ``can't``, ``part``, ``waiting``, ``watching`` or ``not proved``."""
    words: str
    closed_by: str = ""
    closed_at: str = ""
    note: str = ""

    @property
    def open(self) -> bool:
        return not self.closed_by

    @property
    def standing(self) -> str:
        """``open``, ``closed by Kim``, or ``closed by Kim; still not proved``: a word written about a check does not make it."""
        if self.open:
            return "open"
        return f"closed by {self.closed_by}" + ("; still not proved" if self.sort == "not proved" else "")


@dataclass(frozen=True, slots=True)
class Comment:
    """Something written back."""

    n: int
    at: str
    by: str
    about: int
    """Number of the event it is about; 0 for the job."""
    text: str


def comments_of(events: Sequence[Happened]) -> tuple[Comment, ...]:
    """Everything that was written back, in order."""
    return tuple(
        Comment(e.n, e.at, str(e.data.get("by", "")), _whole(e.data.get("about")), str(e.data.get("text", "")))
        for e in events
        if e.kind == COMMENT
    )


def actions_of(row: JobRow, events: Sequence[Happened]) -> tuple[Action, ...]:
    """What the job left open, closed ones with who closed them; in the order of their events."""
    found: list[tuple[int, str, str]] = [
        (left.n, "temporary", f"{left.what} is still temporary (by {left.by})") for left in row.left_open
    ]
    found += [
        (one.n, "can't", f"{one.words}: {why_words(one.reason)}")
        for one in row.cannot
        if not one.lifted and one.reason not in NO_ACTION and not told_elsewhere(one, row)
    ]
    found += [(one.n, "part", _awaited(one)) for one in row.waits_for_part]
    end = next((e.n for e in reversed(events) if e.kind == "ended"), 0)
    if row.how == "watching":
        found.append((end, "watching", f"to be watched: {row.note or 'what was seen'}"))
    elif row.how.startswith("waiting") and row.how != "waiting: part":
        wanted = next((len(e.data.get("wanted") or ()) for e in events if e.n == end), 0)
        more = f", {wanted} readings wanted then" if wanted else ""
        found.append((end, "waiting", f"{row.part or row.note or row.how}{more}"))
    if row.how == "watching":
        found.append((end, "watching", row.note or "it runs; to be watched"))
    if left := not_proved(row):
        found.append((end, "not proved", left))
    closed = {(int(e.data["of"]), int(e.data.get("part", 1))): e for e in events if e.kind == CLOSED and _is_close(e)}
    many: dict[int, int] = {}
    for n, _, _ in found:
        many[n] = many.get(n, 0) + 1
    out: list[Action] = []
    at: dict[int, int] = {}
    for n, sort, words in sorted(found, key=lambda one: one[0]):
        at[n] = at.get(n, 0) + 1
        by = closed.get((n, at[n]))
        name = f"{n}.{at[n]}" if many[n] > 1 else str(n)
        said = (str(by.data.get("by", "")), by.at, str(by.data.get("note", ""))) if by is not None else ("", "", "")
        out.append(Action(name, n, at[n], sort, words, *said))
    return tuple(out)


def _awaited(one: Awaited) -> str:
    faults = f"; for {', '.join(one.faults)}, confirmed" if one.faults else ""
    doubt = f"; event {one.doubtful} mended it without a confirming test: is it the part?" if one.doubtful else ""
    return f"part awaited: {one.words}{faults}{doubt}"


_STOPS: Final = (
    r"\bemergency stop\b.*\bstops\b",
    r"\bstops\b",
    r"\bstarts?\b.* by itself\b|\bmust not start\b|\bstays stopped\b|\bnothing starts\b",
)
"""Checks that say whether it stops, and whether it stays so: the words of `safety.plans`."""


def stops_first(checks: Iterable[str]) -> tuple[str, ...]:
    """Checks of a proof run in words: emergency stops first, then the other stops, what may start by itself, the rest."""
    return tuple(sorted(
        checks, key=lambda words: next((k for k, stop in enumerate(_STOPS) if re.search(stop, words)), len(_STOPS))
    ))  # fmt: skip


def not_proved(row: JobRow) -> str:
    """What was left out of the proof run at hand-back, stops first, in one sentence; empty where nothing was. Nothing of it is
    cut off: whoever reads it answers for the machine."""
    checks = stops_first(
        d.words.partition("not proved: ")[2].rstrip(".") for d in row.departures if d.sort == "not proved"
    )
    if checks:
        return f"handed back with {len(checks)} check{'s' if len(checks) > 1 else ''} not done: {'; '.join(checks)}"
    return next((d.words for d in row.departures if d.sort in ("no proof", "proof failed")), "")


def told_elsewhere(one: CouldNot, row: JobRow) -> bool:
    """A check of the proof run that was left out is told as not proved; what the job waits for, as that."""
    if any(d.sort == "not proved" and one.words.rstrip(".") in d.words for d in row.departures):
        return True
    reason = REASONS.get(one.reason)
    return reason is not None and bool(reason.waits) and row.how == f"waiting: {reason.waits}"


def _is_close(event: Happened) -> bool:
    return type(event.data.get("of")) is int and type(event.data.get("part", 1)) is int


def _whole(value: Any) -> int:
    return value if isinstance(value, int) else 0


def comment(by: str, text: str, about: int = 0) -> dict[str, Any]:
    """Data of a `comment` event."""
    return {"by": by, "text": text, "about": about}


def close(action: Action, by: str, note: str = "") -> dict[str, Any]:
    """Data of a `closed` event."""
    return {"of": action.n, "part": action.part, "what": action.words, "by": by, "note": note}


def by_id(actions: Sequence[Action]) -> Mapping[str, Action]:
    """Actions by how they are called."""
    return {action.id: action for action in actions}
