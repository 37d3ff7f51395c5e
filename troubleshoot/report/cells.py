"""A report's tables as CSV that a spreadsheet may open: no cell is ever a formula, and every text can be had back.

A spreadsheet takes a cell that begins with = + - @, a tab or a carriage return for a formula (OWASP, CSV injection, from
memory). Such a cell gets an apostrophe in front, and so does one that begins with an apostrophe, so that taking one
apostrophe off again is always right. A number as a number stays one.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import Final

from troubleshoot.report.blocks import Facts, Heading, Items, Report, Table, Timeline, Words

_FORMULA: Final = frozenset("=+-@|%\uff1d\uff0b\uff0d\uff20")
"""With the full-width forms, which some programs turn into the plain ones."""
_NUMBER: Final = re.compile(r"-?[0-9]+(\.[0-9]+)?")
QUOTE: Final = "'"
_NO_CELL: Final[dict[int, str]] = {**dict.fromkeys(range(0xD800, 0xE000), "\ufffd"), 0: "\u2400"}
"""A lone surrogate is no UTF-8, and a NUL ends the file for some readers."""


def cell(text: str) -> str:
    """Text as a cell that is never a formula."""
    text = text.translate(_NO_CELL)
    if _NUMBER.fullmatch(text):
        return text
    return QUOTE + text if text.startswith(QUOTE) or _acts(text) else text


def _acts(text: str) -> bool:
    """Whether a spreadsheet may take it for a formula. Some trim a cell, of all that cannot be seen, before they look."""
    for char in text:
        if char in "\t\r\n":
            return True
        if char.isprintable() and not char.isspace():
            return char in _FORMULA
    return False


def text_of(cell_text: str) -> str:
    """What `cell` was given."""
    return cell_text.removeprefix(QUOTE)


def as_csv(report: Report) -> bytes:
    """All of a report's cells: a row says which part it is of, then its columns. UTF-8 with a mark, CRLF (RFC 4180)."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    for row in _rows(report):
        writer.writerow([cell(text) for text in row])
    # Without the mark a spreadsheet takes UTF-8 for something older.
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def read_csv(content: bytes) -> list[list[str]]:
    """The rows of `as_csv`, as they were."""
    text = content.decode("utf-8-sig")
    return [[text_of(c) for c in row] for row in csv.reader(io.StringIO(text, newline=""))]


def _rows(report: Report) -> Iterator[tuple[str, ...]]:
    yield ("report", report.title, report.made)
    for log, n, digest in report.heads:
        yield ("head", log, str(n), digest)
    under = ""
    for block in report.blocks:
        match block:
            case Heading(text):
                under = text
            case Words(text):
                yield ("words", under, text)
            case Facts(rows):
                for name, value in rows:
                    yield ("fact", under, name, value)
            case Items(rows=items):
                for row in items:
                    yield ("item", under, row)
            case Table(name, columns, table):
                yield (f"{name} columns", *columns)
                for cells in table:
                    yield (name, *cells)
            case Timeline(moments):
                yield ("moment columns", "number", "at", "what", "taken back", "detail", "words")
                for m in moments:
                    head = ("moment", m.number or "0", m.at, m.title, "yes" if m.struck else "no")
                    yield (*head, "", "")
                    for what, words in m.details:
                        yield (*head, what, words)
            case _:
                continue  # a drawing; its numbers stand in the tables
