"""Verifying a log, beside merely reading its JSON: the ratio is what the trust costs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from log.logs import job, lines

from troubleshoot.log.verify import read_events, verify

EVENTS = 20_000


def plain_json(path: Path) -> int:
    """What a reader without any check does."""
    with path.open(encoding="utf-8") as file:
        return sum(1 for line in file if json.loads(line))


def verified(path: Path) -> int:
    return verify(path).events


def read(path: Path) -> int:
    return len(read_events(path)[0])


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("log") / "soak.jsonl"
    path.write_bytes(b"".join(lines(job(count=EVENTS))))
    return path


@pytest.mark.benchmark(group=f"one pass over a log of {EVENTS} events")
@pytest.mark.parametrize("way", [plain_json, verified, read], ids=lambda way: way.__name__)
def test_one_pass_over_a_log(benchmark, way, log):
    assert benchmark(way, log) == EVENTS
    benchmark.extra_info["events/s"] = round(EVENTS / benchmark.stats.stats.min)
