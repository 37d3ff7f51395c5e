"""The index over ten thousand logs: a question beside a scan of the logs, rebuilding, opening; verifying a log of a million.

`TROUBLESHOOT_TEST_POSTGRES` (`.ci/postgres start FOLDER`) adds the other database.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from log.logs import clock, job
from store.nights import many, put

from troubleshoot.log.event import line_of, make_event
from troubleshoot.store.history import ask, history
from troubleshoot.store.index import Index
from troubleshoot.store.refresh import refresh, stale
from troubleshoot.store.scan import glance, logs_of

LOGS = 10_000
MILLION = 1_000_000
MACHINE = "belt-7"
SERVER = os.environ.get("TROUBLESHOOT_TEST_POSTGRES", "")


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten thousand jobs of 40 to 80 events on a hundred machines, over a year."""
    folder = tmp_path_factory.mktemp("plant")
    sizes = []
    for machine, events in many(LOGS, seed=7, machines=100):
        put(folder, machine, events)
        sizes.append(len(events))
    assert 40 <= min(sizes) <= max(sizes) <= 80
    print(f"{LOGS} logs, {sum(sizes)} events")
    return folder


@pytest.fixture(scope="module", params=["sqlite", *(["postgresql"] if SERVER else [])])
def index(request: pytest.FixtureRequest, plant: Path, tmp_path_factory: pytest.TempPathFactory) -> Index:
    where = SERVER if request.param == "postgresql" else str(tmp_path_factory.mktemp("index") / "i.sqlite")
    made = Index(where, plant)
    begun, seconds = time.process_time(), time.perf_counter()
    done = refresh(made, plant, everything=True)
    cpu = time.process_time() - begun
    print(
        f"{request.param}: rebuilt {done.logs} logs, {done.events} events in {cpu:.1f} s of this process "
        f"({time.perf_counter() - seconds:.1f} s by the clock), {done.events / cpu:,.0f} events/s"
    )
    assert done.logs == LOGS
    return made


def of_one_machine(index: Index) -> int:
    return history(*ask(index, MACHINE), machine=MACHINE).jobs


def open_ones(index: Index) -> int:
    return len(index.rows(MACHINE, only_open=True))


def newest(index: Index) -> int:
    return len(index.rows(newest=10))


def one_anchor(index: Index) -> int:
    return index.anchor("nobody") is None


@pytest.mark.benchmark(group=f"a question about {LOGS} logs")
@pytest.mark.parametrize("question", [of_one_machine, open_ones, newest, one_anchor], ids=lambda q: q.__name__)
def test_a_question_to_the_index(benchmark, index: Index, question: Callable[[Index], int]) -> None:
    assert benchmark(question, index) > 0


@pytest.mark.benchmark(group=f"a question about {LOGS} logs")
def test_the_same_by_reading_every_log(benchmark, plant: Path) -> None:
    def scan() -> int:
        read = [glance(file, path, stamp) for file, (path, stamp) in logs_of(plant).items()]
        return sum(g.row is not None and g.row.machine == MACHINE for g in read)

    assert benchmark.pedantic(scan, rounds=1) > 0


@pytest.mark.benchmark(group=f"an index of {LOGS} logs that is up to date")
def test_opened_and_compared_with_the_logs(benchmark, index: Index, plant: Path) -> None:
    def opened() -> int:
        found = Index(
            index.url.render_as_string(hide_password=False) if SERVER and index.url.host else index.url.database or "",
            plant,
        )
        changed = len(stale(found, plant).changed)
        found.rows(only_open=True)
        return changed

    assert benchmark.pedantic(opened, rounds=3) == 0


def test_a_fresh_program_lists_the_open_jobs_within_two_seconds(index: Index, plant: Path) -> None:
    """The whole of it, the library of the database loaded too; seconds of that process, for a busy machine does not count."""
    if index.url.drivername != "sqlite":
        pytest.skip("once is enough")
    code = "from troubleshoot.cli.machines_on_disk import open_jobs; import time; n = len(open_jobs()); print(n, time.process_time())"
    env = os.environ | {"TROUBLESHOOT_PLANT": str(plant), "TROUBLESHOOT_INDEX": str(index.url.database)}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    count, seconds = done.stdout.split()
    print(f"{count} open jobs of {LOGS} in {float(seconds):.2f} s")
    assert int(count) == len(index.rows(only_open=True))
    assert float(seconds) <= 2.0


def test_a_million_events_are_verified_in_constant_memory(tmp_path: Path) -> None:
    """Goal of docs/trust.md: 100,000 events a second, 200 MB. Seconds and memory of a process that does nothing else."""
    path = tmp_path / "million.jsonl"
    events = job(count=10)
    with path.open("wb") as file:
        prev, at = events[0].prev, clock().wall().isoformat(timespec="milliseconds")
        for n in range(1, MILLION + 1):
            pattern = events[0] if n == 1 else events[1 + n % 9]
            event = make_event(n, pattern.kind, at, n * 2000, pattern.data, prev)
            file.write(line_of(event))
            prev = event.hash
    code = (
        "import re, sys, time; from troubleshoot.log.verify import verify; t = time.process_time(); v = verify(sys.argv[1]);"
        "print(v.events, v.whole, time.process_time() - t, re.search(r'VmHWM:\\s+(\\d+)', open('/proc/self/status').read())[1])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    count, whole, seconds, kilobytes = done.stdout.split()
    assert (int(count), whole) == (MILLION, "True")
    print(
        f"{MILLION / float(seconds):,.0f} events/s, {int(kilobytes) / 1024:.0f} MB at most, {path.stat().st_size / 1e6:.0f} MB of log"
    )
    assert int(kilobytes) < 200 * 1024
