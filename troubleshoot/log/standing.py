"""What of a log stands: events that were taken back are left out, and an ending may not be the last word. Pure.

The two things about the meaning of events that the readers of many logs need as well as the job itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, Protocol

OPEN_ENDS: Final = ("waiting", "watching", "made safe")
"""How the endings begin after which a job can be taken up again."""


class Happened(Protocol):
    """What is needed of an event; `log.event.Event` is one."""

    @property
    def n(self) -> int: ...
    @property
    def kind(self) -> str: ...
    @property
    def data(self) -> Mapping[str, Any]: ...


class Recorded(Happened, Protocol):
    """As it stands in a record: with its times and its hash. Its data may hold anything: a later program wrote it."""

    @property
    def at(self) -> str: ...
    @property
    def elapsed_ms(self) -> int: ...
    @property
    def hash(self) -> str: ...


def retracted(events: Sequence[Happened]) -> frozenset[int]:
    """Numbers of the events that were taken back (and not put back)."""
    gone: set[int] = set()
    for event in reversed(events):
        if event.kind == "retract" and event.n not in gone:
            gone.update(int(n) for n in event.data["of"])
    return frozenset(gone)
