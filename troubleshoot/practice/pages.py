"""Long texts on a short screen: sections laid on pages, with one key forward and one back. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Line, LiveKey, Role, Sheet

ROWS: Final = 20
FORWARD: Final = LiveKey("enter", "next page", "the next page")
BACK: Final = LiveKey("escape", "page before", "the page before")


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it."""

    heading: str
    lines: tuple[str, ...]
    role: Role = Role.NOTE


def laid(sections: Sequence[Section], width: int, rows: int = ROWS) -> tuple[tuple[Line, ...], ...]:
    """Pages of at most so many lines; a text is broken between its lines, a heading never left alone."""
    pages: list[list[Line]] = [[]]
    for section in sections:
        heading = Pen(width)
        heading.put(section.heading, Role.TASK)
        blocks = []
        for text in section.lines:
            pen = Pen(width)
            pen.put(text, section.role, indent="   ")
            blocks.append(pen.lines)
        first = [*heading.lines, *(blocks[0] if blocks else [])]
        for k, block in enumerate([first, *blocks[1:]]):
            if pages[-1] and len(pages[-1]) + len(block) > rows:
                pages.append([])
            pages[-1] += (
                block
                if k or not pages[-1]
                else [*([Line("", Role.BLANK)] if len(pages[-1]) + len(block) < rows else []), *block]
            )
    return tuple(tuple(page) for page in pages)


def paged(sections: Sequence[Section], page: int, *, title: str, width: int, saved: int) -> Sheet:
    """One of the pages; the last one has nothing after it but leaving."""
    pages = laid(sections, width)
    k = min(max(page, 0), len(pages) - 1)
    last = k == len(pages) - 1
    keys = (*(() if last else (FORWARD,)), *((BACK,) if k else ()))
    number = f"  page {k + 1} of {len(pages)}" if len(pages) > 1 else ""
    return Sheet(f"debrief {page}", f"{title}{number}", pages[k], keys, None, saved, done=last)
