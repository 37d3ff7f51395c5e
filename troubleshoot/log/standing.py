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


def handed_on(events: Sequence[Happened]) -> str:
    """To whom a job was handed and not taken up yet, and whose lock is noted on what, in a few words; empty where it was not."""
    gone = retracted(events)
    who, to = "", ""
    locks: dict[str, str] = {}
    for event in events:
        data = event.data
        match event.kind:
            case _ if event.n in gone:
                continue
            case "opened" | "resumed":
                who, to = str(data.get("who", who)), ""
            case "handover":
                to = str(data.get("to", ""))
            case "power":
                locks = {}
            case "isolation" if str(data.get("step", "")).startswith("lock "):
                locks[str(data["step"]).removeprefix("lock ")] = who
            case "isolation" if "lock off" in data:
                locks = {tag: name for tag, name in locks.items() if name != data["lock off"]}
            case _:
                pass
    if not to:
        return ""
    words = f"HANDED to {to.partition(';')[0].strip()}"
    return f"{words}, lock of {' and '.join(dict.fromkeys(locks.values()))} on {', '.join(locks)}" if locks else words


def retracted(events: Sequence[Happened]) -> frozenset[int]:
    """Numbers of the events that were taken back (and not put back)."""
    gone: set[int] = set()
    for event in reversed(events):
        if event.kind == "retract" and event.n not in gone:
            gone.update(int(n) for n in event.data["of"])
    return frozenset(gone)
