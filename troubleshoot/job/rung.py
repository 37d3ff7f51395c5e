"""The points of a trip drawn on the rung they belong to: one line of symbols, under it the numbers of the points.

A device is a box with its two terminals, ``[K1 13-14]``, a coil a round one, ``(KM1 A1-A2)``; a conductor is its wire
number between dashes. A number under the edge of a box is the terminal on that side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.desk import Desk

GAP = ".."
"""Stands for parts of the rung that are not drawn."""


@dataclass(frozen=True, slots=True)
class _Part:
    """A piece of the drawing that is never cut, and the places of terminals in it."""

    text: str
    at: tuple[tuple[Pin, int], ...] = ()


def rung_lines(desk: Desk, meters: Sequence[Meter], situation: Situation, width: int) -> tuple[str, ...]:
    """Two lines at most `width` wide, or none where the points do not lie on one drawn rung.

    Of a rung that is too long the parts without a point are left out, those outside and farthest first.
    """
    points = tuple(dict.fromkeys(m.red for m in meters))
    for path in desk.rungs(situation):
        if all(p in path for p in points):
            parts = _parts(desk, path, points)
            return _drawn(parts, _kept(parts, points, width), meters)
    return ()


def _parts(desk: Desk, path: Sequence[Pin], points: Sequence[Pin]) -> list[_Part]:
    numbers = {frozenset((h.a, h.b)): h.number for h in desk.machine.circuit.hops}
    parts: list[_Part] = []
    wire = ""
    k = 0
    while k < len(path):
        here, after = path[k], path[k + 1] if k + 1 < len(path) else None
        if after is not None and here.device == after.device and frozenset((here, after)) not in numbers:
            parts += [_Part(f"-{wire}-")] if wire else []
            parts.append(_box(desk, here, after))
            wire, k = "", k + 1
        elif here in points:
            parts += [_Part(f"-{wire}-")] if wire else []
            parts.append(_Part(str(here), ((here, 0),)))
            wire = ""
        if k + 1 < len(path):
            wire = numbers.get(frozenset((path[k], path[k + 1])), "")
        k += 1
    return parts


def _box(desk: Desk, here: Pin, after: Pin) -> _Part:
    device = desk.machine.circuit.devices[here.device]
    coil = KINDS[device.kind].faces(device).get("coil")
    ends = "()" if coil is not None and {here.pin, after.pin} == set(coil) else "[]"
    text = f"{ends[0]}{here.device} {here.pin}-{after.pin}{ends[1]}"
    return _Part(text, ((here, 0), (after, len(text) - 1)))


def _kept(parts: Sequence[_Part], points: Sequence[Pin], width: int) -> list[int]:
    """Places of the parts that are drawn: all, or without the ones farthest from a point until they fit."""
    held = {k for k, part in enumerate(parts) if any(pin in points for pin, _ in part.at)}
    kept = list(range(len(parts)))
    while _length(parts, kept) > width and len(kept) > len(held):
        spare = [k for k in kept if k not in held]
        kept.remove(max(spare, key=lambda k: (not min(held) < k < max(held), min(abs(k - h) for h in held))))
    return kept


def _length(parts: Sequence[_Part], kept: Sequence[int]) -> int:
    return sum(len(text) for text, _ in _with_gaps(parts, kept))


def _with_gaps(parts: Sequence[_Part], kept: Sequence[int]) -> list[tuple[str, _Part | None]]:
    out: list[tuple[str, _Part | None]] = []
    before = -1
    for k in kept:
        if k != before + 1:
            out.append((GAP, None))
        out.append((parts[k].text, parts[k]))
        before = k
    if kept and kept[-1] != len(parts) - 1:
        out.append((GAP, None))
    return out


def _drawn(parts: Sequence[_Part], kept: Sequence[int], meters: Sequence[Meter]) -> tuple[str, str]:
    text, columns = "", dict[Pin, int]()
    for piece, part in _with_gaps(parts, kept):
        columns |= {pin: len(text) + at for pin, at in (part.at if part else ())}
        text += piece
    under = [" "] * (len(text) + 2)
    for number, meter in enumerate(meters, 1):
        at = columns[meter.red]
        for offset, digit in enumerate(str(number)):
            under[at + offset] = digit
    return text, "".join(under).rstrip()
