"""The record of a job, asked about from the command line."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from troubleshoot.cli import main
from troubleshoot.log.clock import SetClock
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import LogFile


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "belt-7.jsonl"
    log = open_log(path, session="s1", version="0.1.0", who="Ana", clock=SetClock(datetime(2026, 3, 12, 3, tzinfo=UTC)))
    assert isinstance(log, LogFile)
    log.append("note", {"text": "pull cord was out \x1b[31m"})
    log.append("reading", {"text": "120"})
    log.close()
    return path


def head(path: Path) -> str:
    last = json.loads(path.read_text().splitlines()[-1])
    return f"{last['n']}:{last['hash']}"


def test_a_whole_log_verifies_and_says_what_is_not_proved(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "verify", str(record)]) == 0
    out = capsys.readouterr().out
    assert "2 events verified" in out
    assert "Not anchored" in out
    assert f"Head {head(record)}" in out


def test_with_the_head_from_the_report_the_end_is_proved_too(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    printed = head(record)
    assert main(["log", "verify", str(record), "--head", printed[:18]]) == 0
    assert "Anchored up to event 2" in capsys.readouterr().out
    record.write_text("".join(record.read_text().splitlines(keepends=True)[:-1]))
    assert main(["log", "verify", str(record)]) == 0
    assert main(["log", "verify", str(record), "--head", printed]) == 1


def test_an_edited_reading_is_found_and_its_line_named(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record.write_text(record.read_text().replace('"120"', '"118"'))
    assert main(["log", "verify", str(record), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert (found["whole"], found["line"], found["events"]) == (False, 2, 1)


@pytest.mark.parametrize("wrong", ["3", "x:abc", "3:", "3:abc", "-1:" + "a" * 64, "3:" + "g" * 64])
def test_a_head_that_is_none_is_bad_usage(record: Path, wrong: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "verify", str(record), f"--head={wrong}"]) == 2
    assert "--head" in capsys.readouterr().err


def test_show_prints_every_event_and_obeys_none(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "show", str(record)]) == 0
    out = capsys.readouterr().out
    assert "pull cord was out" in out
    assert "\x1b" not in out
    assert len(out.splitlines()) == 2


def test_show_as_json_is_the_log_itself(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "show", str(record), "--json"]) == 0
    assert capsys.readouterr().out == record.read_text()


def test_a_folder_is_no_log(tmp_path: Path) -> None:
    assert main(["log", "show", str(tmp_path)]) == 2
