"""When a key counts. A key pressed for the sheet before, held down, or pasted must not answer this one.

Pure: every time is an argument, in seconds of one steady clock.
"""

from __future__ import annotations

from enum import Enum
from typing import Final

CAUTION_READ_S: Final = 0.3
"""A caution counts as read no sooner than this after it was drawn (the contract of `Pressed.drawn_ms`)."""
RUN_S: Final = 0.15
"""Keyboards repeat at 10 to 40 a second; two equal keys closer than this are one key held down."""
FIRST_REPEAT_S: Final = 0.7
"""A held key begins to repeat after 0.25 s (Linux console) to 0.66 s (X server default), from memory."""
BURST_S: Final = 0.1
"""Keys closer than this were not typed one by one: pasted into a terminal that does not mark a paste."""


class Counts(Enum):
    """What to do with a key."""

    YES = "yes"
    IF_QUIET = "if nothing follows within `RUN_S`"
    TYPED_AHEAD = "pressed before this was here: look, press again"
    TOO_SOON = "read it first: the key counts after a moment"
    REPEATED = "a key held down counts once: let go, press again"
    BURST = "press it by itself, after a short pause"


class Gate:
    """Remembers what was pressed when, and since when the present sheet has been on the screen."""

    def __init__(self) -> None:
        self._painted: float | None = None
        self._last: dict[str, float] = {}
        self._latest = float("-inf")
        self._left_over: set[str] = set()

    def changed(self) -> None:
        """Another sheet is coming, or this one was covered: nothing counts until `painted`."""
        self._painted = None
        self._left_over |= set(self._last)

    def same_again(self) -> None:
        """The same question is coming, with other marks: keys count on, one held down does not."""
        self._left_over |= set(self._last)

    def painted(self, now: float) -> None:
        """The sheet is on the screen, wholly."""
        if self._painted is None:
            self._painted = now

    @property
    def waits(self) -> bool:
        """Whether the sheet is still on its way to the terminal."""
        return self._painted is None

    def drawn_ms(self, at: float) -> int:
        """How long the sheet had been on the screen at `at`, milliseconds; 0 when it was not."""
        return 0 if self._painted is None else max(0, int((at - self._painted) * 1000))

    def before_this_sheet(self, at: float) -> bool:
        """Whether something done at `at` was done before this sheet could be seen."""
        return self._painted is None or at < self._painted

    def judge(self, key: str, at: float, *, caution: bool) -> Counts:
        """Whether `key`, pressed at `at`, counts on this sheet. caution: it would accept a caution."""
        gap = at - self._last.get(key, float("-inf"))
        any_gap = at - self._latest
        self._last[key] = self._latest = at
        if self.before_this_sheet(at):
            self._left_over.add(key)
            return Counts.TYPED_AHEAD
        if caution:
            return self._caution(key, at, gap, any_gap)
        if key not in self._left_over:
            return Counts.YES
        if gap < RUN_S:
            return Counts.REPEATED
        if gap < FIRST_REPEAT_S:
            return Counts.IF_QUIET
        self._left_over.discard(key)
        return Counts.YES

    def _caution(self, key: str, at: float, gap: float, any_gap: float) -> Counts:
        held = gap < RUN_S or (key in self._left_over and gap < FIRST_REPEAT_S - 0.2)
        if self.drawn_ms(at) < CAUTION_READ_S * 1000:
            self._left_over.add(key)
            return Counts.TOO_SOON
        if held:
            self._left_over.add(key)
            return Counts.REPEATED
        if any_gap < BURST_S:
            return Counts.BURST
        self._left_over.discard(key)
        return Counts.IF_QUIET

    def touch(self, at: float, *, caution: bool) -> Counts:
        """Whether a click or a tap counts: the second half of a double click must not land on the next sheet."""
        if self.before_this_sheet(at):
            return Counts.TYPED_AHEAD
        if self.drawn_ms(at) < CAUTION_READ_S * 1000:
            return Counts.TOO_SOON
        return Counts.YES
