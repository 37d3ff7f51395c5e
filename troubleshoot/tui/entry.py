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


def _no_key(char: str) -> bool:
    return False


def _nothing() -> None:
    return None


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
        self.acts: Callable[[str], bool] = _no_key
        """Whether a character acts as a key while nothing is typed."""
        self.missed: Callable[[], None] = _nothing
        """Called where something was typed before its sheet could be seen."""
        self.before_typing: Callable[[], None] = _nothing
        """Called before anything is done to what stands here."""

    async def _on_key(self, event: events.Key) -> None:
        # The library calls this and then Input's own, unless told not to.
        if self.too_early(event.time):
            event.stop()
            event.prevent_default()
            self.missed()
            return
        elif event.character == HELP.key and not self.value:
            event.prevent_default()  # help is always one key away; it goes up to the screen
        elif event.is_printable and event.character and not self.value and self.acts(event.character):
            event.prevent_default()  # no answer begins with it: the screen takes it for the key that it is
        else:
            self.before_typing()

    def _on_paste(self, event: events.Paste) -> None:
        event.stop()
        event.prevent_default()
        self.take(event.text, event.time)

    def take(self, text: str, at: float) -> None:
        """Put pasted text in as one line, made safe to show; it is never sent by itself."""
        if self.disabled:
            return
        if self.too_early(at):
            self.missed()
            return
        line, cut = capped(text)
        self.insert_text_at_cursor(self.fits(line))
        self.post_message(self.Pasted(cut))

    def action_step_out(self) -> None:
        self.post_message(self.SteppedOut())
