"""What durability costs: an event to the disk, a long log opened, a long job folded; each beside doing it without care."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from log.logs import clock, job, lines

from troubleshoot.job.folding import fold
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import LogFile

EVENTS = 10_000
READING = {"said": "118 119 0", "step": "trip 2", "cost": 60.0}


def synced(folder: Path) -> LogFile:
    found = open_log(folder / "job.jsonl", session="s", version="0", who="RT")
    assert isinstance(found, LogFile)
    return found


def in_memory(folder: Path) -> MemoryLog:
    return MemoryLog(session="s", version="0", who="RT", clock=clock())


class Bare:
    """A line and a sync, with no hash, chain or check: what the disk itself asks."""

    def __init__(self, folder: Path) -> None:
        self._fd = os.open(folder / "bare", os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def append(self, kind: str, data: object) -> None:
        os.write(self._fd, b"x" * 400)
        os.fsync(self._fd)


@pytest.mark.benchmark(group="one event, to the disk")
@pytest.mark.parametrize("way", [Bare, synced, in_memory], ids=lambda way: way.__name__)
def test_one_event_to_the_disk(benchmark, way, tmp_path):
    log = way(tmp_path)
    benchmark.pedantic(log.append, args=("reading", READING), rounds=300)
    times = sorted(benchmark.stats.stats.data)
    benchmark.extra_info["p95 ms"] = round(times[int(len(times) * 0.95)] * 1000, 2)


@pytest.fixture(scope="module")
def long_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("long") / "job.jsonl"
    path.write_bytes(b"".join(lines(job(session="s", count=EVENTS))))
    return path


def test_a_log_of_ten_thousand_events_is_open_within_two_seconds(long_log: Path) -> None:
    """The goal of docs/trust.md, in seconds of this process: a busy machine does not count."""
    begun = time.process_time()
    log = open_log(long_log, session="s", version="0", who="RT")
    assert isinstance(log, LogFile)
    opened = time.process_time() - begun
    assert len(log.events) == EVENTS
    fold([e for e in log.events if e.kind in ("note", "resumed", "clock")])
    log.close()
    print(f"opened {EVENTS} events in {opened:.2f} s")
    assert opened <= 2.0
