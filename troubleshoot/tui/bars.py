"""The title row and the key row: one strip each, never markup; and words that are as wide as they are."""

from __future__ import annotations

from dataclasses import dataclass

from rich.cells import cell_len
from rich.segment import Segment
from textual import events
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Static

from troubleshoot.tui.placing import Spot


def rows_below(rows: int) -> str:
    """What a bar says under text that goes on below the screen."""
    return f"{rows} row{'' if rows == 1 else 's'} below, PgDn shows {'it' if rows == 1 else 'them'}"


class TitleBar(Widget):
    """One row of text, drawn as it is given."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self.text = ""

    def show(self, text: str) -> None:
        """Draw `text`, already cut to the width."""
        if text != self.text:
            self.text = text
            self.refresh()

    def render_line(self, y: int) -> Strip:
        """The text, filled to the edge."""
        style = self.rich_style
        return Strip([Segment(self.text, style)], cell_len(self.text)).adjust_cell_length(self.size.width, style)


class KeyRow(Widget):
    """The keys of this moment; each is touched as a whole, with the empty rows above and below it."""

    COMPONENT_CLASSES = {"keys--key"}

    @dataclass
    class Touched(Message):
        """A key was clicked or tapped."""

        key: str
        at: float

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self.spots: tuple[tuple[Spot, ...], ...] = ()

    def show(self, spots: tuple[tuple[Spot, ...], ...]) -> None:
        """Draw these keys."""
        if spots != self.spots:
            self.spots = spots
            self.refresh()

    def _row_at(self, y: int) -> tuple[Spot, ...]:
        """The keys whose target row `y` is; with spare rows every row belongs to the nearest keys."""
        if not self.spots or self.size.height < 1:
            return ()
        return self.spots[min(y * len(self.spots) // self.size.height, len(self.spots) - 1)]

    def render_line(self, y: int) -> Strip:
        """Keys stand out, their words do not; a spare row stays empty."""
        plain, strong = self.rich_style, self.get_component_rich_style("keys--key")
        per = self.size.height // len(self.spots) if self.spots else 0
        if not per or y % per != per // 2 or y // per >= len(self.spots):
            return Strip.blank(self.size.width, plain)
        segments: list[Segment] = []
        x = 0
        for spot in self.spots[y // per]:
            key, _, label = spot.text.partition(" ")
            key_style = strong if spot.key else plain  # a mark between keys is none
            segments += [
                Segment(" " * (spot.x - x), plain),
                Segment(key, key_style),
                Segment(f" {label}" if label else "", plain),
            ]
            x = spot.x + cell_len(spot.text)
        return Strip(segments).adjust_cell_length(self.size.width, plain)

    def on_click(self, event: events.Click) -> None:
        """A touch between two keys belongs to the one on the left of it, up to one cell."""
        for spot in self._row_at(event.y):
            if spot.key and spot.x - 1 <= event.x <= spot.x + cell_len(spot.text):
                event.stop()
                self.post_message(self.Touched(spot.key, event.time))
                return


class Words(Static):
    """Words as wide as they are. Where they stay the same, the screen is not laid out anew: that costs as much as a sheet."""

    def __init__(self, text: str = "", *, id: str) -> None:
        super().__init__(text, id=id, markup=False)

    def show(self, text: str) -> None:
        """Draw `text`."""
        if text != self.content:
            self.update(text)
