"""A block of rows, each with the look of its role; a row that has a key is touched as a whole."""

from __future__ import annotations

from dataclasses import dataclass

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.geometry import Region
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from troubleshoot.job.sheet import Role
from troubleshoot.tui import themes
from troubleshoot.tui.placing import Row


class Lines(Widget):
    """Rows drawn by hand: nothing in them is ever read as markup, and every cell of a row belongs to that row.

    It scrolls by whole rows and without a bar, which consoles have no characters for.
    """

    @dataclass
    class Touched(Message):
        """A row that has a key was clicked or tapped."""

        key: str
        at: float
        """When, on the clock of events."""

    @dataclass
    class Scrolled(Message):
        """Other rows show now."""

    def __init__(self, *, id: str, whole: bool = False) -> None:
        """whole: every row is drawn each time, so that `seen_to` counts anew; else only those that changed."""
        super().__init__(id=id)
        self.whole = whole
        self.rows: tuple[Row, ...] = ()
        self.top = 0
        """Index of the row at the top."""
        self.chosen = ""
        """Key of the row the arrow keys stand on."""
        self.seen_to = 0
        """The lowest row that has been on the screen, counted from 1; of a block drawn whole."""
        self.drawn = False
        """Whether the rows, as they are now, were made up for the terminal."""
        self._styles: dict[str, Style] = {}
        self._styled = ""

    def style_of(self, meaning: str) -> Style:
        """The look of one meaning: of a role by its value, or of the chosen row.

        Straight from the theme: as parts of the style sheet eleven of them cost a tenth of the first paint.
        """
        if self._styled != self.app.theme:
            self._styled, self._styles = self.app.theme, {}
        if meaning not in self._styles:
            self._styles[meaning] = themes.style(self.app.theme_variables, meaning)
        return self._styles[meaning]

    def show(self, rows: tuple[Row, ...], *, from_top: bool) -> None:
        """Draw `rows`. from_top: they are news, so begin at the first one."""
        before = None if self.whole else self._in_sight()
        self.rows = rows
        if from_top:
            self.seen_to = 0
            self.chosen = ""
            self.top = 0
        if before is None:
            self.draw_anew()
            return
        changed = [y for y, (old, new) in enumerate(zip(before, self._in_sight(), strict=True)) if old != new]
        if changed:
            self.drawn = False
            self.refresh(*(Region(0, y, self.size.width, 1) for y in changed))

    def _in_sight(self) -> list[tuple[Row | None, bool]]:
        """What each line of cells shows, and whether it is the chosen one."""
        there = [*self.rows[self.top : self.top + self.size.height]]
        sight = [(row, bool(self.chosen) and self.chosen in row.keys) for row in there]
        return [*sight, *[(None, False)] * (self.size.height - len(sight))]

    def draw_anew(self) -> None:
        """Go to the terminal once more, with the next of what goes there."""
        self.drawn = False
        self.refresh()

    @property
    def hidden_below(self) -> int:
        """How many rows are below the last one that shows."""
        return max(0, len(self.rows) - self.top - self.size.height)

    def scroll_rows(self, step: int) -> None:
        """Bring other rows into view."""
        self._to(self.top + step)

    def _to(self, top: int) -> None:
        top = max(0, min(top, len(self.rows) - self.size.height))
        if top != self.top:
            self.top = top
            self.refresh()
            self.post_message(self.Scrolled())

    def on_resize(self) -> None:
        self._to(self.top)

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        event.stop()
        self.scroll_rows(2)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        event.stop()
        self.scroll_rows(-2)

    def choose(self, step: int) -> None:
        """Move the mark to the next row with a key, or the one before, and bring it into view."""
        keys = list(dict.fromkeys(key for row in self.rows for key in row.keys))
        if not keys:
            self.scroll_rows(step)
            return
        place = keys.index(self.chosen) + step if self.chosen in keys else (0 if step > 0 else len(keys) - 1)
        self.chosen = keys[min(max(place, 0), len(keys) - 1)]
        mine = [y for y, row in enumerate(self.rows) if self.chosen in row.keys]
        height = max(1, self.size.height)
        if mine[0] < self.top:
            self._to(mine[0])
        elif mine[-1] >= self.top + height:
            self._to(mine[-1] - height + 1)
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """One row of cells, filled to the full width so that its background reaches the edge."""
        width = self.size.width
        self.drawn = True
        index = y + self.top
        if index >= len(self.rows) or width < 1:
            # Not the widget's own style: that is worked out anew each time, which took half of drawing a sheet.
            return Strip.blank(width, self.style_of(Role.BLANK.value))
        self.seen_to = max(self.seen_to, index + 1)
        row = self.rows[index]
        if row.parts:
            return self._parts(row, width)
        marked = bool(row.key) and row.key == self.chosen
        style = self.style_of("chosen" if marked else row.role.value)
        text = ">" + row.text[1:] if marked and row.text[:1] == " " else row.text
        return Strip([Segment(text, style)], cell_len(text)).adjust_cell_length(width, style)

    def _parts(self, row: Row, width: int) -> Strip:
        """A row with several things side by side; the chosen one stands out and has a mark in front of it."""
        plain = self.style_of(row.role.value)
        part = next((p for p in row.parts if p.key == self.chosen), None)
        if part is None:
            return Strip([Segment(row.text, plain)], cell_len(row.text)).adjust_cell_length(width, plain)
        chosen = self.style_of("chosen")
        inside = row.text[part.start : part.end]
        if inside[1:2] == " ":
            inside = f"{inside[0]}>{inside[2:]}"
        segments = [
            Segment(row.text[: part.start], plain),
            Segment(inside, chosen),
            Segment(row.text[part.end :], plain),
        ]
        return Strip(segments, cell_len(row.text)).adjust_cell_length(width, plain)

    def on_click(self, event: events.Click) -> None:
        """The whole row is the target, to the edge of the screen; of a drawn face, the half that was touched."""
        index = event.y + self.top
        key = self.rows[index].key_at(event.x) if 0 <= index < len(self.rows) else ""
        if key:
            event.stop()
            self.post_message(self.Touched(key, event.time))
