"""Colours by meaning, one table a look. A variable set in one style sheet is unknown in the next, so they live here.

No meaning rests on a colour: each has words on the sheet, and bold or reverse besides. No foreground stands without its
background. The console looks name only the terminal's own colours, so that whatever palette is set stays readable.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from rich.style import Style
from textual.color import Color
from textual.theme import Theme

from troubleshoot.tui.terminal import Look

MEANINGS: Final = (
    "title",
    "caution",
    "danger",
    "task",
    "row",
    "rung",
    "note",
    "echo",
    "left",
    "chosen",
    "key",
    "status",
)
"""What a colour can mean; every look gives each a foreground, a background and a weight."""

Shade = tuple[str, str, str]
"""Foreground, background, text style."""

_DARK: Final[dict[str, Shade]] = {
    "title": ("#ffffff", "#24405c", "bold"),
    "caution": ("#ffe9b0", "#4a3300", "none"),
    "danger": ("#ffffff", "#8f1414", "bold"),
    "task": ("#ffffff", "#12161b", "bold"),
    "row": ("#e8e8e8", "#12161b", "none"),
    "rung": ("#bfe3ff", "#12161b", "none"),
    "note": ("#b4bcc6", "#12161b", "none"),
    "echo": ("#9fe8c8", "#12161b", "none"),
    "left": ("#d8cdf5", "#12161b", "none"),
    "chosen": ("#12161b", "#e8e8e8", "bold"),
    "key": ("#ffffff", "#24405c", "bold"),
    "status": ("#ffe9b0", "#12161b", "bold"),
}
_LIGHT: Final[dict[str, Shade]] = {
    "title": ("#ffffff", "#24507a", "bold"),
    "caution": ("#3a2600", "#ffe2a0", "none"),
    "danger": ("#ffffff", "#a01010", "bold"),
    "task": ("#000000", "#f7f7f4", "bold"),
    "row": ("#1a1a1a", "#f7f7f4", "none"),
    "rung": ("#0b3d66", "#f7f7f4", "none"),
    "note": ("#4a4f55", "#f7f7f4", "none"),
    "echo": ("#0a5a38", "#f7f7f4", "none"),
    "left": ("#4a2f80", "#f7f7f4", "none"),
    "chosen": ("#f7f7f4", "#1a1a1a", "bold"),
    "key": ("#ffffff", "#24507a", "bold"),
    "status": ("#6b3f00", "#f7f7f4", "bold"),
}
_CONTRAST: Final[dict[str, Shade]] = {
    **dict.fromkeys(("row", "rung", "note", "echo", "left"), ("#ffffff", "#000000", "none")),
    **dict.fromkeys(("task", "status"), ("#ffffff", "#000000", "bold")),
    **dict.fromkeys(("title", "key", "chosen"), ("#000000", "#ffffff", "bold")),
    "caution": ("#000000", "#ffff00", "bold"),
    "danger": ("#ffffff", "#c00000", "bold"),
}
_NIGHT: Final[dict[str, Shade]] = {
    **dict.fromkeys(("row", "rung", "note", "echo", "left"), ("#e04a38", "#000000", "none")),
    **dict.fromkeys(("task", "status"), ("#ff6a55", "#000000", "bold")),
    **dict.fromkeys(("title", "key"), ("#ff8877", "#3a0000", "bold")),
    **dict.fromkeys(("chosen", "danger"), ("#000000", "#ff5544", "bold")),
    "caution": ("#ffb0a4", "#5a0000", "bold"),
}
_CONSOLE: Final[dict[str, Shade]] = {
    **dict.fromkeys(("row", "rung", "note", "echo", "left"), ("ansi_default", "ansi_default", "none")),
    **dict.fromkeys(("task", "status"), ("ansi_default", "ansi_default", "bold")),
    **dict.fromkeys(("title", "key", "chosen"), ("ansi_default", "ansi_default", "reverse")),
    "caution": ("ansi_black", "ansi_yellow", "none"),
    "danger": ("ansi_white", "ansi_red", "bold"),
}
_MONO: Final[dict[str, Shade]] = {
    **_CONSOLE,
    "caution": ("ansi_default", "ansi_default", "bold"),
    "danger": ("ansi_default", "ansi_default", "bold reverse"),
}

SHADES: Final[dict[Look, dict[str, Shade]]] = {
    Look.DARK: _DARK,
    Look.LIGHT: _LIGHT,
    Look.CONSOLE: _CONSOLE,
    Look.HIGH_CONTRAST: _CONTRAST,
    Look.NIGHT: _NIGHT,
    Look.MONO: _MONO,
}


def ansi(look: Look) -> bool:
    """Whether this look names the terminal's own colours only."""
    return look in (Look.CONSOLE, Look.MONO)


def variables(look: Look) -> dict[str, str]:
    """The style sheet variables of a look: ``$caution-fg``, ``$caution-bg``, ``$caution-style`` and so on."""
    found: dict[str, str] = {}
    for meaning, (foreground, background, weight) in SHADES[look].items():
        found |= {f"{meaning}-fg": foreground, f"{meaning}-bg": background, f"{meaning}-style": weight}
    return found


_AS: Final = {"face": "row", "blank": "row"}
"""Meanings that look like another one."""


def style(given: Mapping[str, str], meaning: str) -> Style:
    """How a row of that meaning is drawn. given: the variables of the theme that is on; a blank row has no weight."""
    of = _AS.get(meaning, meaning)
    weight = "" if meaning == "blank" else given[f"{of}-style"]
    return Style(
        color=Color.parse(given[f"{of}-fg"]).rich_color,
        bgcolor=Color.parse(given[f"{of}-bg"]).rich_color,
        bold="bold" in weight or None,
        reverse="reverse" in weight or None,
    )


def theme(look: Look) -> Theme:
    """A look as the screen library wants it."""
    foreground, background, _ = SHADES[look]["row"]
    # The library's own style sheets ask for these two under a theme of terminal colours.
    own = {"ansi-background": "ansi_default", "ansi-foreground": "ansi_default"} if ansi(look) else {}
    strong = "ansi_blue" if ansi(look) else SHADES[look]["title"][1]
    return Theme(
        name=f"troubleshoot-{look.value}",
        primary=strong,
        foreground=foreground,
        background=background,
        surface=background,
        panel=background,
        boost=background,
        dark=look is not Look.LIGHT,
        ansi=ansi(look),
        variables=variables(look) | own,
    )
