"""What a job's readings should have been, and how the suspicion moved: computed anew from the machine's description."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final, Protocol

from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Word
from troubleshoot.job.codec import get_item, get_situation, get_understood
from troubleshoot.log.standing import Recorded

if TYPE_CHECKING:
    from troubleshoot.diagnosis.reasoner import Expected
    from troubleshoot.job.desk import Desk

LEFT: Final = 0.005
"""Chance from which a repair counts as left; as the job's own screens count."""
OPEN_OHMS: Final = 1e6
"""From here on ohms are called open, as in the job."""
NAMED: Final = 3
"""How many of the likeliest are told by name."""
DRAWN: Final = 24
"""How many are kept for a drawing: one that leads in the end is seen from where it began."""
MOVES: Final = frozenset({"opened", "told", "tried", "looked", "reading", "proved", "amended"})
"""Kinds of event that can move the suspicion."""


class Happened(Recorded, Protocol):
    """What is needed of an event here; `log.event.Event` is one."""

    @property
    def when(self) -> datetime: ...


@dataclass(frozen=True, slots=True)
class Should:
    """One reading of the record beside what a good machine shows."""

    where: str
    should: str
    """In words; empty where it cannot be computed."""
    low: float | None = None
    high: float | None = None
    """The same as numbers, where it is a range of them."""


@dataclass(frozen=True, slots=True)
class Moved:
    """The suspicion after one event."""

    n: int
    left: int
    """Repairs that are not as good as ruled out."""
    likeliest: tuple[tuple[str, float], ...]
    """The likeliest repairs with their chance, likeliest first, at most `DRAWN`; `NAMED` of them are told."""


class Expecting:
    """One machine as it is described now; without one nothing is expected and nothing moves."""

    def __init__(self, desk: Desk | None, content: str = "") -> None:
        """content: hash of the description that the job was begun with."""
        self.desk = desk
        self.changed = desk is not None and bool(content) and content != desk.machine.content

    def reading(self, item: Sequence[Any], situation: Mapping[str, Any]) -> Should:
        """A reading, light or look of an event, beside what it should be. Never raises for what a log holds."""
        what = get_item(item)
        where = self.where(what)
        if self.desk is None:
            return Should(where, "")
        try:
            named = get_situation(situation)
            if isinstance(what, Meter):
                from troubleshoot.job.naming import should_be

                expected = self.desk.reasoner.expected(what, named.situation)
                return Should(where, should_be(self.desk, what, named), *_range(expected))
            return Should(where, self.desk.shown(what, named))
        except (KeyError, ValueError, IndexError, AssertionError):
            return Should(where, "")  # a point or a light that this description does not have

    def off(self, item: Sequence[Any], situation: Mapping[str, Any], understood: Any) -> bool:
        """Whether a reading is not what a good machine gives; False where that cannot be computed. Never raises for what a
        log holds."""
        if self.desk is None:
            return False
        try:
            what, value = get_item(item), get_understood(understood)
            if not isinstance(what, Meter) or value is Word.COULDNT:
                return False
            return not self.desk.as_it_should(what, get_situation(situation), value)
        except (KeyError, ValueError, IndexError, TypeError, AssertionError):
            return False

    def where(self, what: Meter | Light | Look) -> str:
        """What was metered or looked at, in words."""
        match what:
            case Meter(mode, red, black):
                return f"{red} to {black}, {mode.replace('volts', 'V').replace('ac ', 'AC ').replace('dc ', 'DC ')}"
            case Light(name) | Look(name):
                sign = self.desk.machine.net.signs.get(name) if self.desk is not None else None
                return sign.words if sign is not None else name

    def moved(self, events: Sequence[Happened], upto: int) -> Moved | None:
        """The suspicion after event `upto`; None where it cannot be worked out."""
        if self.desk is None:
            return None
        from troubleshoot.faults.suspects import OUTSIDE
        from troubleshoot.job.fitting import desk_of, fitting
        from troubleshoot.job.folding import fold
        from troubleshoot.job.naming import group_words

        try:
            state = fold([e for e in events if e.n <= upto])
            desk = desk_of(self.desk, state)
            groups = desk.reasoner.groups(desk.belief(fitting(desk, state)))
        except (KeyError, ValueError, IndexError, AttributeError, TypeError, StopIteration):
            return None  # points of another description, or a form of a later program
        told = tuple(
            ("something not in the description" if g == OUTSIDE else group_words(desk, g), p) for g, p in groups[:DRAWN]
        )
        return Moved(upto, sum(p > LEFT for g, p in groups if g != OUTSIDE), told)


def _range(expected: Expected) -> tuple[float, float] | tuple[None, None]:
    """From where to where a reading is good; no range of a point that floats. Ohms as the job judges them: the leads count."""
    if expected.floating:
        return None, None
    if expected.unit == "ohm":
        right = abs(expected.value)
        return (OPEN_OHMS, OPEN_OHMS) if right > OPEN_OHMS else (max(0.0, right / 2 - 2), 2 * right + 2)
    return (expected.low, expected.high) if expected.high < OPEN_OHMS else (None, None)


def middle(understood: Any) -> tuple[float, str] | None:
    """The number of a reading and its unit; None where it is a word."""
    value = get_understood(understood)
    return (value.middle, value.unit) if isinstance(value, Interval) else None


def meant(understood: Any) -> str:
    """What was understood, in words."""
    value = get_understood(understood)
    match value:
        case Interval(low, high, unit):
            wide = high - low
            # As it was typed: 120.0 is understood as 119.95 to 120.05.
            return (
                f"{value.middle:.4g} {unit}"
                if wide <= 0.02 * max(abs(value.middle), 1.0)
                else f"{low:g} to {high:g} {unit}"
            )
        case str():
            return value
        case _:
            return str(value.value)
