"""One job in one row, from the events of its log alone: no machine is read and nothing is computed about circuits. Pure.

An event that was taken back counts as what it is, a correction, and as nothing else. Whatever a later program writes
that is not known here changes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, Final

from troubleshoot.log.standing import OPEN_ENDS, Recorded, retracted
from troubleshoot.store.row import (
    NOT_DONE,
    Awaited,
    Check,
    Confirmed,
    CouldNot,
    Departure,
    Found,
    JobRow,
    Left,
    is_left_out,
)
from troubleshoot.store.told_time import told_time


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


WORDS_A_SECOND: Final = 12.0
"""Faster than this nobody reads: three times what adults read silently on average, 238 words a minute (Brysbaert, Journal of
Memory and Language 109, 2019; from memory)."""
_VOLTS: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?) (k?)V(?: AC| DC)? (?:at the points|at panel)")
_UP_TO: Final = re.compile(r"up to ([0-9]+(?:\.[0-9]+)?) (k?)V\b")
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


def too_short(text: Iterable[object], drawn_ms: float) -> bool:
    """Whether a caution of these lines was on the screen for less time than anybody needs to read it."""
    return drawn_ms / 1000 < len(" ".join(map(str, text)).split()) / WORDS_A_SECOND


def _in_reach(line: str) -> float:
    """The highest voltage of a caution at the points or anywhere in reach."""
    return max((float(number) * (1000 if kilo else 1) for number, kilo in _UP_TO.findall(line)), default=0.0)


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
        self.confirmed: dict[str, Confirmed] = {}
        self.awaited: list[Awaited] = []
        self.checks: dict[str, Check] = {}
        self.not_proved: tuple[str, ...] = ()
        self.temporary: dict[int, Left] = {}
        self.back: set[int] = set()
        self.cannot: dict[int, CouldNot] = {}
        self.early: list[Departure] = []
        self.cautioned: set[tuple[str, ...]] = set()
        self.hasty: list[tuple[int, float, float]] = []
        """Cautions that were accepted sooner than they can be read: event, seconds, volts that they name."""
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
            found=tuple(self.found), confirmed=tuple(self.confirmed.values()), awaited=tuple(self.awaited), proved=tuple(self.checks.values()), not_proved=self.not_proved,
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
        if self.hasty:
            _, seconds, volts = min(self.hasty, key=lambda one: one[1])
            where = f"event{'s' if len(self.hasty) > 1 else ''} {', '.join(str(n) for n, _, _ in self.hasty)}"
            least = f"{'the shortest ' if len(self.hasty) > 1 else ''}{seconds:.1f} s{f', up to {volts:.0f} V' if volts else ''}"
            out.append(Departure(
                self.hasty[0][0], "caution unread",
                f"{len(self.hasty)} of {self.cautions} cautions on the screen too short to read: {least} ({where})",
            ))  # fmt: skip
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
                if is_left_out(words)
            ]
        if self.how.startswith("made safe") and not self.isolated:
            out.append(Departure(self.end, "safe as told", "made safe as told, no isolation recorded"))
        if self.how:
            out += [Departure(t.n, "left temporary", f"ended with this temporary: {t.what}") for t in left]
        return sorted(out, key=lambda d: d.n)


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
    text = tuple(map(str, event.data["text"]))
    fold.volts = max(fold.volts, max(map(_volts, text), default=0.0))
    if text not in fold.cautioned and too_short(text, drawn := float(event.data["drawn_ms"])):
        fold.hasty.append((event.n, drawn / 1000, max(map(_in_reach, text), default=0.0)))
    fold.cautioned.add(text)


def _reading(fold: _Fold, event: Recorded) -> None:
    data = event.data
    fold.readings += len(data["items"])
    fold.trips += 1
    if data.get("shown") is False and any(item[0][0] == "meter" and item[0][1] != "ohms" for item in data["items"]):
        said = str(data.get("said", ""))
        fold.early.append(Departure(event.n, "before caution", f"read before its caution was shown: {said}"))
    fold.helper = fold.helper or data["situation"]["hands"] > 1
    if group := str(data.get("group") or ""):
        fold.confirmed.pop(group, None)
        if data["agrees"]:
            fold.confirmed[group] = Confirmed(event.n, group)


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
    # What was confirmed of another fault was read with this one still in; the job confirms it anew.
    fold.confirmed = {}
    fold.awaited = [_fitted(one, fold.found[-1]) for one in fold.awaited]
    fold.checks = {}


def _fitted(one: Awaited, made: Found) -> Awaited:
    """An awaited part after a repair: fitted where that was of it and its fault was confirmed."""
    device = made.group.partition(" ")[0]
    tag = any(char.isdigit() for char in device)  # "wire 12, K1:14 to FR1:95" begins with none
    of_it = made.group in one.faults or (tag and (one.part.partition(" ")[0] == device or _says(one.note, device)))
    if one.fitted or not of_it:
        return one
    return replace(one, fitted=made.n) if made.confirmed else replace(one, doubtful=made.n)


def _says(text: str, tag: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(tag)}(?!\w)", text, re.IGNORECASE) is not None


def _proved(fold: _Fold, event: Recorded) -> None:
    d = event.data
    check = str(d["check"])
    if not (d["passed"] and d.get("left_out")):  # seen without its readings: told as not proved at the end
        fold.checks[check] = Check(event.n, check, str(d.get("words", check)), bool(d["passed"]))
    fold.readings += sum(item[0][0] == "meter" for item in d.get("items", ()))


def _amended(fold: _Fold, event: Recorded) -> None:
    fold.amended += 1
    fold.confirmed = {}
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
    if fold.how == "waiting: part":
        # Asked for once more, by whoever had taken it up: still the same part.
        told = (fold.part, fold.note)
        fold.awaited = [one for one in fold.awaited if one.fitted or (one.part, one.note) != told]
        fold.awaited.append(Awaited(event.n, fold.part, fold.note, tuple(fold.confirmed)))


_TAKES: Final = {
    "opened": _opened, "complaint": _complaint, "resumed": _resumed, "told": _told, "note": _noted, "looked": _looked, "caution": _caution,
    "reading": _reading, "isolation": _isolation, "power": _power, "repaired": _repaired, "proved": _proved, "amended": _amended,
    "temporary": _temporary, "put back": _put_back, "cannot": _cannot, "can": _can, "handover": _handover,
    "clock": _clock, "ended": _ended,
}  # fmt: skip
READ: Final = frozenset({*_TAKES, "retract"})
"""Kinds whose data a row is made of."""
