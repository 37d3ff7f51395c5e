"""Our own drawings as SVG: lines of shares, readings beside their bars, bars. Text is escaped, nothing is referred to.

Colours are never the only difference: each line of a drawing has its own dash and its name beside it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from troubleshoot.report.blocks import Bars, Line, Shares, Spans
from troubleshoot.text.showing import show

_DASHES: Final = ("", "7 3", "2 3", "9 3 2 3")
_INKS: Final = ("#0b3d91", "#a33b00", "#1b6e3c", "#5b2a86")
WIDE: Final = 720
_LETTER: Final = 6.4
"""Width of a letter at this size, wide ones too."""
_TEXT: Final = 'font-family="sans-serif" font-size="11" fill="#222"'


def _svg(height: float, title: str, parts: Sequence[str]) -> str:
    label = quoteattr(show(title))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {height:g}" width="{WIDE}" height="{height:g}" '
        f'role="img" aria-label={label}>{"".join(parts)}</svg>'
    )


def _text(x: float, y: float, words: str, *, anchor: str = "start", most: int = 60) -> str:
    shown = show(words)
    cut = shown if len(shown) <= most else shown[: most - 1] + "…"
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" {_TEXT}>{escape(cut)}</text>'


def shares(block: Shares) -> str:
    """Lines of shares, 0 to 100 %, over the steps; the legend below, each with its dash."""
    left, right, top, high = 40.0, WIDE - 12.0, 12.0, 150.0
    bottom = top + high
    steps = max(len(block.steps) - 1, 1)

    def at(x: float, y: float) -> str:
        return f"{left + (right - left) * x / steps:.1f},{bottom - high * min(max(y, 0.0), 1.0):.1f}"

    parts = [
        f'<line x1="{left:g}" y1="{bottom - high * p:g}" x2="{right:g}" y2="{bottom - high * p:g}" stroke="#ccc" stroke-width="1"/>'
        + _text(left - 6, bottom - high * p + 4, f"{p:.0%}", anchor="end")
        for p in (0.0, 0.5, 1.0)
    ]
    every = max(1, -(-len(block.steps) // 24))
    parts += [
        _text(left + (right - left) * k / steps, bottom + 14, step, anchor="middle", most=8)
        for k, step in enumerate(block.steps)
        if k % every == 0
    ]
    for k, line in enumerate(block.lines):
        parts.append(_line(line, k, " ".join(at(x, y) for x, y in line.points)))
        y = bottom + 32 + 15 * k
        parts.append(_line(line, k, f"{left:g},{y - 4:g} {left + 34:g},{y - 4:g}"))
        parts.append(_text(left + 42, y, line.name, most=90))
    return _svg(bottom + 30 + 15 * len(block.lines), block.title, parts)


def _line(line: Line, k: int, points: str) -> str:
    dash = _DASHES[k % len(_DASHES)]
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<polyline points="{points}" fill="none" stroke="{_INKS[k % len(_INKS)]}" stroke-width="2"{dashed}/>'


def spans(block: Spans) -> str:
    """Each reading as a mark beside the bar of what should be, on a scale of its own."""
    parts: list[str] = []
    left, right = 330.0, WIDE - 110.0
    for k, row in enumerate(block.rows):
        y = 14.0 + 20 * k
        top = max(row.high, row.seen, 1e-9) * 1.15

        def x(value: float, top: float = top) -> float:
            return left + (right - left) * max(0.0, value) / top

        parts.append(_text(left - 8, y + 4, row.name, anchor="end", most=52))
        parts.append(f'<line x1="{left:g}" y1="{y:g}" x2="{right:g}" y2="{y:g}" stroke="#bbb" stroke-width="1"/>')
        wide = max(x(row.high) - x(row.low), 2.0)
        parts.append(
            f'<rect x="{x(row.low):.1f}" y="{y - 5:g}" width="{wide:.1f}" height="10" fill="#9dc3a6" stroke="#1b6e3c"/>'
        )
        parts.append(
            f'<path d="M {x(row.seen):.1f} {y - 8:g} l 0 16 m -4 -16 l 8 0 m -8 16 l 8 0" stroke="#7a1f00" stroke-width="2" fill="none"/>'
        )
        parts.append(_text(right + 8, y + 4, row.shown, most=16))
    return _svg(14 + 20 * len(block.rows), block.title, parts)


IN_ONE: Final = 20
"""Rows of one picture: a taller one than a page is cut off by whatever prints it, and leaves the page before it empty."""


def drawn(block: Shares | Spans | Bars) -> tuple[str, ...]:
    """The pictures of a block, in order; none is taller than a page."""
    match block:
        case Shares():
            return (shares(block),)
        case Spans():
            return tuple(
                spans(replace(block, rows=block.rows[k : k + IN_ONE])) for k in range(0, len(block.rows), IN_ONE)
            )
        case Bars():
            most = max((value for _, value, _ in block.rows), default=0.0)
            parts = range(0, len(block.rows), IN_ONE)
            return tuple(bars(replace(block, rows=block.rows[k : k + IN_ONE]), most) for k in parts)


_NAME, _SAID, _LONGEST, _LINE = 26, 44, 240, 14
"""Of a row of bars: letters in a line of its name and of its words, length of the longest bar, height of a further line."""


def bars(block: Bars, most: float = 0.0) -> str:
    """Bars from the left, each with its name and its words. most: what the longest stands for, if it is in another part."""
    most = max(most, max((value for _, value, _ in block.rows), default=0.0)) or 1.0
    parts: list[str] = []
    y = 6.0
    for name, value, words in block.rows:
        long = _LONGEST * max(value, 0.0) / most
        # What does not go beside it in one line goes on in the next: a figure without its end says something else.
        names, said = _in_lines(name, _NAME), _in_lines(words, _SAID)
        parts += [_text(172, y + 12 + _LINE * k, line, anchor="end") for k, line in enumerate(names)]
        parts.append(f'<rect x="180" y="{y:g}" width="{long:.1f}" height="15" fill="#b9c8e8" stroke="#0b3d91"/>')
        parts += [_text(188 + long, y + 12 + _LINE * k, line) for k, line in enumerate(said)]
        y += 22 + _LINE * (max(len(names), len(said)) - 1)
    return _svg(y + 2, block.title, parts)


def _in_lines(words: str, most: int) -> list[str]:
    return textwrap.wrap(show(words), most) or [""]
