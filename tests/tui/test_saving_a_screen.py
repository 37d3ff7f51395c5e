"""A screen taken out of the program: into a file, onto the clipboard, and to stdout."""

from __future__ import annotations

import base64
import os
import stat
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from tui.conftest import Sit
from tui.scripted import CAUTION, Scripted

from troubleshoot.job.sheet import Line, Role
from troubleshoot.tui.app import GOOD, TroubleshootApp
from troubleshoot.tui.astext import as_text
from troubleshoot.tui.glyphs import fit
from troubleshoot.tui.terminal import Glyphs, Terminal

HOSTILE = "\x1b]52;c;cm0gLXJm\x07[@click=app.exit]x[/] \u202eno"


async def saved(sit: Sit, keep: object, terminal: Terminal = GOOD, *, by_touch: bool = False) -> tuple[list[str], str]:
    """What went to the clipboard, and what the last row said."""
    clipboard: list[str] = []
    sheet = replace(CAUTION, lines=(*CAUTION.lines, Line(HOSTILE, Role.NOTE)))
    async with sit(Scripted(at="locked", caution=sheet), terminal=terminal) as desk:
        desk.app._keep = keep  # type: ignore[assignment]
        desk.app.copy_to_clipboard = clipboard.append  # type: ignore[method-assign]
        await desk.pilot.press("question_mark")
        await desk.shows("Esc goes back")
        if by_touch:
            row = next(y for y, text in enumerate(desk.rows) if text.startswith(" s  save"))
            await desk.pilot.click(offset=(70, row))
        else:
            await desk.pilot.press("s")
        await desk.until(lambda: "saved in" in desk.rows[-1] or "file" in desk.rows[-1])
        last = desk.rows[-1]
        assert not desk.runner.said
    return clipboard, last


@pytest.mark.parametrize("by_touch", [False, True], ids=["key", "touch"])
async def test_help_then_s_puts_the_screen_into_a_file_and_onto_the_clipboard(sit: Sit, by_touch: bool) -> None:
    kept: list[str] = []

    def keep(text: str) -> str:
        kept.append(text)
        return "screens/one.txt"

    clipboard, last = await saved(sit, keep, by_touch=by_touch)
    assert kept == clipboard
    assert "saved in screens/one.txt; sent to the clipboard, if this terminal takes it" in last
    assert "11 left: K1 contact, wire 12" in kept[0]
    assert kept[0].splitlines()[0].startswith("CONVEYOR 3   power ON")
    assert kept[0].splitlines()[-1] == "saved 1"
    assert all(char.isprintable() or char == "\n" for char in kept[0])
    assert "[@click=app.exit]x[/]" in kept[0]


async def test_an_old_console_gets_a_file_only(sit: Sit) -> None:
    clipboard, last = await saved(sit, lambda text: "one.txt", replace(GOOD, old=True))
    assert not clipboard
    assert "clipboard" not in last


async def test_where_no_file_can_be_made_it_is_said_and_the_clipboard_still_gets_it(sit: Sit) -> None:
    def keep(text: str) -> str:
        raise OSError(28, os.strerror(28))

    clipboard, last = await saved(sit, keep)
    assert "NOT saved in a file: No space left on device; sent to the clipboard" in last
    assert clipboard


def test_the_file_is_new_and_nobody_elses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from troubleshoot.cli.screen import keep_screen

    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    before = os.umask(0)
    try:
        where = [Path(keep_screen(f"{k}\udcff")) for k in range(2)]
    finally:
        os.umask(before)
    assert where[0] != where[1]
    for k, path in enumerate(where):
        assert path.read_text() == f"{k}\\udcff"
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(where[0].parent.stat().st_mode) == 0o700


def test_a_sheet_as_text_has_the_characters_that_were_asked_for() -> None:
    sheet = replace(CAUTION, title=" Förderband 5 Ω ", lines=(Line("├─┤ ±5 Ω"),))
    assert as_text(sheet, fit(Glyphs.ASCII)) == "Forderband 5 ohm\n+-+ +/-5 ohm\nsaved 2\n"


def test_what_is_sent_to_a_clipboard_is_osc_52_in_base64() -> None:
    """The control sequence as terminals document it: OSC 52 ; c ; base64 BEL or ST. From memory."""
    if sys.platform == "win32":
        pytest.skip("pseudo-terminals of Unix")
    from tui.pty_desk import scripted

    with scripted(TERM="xterm-256color", SCRIPTED_AT="locked") as desk:
        desk.until("I have read this")
        before = desk.type("?")
        desk.until("Esc goes back", since=before)
        desk.type("s")
        desk.until("\x1b]52;c;", since=before)
        desk.read(0.5)
        sent = desk.out[desk.out.index(b"\x1b]52;c;") + 7 :].split(b"\x07")[0]
        assert "I have read this" in base64.b64decode(sent).decode()


async def test_the_command_palette_is_off(sit: Sit) -> None:
    assert not TroubleshootApp.ENABLE_COMMAND_PALETTE
    async with sit() as desk:
        before = desk.rows
        await desk.pilot.press("ctrl+p", "ctrl+backslash")
        await desk.pilot.pause(0.1)
        assert type(desk.app.screen).__name__ == "SheetScreen"
        assert desk.rows == before
