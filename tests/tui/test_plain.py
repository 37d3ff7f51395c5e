"""The line mode: the same sheets, for pipes, serial lines and screen readers."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from tui.scripted import CAUTION, Scripted

from troubleshoot.job.sheet import Line, Pressed, Role, Sheet, Typed
from troubleshoot.tui import plain
from troubleshoot.tui.plain import run_plain

SCRIPT = Path(__file__).with_name("scripted.py")
ROOT = Path(__file__).resolve().parents[2]


def talk(lines: str, runner: Scripted | None = None) -> tuple[Scripted, str]:
    runner = runner or Scripted()
    out = io.StringIO()
    assert run_plain(runner, io.StringIO(lines), out, talking=False) == 0
    assert runner.closed
    return runner, out.getvalue()


def test_a_whole_job_through_a_pipe() -> None:
    runner, out = talk("1\nc\n120 118 0\ndone\n")
    first, caution, reading, done = runner.said
    assert isinstance(first, Pressed)
    assert isinstance(caution, Pressed)
    assert caution.drawn_ms >= 300
    assert (reading, done) == (Typed("120 118 0", "trip-1"), Typed("done", "trip-1"))
    assert out.rstrip().endswith("Done.")


def test_readings_before_the_caution_are_not_taken_and_it_is_said_why() -> None:
    runner, out = talk("1\n120 118 0\n")
    assert len(runner.said) == 1
    assert "before the caution is read" in out


def test_what_comes_next_and_takes_its_time_is_said_to_be_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plain, "_SAY_BUSY_AFTER_S", 0.01)
    out = io.StringIO()

    class Slow(Scripted):
        def sheet(self, width: int, height: int) -> Sheet:
            until = time.monotonic() + 60
            while self.said and "Working" not in out.getvalue() and time.monotonic() < until:
                time.sleep(0.01)
            return super().sheet(width, height)

    assert run_plain(Slow(), io.StringIO("1\n"), out, talking=False) == 0
    assert "Working: what comes next ..." in out.getvalue()


def test_a_c_within_other_words_accepts_nothing() -> None:
    runner, _ = talk("1\nc 120\ncc\nok c\n")
    assert len(runner.said) == 1


def test_the_caution_is_said_first_wherever_it_stands_on_the_sheet() -> None:
    lines = (Line("red lead on K1:14", Role.TASK), *CAUTION.lines[:2])
    _, out = talk("", Scripted(at="locked", caution=replace(CAUTION, lines=lines)))
    assert out.index("CAUTION") < out.index("red lead")


def test_after_an_answer_only_what_is_new_is_said() -> None:
    _, out = talk("w\n")
    assert out.count("Before anything else") == 1
    assert out.count("because it splits") == 1
    assert out.rstrip().endswith("Saved 2.")


def test_an_empty_line_says_the_sheet_again() -> None:
    _, out = talk("\n")
    assert out.count("Before anything else") == 2


def test_help_says_what_each_key_does() -> None:
    _, out = talk("?\n", Scripted(at="locked"))
    assert "c: says that you have read the caution." in out
    assert "q: leaves" in out


def test_q_and_the_end_of_the_input_leave_and_keep_everything() -> None:
    assert "kept" in talk("q\n1\n")[1]
    assert talk("q\n1\n")[0].said == []
    assert talk("")[0].said == []


def test_what_cannot_be_saved_is_said_and_asked_again() -> None:
    _, out = talk("1\n", Scripted(refuse=OSError(28, "No space left on device")))
    assert "NOT SAVED: No space left on device" in out


def test_no_line_is_drawn_and_nothing_is_obeyed() -> None:
    lines = (Line("├─┤ K1 ├─( KM1 )", Role.RUNG), Line("\x1b]52;c;aGk=\x07 \u202eon", Role.ROW))
    _, out = talk("", Scripted(at="locked", caution=replace(CAUTION, lines=lines, title="\x1b[31mF\u00f6rderband")))
    assert out.isascii()
    assert all(char.isprintable() or char == "\n" for char in out)
    assert "+-+ K1 +-( KM1 )" in out


def test_a_line_of_a_megabyte_is_one_answer_and_cut() -> None:
    runner, out = talk("1 " * 500_000 + "\ndone\n", Scripted(at="open"))
    long, done = runner.said
    assert isinstance(long, Typed)
    assert len(long.text) <= 4096
    assert done == Typed("done", "trip-1")
    assert "Only the first 4096 bytes" in out


def test_long_work_is_done_before_the_next_line_is_read() -> None:
    runner, _ = talk("", Scripted(slices=30))
    assert runner.slices == 0


def piped(said: bytes, **env: str) -> subprocess.CompletedProcess[bytes]:
    kept = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME")}
    return subprocess.run(
        [sys.executable, str(SCRIPT)],
        input=said,
        capture_output=True,
        env={**kept, "PYTHONPATH": str(ROOT), "TERM": "xterm-256color", **env},
        timeout=120,
        check=False,
    )


def test_a_pipe_gets_lines_without_being_asked() -> None:
    done = piped(b"1\nc\n120\n")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"taken: 120" in done.stdout
    assert b"\x1b" not in done.stdout


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "latin-1", "utf-16-le"])
def test_bytes_in_no_encoding_end_nothing(encoding: str) -> None:
    done = piped(b"1\n\xff\xfe\x9f\x00\nc\n120\n", PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_reader_that_goes_away_is_no_error() -> None:
    read, write = os.pipe()
    os.close(read)
    kept = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME")}
    done = subprocess.run(
        [sys.executable, str(SCRIPT)],
        input=b"1\n\n\n",
        stdout=write,
        stderr=subprocess.PIPE,
        env={**kept, "PYTHONPATH": str(ROOT)},
        timeout=120,
        check=False,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")
