"""A block of rows, each with the look of its role; a row that has a key is touched as a whole."""

from __future__ import annotations

from dataclasses import dataclass

from rich.cells import cell_len
from rich.segment import Segment
from textual import events
from textual.geometry import Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from troubleshoot.job.sheet import Role
from troubleshoot.tui.placing import Row


class Lines(ScrollView, can_focus=False):
    """Rows drawn by hand: nothing in them is ever read as markup, and every cell of a row belongs to that row."""

    COMPONENT_CLASSES = {"lines--chosen", *(f"lines--{role.value}" for role in Role)}

    @dataclass
    class Touched(Message):
        """A row that has a key was clicked or tapped."""

        key: str
        at: float
        """When, on the clock of events."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 - the screen library's own word
        super().__init__(id=id)
        self.rows: tuple[Row, ...] = ()
        self.chosen = ""
        """Key of the row the arrow keys stand on."""
        self.seen_to = 0
        """The lowest row that has been on the screen, counted from 1."""

    def show(self, rows: tuple[Row, ...], *, from_top: bool) -> None:
        """Draw `rows`. from_top: they are news, so begin at the first one."""
        if from_top:
            self.seen_to = 0
            self.chosen = ""
            self.scroll_to(y=0, animate=False, immediate=True)
        if rows != self.rows:
            self.rows = rows
            self.virtual_size = Size(self.size.width, len(rows))
        self.refresh()

    @property
    def hidden_below(self) -> int:
        """How many rows are below the last one that shows."""
        return max(0, len(self.rows) - int(self.scroll_offset.y) - self.size.height)

    def choose(self, step: int) -> None:
        """Move the mark to the next row with a key, or the one before, and bring it into view."""
        keys = list(dict.fromkeys(row.key for row in self.rows if row.key))
        if not keys:
            self.scroll_relative(y=step, animate=False, immediate=True)
            return
        place = keys.index(self.chosen) + step if self.chosen in keys else (0 if step > 0 else len(keys) - 1)
        self.chosen = keys[min(max(place, 0), len(keys) - 1)]
        mine = [y for y, row in enumerate(self.rows) if row.key == self.chosen]
        top, height = int(self.scroll_offset.y), max(1, self.size.height)
        if mine[0] < top:
            self.scroll_to(y=mine[0], animate=False, immediate=True)
        elif mine[-1] >= top + height:
            self.scroll_to(y=mine[-1] - height + 1, animate=False, immediate=True)
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """One row of cells, filled to the full width so that its background reaches the edge."""
        width = self.size.width
        index = y + int(self.scroll_offset.y)
        if index >= len(self.rows) or width < 1:
            return Strip.blank(width, self.rich_style)
        self.seen_to = max(self.seen_to, index + 1)
        row = self.rows[index]
        marked = bool(row.key) and row.key == self.chosen
        style = self.get_component_rich_style("lines--chosen" if marked else f"lines--{row.role.value}")
        text = ">" + row.text[1:] if marked and row.text[:1] == " " else row.text
        return Strip([Segment(text, style)], cell_len(text)).adjust_cell_length(width, style)

    def on_click(self, event: events.Click) -> None:
        """The whole row is the target, to the edge of the screen."""
        index = event.y + int(self.scroll_offset.y)
        if 0 <= index < len(self.rows) and self.rows[index].key:
            event.stop()
            self.post_message(self.Touched(self.rows[index].key, event.time))
