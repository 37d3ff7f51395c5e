"""An exercise that was left half-way: whether its log can be gone on with, and the panel as the trainee left it. Pure.

What was done is done once more: the panel, its dice and its meter follow from the seed and from what hands did, so the same
hands bring it to the same place. Where they do not, for the machine or the program has changed, it is not gone on with.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from troubleshoot.circuit.model import Act
from troubleshoot.log.event import canonical
from troubleshoot.log.standing import Happened
from troubleshoot.practice.bench import typed
from troubleshoot.practice.exercise import Exercise, Nothing
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.sealed import read_exercise
from troubleshoot.practice.unsafe import Record, Stopped

OVER: Final = frozenset({"unsafe", "debrief", "ended"})
"""Kinds of event after which an exercise is not gone on with."""
NO_POWER: Final = "An undo puts no power back and takes none away: do it with your hands, and look first."
STARTS_NOTHING: Final = "That would set it moving: an undo starts nothing. Do it with your hands."
CHANGED: Final = "It was left with another description of that machine: it cannot be gone on with."
OTHERWISE: Final = "What was done does not come out the same in this program any more: it cannot be gone on with."


class Anything:
    """A guard for what was done already, and was not unsafe then."""

    def metering(self, panel: Panel) -> Stopped | None:
        """See `Guard.metering`."""
        return None

    def acting(self, panel: Panel, act: Act) -> Stopped | None:
        """See `Guard.acting`."""
        return None


@dataclass(frozen=True, slots=True)
class Left:
    """An exercise that can be gone on with."""

    handle: str
    """What the edge finds its log by."""
    exercise: Exercise
    at: str
    """When it was begun, ISO 8601 with offset."""


def left_half_way(handle: str, events: Sequence[Happened], at: str) -> Left | None:
    """The exercise in a log, where it was begun and is not over. at: wall time of its first event."""
    begun = next((e for e in events if e.kind == "practice"), None)
    if begun is None or any(e.kind in OVER for e in events):
        return None
    found = read_exercise(str(begun.data.get("sealed", "")).encode("utf-8", "replace"), handle)
    return Left(handle, found, at) if isinstance(found, Exercise) else None


def fits(events: Sequence[Happened], content: str) -> None:
    """Raises `Nothing` where the log was begun with another description. content: hash of the one here."""
    begun = next(e for e in events if e.kind == "practice")
    if begun.data.get("circuit") != content:
        raise Nothing(CHANGED)


def undone(events: Iterable[Happened]) -> frozenset[int]:
    """Numbers of the events of practice that were taken back."""
    return frozenset(int(str(e.data["of"])) for e in events if e.kind == "undone")


def done_again(panel: Panel, events: Sequence[Happened], gone: frozenset[int], *, held: bool = False) -> Record:
    """Do on a fresh panel whatever hands did, and what was mended in between; returns the record of it.

    held: what comes of it is held to what the log says came of it. Raises `Nothing` where it differs.
    """
    record = Record()
    for k, event in enumerate(events):
        if event.n in gone:
            continue
        if event.kind == "hand":
            came = typed(panel, str(event.data["words"]), Anything(), record).events
            if held:
                alike(came, events[k + 1 :])
        elif event.kind == "repaired":
            panel.mend(str(event.data["group"]))
    return record


def alike(came: Sequence[tuple[str, Mapping[str, Any]]], logged: Sequence[Happened]) -> None:
    """Raises `Nothing` where what came of it differs from what was written, as far as it was written."""
    for (kind, data), event in zip(came, (e for e in logged if e.kind != "clock"), strict=False):
        if event.kind in ("hand", "input", "resumed"):
            return  # the battery died in between
        if (kind, canonical(data)) != (event.kind, canonical(event.data)):
            raise Nothing(OTHERWISE)


def moves_back(now: Panel, before: Panel) -> str:
    """Why the panel is not set back by an undo; empty where it may be."""
    if now.dead != before.dead:
        return NO_POWER
    if set(before.motors()) - set(now.motors()):
        return STARTS_NOTHING
    return ""
