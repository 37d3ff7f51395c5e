"""A thousand random tamperings with real logs, each named at the line where it is.

The logs are jobs of a week (`tests/review/week`). With the number and hash of the newest event kept elsewhere, as a report
prints them, every one of these has to be found: without it a cut tail cannot be.
"""

from __future__ import annotations

import json
import os
import random
from collections import Counter
from pathlib import Path

import pytest

from troubleshoot.log.disk import RealDisk
from troubleshoot.log.event import RESERVED, line_of, make_event
from troubleshoot.log.verify import Verdict, scan

WEEK = Path(__file__).resolve().parent.parent / "review/week"
LOGS = [path.read_bytes().splitlines(keepends=True) for path in sorted(WEEK.glob("*/jobs/*.jsonl"))]
HOW_MANY = int(os.environ.get("TROUBLESHOOT_TAMPERINGS", "1000"))


def scanned(data: bytes, head: tuple[int, str]) -> Verdict:
    class InMemory(RealDisk):
        def read(self, fd, length, offset):
            return data[offset : offset + length]

    return scan(InMemory(), -1, None, head)


def edited(dice: random.Random, lines: list[bytes]) -> tuple[list[bytes], int]:
    """One byte of one line is another one."""
    k = dice.randrange(len(lines))
    at = dice.randrange(len(lines[k]) - 1)
    new = dice.choice([b for b in b'0123456789abcdefxyz {}[]",:-' if b != lines[k][at]])
    return [*lines[:k], lines[k][:at] + bytes([new]) + lines[k][at + 1 :], *lines[k + 1 :]], k + 1


def a_value_edited_and_its_hash_made_right(dice: random.Random, lines: list[bytes]) -> tuple[list[bytes], int]:
    """Shows at the next line, which names this one: which of the two is false cannot be told."""
    k = dice.randrange(len(lines) - 1)
    old = json.loads(lines[k])
    data = {key: value for key, value in old.items() if key not in RESERVED} | {"added": dice.random()}
    forged = line_of(make_event(old["n"], old["kind"], old["at"], old["elapsed_ms"], data, old["prev"]))
    return [*lines[:k], forged, *lines[k + 1 :]], k + 2


def the_last_value_edited_and_its_hash_made_right(dice: random.Random, lines: list[bytes]) -> tuple[list[bytes], int]:
    old = json.loads(lines[-1])
    data = {key: value for key, value in old.items() if key not in RESERVED} | {"added": dice.random()}
    forged = line_of(make_event(old["n"], old["kind"], old["at"], old["elapsed_ms"], data, old["prev"]))
    return [*lines[:-1], forged], len(lines)


def cut(dice: random.Random, lines: list[bytes]) -> tuple[list[bytes], int]:
    """Some lines are gone, the last ones perhaps."""
    i = dice.randrange(len(lines))
    j = dice.randint(i + 1, len(lines))
    return [*lines[:i], *lines[j:]], i + 1


def reordered(dice: random.Random, lines: list[bytes]) -> tuple[list[bytes], int]:
    i, j = sorted(dice.sample(range(len(lines)), 2))
    swapped = list(lines)
    swapped[i], swapped[j] = swapped[j], swapped[i]
    return swapped, i + 1


def replayed(dice: random.Random, lines: list[bytes]) -> tuple[list[bytes], int]:
    """A line once more, further down."""
    i = dice.randrange(len(lines))
    j = dice.randint(i + 1, len(lines))
    return [*lines[:j], lines[i], *lines[j:]], j + 1


def spliced(dice: random.Random, lines: list[bytes]) -> tuple[list[bytes], int]:
    """A line of another job, in the place of one or between two."""
    other = dice.choice([log for log in LOGS if log[0] != lines[0]])
    k = dice.randrange(len(lines))
    line = dice.choice(other[1:])
    return [*lines[:k], line, *lines[k + dice.randint(0, 1) :]], k + 1


WAYS = (
    edited, a_value_edited_and_its_hash_made_right, the_last_value_edited_and_its_hash_made_right, cut, reordered,
    replayed, spliced,
)  # fmt: skip


def test_a_thousand_tamperings_are_each_named_at_the_right_line() -> None:
    dice = random.Random(7)
    done: Counter[str] = Counter()
    for number in range(HOW_MANY):
        way, lines = dice.choice(WAYS), dice.choice(LOGS)
        head = json.loads(lines[-1])
        changed, right = way(dice, lines)
        verdict = scanned(b"".join(changed), (head["n"], head["hash"]))
        assert verdict.bad is not None, f"{number}: {way.__name__} at line {right} was not found"
        assert verdict.bad.line == right, f"{number}: {way.__name__}: {verdict.bad} instead of line {right}"
        done[way.__name__] += 1
    assert set(done) == {way.__name__ for way in WAYS}
    assert sum(done.values()) == HOW_MANY


@pytest.mark.parametrize("lines", LOGS, ids=len)
def test_the_same_logs_untouched_are_whole_and_anchored(lines: list[bytes]) -> None:
    head = json.loads(lines[-1])
    verdict = scanned(b"".join(lines), (head["n"], head["hash"]))
    assert verdict.whole
    assert verdict.anchored == len(lines)
