"""The way in: what commands there are, and how each error ends."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from troubleshoot import __version__
from troubleshoot.cli import door, main
from troubleshoot.cli.commands import COMMANDS

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def run(root: Path) -> Run:
    def troubleshoot(*args: str, **env: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "troubleshoot", *args],
            capture_output=True,
            text=True,
            cwd=root,
            env=os.environ | env,
            stdin=subprocess.DEVNULL,
            timeout=120,
            check=False,
        )

    return troubleshoot


def test_version(run: Run) -> None:
    done = run("--version")
    assert (done.returncode, done.stdout.strip()) == (0, f"troubleshoot {__version__}")


def test_version_and_help_load_nothing_heavy(fresh_python: Callable[[str], str]) -> None:
    for args in (["--version"], ["--help"], ["paths"]):
        loaded = fresh_python(
            f"import sys; from troubleshoot.cli import main; assert main({args!r}) == 0; print(); print(*sys.modules)"
        ).splitlines()[-1]
        assert not {"textual", "numpy", "lark", "yaml", "rapidfuzz", "sqlite3"} & set(loaded.split()), args


@pytest.mark.parametrize("row", COMMANDS.values(), ids=lambda row: row.name)
def test_every_row_of_the_table_leads_to_a_command_that_has_help(
    row: object, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([row.name, "--help"]) == 0  # type: ignore[attr-defined]
    assert "Usage: troubleshoot" in capsys.readouterr().out


def test_help_lists_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    out = capsys.readouterr().out
    assert all(row.name in out for row in COMMANDS.values())


@pytest.mark.parametrize(("wrong", "right"), [("docter", "doctor"), ("path", "paths"), ("lgo", "log")])
def test_a_misspelt_command_is_told_the_nearest(wrong: str, right: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([wrong]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert f"no command {wrong!r} (nearest: {right})" in said.err


def test_an_unknown_command_without_a_neighbour_is_shown_safely(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["\x1b]0;x\x07zzzz"]) == 2
    assert "\x1b" not in capsys.readouterr().err


def test_bad_usage_is_2_and_goes_to_stderr(run: Run) -> None:
    for args in (["log", "verify"], ["log", "verify", "/nowhere/at/all"], ["--no-such-option"], ["paths", "x"]):
        done = run(*args)
        assert (done.returncode, done.stdout) == (2, ""), args
        assert done.stderr
        assert "Traceback" not in done.stderr


def test_a_bug_of_ours_is_70_with_a_report_and_no_traceback(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    @click.command()
    def broken() -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(door.commands, "get_command", lambda ctx, name: broken)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert main(["doctor"]) == 70
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    (report,) = tmp_path.rglob("crash-*.txt")
    assert "ZeroDivisionError: a bug" in report.read_text()
    assert report.stat().st_mode & 0o077 == 0
    assert str(report) in said.err.replace("\n", "")


def test_a_reader_that_goes_away_is_no_error(root: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "troubleshoot", "doctor"],
        stdout=write,
        stderr=subprocess.PIPE,
        cwd=root,
        timeout=120,
        check=False,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")


def test_doctor_says_what_was_chosen_and_why(run: Run) -> None:
    done = run("doctor", TERM="linux")
    assert done.returncode == 0
    for words in ("line mode: input is not a terminal", "console", "libyaml", "textual", "can be written"):
        assert words in done.stdout, words
    found = json.loads(run("doctor", "--json", NO_COLOR="1").stdout)
    assert found["terminal"]["theme"] == "mono"
    assert found["versions"]["troubleshoot"] == __version__


def test_doctor_prints_on_a_screen_that_knows_only_ascii(run: Run) -> None:
    done = run("doctor", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
