"""What a terminal may show of text that somebody else wrote.

One function for every widget, message, title, report and log view. An escape sequence in a machine's title can set the
clipboard or rename the window; a bidi control can turn ``on`` and ``off`` round; neither Textual nor print stops them.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Literal

from troubleshoot.text.names import INVISIBLE, lookalikes

MARKS_ALLOWED = 2
"""Combining marks kept on one letter; Vietnamese and Hebrew need two, a flood paints over the lines around it."""

_WORD = re.compile(r"\w+")


def show(text: str, *, newlines: Literal["mark", "keep"] = "mark") -> str:
    r"""`text` with everything a terminal would obey, reorder or hide made visible; ordinary text comes back unchanged.

    Controls become their pictures (ESC ``␛``, NUL ``␀``), everything else that is invisible its code point
    (``<U+202E>``); look-alike letters inside a Latin word or a tag are kept and followed by their code point; a third
    and further combining mark on one letter are counted (``<+97 marks>``); odd spaces become a plain space.
    newlines: ``keep`` for text of several lines: ``\n`` stays (``\r\n`` becomes it) and a tab becomes four spaces.
    The result is printable on every line, and showing it again changes nothing. Never raises.
    """
    if text.isascii() and text.isprintable():
        return text
    if newlines == "keep":
        lines = text.replace("\r\n", "\n").replace("\t", "    ").split("\n")
        return "\n".join(_line(line) for line in lines)
    return _line(text)


def _line(text: str) -> str:
    if text.isascii():
        return "".join(c if c.isprintable() else _mark(c) for c in text)
    odd = {
        word.start() + index
        for word in _WORD.finditer(text)
        if not word.group().isascii()
        for index in lookalikes(word.group())
        # A Russian or Greek word of such letters alone is a word; with a Latin letter or a digit it is a trap.
        if any(c.isascii() and c.isalnum() for c in word.group())
    }
    out: list[str] = []
    marks = MARKS_ALLOWED  # a mark with no letter before it would sit on the frame
    flood = 0
    for index, char in enumerate(text):
        if char not in INVISIBLE and unicodedata.category(char) in ("Mn", "Me"):
            marks += 1
            if marks > MARKS_ALLOWED:
                flood += 1
            else:
                out.append(char)
            continue
        if flood:
            out.append(_flood(flood))
        marks = flood = 0
        if char.isprintable() and char not in INVISIBLE:
            code = f"<U+{ord(char):04X}>"
            told = index not in odd or text.startswith(code, index + 1)
            out.append(char if told else char + code)
        elif unicodedata.category(char) == "Zs":
            out.append(" ")
            marks = MARKS_ALLOWED
        else:
            out.append(_mark(char))
            marks = MARKS_ALLOWED
    if flood:
        out.append(_flood(flood))
    return "".join(out)


def _flood(count: int) -> str:
    return f"<+{count} mark{'s' if count > 1 else ''}>"


def _mark(char: str) -> str:
    code = ord(char)
    if code < 0x20:
        return chr(0x2400 + code)
    if code == 0x7F:
        return "\u2421"
    return f"<U+{code:04X}>"


def a_or_an(word: str) -> str:
    """``an overload``, ``a contactor``: by the first letter, which holds for every name of a kind."""
    return f"{'an' if word[:1] in 'aeiou' else 'a'} {word}"
