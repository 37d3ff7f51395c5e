"""Logs to test with: a job at an invented conveyor, belt-7."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

from troubleshoot.log.clock import SetClock
from troubleshoot.log.event import Event, line_of
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import LogFile

NIGHT = datetime(2026, 11, 25, 3, 10, 22, 480_000, timezone(timedelta(hours=1)))

JOB = (
    ("opened", {"machine": "belt-7", "circuit": "sha:9c1e", "tool": {"meter": "M-14", "loz": True}}),
    ("told", {"what": "got going by", "said": "didn't, dead since the break", "by": "operator"}),
    ("face", {"slot": "A1", "on": ["estop", "stop", "run"], "source": "by-exception"}),
    ("caution", {"points": ["K1:14", "NB:1"], "class": "danger", "drawn_ms": 912, "accepted_by": "RT"}),
    ("act", {"do": "press S1", "hands": 2}),
    ("reading", {"pairs": [["K1:14", "NB:1"]], "said": "120 ∿", "as": [[119.5, 120.5]], "proved": False}),
    ("reading", {"pairs": [["FR1:96", "NB:1"]], "said": "nothing", "as": ["nothing"], "proved": False}),
    ("retract", {"of": [6], "part": 1, "why": "black lead was off"}),
    ("reading", {"pairs": [["FR1:95", "NB:1"]], "said": "Ω ?", "as": [None], "proved": False}),
    ("waiting", {"for": "permit", "locks": [["RT", "Q0"]], "temporary": []}),
)


def clock() -> SetClock:
    return SetClock(NIGHT)


def job(session: str = "belt-7 night", count: int = 10) -> tuple[Event, ...]:
    """The events of a job, 2 s apart."""
    time = clock()
    log = MemoryLog(session=session, version="0.1.0", who="RT", clock=time)
    for kind, data in (JOB * (count // len(JOB) + 1))[:count]:
        log.append(kind, data)
        time.pass_time(2000)
    return log.events


def lines(events: tuple[Event, ...]) -> list[bytes]:
    return [line_of(event) for event in events]


def opened(path: Path, *, session: str = "belt-7 night", **others) -> LogFile:
    """The log at `path`, opened for writing; fails where it cannot be."""
    time = clock()
    if path.exists() and path.stat().st_size:
        time.pass_time(60_000)
    log = open_log(path, **{"session": session, "version": "0.1.0", "who": "RT", "clock": time, **others})
    assert isinstance(log, LogFile), log
    return log
