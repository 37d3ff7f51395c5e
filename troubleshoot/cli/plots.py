"""Bars out of characters. The number stands beside each bar, so that nothing hangs on its length, let alone on a colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

FULL, ASCII_FULL = "█", "#"
EIGHTHS: Final = " ▏▎▍▌▋▊▉"
MOST_LABEL: Final = 34
LEAST_BAR: Final = 8


def bars(points: Sequence[tuple[str, float]], width: int, *, ascii_only: bool = False) -> list[str]:
    """One line a point: label, bar, number; at most `width` columns. The longest bar is the greatest number.

    points: (label, number not below 0). A number above 0 always has something to see.
    """
    if not points:
        return []
    numbers = [f"{value:g}" for _, value in points]
    digits = max(map(len, numbers))
    room = max(4, min(MOST_LABEL, width - LEAST_BAR - digits - 2))
    labels = [_cut(label, room, ascii_only) for label, _ in points]
    wide = max(map(len, labels))
    length = max(1, width - wide - digits - 2)
    most = max(value for _, value in points)
    return [
        f"{label:<{wide}} {number:>{digits}} {_bar(value / most * length if most else 0.0, ascii_only)}".rstrip()
        for label, number, (_, value) in zip(labels, numbers, points, strict=True)
    ]


def _bar(cells: float, ascii_only: bool) -> str:
    if ascii_only:
        return ASCII_FULL * (max(1, round(cells)) if cells > 0 else 0)
    eighths = max(1, round(cells * 8)) if cells > 0 else 0
    part = EIGHTHS[eighths % 8]
    return FULL * (eighths // 8) + (part if eighths % 8 else "")


def _cut(label: str, room: int, ascii_only: bool) -> str:
    return label if len(label) <= room else label[: room - 1] + ("~" if ascii_only else "…")
