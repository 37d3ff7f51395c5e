"""What is remembered of one person, where that person wants it: one line an exercise, and what is practised next. Pure.

Safety comes first: whoever had an exercise stopped for safety does that level again before any other. Then what was weak
lately, then the next level. No times, no marks of people beside each other.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from troubleshoot.practice.debrief import Result
from troubleshoot.practice.exercise import BY_NUMBER, LEVELS

WEAK: Final[dict[str, tuple[int, str]]] = {
    "isolation": (5, "making it dead and proving it"),
    "cautions": (1, "the caution before the reading"),
    "meter": (4, "setting and reading the meter"),
    "stray": (3, "telling stray volts from real ones"),
    "predicting": (1, "saying first what should be there"),
    "halving": (2, "readings that tell the rest apart"),
    "replacing unproved": (7, "confirming before mending"),
}
"""What can be weak, with the level that practises it, and in words."""
LATELY: Final = 6
"""Exercises that count as lately."""
PASSES: Final = 2
"""Passed so often, a level is done."""
MOST_LINES: Final = 5000


@dataclass(frozen=True, slots=True)
class Past:
    """One exercise that was done."""

    on: str
    """Date, year first."""
    machine: str
    level: int
    seed: int
    passed: bool
    unsafe: str = ""
    weak: tuple[str, ...] = ()
    readings: int = 0
    expert: int = 0


def past_of(result: Result, on: str) -> Past:
    """What is remembered of a result. on: the date."""
    return Past(
        on,
        result.machine,
        result.level,
        result.seed,
        result.passed,
        result.unsafe,
        result.weak,
        result.readings,
        result.expert,
    )


def line_of(past: Past) -> str:
    """One line of the file."""
    return json.dumps(asdict(past), sort_keys=True, ensure_ascii=True)


def read_lines(text: str) -> tuple[Past, ...]:
    """Every line that reads; what a crash or a hand left half is passed over."""
    out = []
    for line in text.splitlines()[-MOST_LINES:]:
        try:
            out.append(_past(json.loads(line)))
        except (ValueError, KeyError, TypeError):
            continue
    return tuple(out)


def _past(data: Any) -> Past:
    level = int(data["level"])
    if level not in BY_NUMBER:
        raise ValueError(level)
    return Past(
        str(data["on"]), str(data["machine"]), level, int(data["seed"]), bool(data["passed"]), str(data["unsafe"]),
        tuple(str(w) for w in data["weak"] if w in WEAK), int(data["readings"]), int(data["expert"]),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Next:
    """What to practise next, and why."""

    level: int
    why: str


def next_of(past: Sequence[Past]) -> Next:
    """The level that comes next for this person."""
    if not past:
        return Next(1, "the beginning of the course")
    last = past[-1]
    if last.unsafe:
        return Next(last.level, f"the same again, safely: {last.unsafe}")
    weak = weak_spots(past)
    if weak:
        spot = weak[0]
        level, words = WEAK[spot]
        since = past[-1 - next((k for k, p in enumerate(reversed(past)) if spot in p.weak), 0) :]
        if not any(p.level == level and p.passed for p in since):
            return Next(level, f"a weak spot lately: {words}")
    passed = Counter(p.level for p in past if p.passed)
    for step in LEVELS:
        if passed[step.number] < (1 if step.lesson else PASSES):
            return Next(step.number, "the next step of the course")
    return Next(LEVELS[-1].number, "the course is done; anything more is exercise")


def weak_spots(past: Sequence[Past]) -> tuple[str, ...]:
    """What was weak at least twice lately, most often first."""
    times = Counter(w for p in past[-LATELY:] for w in p.weak)
    return tuple(w for w, count in times.most_common() if count >= 2)


def words_of(past: Sequence[Past]) -> str:
    """What comes next, in a sentence."""
    following = next_of(past)
    level = BY_NUMBER[following.level]
    return f"Next: {level.number} {level.name}, {level.words} ({following.why})."
