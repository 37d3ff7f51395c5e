"""One job in one row: what a table, an index and a history need of it. Data, and how it is had back from plain JSON.

`summary` makes it from a log.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

from troubleshoot.log.standing import OPEN_ENDS

UNPROVED: Final = frozenset({"not proved", "no proof"})
"""Sorts of departures that are told in one sentence."""
NOT_BEGUN: Final = "not begun"
"""Ending of a job that was left before anything was said."""
NOT_DONE: Final = " (could not be done)"
"""How a check of the proof run that could not be done ends, in `ended.not_proved`."""
_NOT_OFFERED: Final = re.compile(r" \(not offered: needs check \d+\)$")


def is_left_out(words: str) -> bool:
    """Whether a line of `ended.not_proved` is a check that was left out, or one that needs such a one."""
    return words.endswith(NOT_DONE) or _NOT_OFFERED.search(words) is not None


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
class Confirmed:
    """A fault whose confirming test agreed and that is not mended."""

    n: int
    """Number of the event of that test."""
    group: str
    """Repair group."""


@dataclass(frozen=True, slots=True)
class Awaited:
    """A part that the job had to wait for. It stays one, whoever takes the job up, until it is fitted or closed with a word."""

    n: int
    """The event that says so."""
    part: str
    """As the description names the device; empty where nothing pointed to one."""
    note: str
    """As it was typed: which, and when it comes."""
    faults: tuple[str, ...]
    """Repair groups that were confirmed then: what it is for."""
    fitted: int = 0
    """The confirmed repair that fitted it; 0 while there is none."""
    doubtful: int = 0
    """A repair of that part whose fault was not confirmed; 0 for none."""

    @property
    def words(self) -> str:
        """``S1 start button, push button (NO block, stores order 17, Tuesday)``."""
        return f"{self.part} ({self.note})" if self.part and self.note else self.part or self.note or "a part"


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
    ``safe as told``, ``caution unread``."""
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
    confirmed: tuple[Confirmed, ...]
    """Faults that are confirmed and not mended."""
    awaited: tuple[Awaited, ...]
    """Every part that was waited for, fitted ones too."""
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
    def waits_for_part(self) -> tuple[Awaited, ...]:
        """The parts that are still awaited, as far as the work itself says."""
        return tuple(one for one in self.awaited if not one.fitted)

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
        known[name] = tuple(make(**{f: _frozen(one[f]) for f in fields}) for one in data[name])
    for name in ("who", "not_proved"):
        known[name] = tuple(data[name])
    return JobRow(**known)


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


_PARTS: Final[Mapping[str, Any]] = {
    "found": Found, "confirmed": Confirmed, "awaited": Awaited, "proved": Check, "temporary": Left, "left_open": Left, "cannot": CouldNot, "departures": Departure,
}  # fmt: skip
