"""The described circuit as frozen values: pins, hops, devices, acts, situations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Known = Literal["assumed", "copied", "told", "seen", "measured"]
"""How well one element of the description is known, worst first."""

Origin = Literal["rest", "power-up", "as-found"]


@dataclass(frozen=True, slots=True, order=True)
class Pin:
    """One terminal, exactly as printed on the panel: ``K1:14``."""

    device: str
    """Device tag as printed."""
    pin: str
    """Terminal mark as printed; always text (``010`` keeps its zeros)."""

    def __str__(self) -> str:
        return f"{self.device}:{self.pin}"


@dataclass(frozen=True, slots=True)
class Hop:
    """One conductor from pin to pin; it can break by itself."""

    number: str
    """Wire number: the name of the potential, shared by all its hops."""
    a: Pin
    b: Pin
    metres: float
    """Length in metres, for resistance and exposure."""
    field: bool
    """True when it leaves the enclosure (its ends are at different places)."""
    known: Known = "seen"

    @property
    def id(self) -> str:
        """``12:K1:14>FR1:95``: endpoints, never an index, so a later terminal renames nothing."""
        return f"{self.number}:{self.a}>{self.b}"


@dataclass(frozen=True, slots=True)
class Run:
    """Conductors that lie side by side in one conduit or cable, and couple."""

    hops: tuple[str, ...]
    """Ids of the conductors in it, each once."""
    metres: float
    to_neighbour: float
    """Farads per metre of one conductor to one neighbour that touches it."""
    to_earth: float
    """Farads per metre of one conductor to earth: conduit, armour, shield."""


@dataclass(frozen=True, slots=True)
class Device:
    """One device of the machine."""

    tag: str
    kind: str
    """Name of a row of ``circuit.kinds.KINDS``."""
    place: str
    words: str
    """What people call it: ``start button``."""
    ratings: Mapping[str, object] = field(default_factory=dict)
    """Typed by the kind's own rating rows: floats in the unit of the row, texts, tuples, mappings."""
    known: Known = "seen"


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere a person must go, with what it costs to get there."""

    name: str
    words: str
    walk_s: float = 0.0
    door: bool = False
    """True when an enclosure must be opened to reach the points (a trip)."""
    needs: tuple[str, ...] = ()
    danger: str = ""
    """What can hurt there besides volts and what moves: gas, falling in, heat. Said before anybody is sent there."""


Verb = Literal[
    "press", "release", "pull", "put", "open", "close", "test", "reset", "wait", "lose power", "restore power",
    "trip", "refit", "heal",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Act:
    """One thing done to the machine: ``press S1``, ``put S3 in run``, ``lose power``."""

    verb: Verb
    """`trip` and `heal` are no hand's: an overload trips, what was wrong comes right by itself. `refit`: a whole fuse."""
    device: str = ""
    value: str = ""
    """Position of a selector, or seconds of a wait."""

    def __str__(self) -> str:
        match self.verb:
            case "put":
                return f"put {self.device} in {self.value}"
            case "wait":
                return f"wait {self.value} s"
            case _:
                return f"{self.verb} {self.device}".strip()


@dataclass(frozen=True, slots=True)
class Situation:
    """In what state the machine was: origin, acts that may have left memory, positions held now.

    Hashable: it is the key of every table of computed readings.
    """

    origin: Origin = "rest"
    acts: tuple[Act, ...] = ()
    hold: frozenset[tuple[str, str]] = frozenset()
    """Positions that matter now: ``("S3", "run")``, ``("Q1", "off")``; applied before the acts."""

    def __str__(self) -> str:
        parts = [self.origin, *(f"{d}={v}" for d, v in sorted(self.hold)), *(str(a) for a in self.acts)]
        return "; ".join(parts)


@dataclass(frozen=True, slots=True)
class NamedSituation:
    """A situation the circuit file names, with the words a person would use."""

    name: str
    words: str
    situation: Situation
    hands: int = 1
    """How many people it takes (a held button and a meter need two)."""


@dataclass(frozen=True, slots=True)
class Complaint:
    """A way this machine is reported dead or odd."""

    name: str
    """Symptom id, the name of a tree: ``wont-start``."""
    words: tuple[str, ...]
    """How people say it, for matching: ``won't start``, ``dead``."""
    shows: str = ""
    """Name of the situation in which the complaint is seen."""
    about: tuple[str, ...] = ()
    """Roles that then show something else than they should, each alone or with what it shows; empty: the motors."""


@dataclass(frozen=True, slots=True)
class Program:
    """Source text of the controller's program, or where it lies, and how well it is known."""

    lang: str
    """``ST`` or ``LD``."""
    text: str
    """Empty where `file` is given."""
    line: int = 1
    """Line of the circuit file where the text starts, for messages."""
    known: Known = "told"
    file: str = ""
    """A file beside the circuit file, parts joined by ``/``; it never leads out of that folder."""
    first_scan_edges: bool = True
    """An edge block sees an edge in its very first scan, as the standard has it; False: as many controllers have it."""


@dataclass(frozen=True, slots=True)
class Variant:
    """Another way in which this machine may be wired, kept alive until a reading or a look tells which it is."""

    name: str
    words: str
    """As it would be told: ``the overload contact sits behind the coil``."""
    chance: float
    """Chance, beforehand, that the machine is wired this way and not as the file has it."""
    cut: tuple[str, ...] = ()
    """Ids of the hops that are then not there."""
    join: tuple[tuple[Pin, Pin], ...] = ()
    """Terminals that a wire then joins."""
    stands: tuple[tuple[str, str], ...] = ()
    """State variables that then never leave a value: a brake that is not there never holds."""


@dataclass(frozen=True, slots=True)
class Circuit:
    """A whole described machine. Pure data; everything else is computed from it."""

    name: str
    title: str
    source: str
    """Where it was read from, for messages."""
    places: Mapping[str, Place]
    devices: Mapping[str, Device]
    hops: tuple[Hop, ...]
    program: Program | None
    roles: Mapping[str, tuple[str, ...]]
    """Role name to device tags: ``contactor`` to ``("KM1",)``."""
    situations: Mapping[str, NamedSituation]
    complaints: Mapping[str, Complaint]
    priors: Mapping[str, float] = field(default_factory=dict)
    """How many times as likely as usual, by suspect id."""
    runs: tuple[Run, ...] = ()
    """What lies side by side; where none is given, what a floating point reads is known as a range only."""
    variants: Mapping[str, Variant] = field(default_factory=dict)
    """Other ways in which it may be wired, by name."""
