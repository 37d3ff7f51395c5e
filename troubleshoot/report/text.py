"""A report as plain text: for a pipe, a serial line, a screen reader. Safe to print on any terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from troubleshoot.report.blocks import (
    Bars,
    Facts,
    Heading,
    Items,
    Moment,
    Report,
    Shares,
    Spans,
    Table,
    Timeline,
    Tone,
    Words,
)
from troubleshoot.text.showing import show

_MARK = {Tone.BAD: "!! ", Tone.CAUTION: "! ", Tone.GOOD: "", Tone.NOTE: "", Tone.PLAIN: ""}


def as_text(report: Report, width: int = 80) -> str:
    """All of it, wrapped to `width` columns."""
    return "\n".join(lines_of(report, width)) + "\n"


def lines_of(report: Report, width: int = 80) -> Iterator[str]:
    """Its lines."""
    yield from _wrapped(report.title, width)
    for block in report.blocks:
        match block:
            case Heading(text):
                yield ""
                yield from _wrapped(text.upper(), width)
            case Words(text, tone):
                yield from _wrapped(_MARK[tone] + text, width)
            case Facts(rows):
                wide = min(max((len(show(name)) for name, _ in rows), default=0), width // 3)
                for name, value in rows:
                    yield from _wrapped(f"{show(name):<{wide}}  {value}", width, " " * (wide + 2))
            case Items(rows=items, empty=empty):
                for row in items:
                    yield from _wrapped(f"- {row}", width, "  ")
                if not items and empty:
                    yield from _wrapped(empty, width)
            case Table():
                yield from _table(block, width)
            case Timeline(moments):
                for moment in moments:
                    yield from _moment(moment, width)
            case Shares(title, steps, lines):
                yield from _wrapped(title, width)
                for k, step in enumerate(steps):
                    here = sorted(
                        ((line.points[k][1], line.name) for line in lines if k < len(line.points)), reverse=True
                    )
                    said = ", ".join(f"{name} {share:.0%}" for share, name in here[:3] if share >= 0.01)
                    yield from _wrapped(f"{step}: {said or 'nothing stands out'}", width, "  ")
            case Spans(rows=spans):
                for s in spans:
                    should = s.should or f"{s.low:.4g}-{s.high:.4g} {s.unit}"
                    yield from _wrapped(f"{s.name}: {s.shown}, should be {should}", width, "  ")
            case Bars(title, rows=bars):
                yield from _wrapped(title, width)
                most = max((value for _, value, _ in bars), default=0.0) or 1.0
                for name, size, words in bars:
                    drawn = f"{show(name)[:24]:<24} {'#' * round(20 * size / most):<20} "
                    yield from _wrapped(f"{drawn}{words}", width, " " * min(len(drawn), width // 2))
    if report.heads:
        yield ""
        for foot in report.feet:
            yield from _wrapped(foot, width, "  ")
    if report.made:
        yield from _wrapped(report.made, width)


def _moment(moment: Moment, width: int) -> Iterator[str]:
    number = f"{moment.number:>4} "
    back = " (taken back)" if moment.struck else ""
    yield from _wrapped(f"{number}{moment.at:<9} {_MARK[moment.tone]}{moment.title}{back}", width, " " * 15)
    for what, words in moment.details:
        yield from _wrapped(f"{'':15}{what}: {words}", width, " " * 17)


def _table(table: Table, width: int) -> Iterator[str]:
    """Columns where they fit, else one fact a line: a row cut off says less than a long list."""
    if not table.rows:
        if table.empty:
            yield from _wrapped(table.empty, width)
        return
    rows = [[show(c) for c in row] for row in (table.columns, *table.rows)]
    sizes = [max(len(row[k]) for row in rows) for k in range(len(table.columns))]
    if sum(sizes) + 2 * (len(sizes) - 1) <= width:
        for row in rows:
            yield "  ".join(f"{c:<{size}}" for c, size in zip(row, sizes, strict=True)).rstrip()
        return
    for cells in table.rows:
        yield from _wrapped(" ".join(c for c in cells[:2] if c), width)
        for name, value in zip(table.columns[2:], cells[2:], strict=True):
            if value:
                yield from _wrapped(f"   {name}: {value}", width, "      ")


def _wrapped(text: str, width: int, indent: str = "   ") -> Sequence[str]:
    shown = show(text, newlines="keep").replace("\n", " ")
    # Half a line is left for words, however deep they stand.
    lead = " " * min(len(shown) - len(shown.lstrip(" ")), width // 2)
    return textwrap.wrap(shown.strip(), width, initial_indent=lead, subsequent_indent=indent[: width // 2]) or [""]
