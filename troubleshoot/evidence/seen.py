"""What was seen, as values. The raw text stays beside what was understood."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.solve.meters import Mode, Unit


class Word(Enum):
    """What a reading or a light can be called instead of a number."""

    NOTHING = "nothing"
    LOW = "low"
    RIGHT = "right"
    HIGH = "high"
    OL = "OL"
    UNSTEADY = "unsteady"
    ON = "on"
    OFF = "off"
    DIM = "dim"
    YES = "yes"
    NO = "no"
    COULDNT = "could not tell"


Source = Literal["asked", "unasked", "by-exception", "operator", "baseline", "live"]


Phase = Literal["failing", "working", "unknown"]


@dataclass(frozen=True, slots=True)
class Interval:
    """A number as read, with the width that the words gave it (``24ish`` is wide)."""

    low: float
    high: float
    unit: Unit

    @property
    def middle(self) -> float:
        return (self.low + self.high) / 2


@dataclass(frozen=True, slots=True)
class Meter:
    """A reading between two points; for amps the conductor that leaves ``red`` towards ``black``."""

    mode: Mode
    red: Pin
    black: Pin


@dataclass(frozen=True, slots=True)
class Light:
    """A lamp or an indicator on a module face, by its name in the circuit: ``A1:%IX0.0``, ``H1``."""

    name: str


@dataclass(frozen=True, slots=True)
class Look:
    """Something seen or heard at a device, by its name in the circuit: ``M1 turning``, ``KM1 in``, ``ES1 out``."""

    name: str


@dataclass(frozen=True, slots=True)
class Told:
    """What somebody said: a question id whose likelihoods are declared (``stopped by itself``)."""

    question: str


What = Meter | Light | Look | Told


@dataclass(frozen=True, slots=True)
class Seen:
    """One observation."""

    what: What
    said: str
    """Raw text, kept for ever."""
    understood: Interval | Word | str
    """A number, a word, or the id of a told answer."""
    at: Situation
    source: Source = "asked"
    proved: bool = False
    """The tester was proved on a known live point before it."""
    batch: int = 0
    epoch: int = 0
    """Repairs and amendments so far."""
    phase: Phase = "failing"
    """Of what comes and goes: whether it was there at that moment."""
    expected_shown: bool = True
    event: int = 0
    """Number of the log event that carries it."""


__all__ = [
    "Interval", "Light", "Look", "Meter", "Mode", "Seen", "Source", "Told", "Unit", "What", "Word",
]  # fmt: skip
