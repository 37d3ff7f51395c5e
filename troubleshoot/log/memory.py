"""A log without a disk: for rehearsals, tests, and the run that is marked NOT RECORDED on every screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from troubleshoot.log.clock import Clock
from troubleshoot.log.event import Event
from troubleshoot.log.next import Next
from troubleshoot.log.verify import Verdict


class MemoryLog:
    """Behaves as a `LogFile` that always finds space; gone when the program ends."""

    recorded = False

    def __init__(self, *, session: str, version: str, who: str, clock: Clock) -> None:
        self._next = Next(session=session, version=version, who=who, clock=clock)
        self._events: list[Event] = []

    def append(self, kind: str, data: Mapping[str, Any]) -> Event:
        for event in self._next.events(kind, data):
            self._next.is_kept(event)
            self._events.append(event)
        return self._events[-1]

    @property
    def events(self) -> tuple[Event, ...]:
        return tuple(self._events)

    @property
    def head(self) -> tuple[int, str] | None:
        return (self._events[-1].n, self._events[-1].hash) if self._events else None

    @property
    def idle_ms(self) -> int:
        return self._next.idle_ms()

    @property
    def verdict(self) -> Verdict:
        return Verdict(len(self._events), self.head, self._next.session, self._next.version)

    @property
    def notices(self) -> tuple[str, ...]:
        return ()

    def close(self) -> None:
        pass
