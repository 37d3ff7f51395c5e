"""What a name may hold: a tag, a terminal, a wire number, a key.

A name is compared, so what looks the same must be the same. Words about a thing may hold anything; `showing.show`
guards the terminal against those.
"""

from __future__ import annotations

import unicodedata
from typing import Final

LONGEST_NAME: Final = 120
"""Characters; nothing printed beside a terminal is longer."""

INVISIBLE: Final = frozenset(
    "\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u2800\u3164\uffa0"
    + "".join(map(chr, range(0xFE00, 0xFE10)))
    + "".join(map(chr, range(0xE0100, 0xE01F0)))
)
"""Characters that count as printable and show nothing: fillers, joiners, variation selectors."""

# Capitals and small letters that a panel label printed in a plain face does not tell apart from Latin ones. The reader
# of the label cannot know which was typed. A short list of the trade's letters, after the idea of Unicode UTS #39.
_LOOKALIKE: Final = frozenset(
    "\u0410\u0412\u0415\u0405\u0406\u0408\u041a\u041c\u041d\u041e\u0420\u0421\u0422\u0423\u0425\u0430\u0435\u043e\u0440\u0441\u0443\u0445\u0456\u0458\u0455"  # Cyrillic
    "\u0391\u0392\u0395\u0396\u0397\u0399\u039a\u039c\u039d\u039f\u03a1\u03a4\u03a5\u03a7\u03bf"  # Greek
    "\u0555"  # Armenian
)


def lookalikes(word: str) -> tuple[int, ...]:
    r"""Where `word` has letters that pass for Latin ones; empty when one of its other letters shows its script.

    Cyrillic ``\u041a1`` (K1) is a trap, ``ПУСК`` is not: П cannot be mistaken.
    """
    foreign = [(i, c) for i, c in enumerate(word) if not c.isascii() and c.isalpha()]
    if not foreign or not all(_passes_for_latin(c) for _, c in foreign):
        foreign = [(i, c) for i, c in foreign if _wide(c)]
    digits = [(i, c) for i, c in enumerate(word) if _wide(c) and not c.isalpha()]
    return tuple(sorted(i for i, _ in foreign + digits))


def _passes_for_latin(char: str) -> bool:
    return char in _LOOKALIKE or _wide(char)


def _wide(char: str) -> bool:
    return "\uff01" <= char <= "\uff5e" or "\U0001d400" <= char <= "\U0001d7ff"


def flaw_in_name(name: str) -> str | None:
    """Why `name` cannot be a name, in words that follow it (``holds a hidden character U+200B``); None when it can.

    Refused: nothing at all, spaces at either end, more than `LONGEST_NAME` characters, controls, line ends, bidi
    controls, zero-width and other hidden characters, odd spaces, letters that pass for Latin ones, more than two
    combining marks in a row.
    """
    if not name.strip():
        return "is empty"
    if len(name) > LONGEST_NAME:
        return f"is longer than {LONGEST_NAME} characters"
    if name != name.strip():
        return "has a space at its start or end"
    if name.isascii() and name.isprintable():
        return None
    marks = 2  # none may come first
    for char in name:
        code = f"U+{ord(char):04X}"
        category = unicodedata.category(char)
        if category == "Cc":
            return f"holds a control character {code}"
        if category == "Zs" and char != " ":
            return f"holds an odd space {code}"
        if not char.isprintable() or char in INVISIBLE:
            return f"holds a hidden character {code}"
        marks = marks + 1 if category in ("Mn", "Me") else 0
        if marks > 2:
            return f"holds too many marks on one letter {code}"
    for word in name.split():
        for index in lookalikes(word):
            return f"holds {word[index]!r} U+{ord(word[index]):04X}, which only looks like a Latin letter or digit"
    return None
