"""What many jobs say together: what failed, how it showed, how long it took, what came back. Pure.

The index hands in the few facts it needs (`ask`); whoever has rows in hand makes the same facts of them (`facts_of`), and
the answer is the same.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.store.row import NOT_BEGUN, JobRow

if TYPE_CHECKING:
    from troubleshoot.store.index import Index

REPEAT_DAYS: Final = 90
"""The same repair on the same machine within so many days is a repeat. Common practice, no published source: a quarter."""
DAY_S: Final = 86_400
MONTHS: Final = 12
"""How many months a plot shows."""
LENGTHS: Final = (
    (15, "to 15 min"),
    (30, "to 30 min"),
    (60, "to 1 h"),
    (120, "to 2 h"),
    (240, "to 4 h"),
    (480, "to 8 h"),
)
LONGER: Final = "longer"


@dataclass(frozen=True, slots=True)
class Job:
    """What is asked of a job."""

    machine: str
    began: float
    """Seconds since 1970, UTC."""
    month: str
    complaint: str
    how: str
    minutes: int | None
    departures: int
    told: bool = True
    """People said when the machine stopped; else the beginning of the job stands for it in `minutes`."""


@dataclass(frozen=True, slots=True)
class Fix:
    """What is asked of a repair."""

    machine: str
    at: float
    repair: str
    words: str
    sure: str
    mended: bool


@dataclass(frozen=True, slots=True)
class Failed:
    """One repair group of one machine."""

    machine: str
    repair: str
    words: str
    """As it was found last."""
    times: int
    confirmed: int
    last: str
    """Day, UTC."""
    repeats: int


@dataclass(frozen=True, slots=True)
class Repeat:
    """A repair that was made again soon."""

    machine: str
    repair: str
    before: str
    """Days, UTC."""
    again: str
    days: int


@dataclass(frozen=True, slots=True)
class Series:
    """What a plot shows: labels with numbers, in the order in which they are shown."""

    title: str
    unit: str
    points: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class History:
    """The past of one machine, or of all."""

    machine: str
    """Empty: all of them."""
    jobs: int
    first: str
    last: str
    """Days, UTC, on which the oldest and newest job began; empty where there is none."""
    how: tuple[tuple[str, int], ...]
    """How the jobs ended, most first; empty text: still open."""
    failed: tuple[Failed, ...]
    """Most often first. A repair that did not end its job counts too: it was made."""
    showed: tuple[tuple[str, int], ...]
    """Complaints, most first."""
    months: tuple[tuple[str, int, int], ...]
    """(month, jobs, minutes down), oldest first, months without a job included, the newest `MONTHS`."""
    lengths: tuple[tuple[str, int], ...]
    """How many jobs were down for how long."""
    median_minutes: float | None
    median_about: bool
    """For some of these jobs nobody said when the machine stopped: they may have been longer."""
    not_handed_back: int
    """Jobs that have no minutes yet; they are in no number of these."""
    repeats: tuple[Repeat, ...]
    """Newest first."""
    departures: int

    def plain(self) -> dict[str, Any]:
        """As a JSON object."""
        return asdict(self)


def history(jobs: Sequence[Job], fixes: Iterable[Fix], *, machine: str = "", repeat_days: int = REPEAT_DAYS) -> History:
    """Put together the past. The order of what is given does not matter."""
    began = [j.began for j in jobs]
    by_repair: dict[tuple[str, str], list[Fix]] = defaultdict(list)
    for fix in fixes:
        by_repair[fix.machine, fix.repair].append(fix)
    failed, repeats = [], []
    for (of, repair), group in by_repair.items():
        group.sort(key=lambda f: (f.at, f.words))
        again = [
            Repeat(of, repair, _day(a.at), _day(b.at), int((b.at - a.at) // DAY_S))
            for a, b in pairwise(group)
            if b.at - a.at <= repeat_days * DAY_S
        ]
        repeats += again
        sure = sum(f.sure == "confirmed" for f in group)
        failed.append(Failed(of, repair, group[-1].words, len(group), sure, _day(group[-1].at), len(again)))
    minutes = [j.minutes for j in jobs if j.minutes is not None]
    return History(
        machine, len(jobs), _day(min(began)) if began else "", _day(max(began)) if began else "",
        _most(Counter(j.how for j in jobs)),
        tuple(sorted(failed, key=lambda f: (-f.times, f.machine, f.repair))),
        _most(Counter(j.complaint for j in jobs)), _months(jobs), _lengths(minutes),
        float(median(minutes)) if minutes else None,
        any(j.minutes is not None and not j.told for j in jobs),
        sum(j.minutes is None and j.how != NOT_BEGUN for j in jobs),
        tuple(sorted(repeats, key=lambda r: (r.again, r.before, r.machine, r.repair), reverse=True)),
        sum(j.departures for j in jobs),
    )  # fmt: skip


def series(found: History, most: int = 8) -> tuple[Series, ...]:
    """What is plotted of a history: what failed, how it showed, jobs a month, how long; those that have anything to show."""
    alone = bool(found.machine)
    every = (
        Series(
            "What was repaired", "times",
            tuple((f.repair if alone else f"{f.machine}: {f.repair}", f.times) for f in found.failed[:most]),
        ),
        Series("How it showed", "jobs", found.showed[:most]),
        Series("Jobs a month", "jobs", tuple((month, jobs) for month, jobs, _ in found.months)),
        Series("Hours down a month", "h", tuple((month, round(down / 60, 1)) for month, _, down in found.months)),
        Series("How long it was down", "jobs", found.lengths),
    )  # fmt: skip
    return tuple(s for s in every if any(value for _, value in s.points))


def confirmed_repairs(fixes: Iterable[Fix]) -> dict[str, int]:
    """How often each repair group of one machine was found and confirmed by a test, and its job ended as mended: the only
    past that may move a suspicion."""
    return dict(sorted(Counter(f.repair for f in fixes if f.sure == "confirmed" and f.mended).items()))


def facts_of(rows: Iterable[JobRow]) -> tuple[list[Job], list[Fix]]:
    """The facts of rows that are at hand."""
    jobs, fixes = [], []
    for row in rows:
        began = datetime.fromisoformat(row.started).timestamp()
        jobs.append(Job(
            row.machine, began, row.started[:7], row.complaint, row.how, row.minutes_down, row.told_departures, row.down_told,
        ))  # fmt: skip
        fixes += [
            Fix(row.machine, datetime.fromisoformat(f.at).timestamp(), f.group, f.words, f.sure, row.how == "mended")
            for f in row.found
        ]
    return jobs, fixes


def ask(index: Index, machine: str = "") -> tuple[list[Job], list[Fix]]:
    """The facts from an index; of one machine, or of all. Raises IndexTrouble."""
    from sqlalchemy import select

    from troubleshoot.store.tables import JOBS, REPAIRS, plain

    j, r = JOBS.c, REPAIRS.c
    jobs = select(j.machine, j.began, j.month, j.complaint, j.how, j.minutes, j.departures, j.told)
    jobs = jobs.where(j.plant == index.plant, j.is_job)
    fixes = select(r.machine, r.at, r.repair, r.words, r.sure, r.mended).where(r.plant == index.plant)
    if machine:
        jobs, fixes = jobs.where(j.machine == plain(machine)), fixes.where(r.machine == plain(machine))
    found, made = index.ask(jobs, fixes)
    return [Job(*row) for row in found], [Fix(*row) for row in made]


def _most(counted: Counter[str]) -> tuple[tuple[str, int], ...]:
    return tuple(sorted(counted.items(), key=lambda one: (-one[1], one[0])))


def _day(at: float) -> str:
    return datetime.fromtimestamp(at, UTC).date().isoformat()


def _months(jobs: Sequence[Job]) -> tuple[tuple[str, int, int], ...]:
    count: Counter[str] = Counter()
    down: Counter[str] = Counter()
    for job in jobs:
        count[job.month] += 1
        down[job.month] += job.minutes or 0
    if not count:
        return ()
    shown: list[tuple[str, int, int]] = []
    oldest, month = min(count), max(count)
    while len(shown) < MONTHS and month >= oldest:
        shown.append((month, count[month], down[month]))
        year, number = int(month[:4]), int(month[5:])
        month = f"{year:04}-{number - 1:02}" if number > 1 else f"{year - 1:04}-12"
    return tuple(reversed(shown))


def _lengths(minutes: Sequence[int]) -> tuple[tuple[str, int], ...]:
    counted = Counter(next((words for most, words in LENGTHS if m <= most), LONGER) for m in minutes)
    return tuple((words, counted[words]) for words in (*(w for _, w in LENGTHS), LONGER)) if minutes else ()
