"""The grammar of one typed number: sign, ASCII digits, one point or comma, SI prefix, unit. Nothing else is a number.

Python's own `float()` also takes ``1_000``, full-width digits, ``inf``, ``nan`` and ``1e400``; none of them comes off a
meter, so none is let through here, and the caller asks back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from troubleshoot.evidence.seen import Unit


@dataclass(frozen=True, slots=True)
class Number:
    """One number as it stood on the display."""

    value: Decimal
    """As typed, before the prefix."""
    step: Decimal
    """One unit of the last digit typed, before the prefix."""
    text: str
    """Tidied: ``.3`` is ``0.3``, ``23,6`` is ``23.6``."""
    prefix: str
    """SI prefix typed (``m``, ``k``, ``M``, ``G``, ``u``) or empty."""
    unit: Unit | None
    """Unit typed, None for a bare number."""
    comma: bool
    end: int
    """Where in the text the number with its unit ends."""

    @property
    def bare(self) -> bool:
        return self.unit is None and not self.prefix


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why text from `start` to `end` is not taken, and what could be typed instead of that part."""

    words: str
    start: int
    end: int
    instead: tuple[str, ...] = ()


SCALE = {
    "": Decimal(1),
    "u": Decimal("1e-6"),
    "m": Decimal("1e-3"),
    "k": Decimal(1000),
    "M": Decimal(1_000_000),
    "G": Decimal(1_000_000_000),
}

MOST_DIGITS = 10
"""More digits than any hand-held display has; also keeps arithmetic on hostile text cheap."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)")
_WORD = re.compile(r"[ \t]*([A-Za-z\u00b5\u03bc\u03a9\u2126]+)")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9])")
_FOREIGN = re.compile(r"[+-]?[0-9][0-9.,]*(?:_[0-9_.,]*|[eE][+-]?[0-9]+(?![A-Za-z0-9]))")
_LETTER_O = re.compile(r"[+-]?(?=[0-9Oo.,]*[0-9])(?=[0-9.,]*[Oo])[0-9Oo.,]+(?=$|[\s;/]|[VvAa](?:$|[\s;/]))")

_UNITS: dict[str, Unit] = {
    **dict.fromkeys(("v", "volt", "volts", "vac", "vdc"), "V"),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("ohm", "ohms", "\u03a9", "\u03c9", "\u2126", "r"), "ohm"),
}
_PREFIXES = {"m": "m", "k": "k", "K": "k", "M": "M", "G": "G", "u": "u", "\u00b5": "u", "\u03bc": "u"}
_LONG_PREFIXES = {"milli": "m", "kilo": "k", "mega": "M", "meg": "M", "giga": "G", "micro": "u"}


def _unit(word: str) -> tuple[str, Unit | None] | None:
    """Prefix and unit a word stands for; case tells m from M, nothing else does."""
    if unit := _UNITS.get(word.lower()):
        return "", unit
    if word in _PREFIXES:
        return _PREFIXES[word], None
    if word.lower() in _LONG_PREFIXES:
        return _LONG_PREFIXES[word.lower()], None
    if word.lower() in ("kohm", "kohms"):
        return "k", "ohm"
    if word.lower() in ("megohm", "megohms"):
        return "M", "ohm"
    if word[:1] in _PREFIXES and (unit := _UNITS.get(word[1:].lower())):
        return _PREFIXES[word[0]], unit
    for long, short in _LONG_PREFIXES.items():
        if word.lower().startswith(long) and (unit := _UNITS.get(word.lower()[len(long) :])):
            return short, unit
    return None


def read_unit(text: str, at: int) -> tuple[str, Unit | None, int]:
    """Prefix, unit and end of what follows a number at `at`: ``mV``, ``k ohm``, or nothing."""
    found = _WORD.match(text, at)
    if found is None:
        return "", None, at
    said = _unit(found[1])
    if said is None:
        return "", None, at
    prefix, unit = said
    if unit is None and (more := _WORD.match(text, found.end())):
        second = _unit(more[1])
        if second is not None and second[1] is not None and not second[0]:
            return prefix, second[1], more.end()
    return prefix, unit, found.end()


def read_number(text: str, at: int) -> Number | Doubt | None:
    """The number that starts at `at`, a doubt about it, or None where none starts.

    text: one line, ASCII digits only. Raises nothing. The value is a Decimal in the prefix typed.
    """
    if odd := _LETTER_O.match(text, at):
        digits = odd[0].replace("O", "0").replace("o", "0")
        return Doubt(f"{odd[0]!r} has a letter O in it: did you mean {digits}?", at, odd.end(), (digits,))
    if odd := _FOREIGN.match(text, at):
        plain = odd[0].replace("_", "")
        options: tuple[str, ...] = (plain,) if plain != odd[0] and _NUMBER.fullmatch(plain) else ()
        return Doubt(f"{odd[0][:24]!r} is not how a display shows a number", at, odd.end(), options)
    if odd := _GROUPED.match(text, at):
        point, whole = odd[0].replace(",", ".", 1), odd[0].replace(",", "")
        options = (whole,) if odd[0].count(",") > 1 else (point, whole)
        return Doubt(f"is {odd[0][:24]!r} {' or '.join(options)}?", at, odd.end(), options)
    found = _NUMBER.match(text, at)
    if found is None:
        return None
    digits = found[0].replace(",", ".")
    if sum(c.isdigit() for c in digits) > MOST_DIGITS:
        return Doubt("that is more digits than a meter shows", at, found.end())
    value = Decimal(digits)
    places = len(digits.partition(".")[2])
    prefix, unit, end = read_unit(text, found.end())
    return Number(value, Decimal(1).scaleb(-places), _tidy(digits), prefix, unit, "," in found[0], end)


def _tidy(digits: str) -> str:
    sign = "-" if digits[0] == "-" else ""
    body = digits.lstrip("+-")
    return sign + (f"0{body}" if body[0] == "." else body)
