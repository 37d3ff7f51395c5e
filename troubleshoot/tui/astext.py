"""A sheet as plain text, for a file, a clipboard or a pipe."""

from __future__ import annotations

from collections.abc import Callable

from troubleshoot.job.sheet import Sheet


def as_text(sheet: Sheet, fits: Callable[[str], str]) -> str:
    """A sheet as plain text, to be kept or sent: title, lines, the number of the newest event."""
    rows = [fits(sheet.title.strip()), *(fits(line.text).rstrip() for line in sheet.lines), f"saved {sheet.saved}"]
    return "\n".join(rows) + "\n"
