"""A chart laid out on sheets of paper: boxes in columns, every line with its place, none outside its box.

Letters are of one width, so that what fits here fits with any such font. The largest size that gets the whole chart on one
sheet is taken, never under `LEAST`; where even that does not do, the chart goes on over as few numbered sheets as it takes.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from troubleshoot.trees.chart import CONFIRM, HALVING, NO_MORE, Chart, Exit, Step

PAPERS: Final = {"a4": (595.3, 841.9), "letter": (612.0, 792.0), "a3": (841.9, 1190.6), "tabloid": (792.0, 1224.0)}
"""Width and height in points (ISO 216; ANSI/ASME Y14.1)."""
LEAST: Final = 7.0
"""Points; smaller is not read at arm's length. Common practice: 7 pt is the least of small print."""
SIZES: Final = (9.5, 9.0, 8.5, 8.0, 7.75, 7.5, 7.25, 7.0)
COLUMNS: Final = (2, 3, 4)
ROOMY: Final = 8.0
"""Size from which on every reading has a line of its own."""
NARROW: Final = 30
"""Letters in a line under which nobody reads with ease."""
WIDE: Final = 0.6025
"""Width of a letter over its size: DejaVu Sans Mono 0.602; Liberation Mono, Courier 0.600 (their own metrics, read)."""
LINE: Final = 1.22
MARGIN: Final = 22.0
GUTTER: Final = 9.0
GAP: Final = 8.0
"""Between boxes, room for the arrow."""
PAD: Final = 4.0
BADGE: Final = 19.0
"""Width of the strip with a step's mark."""
TITLE: Final = 14.0


@dataclass(frozen=True, slots=True)
class Text:
    """A line: where its baseline begins."""

    x: float
    y: float
    size: float
    text: str
    bold: bool = False
    light: bool = False
    """White on black."""

    @property
    def width(self) -> float:
        return WIDE * self.size * len(self.text)


@dataclass(frozen=True, slots=True)
class Box:
    """A frame. look: ``live``, ``dead``, ``plain``, ``end``, ``mark`` (black, what other boxes point to) or ``to``."""

    x: float
    y: float
    w: float
    h: float
    look: str
    step: str = ""
    """Mark of the step it frames."""


@dataclass(frozen=True, slots=True)
class Arrow:
    """From a box to the one below."""

    x: float
    y: float
    to: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """One piece of paper."""

    width: float
    height: float
    size: float
    boxes: tuple[Box, ...]
    texts: tuple[Text, ...]
    arrows: tuple[Arrow, ...]


_TOO_MANY: Final = tuple(Sheet(0.0, 0.0, 0.0, (), (), ()) for _ in range(999))
"""What does not go into such columns at all."""


@dataclass(frozen=True, slots=True)
class _Laid:
    """A step as lines, before it has a place."""

    step: Step
    lines: tuple[tuple[str, str], ...]
    """Text and how it looks: ``bold`` or nothing."""
    exits: tuple[tuple[tuple[str, bool], ...], ...]
    """Lines of pieces, each words or (True) a mark on black."""
    height: float


def laid_out(chart: Chart, paper: str = "a4") -> tuple[Sheet, ...]:
    """The sheets of a chart: one where it fits at a size from `LEAST` up, else as few as it takes."""
    for size, dense in (*((size, False) for size in SIZES if size >= ROOMY), *((size, True) for size in SIZES)):
        for columns in COLUMNS:
            sheets = _Laying(chart, PAPERS[paper], size, columns, dense).run()
            if len(sheets) == 1:
                return sheets
    several = (
        _Laying(chart, PAPERS[paper], size, n, dense=True).run() for size in SIZES if size < ROOMY for n in COLUMNS
    )
    return min(several, key=len)


@dataclass
class _Laying:
    chart: Chart
    paper: tuple[float, float]
    size: float
    columns: int
    dense: bool
    """Several readings to a line."""
    boxes: list[list[Box]] = field(default_factory=list)
    texts: list[list[Text]] = field(default_factory=list)
    arrows: list[list[Arrow]] = field(default_factory=list)
    sheet_of: dict[str, int] = field(default_factory=dict)

    @property
    def letters(self) -> int:
        """Letters in a line of a box."""
        return int((self.column - BADGE - 2 * PAD) / (WIDE * self.size))

    @property
    def column(self) -> float:
        return (self.paper[0] - 2 * MARGIN - (self.columns - 1) * GUTTER) / self.columns

    @property
    def line(self) -> float:
        return LINE * self.size

    def run(self) -> tuple[Sheet, ...]:
        if self.letters < NARROW:
            return _TOO_MANY
        laid = [self._lines(step) for step in self.chart.steps]
        if max((one.height for one in laid), default=0.0) > self._bottom() - self._top():
            return _TOO_MANY
        self._place(laid)
        count = len(self.boxes)
        for k in range(count):
            self._head(k, count)
            self._foot(k, count)
        return tuple(
            Sheet(*self.paper, self.size, tuple(b), tuple(t), tuple(a))
            for b, t, a in zip(self.boxes, self.texts, self.arrows, strict=True)
        )

    # -- one step as lines --------------------------------------------------------------------------------------------

    def _lines(self, step: Step) -> _Laid:
        lines = [(one, "bold") for one in self._wrapped(f"{step.title}{': ' if step.place else ''}{step.place}")]
        for text in step.danger:
            lines += [(one, "bold") for one in self._wrapped(text)]
        for text in [" ".join(step.do)] if self.dense else step.do:
            lines += [(one, "") for one in self._wrapped(text)]
        lines += [(one, "") for one in self._table(step.rows)]
        exits = tuple(self._exits(step.exits))
        return _Laid(step, tuple(lines), exits, 2 * PAD + self.line * (len(lines) + len(exits)))

    def _wrapped(self, text: str, indent: str = "") -> list[str]:
        return textwrap.wrap(text, self.letters, subsequent_indent=indent) if text else []

    def _table(self, rows: Sequence[tuple[str, str]]) -> Iterator[str]:
        """Two columns where there is room; what is short and alike several to a line."""
        alike: dict[str, list[str]] = {}
        for name, should in rows:
            alike.setdefault(should, []).append(name)
        if self.dense and len(rows) > 1:
            yield from self._wrapped(
                "; ".join(f"{should}: {', '.join(names)}" for should, names in alike.items()), "  "
            )
            return
        if len(rows) > 4 and all(" > " not in name for name, _ in rows):
            for should, names in alike.items():
                yield from self._wrapped(f"{should}: {', '.join(names)}", "  ")
            return
        for name, should in rows:
            if len(name) + len(should) + 3 <= self.letters:
                yield f" {name} {'.' * (self.letters - len(name) - len(should) - 3)} {should}"
            else:
                yield from self._wrapped(f" {name}", "   ")
                yield f"{'.' * max(0, self.letters - len(should) - 1)} {should}"

    def _exits(self, exits: Sequence[Exit]) -> Iterator[tuple[tuple[str, bool], ...]]:
        """Answers and where they lead, as many to a line as there is room for."""
        line: list[tuple[str, bool]] = []
        used = 0
        for one in exits:
            words = one.label + (f": {', '.join(one.names)}" if one.names else "")
            parts = self._pieces(words, one.to)
            for k, (text, to) in enumerate(parts):
                need = len(text) + (len(to) + 3 if to else 0) + 2
                if line and (k > 0 or used + need > self.letters):
                    yield tuple(line)
                    line, used = [], 0
                line.append((text, False))
                if to:
                    line.append((to, True))
                used += need
        if line:
            yield tuple(line)

    def _pieces(self, words: str, to: str) -> list[tuple[str, str]]:
        """Words on as many lines as they need, the mark behind the last."""
        room = self.letters - len(to) - 5
        lines = textwrap.wrap(words, room, subsequent_indent="  ", break_long_words=True)
        return [(text, to if k == len(lines) - 1 else "") for k, text in enumerate(lines)]

    # -- places -------------------------------------------------------------------------------------------------------

    def _notes(self) -> list[str]:
        """What stands over the boxes of every sheet: each may hang alone."""
        room = int((self.paper[0] - 2 * MARGIN) / (WIDE * self.size))
        out: list[str] = []
        if self.chart.always:
            out += textwrap.wrap(f"AT EVERY LIVE STEP: {' '.join(self.chart.always)}", room)
        if any(step.title == "HALVE" for step in self.chart.steps):
            out += textwrap.wrap(HALVING, room)
        return out

    def _top(self) -> float:
        return MARGIN + TITLE + 12 + self.line * len(self._notes()) + 4

    def _bottom(self) -> float:
        return self.paper[1] - MARGIN - 2 * self.line - 6

    def _place(self, laid: Sequence[_Laid]) -> None:
        sheet, column = 0, 0
        self._new_sheet()
        y = self._top()
        previous: _Laid | None = None
        for one in laid:
            if y + one.height > self._bottom():
                column, previous = column + 1, None
                if column == self.columns:
                    sheet, column = sheet + 1, 0
                    self._new_sheet()
                y = self._top()
            x = MARGIN + column * (self.column + GUTTER)
            if previous is not None and any(e.to == one.step.mark for e in previous.step.exits):
                self.arrows[sheet].append(Arrow(x + BADGE / 2, y - GAP, y))
            self.sheet_of[one.step.mark] = sheet
            self._draw(one, sheet, x, y)
            previous, y = one, y + one.height + GAP

    def _new_sheet(self) -> None:
        self.boxes.append([])
        self.texts.append([])
        self.arrows.append([])

    def _draw(self, one: _Laid, sheet: int, x: float, y: float) -> None:
        step, boxes, texts = one.step, self.boxes[sheet], self.texts[sheet]
        dead = any(text.startswith("DEAD") for text in step.danger) or step.mark == CONFIRM
        look = "live" if step.live else "dead" if dead else "end" if step.mark == NO_MORE else "plain"
        boxes.append(Box(x, y, self.column, one.height, look, step.mark))
        boxes.append(Box(x, y, BADGE, one.height, "mark", step.mark))
        big = min(self.size + 2.5, (BADGE - 3) / (WIDE * max(len(step.mark), 2)))
        wide = WIDE * big * len(step.mark)
        texts.append(Text(x + (BADGE - wide) / 2, y + PAD + big * 0.85, big, step.mark, bold=True, light=True))
        at, left = y + PAD + self.size * 0.85, x + BADGE + PAD
        for text, style in one.lines:
            texts.append(Text(left, at, self.size, text, bold=style == "bold"))
            at += self.line
        for line in one.exits:
            here = left
            for text, is_mark in line:
                if is_mark:
                    wide = WIDE * self.size * (len(text) + 1)
                    boxes.append(Box(here, at - self.size * 0.82, wide, self.size * 1.05, "to", step.mark))
                    texts.append(Text(here + WIDE * self.size / 2, at, self.size, text, bold=True, light=True))
                    here += wide + WIDE * self.size * 1.5
                else:
                    texts.append(Text(here, at, self.size, text))
                    here += WIDE * self.size * (len(text) + 0.5)
            at += self.line

    def _head(self, sheet: int, count: int) -> None:
        texts, wide = self.texts[sheet], self.paper[0] - 2 * MARGIN
        of = f"  (sheet {sheet + 1} of {count})" if count > 1 else ""
        title = f"{self.chart.title}{of}"
        size = min(TITLE, wide / (WIDE * len(title)))
        texts.append(Text(MARGIN, MARGIN + TITLE * 0.8, size, title, bold=True))
        texts.append(Text(MARGIN, MARGIN + TITLE + 7, LEAST, _cut(self.chart.machine, wide, LEAST)))
        y = MARGIN + TITLE + 12 + self.size
        for text in self._notes():
            texts.append(Text(MARGIN, y, self.size, text, bold=text.startswith("AT EVERY")))
            y += self.line

    def _foot(self, sheet: int, count: int) -> None:
        wide, y = self.paper[0] - 2 * MARGIN, self.paper[1] - MARGIN - self.line
        foot = list(self.chart.foot)
        if count > 1:
            here = [mark for mark, k in self.sheet_of.items() if k == sheet]
            foot[-1] = f"steps {here[0]} to {here[-1]} here; {foot[-1]}"
        for text in foot:
            size = min(self.size, 0.999 * wide / (WIDE * len(text)))
            self.texts[sheet].append(
                Text(MARGIN, y, max(size, LEAST), _cut(text, wide, max(size, LEAST)), bold=text is foot[0])
            )
            y += self.line


def _cut(text: str, width: float, size: float) -> str:
    room = int(width / (WIDE * size))
    return text if len(text) <= room else f"{text[: room - 3]}..."


__all__ = ["Arrow", "Box", "Sheet", "Text", "laid_out"]
