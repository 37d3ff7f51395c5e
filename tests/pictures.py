"""A screen as an SVG picture: its cells alone. What exports it draws a window of one desktop system around them, with that
system's three coloured buttons, and names fonts to be fetched from elsewhere; neither is ours.
"""

from __future__ import annotations

import re
from typing import Final

_BUTTONS: Final = re.compile(r"\s*<g transform=\"translate\(26,22\)\">\s*(?:<circle [^>]*/>\s*)+</g>")
_TITLE: Final = re.compile(r"<text [^>]*class=\"[^\"]*-title\"[^>]*>[^<]*</text>")
_TITLE_STYLE: Final = re.compile(r"\s*\.[\w-]+-title \{[^}]*\}")
_FONTS: Final = re.compile(r"\s*@font-face \{[^}]*\}")
_ROUND: Final = re.compile(r"(<rect fill=\"[^\"]*\" stroke=\"[^\"]*\" stroke-width=\"1\" x=\"1\") y=\"1\"( width=\"[\d.]+\") height=\"([\d.]+)\" rx=\"8\"/>")  # fmt: skip
_BOX: Final = re.compile(r"viewBox=\"0 0 ([\d.]+) ([\d.]+)\"")
BAR: Final = 32
"""Height of the window's title bar, in the picture's units."""


def unframed(svg: str) -> str:
    """The picture without that window: a plain rectangle with the screen in it."""
    if not _BUTTONS.search(svg):
        return svg
    for part in (_BUTTONS, _TITLE, _TITLE_STYLE, _FONTS):
        svg = part.sub("", svg)
    svg = _ROUND.sub(lambda m: f'{m[1]} y="{1 + BAR}"{m[2]} height="{float(m[3]) - BAR:g}"/>', svg)
    return _BOX.sub(lambda m: f'viewBox="0 {BAR} {m[1]} {float(m[2]) - BAR:g}"', svg)
