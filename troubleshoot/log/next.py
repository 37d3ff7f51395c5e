"""Which event comes next: its number, its times, its place in the chain, and the news that the clock was set back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any, Final

from troubleshoot.log.clock import Clock
from troubleshoot.log.event import FORMAT, Event, genesis, make_event, stamp

CLOCK: Final = "clock"
"""Kind of the event that says the wall clock went back: `step_ms` (negative), `was` and `now` as wall times."""

_MS: Final = timedelta(milliseconds=1)


class Next:
    """Makes events of one session, in order. Knows nothing of where they are kept."""

    def __init__(self, *, session: str, version: str, who: str, clock: Clock, last: Event | None = None) -> None:
        """last: newest event of a session that is taken up again; None begins one."""
        self.session = session
        self.version = version
        self._who = who
        self._clock = clock
        self._last = last
        self._ran_with_us = False
        """Whether both clocks were read by this process since the last event; while nobody ran, only the wall's went."""
        before_ms = 0
        if last:
            # The best that can be known of the time between: what the wall clock says, when it went forwards.
            before_ms = last.elapsed_ms + max(0, (clock.wall() - last.when) // _MS)
        self._offset_ms = before_ms - clock.running_ms()

    def events(self, kind: str, data: Mapping[str, Any]) -> list[Event]:
        """The event to be kept now, after a `clock` event when the wall clock went back since the last one.

        Nothing is taken as done until `is_kept`. Raises as `make_event` does, and ValueError where the data of event 1
        contradict the session, version or format that the log puts there.
        """
        wall, last = self._clock.wall(), self._last
        elapsed_ms, at = self._offset_ms + self._clock.running_ms(), stamp(wall)
        if last is None:
            prev = genesis(self.session, self.version)
            return [make_event(1, kind, at, max(0, elapsed_ms), self._with_beginning(data), prev)]
        elapsed_ms = max(last.elapsed_ms, elapsed_ms)
        if step_ms := self._step_back_ms((wall - last.when) // _MS, elapsed_ms - last.elapsed_ms):
            news = {"step_ms": step_ms, "was": last.at, "now": at}
            moved = make_event(last.n + 1, CLOCK, at, elapsed_ms, news, last.hash)
            return [moved, make_event(last.n + 2, kind, at, elapsed_ms, data, moved.hash)]
        return [make_event(last.n + 1, kind, at, elapsed_ms, data, last.hash)]

    def idle_ms(self) -> int:
        """Milliseconds since the newest event, the machine's own sleep included; 0 before the first."""
        if self._last is None:
            return 0
        return max(0, self._offset_ms + self._clock.running_ms() - self._last.elapsed_ms)

    def is_kept(self, event: Event) -> None:
        """`event` is where it is kept; the next one follows it."""
        self._last = event
        self._ran_with_us = True

    def _step_back_ms(self, wall_ms: int, ran_ms: int) -> int:
        """How far the wall clock was set back, negative, or 0. A summer-time change is none: times have offsets."""
        if not self._ran_with_us:
            return min(0, wall_ms)
        step_ms = wall_ms - ran_ms
        # A clock that is being corrected gently runs up to 0.05 % slow (NTP slews at 500 ppm); that is no step.
        gentle = step_ms >= -max(1000, ran_ms // 1000)
        return 0 if gentle and wall_ms >= 0 else min(0, step_ms)

    def _with_beginning(self, data: Mapping[str, Any]) -> dict[str, Any]:
        must = {"format": FORMAT, "session": self.session, "version": self.version}
        for key, value in must.items():
            if data.get(key, value) != value:
                raise ValueError(f"{key} of event 1 is {value!r}")
        return {"who": self._who, **data, **must}
