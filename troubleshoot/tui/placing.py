"""Where the lines of a sheet and its keys go on a screen of a given size. Pure, in terminal cells."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rich.cells import cell_len, chop_cells, set_cell_size

from troubleshoot.job.sheet import Line, LiveKey, Part, Role, Sheet
from troubleshoot.tui.answering import named

LEAST_WIDTH, LEAST_HEIGHT = 60, 16
"""Below this nothing can be read: the screen asks for a larger window and keeps the session."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of cells."""

    text: str
    role: Role
    key: str = ""
    parts: tuple[Part, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key of this row, from left to right."""
        return tuple(p.key for p in self.parts) or ((self.key,) if self.key else ())

    def key_at(self, x: int) -> str:
        """What touching column `x` means; empty where nothing does."""
        return self.key or next((p.key for p in self.parts if p.start <= x < p.end), "")


@dataclass(frozen=True, slots=True)
class Spot:
    """One key on the key row."""

    x: int
    text: str
    key: str


def _wrapped(text: str, width: int) -> list[str]:
    """Words of `text` on rows of `width` cells; a word longer than a row is chopped. Never empty."""
    indent = " " * min(len(text) - len(text.lstrip()), width // 2)
    rows: list[str] = []
    row = indent
    for gap, word in re.findall(r"(\s*)(\S+)", text):
        if row.strip() and cell_len(row) + len(gap) + cell_len(word) > width:
            rows.append(row)
            row = indent
        row += gap + word if row.strip() else word  # columns inside a row stay columns
        if cell_len(row) > width:
            *full, row = chop_cells(row, width)
            rows.extend(full)
    return [*rows, row]


def rows_of(lines: Sequence[Line], width: int, fit: Callable[[str], str], *, roomy: bool = False) -> tuple[Row, ...]:
    """The lines as rows. A line that is too long is wrapped, so that no word of a caution is ever cut off; a drawn rung
    is not, since a broken drawing says less than a cropped one. roomy: an empty row that can be touched too stands
    under each row that has a key to itself; rows that share one are tall enough for a thumb together.
    """
    rows: list[Row] = []
    for place, line in enumerate(lines):
        text = fit(line.text).rstrip()
        drawn = line.role in (Role.RUNG, Role.FACE)
        parts = [text] if drawn or cell_len(text) <= width else _wrapped(text, width)
        rows.extend(Row(part, line.role, line.key, line.parts) for part in parts)
        if roomy and line.keys:
            # Under the points of a drawn face its edges go on; its upper edge, and a row of a list, get an empty row.
            edges = re.sub(r"[^|]", " ", text) if text.startswith("|") else ""
            near = (*lines[max(0, place - 1) : place], *lines[place + 1 : place + 2])
            shared = bool(line.key) and (len(parts) > 1 or any(other.key == line.key for other in near))
            if edges or (line.key and not shared):
                rows.append(Row(edges, line.role, line.key, line.parts))
    return tuple(rows)


def split(sheet: Sheet) -> tuple[tuple[Line, ...], tuple[Line, ...]]:
    """Caution lines, and the rest, each in their order: the caution is drawn first and does not scroll away."""
    first = (Role.CAUTION, Role.DANGER)
    return (
        tuple(
            line
            for line in sheet.lines
            if line.role in first or (line.key == sheet.frame.caution and sheet.needs_caution)
        ),
        tuple(
            line
            for line in sheet.lines
            if not (line.role in first or (line.key == sheet.frame.caution and sheet.needs_caution))
        ),
    )


def title_row(title: str, saved: int, width: int, fit: Callable[[str], str]) -> str:
    """The title, cut where it must be, and ``saved N`` whole at the right end."""
    mark = f"saved {saved}"
    if width <= len(mark):
        return mark[len(mark) - max(0, width) :]
    return set_cell_size(fit(title), width - len(mark) - 1) + " " + mark


def key_rows(
    keys: Sequence[LiveKey], width: int, fit: Callable[[str], str], *, most: int = 1
) -> tuple[tuple[Spot, ...], ...]:
    """The keys in order on at most `most` rows. What finds no room is left to help, which comes first and always shows.

    The last two, ending and leaving, are kept as long as anything else can go: nobody is left without the way out.
    """
    marks = [k for k, key in enumerate(keys) if not key.key]  # what a mark says of the keys behind it is never left out
    first = [*range(1), *reversed(range(max(1, len(keys) - 2), len(keys))), *marks]
    kept: list[int] = []
    for k in (*first, *(k for k in range(len(keys)) if k not in first)):
        together = sorted({*kept, k})
        if not kept or len(_packed([keys[i] for i in together], width, fit)) <= most:
            kept = together
    return _packed([keys[k] for k in kept], width, fit)


def _packed(keys: Sequence[LiveKey], width: int, fit: Callable[[str], str]) -> tuple[tuple[Spot, ...], ...]:
    rows: list[list[Spot]] = [[]]
    x = 0
    for key in keys:
        text = f"{fit(named(key.key))} {fit(key.label)}".strip()
        size = cell_len(text)
        if rows[-1] and x + size > width:
            rows.append([])
            x = 0
        rows[-1].append(Spot(x, text, key.key))
        x += size + (3 if key.key else 1)  # a mark belongs to the key behind it
    return tuple(tuple(row) for row in rows)
