"""What only a real terminal shows: signals, colour codes, the state it is left in."""

from __future__ import annotations

import signal
import sys
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("pseudo-terminals of Unix", allow_module_level=True)

from tui.pty_desk import painted, scripted

LEAVES_ALTERNATE_SCREEN = b"\x1b[?1049l"
MOUSE_OFF = b"\x1b[?1000l"
PASTE_OFF = b"\x1b[?2004l"
CURSOR_ON = b"\x1b[?25h"


@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129)], ids=["TERM", "HUP"])
def test_a_signal_ends_it_with_the_terminal_as_it_was(number: int, code: int, tmp_path: Path) -> None:
    record = tmp_path / "record"
    with scripted(TERM="xterm-256color", SCRIPTED_RECORD=str(record)) as desk:
        desk.until("Before anything else")
        desk.kill(number)
        assert desk.ended() == code
        end = desk.out[desk.out.rindex(b"Before anything else") :]
        for undone in (LEAVES_ALTERNATE_SCREEN, MOUSE_OFF, PASTE_OFF, CURSOR_ON):
            assert undone in end
    assert record.read_text().endswith("closed\n")


def test_a_signal_does_not_wait_for_a_long_computation() -> None:
    with scripted(TERM="xterm-256color", SCRIPTED_SLOW="600") as desk:
        desk.until("Before anything else")
        desk.type("1")
        desk.until("computing")
        desk.kill(signal.SIGTERM)
        assert desk.ended() == 143


def test_a_closed_window_ends_it(tmp_path: Path) -> None:
    record = tmp_path / "record"
    with scripted(TERM="xterm-256color", SCRIPTED_RECORD=str(record)) as desk:
        desk.until("Before anything else")
        desk.hang_up()
        desk.ended()
    assert "closed" in record.read_text()


def test_no_color_writes_no_colour_code_at_all_and_still_marks_what_stands_out() -> None:
    with scripted(TERM="xterm-256color", COLORTERM="truecolor", NO_COLOR="1", SCRIPTED_AT="locked") as desk:
        desk.until("I have read this")
        desk.read(0.3)
        runs = list(painted(desk.out))
    assert {(fore, back) for _, fore, back, _ in runs} == {("default", "default")}
    assert any("CAUTION" in text and reverse for text, _, _, reverse in runs)


@pytest.mark.parametrize("term", ["linux", "xterm"])
def test_on_16_colours_nothing_is_drawn_in_its_own_background(term: str) -> None:
    """Black on the terminal's own background counts as black on black: most consoles are black."""
    with scripted(TERM=term, SCRIPTED_AT="locked") as desk:
        desk.until("I have read this")
        before = desk.type("?")
        desk.until("Esc goes back", since=before)
        runs = list(painted(desk.out))
    assert runs
    for text, fore, back, _ in runs:
        assert not fore.startswith("("), f"more than 16 colours for {text!r}"
        assert (fore, back) == ("default", "default") or (fore != back and "default" not in (fore, back)), text
        assert fore not in ("90", "98"), f"bright black may not show: {text!r}"


def test_a_console_is_sent_only_characters_its_fonts_have() -> None:
    with scripted(TERM="linux", SCRIPTED_AT="open") as desk:
        desk.until("like 120")
        text = "".join(text for text, *_ in painted(desk.out))
    assert text.isascii()
    assert b"\x1b[>25u" not in desk.out  # the keyboard protocol, which an old console prints


def test_a_screen_in_ascii_gets_nothing_else() -> None:
    with scripted(TERM="xterm", LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0", SCRIPTED_AT="open") as desk:
        desk.until("like 120")
        assert desk.out.isascii()


def test_a_bracketed_paste_accepts_no_caution_and_a_single_c_does(tmp_path: Path) -> None:
    record = tmp_path / "record"
    record.touch()
    with scripted(TERM="xterm-256color", SCRIPTED_AT="locked", SCRIPTED_RECORD=str(record)) as desk:
        desk.until("I have read this")
        desk.read(0.4)
        desk.type("\x1b[200~c\nc\n\x1b[201~")
        desk.read(0.4)
        desk.type("ccccc")
        desk.read(0.8)
        assert record.read_text() == ""
        before = len(desk.out)
        for _ in range(30):  # on a busy machine a key may still count as one of those before it
            desk.type("c")
            desk.read(1.0)
            if b"like 120" in desk.out[before:]:
                break
    assert "Pressed(key='c'" in record.read_text()


def test_keys_typed_while_the_question_changes_are_not_answers_to_the_next(tmp_path: Path) -> None:
    record = tmp_path / "record"
    with scripted(TERM="xterm-256color", SCRIPTED_SLOW="0.3", SCRIPTED_RECORD=str(record)) as desk:
        desk.until("Before anything else")
        desk.read(0.2)
        desk.type("1cc\r120 120 0\r")
        desk.until("I have read this")
        desk.read(0.8)
        assert record.read_text().count("\n") == 1


def test_a_storm_of_sizes_ends_with_the_last_one_drawn() -> None:
    with scripted(TERM="xterm-256color", SCRIPTED_AT="locked") as desk:
        desk.until("I have read this")
        for step in range(30):
            desk.resize(1 + step * 37 % 200, 1 + step * 23 % 60)
            desk.read(0.01)
        desk.resize(20, 5)
        desk.read(0.4)
        before = len(desk.out)
        desk.resize(100, 30)
        desk.until("I have read this", since=before)
        desk.kill(signal.SIGTERM)
        assert desk.ended() == 143


def test_line_mode_at_a_terminal_prompts_and_draws_nothing() -> None:
    with scripted("--plain", TERM="xterm-256color") as desk:
        desk.until("> ")
        before = desk.type("1\n")
        desk.until("I have read this", since=before)
        desk.read(0.5)
        before = desk.type("c\n")
        desk.until("Type: readings", since=before)
        desk.type("q\n")
        assert desk.ended() == 0
        assert b"\x1b" not in desk.out


def test_a_dumb_terminal_gets_lines_by_itself() -> None:
    with scripted(TERM="dumb") as desk:
        desk.until("> ")
        desk.type("\x04")
        assert desk.ended() == 0
        assert b"\x1b" not in desk.out


def test_control_c_leaves_the_full_screen_at_once() -> None:
    with scripted(TERM="xterm-256color") as desk:
        desk.until("Before anything else")
        desk.type("\x03")
        assert desk.ended() == 0
        assert LEAVES_ALTERNATE_SCREEN in desk.out
