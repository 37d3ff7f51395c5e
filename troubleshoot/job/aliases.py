"""What is printed on the panel in place of what the description says: on every sheet, and back in what is typed.

The record keeps the described names, so that a name found at four o'clock renames nothing that was read at three.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from troubleshoot.job.sheet import Line, Part, Role, Sheet
from troubleshoot.machine.amending import Alias

_BEFORE: Final = r"(?:(?<![\w:%.-])|(?<=[\d\])]-))"
_AFTER: Final = r"(?!\w)(?!-(?![\d\[(]|\w+:))"
"""A dash may be part of a name; between two points, and in a drawn rung, it stands for the wire."""


GONE: Final = "?"
"""Behind a described name that was given up: typed, it is no name of anything here."""


def put_alias(alias: Alias) -> dict[str, Any]:
    """An alias as plain data, for a log event."""
    data: dict[str, Any] = {"of": alias.of, "described": alias.described, "printed": alias.printed}
    return data if alias.read else {**data, "read": False}


def get_alias(data: Mapping[str, Any]) -> Alias:
    """What `put_alias` wrote."""
    return Alias(str(data["of"]), str(data["described"]), str(data["printed"]), bool(data.get("read", True)))


@dataclass(frozen=True, slots=True)
class Names:
    """The aliases of one job, the newest of each name."""

    shown: tuple[tuple[str, str], ...]
    """Pattern to what stands in its place, longest names first."""
    typed: tuple[tuple[str, str], ...]
    spare: int = 0
    """Columns that a drawing leaves free, so that longer names find room in it."""


def names(aliases: Sequence[Alias]) -> Names:
    """Ready to be used on sheets and on typed words; the last word on a name counts."""
    latest = {(a.of, a.described): a for a in aliases}
    order = sorted(((at, a.printed) for at, a in latest.items()), key=lambda item: (-len(item[0][1]), item[0]))
    shown, points, devices, gone = [], [], [], []
    for (of, described), printed in order:
        old, new = re.escape(described), re.escape(printed)
        match of:
            case "wire":
                shown += [(rf"(?<=wire ){old}{_AFTER}", printed), (rf"(?<=-){old}(?=-)", printed)]
            case "point":
                shown.append((rf"{_BEFORE}{old}{_AFTER}", printed))
                points.append((rf"{_BEFORE}{new}{_AFTER}", described))
                if not latest[of, described].read:
                    gone.append((rf"{_BEFORE}{old}{_AFTER}", f"{described}{GONE}"))
                device, _, mark = described.partition(":")
                if mark.startswith("%"):  # on the face of a module a point is its mark alone
                    shown.append((rf"{_BEFORE}{re.escape(mark)}{_AFTER}", printed.removeprefix(f"{device}:")))
            case _:
                shown.append((rf"{_BEFORE}{old}(?![\w-])", printed))
                devices.append((rf"{_BEFORE}{new}(?=:)", described))
                if not latest[of, described].read:
                    gone.append((rf"{_BEFORE}{old}(?=:)", f"{described}{GONE}"))
    spare = sum(max(0, len(printed) - len(described)) for (_, described), printed in order)
    return Names(tuple(shown), (*points, *devices, *gone), spare)


def as_typed(text: str, known: Names) -> str:
    """What was typed, with the described names in place of the printed ones; all at once, so that none is renamed twice.

    What stands behind a ``=`` is read off the panel, and stays as it is.
    """
    if not known.typed:
        return text
    said, equals, printed = text.partition("=")
    pattern = "|".join(f"(?P<n{k}>{one})" for k, (one, _) in enumerate(known.typed))
    meant = re.sub(pattern, lambda found: known.typed[int(str(found.lastgroup)[1:])][1], said, flags=re.IGNORECASE)
    return f"{meant}{equals}{printed}"


def as_printed(sheet: Sheet, known: Names, width: int) -> Sheet:
    """The sheet with the printed names; a line never grows over the width, a drawing keeps its columns."""
    if not known.shown:
        return sheet
    lines: list[Line] = []
    shift: list[int] | None = None
    over = ""
    columns = _columns(sheet.lines, known)
    for k, line in enumerate(sheet.lines):
        if line.role is Role.RUNG and shift is not None and not line.text.strip(" 0123456789"):
            lines.append(replace(line, text=_moved(line.text, shift)))
            shift = None
            continue
        shift = None
        if line.role is Role.FACE:
            lines.append(replace(line, text=_same_length(line.text, known), parts=_parts(line.parts, known)))
            continue
        if k in columns:
            lines += [replace(line, text=text) for text in _in_columns(*columns[k], width)]
            continue
        text, moved = _replaced(line.text, known)
        indent = " " * (len(text) - len(text.lstrip()))
        if over:
            text, over = f"{indent}{over} {text.lstrip()}", ""
        fits = len(text) <= max(width, len(line.text))
        if not fits and line.role is not Role.RUNG:
            # A longer name is never left out: what has no room goes on in the next line, that of the same paragraph first.
            first, *rest = textwrap.wrap(text, width, subsequent_indent=indent or "   ", break_on_hyphens=False)
            follows = sheet.lines[k + 1] if k + 1 < len(sheet.lines) else None
            if (
                rest
                and follows is not None
                and follows.text[:2] == "  "
                and _same(line, follows)
                and k + 1 not in columns
            ):
                rest, over = [], " ".join(part.strip() for part in rest)
            lines += [replace(line, text=t) for t in (first, *rest)]
            continue
        lines.append(replace(line, text=text) if fits else line)
        shift = moved if fits and line.role is Role.RUNG else None
    entry = sheet.entry and replace(sheet.entry, example=_replaced(sheet.entry.example, known)[0])
    if entry is not None and entry.begins is not None:
        printed = {words[0].casefold() for _, words in known.shown if words}
        entry = replace(
            entry, begins=entry.begins | printed, digits_act=entry.digits_act and not any(c.isdigit() for c in printed)
        )
    return replace(sheet, title=_replaced(sheet.title, known)[0], lines=tuple(lines), entry=entry)


def _same(line: Line, follows: Line) -> bool:
    """Whether the next line goes on with what this one says."""
    return follows.role is line.role and follows.key in ("", line.key) and not follows.parts


_GAP: Final = re.compile(r"(?<=\S) {2,}(?=\S)")
_LEAST_CELLS: Final = 3
"""Cells of a row that stands in columns: its key, a name, words."""


def _columns(lines: Sequence[Line], known: Names) -> dict[int, tuple[list[str], list[int]]]:
    """Number of each row that stands in columns with its neighbours: its cells, renamed, and how wide each column is now.

    Only where one of them was renamed: a table keeps its columns whichever of its names is longer.
    """
    found: dict[int, tuple[list[str], list[int]]] = {}
    run: list[int] = []
    for k, line in enumerate([*lines, Line("")]):
        cells = _GAP.split(line.text) if line.role is Role.ROW and not line.text.startswith(" ") else []
        if run and len(cells) != len(_GAP.split(lines[run[0]].text)):
            if any(_replaced(lines[n].text, known)[0] != lines[n].text for n in run):
                renamed = {n: [_replaced(cell, known)[0] for cell in _GAP.split(lines[n].text)] for n in run}
                wide = [max(map(len, column)) for column in zip(*renamed.values(), strict=True)]
                found |= {n: (cells_, wide) for n, cells_ in renamed.items()}
            run = []
        if len(cells) >= _LEAST_CELLS:
            run.append(k)
    return found


def _in_columns(cells: Sequence[str], wide: Sequence[int], width: int) -> list[str]:
    """A row of a table; where it has no room its last cell goes on in the next line."""
    *first, last = cells
    start = "  ".join(cell.ljust(room) for cell, room in zip(first, wide, strict=False))
    if len(start) + 2 + len(last) <= width:
        return [f"{start}  {last}"]
    close = "  ".join(cells)
    if len(close) <= width:
        return [close]
    indent = " " * (wide[0] + 2)
    above = textwrap.wrap("  ".join(first), width, subsequent_indent=indent, break_on_hyphens=False)
    return [*above, *textwrap.wrap(last, width, initial_indent=indent, subsequent_indent=indent)]


def _pattern(known: Names) -> re.Pattern[str]:
    return re.compile("|".join(f"(?P<n{k}>{pattern})" for k, (pattern, _) in enumerate(known.shown)))


def _replaced(text: str, known: Names) -> tuple[str, list[int]]:
    """The new text, and for every column of the old one by how much it has moved."""
    out, moved, end = "", [0] * (len(text) + 1), 0
    for found in _pattern(known).finditer(text):
        new = known.shown[int(str(found.lastgroup)[1:])][1]
        out += text[end : found.start()] + new
        end = found.end()
        step = len(new) - len(found[0])
        for k in range(end, len(moved)):
            moved[k] += step
    return out + text[end:], moved


def _moved(under: str, shift: Sequence[int]) -> str:
    out: dict[int, str] = {k + (shift[k] if k < len(shift) else shift[-1]): c for k, c in enumerate(under) if c != " "}
    return "".join(out.get(k, " ") for k in range(max(out, default=-1) + 1))


def _same_length(text: str, known: Names) -> str:
    """In a drawn face a name keeps its room: blanks give way behind a longer one, a name too long for that is cut."""
    end, out = 0, ""
    for found in _pattern(known).finditer(text):
        new = known.shown[int(str(found.lastgroup)[1:])][1]
        out += text[end : found.start()]
        end = found.end()
        room = len(found[0])
        while len(new) > room and text[end : end + 2] == "  ":
            end, room = end + 1, room + 1
        out += new[:room].ljust(room)
    return out + text[end:]


def _parts(parts: Sequence[Part], known: Names) -> tuple[Part, ...]:
    return tuple(replace(p, words=_replaced(p.words, known)[0]) for p in parts)
