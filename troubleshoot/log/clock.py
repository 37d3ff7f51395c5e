"""The two clocks of a log: the one on the wall, which people set, and the one that only runs."""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """What a log asks of time."""

    def wall(self) -> datetime:
        """Now, with the offset of this place. May go back."""
        ...

    def running_ms(self) -> int:
        """Milliseconds since some moment; never goes back while the program runs."""
        ...


class SystemClock:
    """The machine's own clocks."""

    def wall(self) -> datetime:
        return datetime.now().astimezone()

    def running_ms(self) -> int:
        # CLOCK_BOOTTIME goes on while the machine sleeps; the ordinary monotonic clock of Linux does not, and "proved
        # dead a minute ago" would be said of a night with the lid shut.
        if hasattr(time, "CLOCK_BOOTTIME"):
            return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000
        return time.monotonic_ns() // 1_000_000


class SetClock:
    """A clock that stands still until it is told; for tests, practice and rehearsals."""

    def __init__(self, at: datetime) -> None:
        """Start at the wall time `at`, which carries its offset."""
        self._wall = at
        self._running_ms = 0

    def wall(self) -> datetime:
        return self._wall

    def running_ms(self) -> int:
        return self._running_ms

    def pass_time(self, ms: int) -> None:
        """Let `ms` milliseconds go by on both clocks."""
        self._wall += timedelta(milliseconds=ms)
        self._running_ms += ms

    def set_wall(self, at: datetime) -> None:
        """Somebody sets the clock on the wall; no time goes by."""
        self._wall = at
