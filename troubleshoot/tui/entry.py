"""The place to type."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from textual import events
from textual.message import Message
from textual.widgets import Input

from troubleshoot.tui.answering import HELP, capped


def _never(at: float) -> bool:
    return False


class Entry(Input):
    """One line of typing. It takes nothing that was typed before its sheet could be seen, and a paste as one line."""

    BINDINGS = [("escape", "step_out", "letters act at once")]

    @dataclass
    class SteppedOut(Message):
        """Escape was pressed: letters are keys again."""

    @dataclass
    class Pasted(Message):
        """Text was pasted; `cut` when some of it was left out."""

        cut: bool

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id, compact=True, select_on_focus=False)
        self.fits: Callable[[str], str] = str
        self.too_early: Callable[[float], bool] = _never
        self.at_once: tuple[str, ...] = ()
        """Keys that act as the first character (`Sheet.Entry.at_once`)."""

    async def _on_key(self, event: events.Key) -> None:
        # The library calls this and then Input's own, unless told not to.
        if self.too_early(event.time):
            event.stop()
            event.prevent_default()
            return
        elif not self.value and (event.character == HELP.key or event.character in self.at_once):
            event.prevent_default()  # always one key away; it goes up to the screen

    def _on_paste(self, event: events.Paste) -> None:
        event.stop()
        event.prevent_default()
        self.take(event.text, event.time)

    def take(self, text: str, at: float) -> None:
        """Put pasted text in as one line, made safe to show; it is never sent by itself."""
        if self.disabled or self.too_early(at):
            return
        line, cut = capped(text)
        self.insert_text_at_cursor(self.fits(line))
        self.post_message(self.Pasted(cut))

    def action_step_out(self) -> None:
        self.post_message(self.SteppedOut())
