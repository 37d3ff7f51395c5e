"""The logs of `tests/review/week`, read; they were written by release 0.1.0 and are never written again."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from troubleshoot.log.event import Event
from troubleshoot.log.verify import read_events
from troubleshoot.review.reading import ReadBack, read_back

WEEK = Path(__file__).resolve().parent / "week"
NAMES = ("belt-7-mon", "fan-2-tue", "belt-7-wed", "belt-7-thu")


def path(name: str) -> Path:
    (found,) = WEEK.glob(f"*/jobs/{name}.jsonl")
    return found


@cache
def events(name: str) -> tuple[Event, ...]:
    return read_events(path(name))[0]


@cache
def job(name: str) -> ReadBack:
    found, verdict = read_events(path(name))
    return read_back(f"{name}.jsonl", found, verdict, {})


def week() -> list[ReadBack]:
    return [job(name) for name in NAMES]
