"""A tree as frozen values: nodes, the points and signs they name, the labels of their branches.

Nothing here belongs to a machine: points are roles with faces, labels are words. `bind` fits them to one machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from troubleshoot.evidence.seen import Mode
from troubleshoot.text.problem import Position

ENGINE: Final = "engine"
"""Target of a branch that hands over to the engine; needs no node of its own."""

LEADING: Final = "the leading repair"
"""What a confirm node confirms: whatever the job then holds for likeliest."""

Side = Literal["hot", "return", "in", "out", "reference", ""]
SIDES: Final[tuple[Side, ...]] = ("hot", "return", "in", "out", "reference")

ReadingWord = Literal["as expected", "nothing", "low", "high", "unsteady"]
READING_WORDS: Final[tuple[ReadingWord, ...]] = ("as expected", "nothing", "low", "high", "unsteady")
OTHERWISE: Final = "otherwise"
CANNOT: Final = "cannot"
FOUND: Final = "found"
"""Of a halve node: narrowed to one conductor or contact."""
NONE_RIGHT: Final = "none right"
"""Of a halve node: not even the beginning of the path reads as it should; `found` where it does not say."""
ALL_RIGHT: Final = "all right"
"""Of a halve node: everything up to the end of the path reads as it should."""


@dataclass(frozen=True, slots=True)
class FacePoint:
    """One side of a face of the device in a role: ``contactor.coil.hot``; without a side, across the face."""

    role: str
    face: str
    side: Side

    def __str__(self) -> str:
        return ".".join(part for part in (self.role, self.face, self.side) if part)


@dataclass(frozen=True, slots=True)
class PinPoint:
    """A terminal of a role's or of a named device: ``motor:U1``, ``KM1:A1``."""

    device: str
    """A role, or a tag as printed."""
    pin: str

    def __str__(self) -> str:
        return f"{self.device}:{self.pin}"


@dataclass(frozen=True, slots=True)
class WiredPoint:
    """The controller's terminal that a role is wired to: ``input of start``, ``output of interposing``."""

    which: Literal["input", "output"]
    role: str

    def __str__(self) -> str:
        return f"{self.which} of {self.role}"


@dataclass(frozen=True, slots=True)
class SourcePoint:
    """``source``: where the path to the other end begins."""

    def __str__(self) -> str:
        return "source"


@dataclass(frozen=True, slots=True)
class DevicePoint:
    """``overload`` as the beginning of a path: the terminal at which the path leaves that device, whichever of its poles it is."""

    role: str

    def __str__(self) -> str:
        return self.role


PointName = FacePoint | PinPoint | WiredPoint | SourcePoint | DevicePoint


@dataclass(frozen=True, slots=True)
class Probe:
    """One reading of a measure node: red on `red`; black on `black`, or where the node says."""

    red: PointName
    black: PointName | None = None

    def __str__(self) -> str:
        return f"{self.red} to {self.black}" if self.black else str(self.red)


Which = Literal["", "input", "output", "gap", "lining", "shaft"]
WHICH: Final[tuple[Which, ...]] = ("input", "output", "gap", "lining", "shaft")


@dataclass(frozen=True, slots=True)
class SignName:
    """What a look or lights node asks for: all signs of a role, or one light of the controller.

    which: ``""`` the role's own signs, ``input`` / ``output`` the light of the point the role is wired to, ``gap``,
    ``lining``, ``shaft`` what a gauge, an open cover or a hand tells of it, on dead parts.
    role ``""`` with `which` ``""``: every light of the machine (``lights: all``).
    """

    role: str
    which: Which = ""

    def __str__(self) -> str:
        return f"{self.which} of {self.role}" if self.which else self.role or "all"


@dataclass(frozen=True, slots=True)
class Branch:
    """A label and where it leads.

    item: what the label is about, empty for the whole node: ``contactor.coil.return`` of ``contactor.coil.return high``.
    """

    label: str
    """As written, spaces made single."""
    item: str
    word: str
    low: float | None
    """Numbers of a label like ``90-130``: the range, in the unit of the reading; None for a word."""
    high: float | None
    target: str
    at: Position


@dataclass(frozen=True, slots=True)
class Base:
    """What every node has."""

    id: str
    at: Position
    words: str
    """What to do, in the tree's own words; empty: made from the items."""
    why: str
    """Teaches."""
    next: str
    """Where to go when no branch is taken; empty where there is none."""
    branches: tuple[Branch, ...]
    situation: str
    """Name of a situation that holds for this node only; empty: the one that holds here."""
    absent: str = field(default="", kw_only=True)
    """Where to go where the machine lacks what it asks for; empty: where it goes when no branch is taken."""


@dataclass(frozen=True, slots=True)
class Look(Base):
    """Things seen or heard, on one screen."""

    items: tuple[SignName, ...]


@dataclass(frozen=True, slots=True)
class Lights(Base):
    """Lights of module faces and lamps, at once."""

    items: tuple[SignName, ...]


@dataclass(frozen=True, slots=True)
class Operate(Base):
    """Names a situation, which holds from here on."""

    name: str


@dataclass(frozen=True, slots=True)
class Measure(Base):
    """Up to three readings of one trip. Labels without a point speak of the first; ``as expected`` of all."""

    probes: tuple[Probe, ...]
    against: PointName | None
    """Where the black lead is parked; None: the reference of the first point."""
    mode: Mode | None
    """None: volts of the kind of current found there."""


@dataclass(frozen=True, slots=True)
class Halve(Base):
    """Find where a path stops carrying what it should."""

    start: PointName
    end: PointName
    against: PointName | None


@dataclass(frozen=True, slots=True)
class Confirm(Base):
    """Readings that must agree before anything is replaced; the job knows of what."""


@dataclass(frozen=True, slots=True)
class Ask(Base):
    """Goes by what was told. The job asks; a tree only reads the answer, and goes on where there is none."""

    question: str


@dataclass(frozen=True, slots=True)
class Go(Base):
    """Goes on at the root of another tree."""

    tree: str
    devices: str = ""
    """``second``, ``third``: it speaks there of that device of every role that has so many; empty: of the first."""

    @property
    def key(self) -> str:
        """What the nodes of that tree stand under."""
        return f"{self.tree}, {self.devices}" if self.devices else self.tree


@dataclass(frozen=True, slots=True)
class Engine(Base):
    """Hands over to the engine, saying why."""


@dataclass(frozen=True, slots=True)
class End(Base):
    """Nothing left to ask: what was complained about is not there."""


Node = Look | Lights | Operate | Measure | Halve | Confirm | Ask | Go | Engine | End


@dataclass(frozen=True, slots=True)
class Tree:
    """One complaint, one order of tests."""

    name: str
    title: str
    source: str
    """Where it was read from, for messages."""
    needs: tuple[str, ...]
    """Roles without which the tree makes no sense."""
    situation: str
    """Name of the situation at the root."""
    root: str
    nodes: Mapping[str, Node] = field(default_factory=dict)
    promises: Mapping[str, float] = field(default_factory=dict)
    """What a proof holds it to: shares of 1 and, for the cost, a multiple of the best order found."""


def targets(node: Node) -> tuple[tuple[str, Position], ...]:
    """Where a node can lead, with the place in the file; without the hand-over that is always there."""
    out = [(branch.target, branch.at) for branch in node.branches]
    out += [(name, node.at) for name in (node.next, node.absent) if name]
    return tuple(out)


def stands(tree: Tree) -> Mapping[str, frozenset[str]]:
    """Names of the situations in which each node is reached from the tree's own root: those that its words were written for.

    A node that is never reached has none.
    """
    found: dict[str, set[str]] = {}
    seen: set[tuple[str, str]] = set()
    todo = [(tree.root, tree.situation)]
    while todo:
        name, at = todo.pop()
        if name not in tree.nodes or (name, at) in seen:
            continue
        seen.add((name, at))
        node = tree.nodes[name]
        found.setdefault(name, set()).add(node.situation or at)
        after = node.name if isinstance(node, Operate) else at
        todo += [(target, after) for target, _ in targets(node)]
    return {name: frozenset(names) for name, names in found.items()}
