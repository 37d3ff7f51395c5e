"""Outside text made fit to draw: no control characters, no character the terminal's font lacks.

Every text that reaches a screen goes through `Fit`.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable

from troubleshoot.tui.terminal import Glyphs

# Present in the Lat15 and Uni2 console fonts of Debian 12 (Fixed, Terminus, VGA, 16 rows), read from their Unicode maps.
CONSOLE_SAFE = frozenset("─│┌┐└┘├┤┬┴┼█■●▲▼←→↑↓×±≈≤≥°µ·░▒")

# One cell each, so that a drawn rung keeps its columns.
_ONE_CELL = str.maketrans(
    {
        **dict.fromkeys("─━═╌╍┄┅┈┉╴╶╸╺", "-"),
        **dict.fromkeys("│┃║╎╏┆┇┊┋╵╷╹╻", "|"),
        **dict.fromkeys("┌┐└┘├┤┬┴┼╭╮╯╰┏┓┗┛┣┫┳┻╋╔╗╚╝╠╣╦╩╬", "+"),
        **dict.fromkeys("█■▓▪◆●•◉◼⬤", "*"),
        **dict.fromkeys("░▒○◯□◻⭘", "."),
        **dict.fromkeys("‘’‚′", "'"),
        **dict.fromkeys("“”„″", '"'),
        **dict.fromkeys("‐‑‒–—−", "-"),
        **dict.fromkeys("×✕✗✘", "x"),
        **dict.fromkeys("✓✔", "v"),
        **dict.fromkeys("·∙", "."),
        **dict.fromkeys("▲△↑", "^"),
        **dict.fromkeys("▶▷►→❯", ">"),
        **dict.fromkeys("◀◁◄←❮", "<"),
        **dict.fromkeys("▼▽↓", "v"),
        **dict.fromkeys("µμ", "u"),
        "≈": "~",
        "…": "~",
        "␛": "^",
        "\u00a0": " ",
    }
)
_WORDS = {"\u03a9": "ohm", "\u2126": "ohm", "±": "+/-", "≤": "<=", "≥": ">=", "°": " deg", "⚠": "!", "√": "sqrt"}


def _ascii(char: str) -> str:
    plain = char.translate(_ONE_CELL)
    if plain.isascii():
        return plain
    if char in _WORDS:
        return _WORDS[char]
    bare = unicodedata.normalize("NFKD", char).encode("ascii", "ignore").decode()
    return bare or "?"


def _console(char: str) -> str:
    # Latin-1 letters are in every one of those fonts; the ohm sign is missing in the Western ones.
    if char.isascii() or char in CONSOLE_SAFE or "\u00a1" <= char <= "\u00ff":
        return char
    return _ascii(char)


def fitted(text: str, glyphs: Glyphs) -> str:
    """`text`, already free of control characters, with every character this terminal lacks replaced."""
    if glyphs is Glyphs.FULL or text.isascii():
        return text
    one = _ascii if glyphs is Glyphs.ASCII else _console
    return "".join(map(one, text))


def fit(glyphs: Glyphs) -> Callable[[str], str]:
    """The one way for text onto this terminal: shown safely, then made to fit its characters."""
    from troubleshoot.text.showing import show

    def onto_screen(text: str) -> str:
        return fitted(show(text), glyphs)

    return onto_screen
