"""Lines of a sheet, wrapped to its width."""

from __future__ import annotations

import re
import textwrap
from typing import Final

from troubleshoot.job.sheet import Line, Role

_UNIT: Final = re.compile(r"(\d) (V|A|m|s|min|ohm|kohm|Mohm|kW|W|Hz)\b")


class Pen:
    """Wraps and collects lines."""

    def __init__(self, width: int, spare: int = 0) -> None:
        """spare: columns that a drawing leaves free for longer names."""
        self.width = max(width, 20)
        self.spare = min(spare, self.width // 4)
        self.lines: list[Line] = []

    def put(self, text: str, role: Role = Role.NOTE, *, key: str = "", indent: str = "") -> None:
        """Add text, wrapped; continuation lines are indented and belong to the same row."""
        # A value and its unit are one word: "0.3 m" is never broken between them.
        held = _UNIT.sub("\\1\u00a0\\2", text)
        for piece in textwrap.wrap(held, self.width, subsequent_indent=indent) or [""]:
            self.lines.append(Line(piece.replace("\u00a0", " "), role, key))

    def fixed(self, text: str, role: Role = Role.RUNG, key: str = "") -> None:
        """Add a drawn line as it is, cut at the width."""
        self.lines.append(Line(text[: self.width], role, key))
