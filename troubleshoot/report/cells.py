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

from troubleshoot.report.blocks import Block, Facts, Heading, Items, Report, Table, Timeline, Words

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
    """All of a report's cells. Each row says in its first three columns what it is, of which log, and under which heading;
    before the first row of a sort stands one that names its columns (``moment: columns``). UTF-8 with a mark, CRLF (RFC 4180).
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    named: dict[str, tuple[str, ...]] = {}
    for sort, log, under, columns, cells in _rows(report):
        if named.get(sort) != columns:
            named[sort] = columns
            writer.writerow([cell(text) for text in (f"{sort}: columns", "log", "under", *columns)])
        writer.writerow([cell(text) for text in (sort, log, under, *cells)])
    # Without the mark a spreadsheet takes UTF-8 for something older.
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def read_csv(content: bytes) -> list[list[str]]:
    """The rows of `as_csv`, as they were."""
    text = content.decode("utf-8-sig")
    return [[text_of(c) for c in row] for row in csv.reader(io.StringIO(text, newline=""))]


MOMENT: Final = ("number", "at", "what", "taken back", "detail", "words")
_Row = tuple[str, str, str, tuple[str, ...], tuple[str, ...]]
"""Sort, log, heading, columns, cells."""


def _rows(report: Report) -> Iterator[_Row]:
    yield "report", "", "", ("title", "made"), (report.title, report.made)
    for log, n, digest in report.heads:
        yield "head", log, "", ("number", "hash"), (str(n), digest)
    about, under = report.heads[0][0] if len(report.heads) == 1 else "", ""
    for block in report.blocks:
        if isinstance(block, Heading):
            about, under = (block.log, "") if block.log else (about, block.text)
        for sort, columns, cells in _cells(block):
            log = about
            if "log" in columns and not isinstance(block, Facts):
                at = columns.index("log")
                log, columns, cells = cells[at], columns[:at] + columns[at + 1 :], cells[:at] + cells[at + 1 :]
            yield sort, log, under, columns, cells


def _cells(block: Block) -> Iterator[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    match block:
        case Words(text):
            yield "words", ("text",), (text,)
        case Facts(rows):
            for row in rows:
                yield "fact", ("name", "value"), row
        case Items(rows=items):
            for item in items:
                yield "item", ("text",), (item,)
        case Table(name, columns, table):
            for cells in table:
                yield (
                    name,
                    columns,
                    cells,
                )  # a column `log` goes into the second of the row, where every other row has it
        case Timeline(moments):
            for m in moments:
                head = (m.number or "0", m.at, m.title, "yes" if m.struck else "no")
                for detail in m.details or (("", ""),):
                    yield "moment", MOMENT, (*head, *detail)
        case _:
            return  # a drawing; its numbers stand in the tables
