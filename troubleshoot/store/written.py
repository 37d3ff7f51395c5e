"""What was written back to a job, and what a countersignature in its log has to be held to: gathered while the log is read.

Kept beside the row of a job in the index, so that a table of many jobs reads no log. Nothing is judged here: whether a
signature holds depends on the keys that are kept when somebody looks (review).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

SIGNED: Final = "signed"
COMMENT: Final = "comment"
CLOSED: Final = "closed"
NOT_WORK: Final = frozenset({SIGNED, COMMENT, CLOSED, "redacted", "clock"})
"""Kinds of event that nobody who works on the machine writes."""


@dataclass(slots=True)  # not frozen: half a million of them are made, and freezing doubles what one costs
class Raw:
    """An event as the JSON object it is; what the readers of many logs need of it."""

    n: int
    kind: str
    at: str
    elapsed_ms: int
    data: Mapping[str, Any]
    hash: str

    @property
    def when(self) -> datetime:
        """`at` as a point in time with its offset."""
        return datetime.fromisoformat(self.at)


def raw(found: Mapping[str, Any]) -> Raw:
    """The event in the JSON object of a line."""
    return Raw(found["n"], found["kind"], found["at"], found["elapsed_ms"], found, found["hash"])


@dataclass(frozen=True, slots=True)
class Signed:
    """A countersignature, and what stood right before it."""

    event: Raw
    before: tuple[int, str, str] | None
    """Number, wall time and hash of the event before it that is no `clock` event."""
    back_ms: int
    """How far the clock was set back in between."""
    work: int
    """Events of the work before it."""


@dataclass(frozen=True, slots=True)
class Written:
    """What a log holds beside the work. Made by `Gatherer`."""

    session: str
    workers: tuple[str, ...]
    """Everybody who is named in an event of the work, as it stands there, sorted."""
    work: int
    """Events of the work."""
    signed: tuple[Signed, ...]
    events: tuple[Raw, ...]
    """Comments, what was closed, how the job ended, and clocks that were set; in order."""

    def plain(self) -> dict[str, Any]:
        """As a JSON object."""
        return {
            "session": self.session, "workers": self.workers, "work": self.work,
            "signed": [{"event": s.event.data, "before": s.before, "back_ms": s.back_ms, "work": s.work} for s in self.signed],
            "events": [e.data for e in self.events],
        }  # fmt: skip


def written_of(found: Mapping[str, Any]) -> Written:
    """What `Written.plain` wrote. Raises KeyError, TypeError or ValueError for anything else."""
    signed = tuple(
        Signed(raw(s["event"]), (s["before"][0], s["before"][1], s["before"][2]) if s["before"] else None, s["back_ms"], s["work"])
        for s in found["signed"]
    )  # fmt: skip
    return Written(
        found["session"], tuple(found["workers"]), found["work"], signed, tuple(raw(e) for e in found["events"])
    )


@dataclass(slots=True)
class Gatherer:
    """Is given each event of a log, in order. Constant memory but for the names and what was written back."""

    _session: str = ""
    _workers: set[str] = field(default_factory=set)
    _work: int = 0
    _signed: list[Signed] = field(default_factory=list)
    _events: list[Raw] = field(default_factory=list)
    _before: Mapping[str, Any] | None = None
    _back_ms: int = 0

    def take(self, found: Mapping[str, Any]) -> None:
        """The next event as the JSON object of its line: there may be a million, so little is done with most."""
        kind = found["kind"]
        if kind == "clock":
            step_ms = found.get("step_ms")
            self._back_ms += abs(step_ms) if isinstance(step_ms, int) else 0
            self._events.append(raw(found))
            return
        if kind not in NOT_WORK:
            self._work += 1
            for key in ("who", "by"):
                if key in found and isinstance(found[key], str):
                    self._workers.add(found[key])
            if kind == "ended":
                self._events.append(raw(found))
        elif kind == SIGNED:
            last = self._before
            before = (last["n"], last["at"], last["hash"]) if last is not None else None
            self._signed.append(Signed(raw(found), before, self._back_ms, self._work))
        elif kind != "redacted":
            self._events.append(raw(found))
        if found["n"] == 1:
            self._session = str(found.get("session", ""))
        self._before, self._back_ms = found, 0

    def done(self) -> Written:
        """What was gathered."""
        return Written(
            self._session, tuple(sorted(self._workers)), self._work, tuple(self._signed), tuple(self._events)
        )
