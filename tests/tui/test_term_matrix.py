"""Every kind of terminal, at a real pseudo-terminal: it opens, answers, and leaves all as it was."""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("pseudo-terminals of Unix", allow_module_level=True)

import pty
import termios

from tui.pty_desk import painted, scripted

FULL = [
    "xterm-256color",
    "xterm",
    "linux",
    "tmux-256color",
    "screen",
    "vt100",
    "vt220",
    "ansi",
    "xterm-kitty",
    "no-such-terminal",
]
LINES = ["dumb", "unknown", ""]
SIZES = 10_000 if os.environ.get("TROUBLESHOOT_TESTS") == "all" else 2_000
UNDONE = (b"\x1b[?1049l", b"\x1b[?1000l", b"\x1b[?2004l", b"\x1b[?25h")
"""Alternate screen left, mouse off, bracketed paste off, cursor on: DEC private modes as xterm documents them."""


def untouched() -> list[object]:
    """Input, output, control and local modes of a terminal nobody has used (termios(3)): echo, lines, signals."""
    ours, theirs = pty.openpty()
    try:
        return list(termios.tcgetattr(theirs)[:4])
    finally:
        os.close(ours)
        os.close(theirs)


@pytest.mark.parametrize("term", FULL)
def test_a_full_screen_terminal_is_drawn_on_answers_and_is_left_as_it_was(term: str, tmp_path: Path) -> None:
    record = tmp_path / "record"
    with scripted(TERM=term, SCRIPTED_RECORD=str(record)) as desk:
        desk.until("Before anything else")
        desk.read(0.3)
        before = desk.type("1")
        desk.until("I have read this", since=before)
        before = desk.type("?")
        desk.until("Esc goes back", since=before)
        before = desk.type("q")
        desk.until("I have read this", since=before)
        desk.read(0.3)
        desk.type("q")
        assert desk.ended() == 0
        for undone in UNDONE:
            assert undone in desk.out[before:], undone
        assert list(termios.tcgetattr(desk._fd)[:4]) == untouched()
    assert "Pressed(key='1'" in record.read_text()


@pytest.mark.parametrize("term", LINES)
def test_any_other_gets_lines_and_not_one_control_character(term: str) -> None:
    with scripted(TERM=term) as desk:
        desk.until("> ")
        before = desk.type("1\n")
        desk.until("I have read this", since=before)
        desk.type("q\n")
        assert desk.ended() == 0
        assert not {b for b in desk.out if b < 32} - {10, 13}


@pytest.mark.parametrize("term", ["linux", "vt100", "vt220", "screen", "xterm", "ansi"])
def test_no_run_of_text_on_16_colours_is_drawn_in_the_colour_behind_it(term: str) -> None:
    with scripted(TERM=term, SCRIPTED_AT="locked") as desk:
        desk.until("I have read this")
        before = desk.type("?")
        desk.until("Esc goes back", since=before)
        runs = list(painted(desk.out))
    assert len(runs) > 10
    for text, fore, back, _ in runs:
        assert fore != back or fore == "default", text
        assert not fore.startswith("("), f"more than 16 colours for {text!r}"


@pytest.mark.parametrize("env", [{"SSH_TTY": "/dev/pts/7"}, {"TMUX": "/tmp/tmux-0/default,1,0"}, {"STY": "1.pts"}])
def test_over_ssh_and_inside_a_multiplexer_it_is_the_same_program(env: dict[str, str]) -> None:
    with scripted(TERM="screen-256color", **env) as desk:
        desk.until("Before anything else")
        desk.read(0.3)
        before = desk.type("1")
        desk.until("I have read this", since=before)
        desk.kill(signal.SIGTERM)
        assert desk.ended() == 143


def test_a_storm_of_sizes_ends_with_the_last_one_drawn() -> None:
    """Sizes from 1x1 to 500x200, a signal each; ten thousand with ``TROUBLESHOOT_TESTS=all``. Not one of them ends the program."""
    dice = random.Random(20261125)
    with scripted(TERM="xterm-256color", SCRIPTED_AT="locked") as desk:
        desk.until("I have read this")
        for step in range(SIZES):
            desk.resize(dice.randint(1, 500 if step % 50 == 0 else 120), dice.randint(1, 200 if step % 50 == 0 else 40))
            if step % 20 == 0:
                desk.read(0.001)
                desk.out = desk.out[-1000:]
        desk.resize(30, 8)
        desk.until("make the window larger")
        while desk.read(0.5):  # what was still on its way
            pass
        before = len(desk.out)
        desk.resize(100, 30)
        desk.until("I have read this", since=before)
        desk.kill(signal.SIGTERM)
        assert desk.ended() == 143


def test_control_z_gives_the_terminal_back_and_fg_draws_the_question_again() -> None:
    with scripted(TERM="xterm-256color", SCRIPTED_AT="locked") as desk:
        desk.until("I have read this")
        before = desk.type("\x1a")
        desk.until("\x1b[?1049l", since=before)
        desk.read(0.5)
        assert stopped(desk.pid)
        for undone in UNDONE:
            assert undone in desk.out[before:]
        before = len(desk.out)
        desk.kill(signal.SIGCONT)
        desk.until("I have read this", since=before)
        desk.kill(signal.SIGTERM)
        assert desk.ended() == 143


def stopped(pid: int) -> bool:
    """By what the kernel says of the process: T is stopped (proc(5))."""
    for _ in range(200):
        if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "T":
            return True
        time.sleep(0.05)
    return False


def test_a_bug_of_ours_on_the_full_screen_leaves_the_terminal_as_it_was_and_no_page_of_frames_on_it() -> None:
    with scripted(TERM="xterm-256color", SCRIPTED_BUG="1") as desk:
        desk.until("Before anything else")
        desk.read(0.3)
        before = desk.type("1")
        assert desk.ended() == 70
        end = desk.out[before:]
        for undone in UNDONE:
            assert undone in end
        assert end.index(b"\x1b[?1049l") < end.index(b"ZeroDivisionError")


def test_killed_without_warning_it_leaves_its_own_record_alone_and_the_next_start_restores_the_terminal(
    tmp_path: Path,
) -> None:
    record = tmp_path / "record"
    with scripted(TERM="xterm-256color", SCRIPTED_RECORD=str(record)) as desk:
        desk.until("Before anything else")
        desk.read(0.3)
        before = desk.type("1")
        desk.until("I have read this", since=before)
        desk.kill(signal.SIGKILL)
        assert desk.ended() == -signal.SIGKILL
        assert record.read_text().count("Pressed") == 1
    with scripted(TERM="xterm-256color") as desk:
        desk.until("Before anything else")
        desk.read(0.3)
        before = desk.type("\x03")
        assert desk.ended() == 0
        assert all(undone in desk.out[before:] for undone in UNDONE)
