"""Real processes, killed and racing: what one said it saved is there for the next."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from troubleshoot.log.verify import read_events, verify

WRITES = """
import sys
from troubleshoot.log.event import Event
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import LogFile
log = open_log(sys.argv[1], session="s", version="0.1.0", who=sys.argv[2])
assert isinstance(log, LogFile), log
while True:
    event = log.append("note", {"text": "x" * 300, "by": sys.argv[2]})
    assert isinstance(event, Event), event
    print(event.n, flush=True)
"""

TAKES_TURNS = """
import sys
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import LogFile
done = 0
while done < 25:
    log = open_log(sys.argv[1], session="s", version="0.1.0", who=sys.argv[2])
    if isinstance(log, LogFile):
        log.append("note", {"by": sys.argv[2], "i": done})
        done += 1
        log.close()
    else:
        assert "already open" in log.words, log
"""


def start(code: str, path: Path, who: str = "RT") -> subprocess.Popen[bytes]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    command = [sys.executable, "-c", code, str(path), who]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment)


@pytest.mark.parametrize("rounds", [20])
def test_killed_at_any_moment_all_that_was_called_saved_is_there(tmp_path, rounds):
    path, dice, saved = tmp_path / "job.jsonl", random.Random(7), 0
    for _ in range(rounds):
        with start(WRITES, path) as child:
            first = int(child.stdout.readline())  # its first event; from here on it is somewhere in its loop
            assert first == saved + 1 or first == saved + 2  # one may have got down without being said
            time.sleep(dice.uniform(0, 0.03))
            child.kill()
            said = child.stdout.read().splitlines(keepends=True)
        saved = max([first, *(int(line) for line in said if line.endswith(b"\n"))])
        events, verdict = read_events(path)
        assert verdict.whole
        assert saved <= len(events) <= saved + 1
        saved = len(events)
    assert saved > rounds


def test_many_who_want_the_same_log_take_turns_and_break_nothing(tmp_path):
    path = tmp_path / "job.jsonl"
    children = [start(TAKES_TURNS, path, who) for who in ("RT", "JS", "MK", "AB")]
    for child in children:
        _, errors = child.communicate(timeout=120)
        assert child.returncode == 0, errors.decode()
    assert verify(path).whole
    events, _ = read_events(path)
    told = [(e.data["by"], e.data["i"]) for e in events if e.kind == "note"]
    assert sorted(told) == [(who, i) for who in ("AB", "JS", "MK", "RT") for i in range(25)]
