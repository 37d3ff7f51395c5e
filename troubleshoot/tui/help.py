"""Every key that does something now, with what it does."""

from __future__ import annotations

import textwrap
from collections.abc import Callable

from textual.app import ComposeResult
from textual.binding import Binding
from textual.screen import Screen

from troubleshoot.job.sheet import Line, LiveKey, Role, Sheet
from troubleshoot.tui.answering import HELP, LEAVE, live_keys, named, takes_typing
from troubleshoot.tui.bars import TitleBar
from troubleshoot.tui.lines import Lines
from troubleshoot.tui.placing import rows_of

HANG = 24
"""Column at which effects begin."""

FRAME = (
    LiveKey("PgUp PgDn", "", "scroll what does not fit; a caution stays where it is"),
    LiveKey("Up Down", "", "stand on a row that can be chosen; Enter then chooses it"),
    LiveKey("mouse, thumb", "", "a whole row is its key; so is a key at the bottom. Hold Shift to mark text"),
    LiveKey("Ctrl+C", "", "leaves at once, from anywhere; nothing that was saved is lost"),
)
TYPING = (
    LiveKey("Enter", "", "sends what is typed; a single letter that is a key does what the key does"),
    LiveKey("Esc or Tab", "", "steps out of the typing, so that letters act at once; Tab steps back in"),
)


def help_lines(sheet: Sheet) -> tuple[Line, ...]:
    """What the help page says for this sheet: its own keys first, then those that always work."""
    keys = [HELP, *(key for key in sheet.keys if key.key != "?")]
    if "q" not in live_keys(sheet):
        keys.append(LEAVE)
    listed = {key.key for key in keys}
    rows = [
        LiveKey(line.key, "", f"chooses: {line.text.strip()}")
        for line in sheet.lines
        if line.key and line.key not in listed
    ]
    typing = TYPING if takes_typing(sheet) else ()
    lines = [Line(_said(key), Role.ROW) for key in (*keys, *rows)]
    return (*lines, Line("", Role.BLANK), *(Line(_said(key), Role.NOTE) for key in (*typing, *FRAME)))


def _said(key: LiveKey) -> str:
    name = f"{named(key.key)}  {key.label}".rstrip()
    return f" {name:<{HANG - 2}} {key.does}"


class HelpScreen(Screen[None]):
    """Scrolls; ``Esc``, ``?`` or ``q`` goes back. No key of the sheet acts from here."""

    BINDINGS = [
        Binding("escape,question_mark,q,enter", "back", "back", priority=True),
        Binding("down", "scroll_rows(1)", "down"),
        Binding("up", "scroll_rows(-1)", "up"),
        Binding("pagedown,space", "scroll_page(1)", "page down"),
        Binding("pageup", "scroll_page(-1)", "page up"),
    ]

    def __init__(self, sheet: Sheet, fits: Callable[[str], str]) -> None:
        super().__init__()
        self._sheet = sheet
        self._fits = fits

    def compose(self) -> ComposeResult:
        """Title, rows, and a last row that says whether there is more."""
        yield TitleBar(id="help-title")
        yield Lines(id="help-rows")
        yield TitleBar(id="help-more")

    def on_mount(self) -> None:
        self._draw()

    def on_resize(self) -> None:
        self._draw()

    def _draw(self) -> None:
        width = max(1, self.size.width)
        rows = rows_of([part for line in help_lines(self._sheet) for part in self._hung(line, width)], width, str)
        self.query_one("#help-title", TitleBar).show(" Help: keys that do something now          Esc goes back")
        self.query_one("#help-rows", Lines).show(rows, from_top=False)
        self.call_after_refresh(self._mark)

    def _hung(self, line: Line, width: int) -> list[Line]:
        """A long effect goes on below itself, not below its key."""
        hang = " " * (HANG if width > 2 * HANG else 0)
        parts = textwrap.wrap(self._fits(line.text), max(2, width), subsequent_indent=hang, replace_whitespace=False)
        return [Line(part, line.role) for part in parts or [""]]

    def _mark(self) -> None:
        lines = self.query_one("#help-rows", Lines)
        more = lines.hidden_below
        self.query_one("#help-more", TitleBar).show(f"-- {more} more: PgDn --" if more else "-- end --")

    def action_back(self) -> None:
        self.dismiss()

    def action_scroll_rows(self, step: int) -> None:
        self.query_one(Lines).scroll_rows(step)

    def on_lines_scrolled(self) -> None:
        self._mark()

    def action_scroll_page(self, step: int) -> None:
        self.action_scroll_rows(step * max(1, self.size.height - 3))
