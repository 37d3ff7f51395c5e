"""The points of a trip drawn on the rung they belong to: one line of symbols, one line of numbers."""

from __future__ import annotations

from collections.abc import Sequence

from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.desk import Desk


def rung_lines(desk: Desk, meters: Sequence[Meter], situation: Situation, width: int) -> tuple[str, ...]:
    """Two lines at most `width` wide, or none where the points do not lie on one drawn rung."""
    for path in desk.rungs(situation):
        if all(m.red in path for m in meters):
            return _drawn(desk, path, [m.red for m in meters], width)
    return ()


def _drawn(desk: Desk, path: Sequence[Pin], points: Sequence[Pin], width: int) -> tuple[str, ...]:
    numbers = {frozenset((h.a, h.b)): h.number for h in desk.machine.circuit.hops}
    text = ""
    marks: dict[Pin, int] = {}
    for here, after in zip(path, [*path[1:], None], strict=True):
        if after is None:
            marks.setdefault(here, len(text) - 1)
            break
        wire = numbers.get(frozenset((here, after)))
        if wire is not None:
            marks.setdefault(here, len(text))
            text += f"-{wire}-"
            marks.setdefault(after, len(text) - 1)
        else:
            marks.setdefault(here, max(len(text) - 1, 0))
            inside = here.pin if here.pin == after.pin else f"{here.pin}-{after.pin}"
            text += f"[{here.device} {inside}]" if here.device == after.device else "--"
    # Cut the rung to the part that holds the points.
    columns = sorted(marks[p] for p in points)
    start = max(0, min(columns[0] - width // 3, len(text) - width))
    under = [" "] * max(len(text), columns[-1] + 1)
    for k, p in enumerate(points, 1):
        under[marks[p]] = str(k)
    return text[start : start + width], "".join(under)[start : start + width].rstrip()
