"""One job in one row, from the events of its log alone: no machine is read and nothing is computed about circuits. Pure.

An event that was taken back counts as what it is, a correction, and as nothing else. Whatever a later program writes
that is not known here changes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, Final

from troubleshoot.log.standing import OPEN_ENDS, Recorded, retracted
from troubleshoot.store.told_time import told_time


@dataclass(frozen=True, slots=True)
class Found:
    """A fault that was found and put right, or a part that was changed without finding out."""

    n: int
    """Number of the event."""
    at: str
    group: str
    """Repair group: what one act puts right."""
    suspect: str
    words: str
    act: str
    item: str
    note: str
    chance: float
    """Of this repair group, as it was when the repair was made."""
    confirmed: bool
    """A confirming test agreed before it was mended."""
    broken: bool
    """A part or wire; False for a condition that is seen and set right, as a stop left in."""

    @property
    def sure(self) -> str:
        """``confirmed``, ``seen`` (a condition, which needs no test) or ``not confirmed``."""
        return "confirmed" if self.confirmed else "not confirmed" if self.broken else "seen"


@dataclass(frozen=True, slots=True)
class Check:
    """A check of the proof run, as it came out last since the last repair."""

    n: int
    id: str
    words: str
    passed: bool


@dataclass(frozen=True, slots=True)
class Left:
    """A temporary thing: still there when the log ends, or put back."""

    n: int
    what: str
    by: str


@dataclass(frozen=True, slots=True)
class CouldNot:
    """Something that could not be done."""

    n: int
    words: str
    reason: str
    """As `job.reasons` names it."""
    lifted: bool
    """It was said later that it can be done now."""


@dataclass(frozen=True, slots=True)
class Departure:
    """Something that was not done as a careful person does it. Guesses and readings taken back are none."""

    n: int
    """The event that shows it."""
    sort: str
    """A name for counting: ``unconfirmed``, ``no proof``, ``proof failed``, ``not proved``, ``before caution``, ``left temporary``, ``no repair``,
    ``safe as told``."""
    words: str


@dataclass(frozen=True, slots=True)
class JobRow:
    """One job. Times are ISO 8601 with offset; empty where there is none."""

    session: str
    machine: str
    version: str
    """Of the program that began it."""
    who: tuple[str, ...]
    """Everybody who worked on it by name, in their order."""
    second: str
    """The second person who signed the hand-back."""
    started: str
    ended: str
    """When it ended; empty while it goes on."""
    last: str
    """Of the newest event."""
    worked: str
    """Of the newest event of the work: what was written back to it is none."""
    down_from: str
    down_told: bool
    """`down_from` is what people told; otherwise the job's own beginning stands in for it."""
    down_to: str
    """When it was handed back; empty where it was not."""
    minutes_down: int | None
    """From `down_from` to the hand-back; None while it is not handed back. By the clock that nobody can set, as far as the
    job itself goes: the one on the wall may have been set in between."""
    complaint: str
    said: str
    """The complaint in the person's own words."""
    how: str
    """``mended``, ``made safe``, ``waiting: part``..., ``watching``, ``not found``; empty while it goes on."""
    note: str
    part: str
    """What a job that waits for a part waits for."""
    found: tuple[Found, ...]
    proved: tuple[Check, ...]
    not_proved: tuple[str, ...]
    temporary: tuple[Left, ...]
    """Everything that was made temporary in this job."""
    left_open: tuple[Left, ...]
    """Of these, what is not put back."""
    cannot: tuple[CouldNot, ...]
    departures: tuple[Departure, ...]
    readings: int
    """Values that were read, the tester's proving and the proof run included."""
    trips: int
    """Times the meter was taken to the panel for the search."""
    looks: int
    cautions: int
    corrections: int
    """Events taken back: normal work."""
    clock_jumps: int
    amended: int
    handovers: int
    most_volts: int
    """Highest voltage that a caution of this job named, whole volts; 0 where none did."""
    helper: bool
    """Somebody held a button for it, by what the steps say."""
    events: int
    head: str
    """Hash of the newest event, 64 hexadecimal digits."""

    @property
    def open(self) -> bool:
        """It can be taken up again."""
        return not self.how or self.how.startswith(OPEN_ENDS)

    @property
    def anchor(self) -> str:
        """Number and hash of the newest event: ``41:9f86...``."""
        return f"{self.events}:{self.head}"

    @property
    def told_departures(self) -> int:
        """How many departures a person is told of: all checks that were left out of a proof run are one."""
        apart = sum(d.sort not in UNPROVED for d in self.departures)
        return apart + any(d.sort in UNPROVED for d in self.departures)

    @property
    def ending(self) -> str:
        """How it ended, and that a machine made safe was only told to be so; ``goes on`` where it did not end."""
        if any(d.sort == "safe as told" for d in self.departures):
            return f"{self.how} (as told, no isolation recorded)"
        if self.not_begun:
            return f"{NOT_BEGUN}, nothing to judge"
        return self.how or "goes on"

    @property
    def not_begun(self) -> bool:
        """It was left before anything was said."""
        return self.how == NOT_BEGUN

    @property
    def alone(self) -> bool:
        """Nobody else is named and nobody helped."""
        return len(self.who) < 2 and not self.second and not self.helper

    def plain(self) -> dict[str, Any]:
        """This row as a JSON object, what is computed from it included."""
        return {
            **asdict(self), "open": self.open, "anchor": self.anchor, "alone": self.alone,
            "found": [{**asdict(f), "sure": f.sure} for f in self.found],
        }  # fmt: skip


def row_of(data: Mapping[str, Any]) -> JobRow:
    """The row that `JobRow.plain` wrote. Raises KeyError or TypeError for anything else."""
    known = {name: data[name] for name in JobRow.__slots__}
    for name, make in _PARTS.items():
        fields = make.__slots__
        known[name] = tuple(make(**{f: one[f] for f in fields}) for one in data[name])
    for name in ("who", "not_proved"):
        known[name] = tuple(data[name])
    return JobRow(**known)


def summarise(events: Sequence[Recorded]) -> JobRow | None:
    """The row of a job from its log, oldest event first; None where there is no job in it.

    Never raises for what a log holds: a fact in a form that is not known is left out.
    """
    if not events:
        return None
    try:
        gone = retracted(events)
    except (KeyError, TypeError, ValueError):
        gone = frozenset()
    opened = next((e for e in events if e.kind == "opened"), None)
    if opened is None:
        return None
    fold = _Fold(opened)
    for event in events:
        kind = event.kind
        if kind == "retract":
            fold.corrections += 1
        elif (take := _TAKES.get(kind)) is not None:
            if kind != "clock":
                fold.worked = event.at
            if event.n in gone:
                continue
            try:
                take(fold, event)
            except (KeyError, TypeError, ValueError, IndexError, AttributeError):
                continue
    return fold.row(events[-1])


_VOLTS: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?) (k?)V(?: AC| DC)? (?:at the points|at panel)")
_SEEN_ACTS: Final = frozenset({
    "take off", "load the copy of", "switch on", "release", "see to the process", "set to run", "reset",
    "find the cause, then reset",
})  # fmt: skip
"""Acts that set a condition right, for logs from before `repaired` said `broken`."""


def _broken(data: Mapping[str, Any]) -> bool:
    act = str(data.get("act", ""))
    return bool(data.get("broken", act not in _SEEN_ACTS and not act.startswith("put in ")))


@lru_cache(maxsize=4096)
def _volts(line: str) -> float:
    """The highest voltage that a line of a caution names; the same few lines stand in thousands of logs."""
    return max((float(number) * (1000 if kilo else 1) for number, kilo in _VOLTS.findall(line)), default=0.0)


class _Fold:
    """What is known so far."""

    def __init__(self, opened: Recorded) -> None:
        data = opened.data
        self.opened = opened
        self.session, self.version = str(data.get("session", "")), str(data.get("version", ""))
        self.machine, self.said = str(data.get("machine", "")), str(data.get("said", ""))
        self.complaint = str(data.get("complaint", ""))
        self.who: list[str] = []
        self.second = self.ended = self.how = self.note = self.part = ""
        self.end = 0
        self.end_ms: int | None = None
        self.down_from: datetime | None = None
        self.down_ms = opened.elapsed_ms
        """`down_from` by the job's own running clock; negative where it was before the job."""
        self.found: list[Found] = []
        self.checks: dict[str, Check] = {}
        self.not_proved: tuple[str, ...] = ()
        self.temporary: dict[int, Left] = {}
        self.back: set[int] = set()
        self.cannot: dict[int, CouldNot] = {}
        self.early: list[Departure] = []
        self.readings = self.trips = self.looks = self.cautions = self.corrections = 0
        self.jumps = self.amended = self.handovers = 0
        self.volts = 0.0
        self.worked = opened.at
        self.helper = False
        self.isolated = False
        """A step of making safe was recorded, and the power has not come back since."""

    def named(self, who: object) -> None:
        if isinstance(who, str) and who and who not in self.who:
            self.who.append(who)

    def since(self, event: Recorded, text: object) -> None:
        """The earliest thing people say counts: later sentences are about later stops."""
        if self.down_from is None and isinstance(text, str):
            now = datetime.fromisoformat(event.at)
            self.down_from = told_time(text, now)
            if self.down_from is not None:
                self.down_ms = event.elapsed_ms - (now - self.down_from) // timedelta(milliseconds=1)

    def row(self, last: Recorded) -> JobRow:
        left = tuple(t for n, t in self.temporary.items() if n not in self.back)
        handed_back = self.how == "mended" and self.end_ms is not None
        return JobRow(
            session=self.session, machine=self.machine, version=self.version, who=tuple(self.who), second=self.second,
            started=self.opened.at, ended=self.ended, last=last.at, worked=self.worked,
            down_from=self.down_from.isoformat(timespec="minutes") if self.down_from else self.opened.at,
            down_told=self.down_from is not None, down_to=self.ended if handed_back else "",
            minutes_down=max(0, self.end_ms - self.down_ms) // 60_000 if handed_back and self.end_ms is not None else None,
            complaint=self.complaint, said=self.said, how=self.how, note=self.note, part=self.part,
            found=tuple(self.found), proved=tuple(self.checks.values()), not_proved=self.not_proved,
            temporary=tuple(self.temporary.values()), left_open=left, cannot=tuple(self.cannot.values()),
            departures=tuple(self.departures(left)), readings=self.readings, trips=self.trips, looks=self.looks,
            cautions=self.cautions, corrections=self.corrections, clock_jumps=self.jumps, amended=self.amended,
            handovers=self.handovers, most_volts=round(self.volts), helper=self.helper, events=last.n, head=last.hash,
        )  # fmt: skip

    def departures(self, left: tuple[Left, ...]) -> list[Departure]:
        out = [
            Departure(f.n, "unconfirmed", f"{f.act} {f.item} without a confirming test")
            for f in self.found
            if f.sure == "not confirmed"
        ]
        out += self.early
        if self.how == "mended":
            if not self.found:
                out.append(Departure(self.end, "no repair", "handed back as mended, no repair noted"))
            if not any(c.passed for c in self.checks.values()):
                out.append(Departure(self.end, "no proof", "handed back without a proof run"))
            out += [
                Departure(c.n, "proof failed", f"handed back though this failed: {c.words}")
                for c in self.checks.values()
                if not c.passed
            ]
            out += [
                Departure(self.end, "not proved", f"handed back not proved: {words.removesuffix(NOT_DONE)}")
                for words in self.not_proved
                if words.endswith(NOT_DONE)
            ]
        if self.how.startswith("made safe") and not self.isolated:
            out.append(Departure(self.end, "safe as told", "made safe as told, no isolation recorded"))
        if self.how:
            out += [Departure(t.n, "left temporary", f"ended with this temporary: {t.what}") for t in left]
        return sorted(out, key=lambda d: d.n)


UNPROVED: Final = frozenset({"not proved", "no proof"})
"""Sorts of departures that are told in one sentence."""
NOT_BEGUN: Final = "not begun"
"""Ending of a job that was left before anything was said."""
NOT_DONE: Final = " (could not be done)"
"""How a check of the proof run that was left out ends, in `ended.not_proved`."""


def _opened(fold: _Fold, event: Recorded) -> None:
    fold.named(event.data.get("who"))
    fold.since(event, event.data.get("said"))


def _complaint(fold: _Fold, event: Recorded) -> None:
    fold.complaint = str(event.data["complaint"])


def _resumed(fold: _Fold, event: Recorded) -> None:
    fold.named(event.data.get("who"))
    fold.isolated = False
    if fold.how.startswith(OPEN_ENDS):
        fold.how = fold.ended = fold.note = fold.part = ""
        fold.not_proved = ()


def _told(fold: _Fold, event: Recorded) -> None:
    fold.since(event, event.data.get("said"))


def _noted(fold: _Fold, event: Recorded) -> None:
    fold.since(event, event.data.get("text"))


def _looked(fold: _Fold, event: Recorded) -> None:
    fold.looks += 1
    fold.helper = fold.helper or event.data["situation"]["hands"] > 1


def _caution(fold: _Fold, event: Recorded) -> None:
    fold.cautions += 1
    for line in event.data["text"]:
        if (volts := _volts(line)) > fold.volts:
            fold.volts = volts


def _reading(fold: _Fold, event: Recorded) -> None:
    data = event.data
    fold.readings += len(data["items"])
    fold.trips += 1
    if data.get("shown") is False and any(item[0][0] == "meter" and item[0][1] != "ohms" for item in data["items"]):
        said = str(data.get("said", ""))
        fold.early.append(Departure(event.n, "before caution", f"read before its caution was shown: {said}"))
    fold.helper = fold.helper or data["situation"]["hands"] > 1


def _isolation(fold: _Fold, event: Recorded) -> None:
    fold.readings += len(event.data.get("readings") or ())
    fold.isolated = True


def _power(fold: _Fold, event: Recorded) -> None:
    fold.isolated = fold.isolated and not event.data["on"]


def _repaired(fold: _Fold, event: Recorded) -> None:
    d = event.data
    fold.found.append(Found(
        event.n, event.at, str(d["group"]), str(d["suspect"]), str(d.get("words", d["suspect"])), str(d.get("act", "")),
        str(d.get("item", "")), str(d.get("note", "")), float(d.get("chance", 0.0)), bool(d.get("confirmed", False)),
        _broken(d),
    ))  # fmt: skip
    fold.checks = {}


def _proved(fold: _Fold, event: Recorded) -> None:
    d = event.data
    check = str(d["check"])
    fold.checks[check] = Check(event.n, check, str(d.get("words", check)), bool(d["passed"]))
    fold.readings += sum(item[0][0] == "meter" for item in d.get("items", ()))


def _amended(fold: _Fold, event: Recorded) -> None:
    fold.amended += 1
    fold.checks = {}


def _temporary(fold: _Fold, event: Recorded) -> None:
    fold.temporary[event.n] = Left(event.n, str(event.data["what"]), str(event.data.get("by", "")))


def _put_back(fold: _Fold, event: Recorded) -> None:
    fold.back.add(int(event.data["of"]))
    if event.data.get("again"):
        fold.checks = {}


def _cannot(fold: _Fold, event: Recorded) -> None:
    fold.cannot[event.n] = CouldNot(event.n, str(event.data["words"]), str(event.data["reason"]), False)


def _can(fold: _Fold, event: Recorded) -> None:
    n = int(event.data["of"])
    if (one := fold.cannot.get(n)) is not None:
        fold.cannot[n] = CouldNot(one.n, one.words, one.reason, True)


def _handover(fold: _Fold, event: Recorded) -> None:
    fold.handovers += 1


def _clock(fold: _Fold, event: Recorded) -> None:
    fold.jumps += 1


def _ended(fold: _Fold, event: Recorded) -> None:
    d = event.data
    fold.how, fold.ended, fold.end, fold.end_ms = str(d["how"]), event.at, event.n, event.elapsed_ms
    fold.note, fold.part = str(d.get("note", "")), str(d.get("part", ""))
    fold.second = str(d.get("second", "")) or fold.second
    fold.not_proved = tuple(str(w) for w in d.get("not_proved", ()))


_TAKES: Final = {
    "opened": _opened, "complaint": _complaint, "resumed": _resumed, "told": _told, "note": _noted, "looked": _looked, "caution": _caution,
    "reading": _reading, "isolation": _isolation, "power": _power, "repaired": _repaired, "proved": _proved, "amended": _amended,
    "temporary": _temporary, "put back": _put_back, "cannot": _cannot, "can": _can, "handover": _handover,
    "clock": _clock, "ended": _ended,
}  # fmt: skip
READ: Final = frozenset({*_TAKES, "retract"})
"""Kinds whose data a row is made of."""
_PARTS: Final[Mapping[str, Any]] = {
    "found": Found, "proved": Check, "temporary": Left, "left_open": Left, "cannot": CouldNot, "departures": Departure,
}  # fmt: skip
