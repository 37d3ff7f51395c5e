"""Every key that does something now, with what it does."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import dataclass

from textual.app import ComposeResult
from textual.binding import Binding
from textual.message import Message
from textual.screen import Screen

from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Line, LiveKey, Role, Sheet
from troubleshoot.tui.answering import listed_keys, named, takes_typing
from troubleshoot.tui.astext import as_text
from troubleshoot.tui.bars import TitleBar, rows_below
from troubleshoot.tui.lines import Lines
from troubleshoot.tui.placing import rows_of

HANG = 24
"""Column at which effects begin."""

FRAME = tuple(key.live for key in KEYS.values() if key.where == "anywhere" and not key.label)
TYPING = tuple(key.live for key in KEYS.values() if key.where == "while typing")
SAVE = KEYS["save"].live


def help_lines(sheet: Sheet) -> tuple[Line, ...]:
    """What the help page says for this sheet: its own keys first, then those that always work."""
    keys = listed_keys(sheet)
    listed = {key.key for key in keys}
    rows = [
        LiveKey(line.key, "", f"chooses: {line.text.strip()}")
        for line in sheet.lines
        if line.key and line.key not in listed
    ]
    typing = TYPING if takes_typing(sheet) else ()
    lines = [Line(_said(key), Role.ROW) for key in (*keys, *rows)]
    rest = (*typing, *FRAME)
    return (
        *lines, Line("", Role.BLANK), Line(_said(SAVE), Role.ROW, SAVE.key), *(Line(_said(key), Role.NOTE) for key in rest),
    )  # fmt: skip


def _said(key: LiveKey) -> str:
    name = f"{named(key.key)}  {key.label}".rstrip()
    return f" {name:<{HANG - 2}} {key.does}"


class HelpScreen(Screen[None]):
    """Scrolls; ``Esc``, ``?`` or ``q`` goes back, ``s`` saves the sheet below. No key of the sheet acts from here."""

    BINDINGS = [
        Binding("escape,question_mark,q,enter", "back", "back", priority=True),
        Binding("down", "scroll_rows(1)", "down"),
        Binding("up", "scroll_rows(-1)", "up"),
        Binding("pagedown,space", "scroll_page(1)", "page down"),
        Binding("pageup", "scroll_page(-1)", "page up"),
        Binding(SAVE.key, "save", SAVE.does),
    ]

    @dataclass
    class Save(Message):
        """The person wants this screen as text, out of the program."""

        text: str

    NAME = "help"
    """Under which the one there is lies ready: made anew each time, opening it took half as long again."""

    def __init__(self, sheet: Sheet, fits: Callable[[str], str]) -> None:
        super().__init__()
        self.sheet = sheet
        """What it is about, as it is opened next."""
        self._fits = fits

    def compose(self) -> ComposeResult:
        """Title, rows, and a last row that says whether there is more."""
        yield TitleBar(id="help-title")
        yield Lines(id="help-rows")
        yield TitleBar(id="help-more")

    def on_screen_resume(self) -> None:
        self._draw(from_top=True)

    def on_resize(self) -> None:
        self._draw(from_top=False)

    def _draw(self, *, from_top: bool) -> None:
        width = max(1, self.size.width)
        rows = rows_of([part for line in help_lines(self.sheet) for part in self._hung(line, width)], width, str)
        self.query_one("#help-title", TitleBar).show(" Help: keys that do something now          Esc goes back")
        self.query_one("#help-rows", Lines).show(rows, from_top=from_top)
        self.call_after_refresh(self._mark)

    def _hung(self, line: Line, width: int) -> list[Line]:
        """A long effect goes on below itself, not below its key."""
        hang = " " * (HANG if width > 2 * HANG else 0)
        parts = textwrap.wrap(self._fits(line.text), max(2, width), subsequent_indent=hang, replace_whitespace=False)
        return [Line(part, line.role, line.key) for part in parts or [""]]

    def _mark(self) -> None:
        lines = self.query_one("#help-rows", Lines)
        more = lines.hidden_below
        self.query_one("#help-more", TitleBar).show(rows_below(more) if more else "all of it is shown")

    def action_save(self) -> None:
        self.post_message(self.Save(as_text(self.sheet, self._fits)))

    def on_lines_touched(self, message: Lines.Touched) -> None:
        """The only row that does something here is the one that saves."""
        message.stop()
        if message.key == SAVE.key:
            self.action_save()

    def say(self, words: str) -> None:
        """What came of it, in the last row."""
        self.query_one("#help-more", TitleBar).show(self._fits(words))

    def action_back(self) -> None:
        self.dismiss()

    def action_scroll_rows(self, step: int) -> None:
        self.query_one(Lines).scroll_rows(step)

    def on_lines_scrolled(self) -> None:
        self._mark()

    def action_scroll_page(self, step: int) -> None:
        self.action_scroll_rows(step * max(1, self.size.height - 3))
