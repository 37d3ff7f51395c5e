"""One thing to do next, whoever thought of it: a tree or the engine. The job asks it, the screen shows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.evidence.seen import Light, Look, Meter

StepKind = Literal["look", "lights", "measure", "confirm", "engine", "end"]


def unseen(item: Light | Look, named: NamedSituation) -> str:
    """How a light or a look that cannot be seen in one situation stands among what cannot be done."""
    return f"{item.name} @ {named.name}"


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the search.

    kind: ``look`` (walk round, many items at once), ``lights`` (a module face and lamps, at once), ``measure`` (one trip
    of up to three readings, live), ``confirm`` (readings that must agree before anything is replaced), ``engine`` (a tree
    hands over to the engine), ``end`` (nothing left that separates).
    """

    kind: StepKind
    id: str
    """Stable for the same step: a tree's node id, or the engine's own words for it."""
    items: tuple[Meter | Light | Look, ...]
    situation: NamedSituation
    words: str
    """What to do, one sentence."""
    why: str = ""
    ahead: tuple[str, ...] = ()
    """What each result would mean, one line each."""
    group: str = ""
    """For ``confirm``: the repair group that is to be confirmed."""
    source: Literal["tree", "engine"] = "engine"
    cost: float = 0.0
    """Time, walking and hands, in seconds of a careful person."""
    bits: float = 0.0
    """Information expected about the repair."""
