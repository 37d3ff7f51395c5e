"""A laid out sheet as SVG: black on white, nothing that needs a colour to be read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final
from xml.sax.saxutils import escape

from troubleshoot.text.showing import show
from troubleshoot.trees.layout import Box, Sheet

FONTS: Final = "'DejaVu Sans Mono','Liberation Mono','Courier New',monospace"
_LOOKS: Final = {
    "live": 'fill="white" stroke="black" stroke-width="1.6"',
    "dead": 'fill="white" stroke="black" stroke-width="0.9" stroke-dasharray="4 2"',
    "plain": 'fill="white" stroke="black" stroke-width="0.6"',
    "end": 'fill="white" stroke="black" stroke-width="0.6"',
    "mark": 'fill="black"',
    "to": 'fill="black" rx="2"',
}


def svg(sheet: Sheet) -> str:
    """One sheet as an SVG document, in points."""
    size = f'width="{sheet.width:g}pt" height="{sheet.height:g}pt" viewBox="0 0 {sheet.width:g} {sheet.height:g}"'
    return "\n".join((f'<svg xmlns="http://www.w3.org/2000/svg" {size}>', *_parts(sheet), "</svg>", ""))


def _parts(sheet: Sheet) -> Iterator[str]:
    yield f'<rect width="{sheet.width:g}" height="{sheet.height:g}" fill="white"/>'
    yield from map(_box, sheet.boxes)
    for a in sheet.arrows:
        yield f'<path d="M{a.x:.1f} {a.y:.1f}V{a.to - 3.5:.1f}" stroke="black" stroke-width="1" fill="none"/>'
        yield f'<path d="M{a.x - 3:.1f} {a.to - 4.5:.1f}h6l-3 4.5z" fill="black"/>'
    yield f'<g font-family="{FONTS}" xml:space="preserve">'
    for t in sheet.texts:
        style = ' font-weight="bold"' if t.bold else ""
        fill = "white" if t.light else "black"
        text = escape(show(t.text))
        yield f'<text x="{t.x:.2f}" y="{t.y:.2f}" font-size="{t.size:.2f}"{style} fill="{fill}">{text}</text>'
    yield "</g>"


def _box(box: Box) -> str:
    place = f'x="{box.x:.2f}" y="{box.y:.2f}" width="{box.w:.2f}" height="{box.h:.2f}"'
    return f"<rect {place} {_LOOKS[box.look]}/>"
