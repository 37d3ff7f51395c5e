"""What a screen shows, as a value, and what a person can do to it, as values.

`view(job, width)` returns a `Sheet`; the TUI and the line mode both draw it and hand back an `Input`. Neither decides
anything. A sheet is already wrapped to its width and, at width 80, is at most 21 lines high (title, entry and key rows
come on top), so that it fits 80x24.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Role(Enum):
    """What a line of a sheet is; the TUI gives each a look, the words carry the meaning alone."""

    CAUTION = "caution"
    """A live-test caution or hazard; drawn first, never cut off."""
    DANGER = "danger"
    """The line of the caution that says what is new or worst."""
    TASK = "task"
    """What to do now."""
    ROW = "row"
    """One item of a list: a point to meter, an item to look at. May be a choice (see `Line.key`)."""
    RUNG = "rung"
    """A drawn rung; fixed-width, never rewrapped."""
    FACE = "face"
    """A drawn module face; fixed-width, its lights are the `Line.parts`."""
    NOTE = "note"
    """Why, one-step look-ahead, explanation."""
    ECHO = "echo"
    """What the program understood of the last words, or a refusal."""
    LEFT = "left"
    """Which suspects are left."""
    BLANK = "blank"


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a drawn line that can be touched by itself: columns `start` to `end`, and what it says, for a line mode."""

    start: int
    end: int
    key: str
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line on the sheet."""

    text: str
    role: Role = Role.NOTE
    key: str = ""
    """When set, the whole row can be touched or clicked and does what this key does."""
    parts: tuple[Part, ...] = ()
    """Where several things stand side by side: each has its own key; `key` is then empty."""

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key of this line, from left to right."""
        return tuple(p.key for p in self.parts) or ((self.key,) if self.key else ())


@dataclass(frozen=True, slots=True)
class LiveKey:
    """A key that does something now."""

    key: str
    """One character as printed on the key (``c``, ``1``, ``?``), or ``enter`` / ``escape``."""
    label: str
    """At most 14 characters, for the key row."""
    does: str
    """One sentence for help."""
    shown: bool = True
    """False: listed in help only."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A place to type. A locked entry shows `prompt` (why it is locked) and takes nothing."""

    prompt: str
    locked: bool = False
    example: str = ""
    secret: bool = False
    """What is typed is not shown: a passphrase."""
    rows_first: bool = False
    """The rows are what is usually answered: their keys act at once, any other character begins the typing."""
    begins: frozenset[str] | None = None
    """Letters, small, with which an answer may begin; None: with any. A key with another letter acts at once while nothing is
    typed, and so does the key of a row."""
    digits_act: bool = False
    """No answer begins with a digit: those of the rows act at once."""


@dataclass(frozen=True, slots=True)
class FrameKeys:
    """The keys that mean the same on every sheet, as they are on this person's keyboard."""

    leave: str = "q"
    caution: str = "c"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One screen of a job."""

    id: str
    """Changes whenever the question changes; an input carries the id it answers, older ones are thrown away."""
    title: str
    """Machine, power, doors, parked lead: always visible, one line."""
    lines: tuple[Line, ...]
    keys: tuple[LiveKey, ...]
    entry: Entry | None
    saved: int
    """Number of the newest event known to be on disk."""
    needs_caution: bool = False
    """True while the caution on this sheet has not been accepted: its key is live, the entry locked."""
    done: bool = False
    """The job has ended; only leaving is left."""
    frame: FrameKeys = FrameKeys()
    question: str = ""
    """Stays the same while only what is marked in the rows changes: a key pressed for the one sheet means the same on the other.
    Empty: the id tells."""
    leaving: str = ""
    """What leaving means here where it is not what it means in a job, in a few words; empty: all is kept."""


@dataclass(frozen=True, slots=True)
class Pressed:
    """A key of `Sheet.keys` or `Line.key`."""

    key: str
    sheet: str
    drawn_ms: int = 0
    """How long the sheet had been on the screen, milliseconds; a caution needs at least 300."""


@dataclass(frozen=True, slots=True)
class Typed:
    """Words typed into the entry and sent with Enter."""

    text: str
    sheet: str


Input = Pressed | Typed


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why an input was not taken, in words for the person."""

    words: str
