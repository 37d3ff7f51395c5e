"""One job read back: its row, its moments, what is still to do, and how far its record can be trusted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from troubleshoot.log.event import Event
from troubleshoot.log.redaction import shortened
from troubleshoot.log.standing import retracted
from troubleshoot.log.verify import Verdict
from troubleshoot.report.blocks import Moment, Tone
from troubleshoot.review.actions import Action, Comment, actions_of, comments_of
from troubleshoot.review.expecting import MOVES, Expecting, Happened, Moved
from troubleshoot.review.signing import Signature, check, judge
from troubleshoot.review.telling import moments
from troubleshoot.store.row import JobRow
from troubleshoot.store.summary import summarise

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.store.written import Written

NOT_WHOLE: Final = "NOT TO BE TRUSTED"
BAD_SIGNATURE: Final = "BAD COUNTERSIGNATURE"
SHORT: Final = 16
"""Digits of a hash on a page; as many as an anchor needs at least."""


@dataclass(frozen=True, slots=True)
class InTable:
    """A job as a table of many shows it. Made by `in_table` without its log, or as the `ReadBack` of a log."""

    name: str
    """Of its file, safe to show."""
    verdict: Verdict
    row: JobRow | None
    """None: there is no job in it, or nothing that can be trusted."""
    actions: tuple[Action, ...]
    comments: tuple[Comment, ...]
    signatures: tuple[Signature, ...]
    set_back_min: int
    """How far the clock was set back during the job, minutes."""

    @property
    def trusted(self) -> bool:
        """There is a job in the log, it is whole, and every countersignature in it holds."""
        return not self.doubt

    @property
    def doubt(self) -> str:
        """What stands beside this job wherever it is one row of many; empty where nothing is wrong."""
        if not self.verdict.whole:
            return NOT_WHOLE
        if any(s.wrong for s in self.signatures):
            return BAD_SIGNATURE
        if self.row is None:
            return "NO JOB IN IT"
        return ""

    @property
    def signed_at(self) -> int:
        """Number of the event up to which the last good countersignature goes; 0 for none."""
        return max((s.head for s in self.signatures if not s.wrong), default=0)

    def banner(self) -> tuple[tuple[str, Tone], ...]:
        """How far this record can be trusted, worst first."""
        out = [
            (s, Tone.BAD if not self.verdict.whole and k == 0 else Tone.NOTE)
            for k, s in enumerate(self.verdict.sentences)
        ]
        for one in self.signatures:
            out.insert(0 if one.wrong else len(out), (one.words, Tone.BAD if one.wrong else Tone.GOOD))
        return tuple(out)


@dataclass(frozen=True, slots=True)
class ReadBack(InTable):
    """A log as it is read back. Made by `read_back`."""

    events: tuple[Happened, ...]

    @property
    def gone(self) -> frozenset[int]:
        """Events that were taken back."""
        return retracted(self.events)

    @property
    def session(self) -> str:
        return self.verdict.session

    def moments(self, desk: Desk | None, moved: Mapping[int, Moved]) -> tuple[Moment, ...]:
        """All that happened, beside what should have been."""
        return tuple(moments(self.events, self.gone, self.expecting(desk), moved, self.signed_at))

    def expecting(self, desk: Desk | None) -> Expecting:
        """The machine as it is described now, beside this job."""
        opened = next((e for e in self.events if e.kind == "opened"), None)
        return Expecting(desk, str(opened.data.get("circuit", "")) if opened is not None else "")

    def movements(self, desk: Desk | None) -> Iterator[Moved]:
        """How the suspicion moved, one event at a time: each takes some tenths of a second."""
        expecting, gone = self.expecting(desk), self.gone
        standing = [e for e in self.events if e.n not in gone and e.kind != "retract"]
        for event in standing:
            # A check of the proof that passes says only again what was mended.
            if event.kind in MOVES and not (event.kind == "proved" and event.data.get("passed")):
                if (one := expecting.moved(standing, event.n)) is not None:
                    yield one


def read_back(name: str, events: Sequence[Event], verdict: Verdict, keys: Mapping[str, str]) -> ReadBack:
    """The reading of a log. keys: public keys that are kept here, by name. Never raises for what a log holds."""
    signatures = check(events, keys)
    if verdict.redacted:
        events = tuple(map(shortened, events))
    row = summarise(events)
    actions = actions_of(row, events) if row is not None else ()
    return ReadBack(
        name, verdict, row, actions, comments_of(events), signatures, _set_back_min(events), tuple(events)
    )  # fmt: skip


def in_table(name: str, row: JobRow, written: Written, keys: Mapping[str, str]) -> InTable:
    """A job whose log was whole and as anchored when the index read it, and has not changed since."""
    events, head = written.events, (row.events, row.head)
    verdict = Verdict(row.events, head, written.session, row.version, anchored=row.events)
    return InTable(
        name, verdict, row, actions_of(row, events), comments_of(events), judge(written, keys), _set_back_min(events)
    )  # fmt: skip


def _set_back_min(events: Iterable[Happened]) -> int:
    steps = [e.data.get("step_ms") for e in events if e.kind == "clock"]
    return round(sum(-s for s in steps if isinstance(s, int)) / 60_000)
