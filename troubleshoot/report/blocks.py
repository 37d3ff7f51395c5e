"""What a report is made of. Every form draws all of these; nothing else can be in one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Tone(Enum):
    """What a piece of a report is to its reader. The words carry the meaning alone; a form may add weight or colour."""

    PLAIN = "plain"
    GOOD = "good"
    NOTE = "note"
    CAUTION = "caution"
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Heading:
    """The beginning of a part."""

    text: str
    log: str = ""
    """Name of the log that it and what follows is about, where the report is about several and this begins one."""


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Facts:
    """Short facts, each under its name."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Items:
    """A list; `empty` is said where there is nothing."""

    rows: tuple[str, ...]
    empty: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under named columns; every row is as long as `columns`."""

    name: str
    """One word or two; becomes the name of the cells in CSV and JSON."""
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = ""


@dataclass(frozen=True, slots=True)
class Moment:
    """One thing that happened, with what belongs to it."""

    n: int
    """Number of the event; 0 where it is none."""
    at: str
    """Wall time as a person says it: ``03:12:40``."""
    title: str
    details: tuple[tuple[str, str], ...] = ()
    """(what, words): caution shown, should be, typed, understood ..."""
    tone: Tone = Tone.PLAIN
    struck: bool = False
    """It was taken back: shown, and marked so in words as well."""
    since: int = 0
    """The first event that is told in it, where several are told together; 0 where it is one alone."""

    @property
    def number(self) -> str:
        """``9``, or ``4-9`` where several events are told together; empty where it is none."""
        if not self.n:
            return ""
        return f"{self.since}-{self.n}" if self.since else str(self.n)


@dataclass(frozen=True, slots=True)
class Timeline:
    """What happened, in order."""

    moments: tuple[Moment, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a drawing: values from 0 to 1 at steps."""

    name: str
    points: tuple[tuple[float, float], ...]
    """(step, share)."""


@dataclass(frozen=True, slots=True)
class Shares:
    """How shares moved from step to step: a drawing, and a table for whoever cannot see it."""

    title: str
    steps: tuple[str, ...]
    """Words under the drawing, one a step."""
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """A reading beside what should have been there, in one unit."""

    name: str
    low: float
    high: float
    """What should be there."""
    seen: float
    unit: str
    shown: str
    """The reading in words."""
    should: str = ""
    """What should be there in words; empty where the numbers say it."""


@dataclass(frozen=True, slots=True)
class Spans:
    """Readings beside what they should be: a drawing."""

    title: str
    """How the drawing is read; a form without drawings leaves it out."""
    rows: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Bars:
    """Numbers side by side, each with its words: a drawing."""

    title: str
    rows: tuple[tuple[str, float, str], ...]
    """(name, value, value in words)."""


Block = Heading | Words | Facts | Items | Table | Timeline | Shares | Spans | Bars


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report."""

    title: str
    blocks: tuple[Block, ...]
    heads: tuple[tuple[str, int, str], ...] = ()
    """(log, number, hash) of each log it was made from: printed on every page, it anchors them."""
    made: str = ""
    """When, and by which program."""

    @property
    def feet(self) -> tuple[str, ...]:
        """A line for each log, to be kept with the paper: what `log verify --head` takes."""
        return tuple(f"{log}: head {n}:{digest}" for log, n, digest in self.heads)
