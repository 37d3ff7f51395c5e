"""How values are written in a circuit file, and what they mean: ``1.5 kW`` is 1500.0.

Every reader takes a node and a list to which it adds what is wrong; it returns None exactly when it added something.
Numbers have a grammar of their own: Python's would take ``1_000``, ``inf``, ``nan`` and digits of other scripts.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from types import MappingProxyType
from typing import Final

from troubleshoot.circuit.kinds.base import GroupPoint, PointGroup, Rating, RatingType
from troubleshoot.text.names import flaw_in_name
from troubleshoot.text.problem import Position, Problem, nearest
from troubleshoot.text.yamlnodes import Map, Node, Seq, Text

Problems = list[Problem]

UNITS: Final = MappingProxyType(
    {
        "volts": ("V",),
        "amps": ("A",),
        "watts": ("W", "VA"),
        "ohms": ("ohm", "ohms", "Ω", "\u2126"),
        "farads": ("F",),
        "farads per metre": ("F/m",),
        "seconds": ("s",),
        "hertz": ("Hz",),
        "metres": ("m",),
    }
)
"""Quantity to its units; each takes an SI prefix."""

PREFIXES: Final = MappingProxyType(
    {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "c": 1e-2, "k": 1e3, "M": 1e6, "G": 1e9}
)

OTHER_UNITS: Final = MappingProxyType(
    {
        # 1 hp = 550 ft lbf/s and 1 ft = 0.3048 m: NIST SP 811 (2008), appendix B.8.
        ("watts", "hp"): 745.6999,
        ("metres", "ft"): 0.3048,
        ("metres", "in"): 0.0254,
        ("seconds", "min"): 60.0,
        ("seconds", "h"): 3600.0,
    }
)

EXAMPLES: Final = MappingProxyType(
    {
        "volts": "120 V", "amps": "4.8 A", "watts": "1.5 kW", "ohms": "0.2 ohm", "farads": "33 nF", "farads per metre": "50 pF/m", "seconds": "20 s", "hertz": "60 Hz",
        "metres": "2 m", "fraction": "0.75 or 75 %", "integer": "3", "text": "incline", "device": "KM2", "choice": "manual",
        "coil": "24 V DC", "blocks": "{'13-14': no, '21-22': nc}", "points": "{'%IX0.0': start}",
        "groups": "{1L: {what: relay outputs, points: {'%QX0.0': horn}}}",
        "list": "['1', '2']", "system": "208Y/120",
    }
)  # fmt: skip
"""One example of each way of writing, for messages and pages."""

_NUMBER: Final = r"[0-9]{1,12}(?:\.[0-9]{1,12})?"
_QUANTITY: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*([A-Za-zµμΩ\u2126][A-Za-zµμΩ\u2126/ ]*)?")
_COMMA: Final = re.compile(r"([0-9]+),[ ]?([0-9]+)\s*([^\s,0-9][^,]*)?")
"""A decimal comma, or a comma between thousands: neither is read."""
_COIL: Final = re.compile(rf"({_NUMBER})\s*V\s*(AC|DC)", re.IGNORECASE)
_SYSTEM: Final = re.compile(rf"({_NUMBER})(Y?)/({_NUMBER})(?:\s*V)?")
_ADDRESS: Final = re.compile(r"%[IQM][XBWDL]?[0-9]{1,6}(\.[0-9]{1,6}){0,7}")
"""A direct address, IEC 61131-3 (2013) 6.5.5.2, from memory."""


def rating(node: Node, row: Rating, out: Problems) -> object | None:
    """The value of a rating row, in the row's unit."""
    match row.type:
        case "text":
            return words(node, row.name, out)
        case "device":
            return name(node, row.name, out)
        case "choice":
            return choice(node, row.name, row.choices, out)
        case "list":
            return texts(node, row.name, out, names=True)
        case "blocks":
            return blocks(node, row.name, out)
        case "points":
            return points(node, row.name, out)
        case "groups":
            return groups(node, row.name, row.choices, out)
        case "coil":
            return coil(node, row.name, out)
        case "system":
            return system(node, row.name, out)
        case "integer":
            return integer(node, row.name, out)
        case "fraction":
            return fraction(node, row.name, out)
        case _:
            return quantity(node, row.name, row.type, out)


def _wrong(out: Problems, at: Position, what: str, near: str | None = None) -> None:
    out.append(Problem(at, what, near))


def scalar(node: Node, what: str, out: Problems) -> Text | None:
    """The node as text with something in it."""
    if not isinstance(node, Text):
        shape = "a list" if isinstance(node, Seq) else "a map of keys"
        _wrong(out, node.at, f"'{what}' must be one text, not {shape}")
        return None
    if node.missing:
        _wrong(out, node.at, f"nothing is written after '{what}'")
        return None
    return node


def words(node: Node, what: str, out: Problems) -> str | None:
    """Free words; may hold anything, as every screen shows them through `text.showing.show`."""
    text = scalar(node, what, out)
    return None if text is None else text.value.strip()


def name(node: Node, what: str, out: Problems) -> str | None:
    """A name as printed: compared with others, so nothing hidden in it."""
    text = scalar(node, what, out)
    if text is None:
        return None
    if flaw := flaw_in_name(text.value):
        _wrong(out, text.at, f"{what} {text.value!r} {flaw}")
        return None
    return text.value


def choice(node: Node, what: str, choices: Iterable[str], out: Problems) -> str | None:
    known = tuple(choices)
    text = scalar(node, what, out)
    if text is None or text.value in known:
        return None if text is None else text.value
    shown = f": write {', '.join(known)}" if len(known) <= 6 else ""
    _wrong(out, text.at, f"'{what}' cannot be {text.value!r}{shown}", nearest(text.value, known))
    return None


def yes_or_no(node: Node, what: str, out: Problems) -> bool | None:
    text = choice(node, what, ("yes", "no", "true", "false"), out)
    return None if text is None else text in ("yes", "true")


def integer(node: Node, what: str, out: Problems, *, least: int = 0) -> int | None:
    text = scalar(node, what, out)
    if text is None:
        return None
    if not re.fullmatch(r"[0-9]{1,9}", text.value):
        _wrong(out, text.at, f"'{what}' must be a whole number, not {text.value[:40]!r}")
        return None
    if int(text.value) < least:
        _wrong(out, text.at, f"'{what}' must be at least {least}")
        return None
    return int(text.value)


def number(node: Node, what: str, out: Problems) -> float | None:
    """A bare number above zero."""
    text = scalar(node, what, out)
    if text is None:
        return None
    if comma := with_a_point(text.value):
        _wrong(out, text.at, f"{what} {comma}")
        return None
    if not re.fullmatch(_NUMBER, text.value) or float(text.value) == 0.0:
        _wrong(out, text.at, f"{what} must be a number above zero, not {text.value[:40]!r}")
        return None
    return float(text.value)


def fraction(node: Node, what: str, out: Problems) -> float | None:
    text = scalar(node, what, out)
    if text is None:
        return None
    if comma := with_a_point(text.value):
        _wrong(out, text.at, f"'{what}' {comma}")
        return None
    found = re.fullmatch(rf"({_NUMBER})\s*(%?)", text.value)
    if not found:
        example = EXAMPLES["fraction"]
        _wrong(out, text.at, f"'{what}' must be a number like {example}, not {text.value[:40]!r}")
        return None
    return float(found[1]) / (100 if found[2] else 1)


def quantity(node: Node, what: str, of: RatingType, out: Problems) -> float | None:
    """A number with a unit, in the base unit of `of`: ``1.5 kW`` as watts is 1500.0."""
    text = scalar(node, what, out)
    if text is None:
        return None
    value, wrong = in_base_unit(text.value, of)
    if value is None:
        _wrong(out, text.at, f"'{what}' {wrong}")
        return None
    return value


def with_a_point(text: str, unit: str = "") -> str:
    """How a number with a comma in it must be written, in words that follow its name; empty where it has none.

    unit: for a number that is written without one. Three digits after the comma may be thousands, and nobody guesses.
    """
    found = _COMMA.fullmatch(text.strip())
    if not found:
        return ""
    behind = (found[3] or unit).strip()
    point, whole = (f"{head}{found[2]}{f' {behind}' if behind else ''}" for head in (f"{found[1]}.", found[1]))
    thousands = f", or {whole} if thousands are meant" if len(found[2]) == 3 and found[1].strip("0") else ""
    return f"has a comma: write {point}, with a point{thousands}"


def in_base_unit(text: str, of: RatingType) -> tuple[float | None, str]:
    """(value, "") or (None, why not); `of` is a key of `UNITS`."""
    found = _QUANTITY.fullmatch(text.strip())
    if comma := with_a_point(text, UNITS[of][0]):
        return None, comma
    if not found:
        return None, f"must be a number with a unit, like {EXAMPLES[of]}, not {text[:40]!r}"
    unit = found[2]
    if not re.fullmatch(_NUMBER, found[1]):
        return None, f"has too many digits: {found[1][:12]}..."
    if unit is None:
        return None, f"has no unit: write {found[1]} {UNITS[of][0]}"
    factor = OTHER_UNITS.get((of, unit), 1.0 if unit in UNITS[of] else None)
    if factor is None and unit[1:] in UNITS[of]:
        factor = PREFIXES.get(unit[0])
    if factor is None:
        units = [u for u in UNITS[of] if u.isascii()] + [u for q, u in OTHER_UNITS if q == of]
        return None, f"cannot be in {unit[:40]!r}: {of} are written {', '.join(units)}, like {EXAMPLES[of]}"
    return float(found[1]) * factor, ""


def coil(node: Node, what: str, out: Problems) -> tuple[float, str] | None:
    """``24 V DC`` as (24.0, "dc")."""
    text = scalar(node, what, out)
    if text is None:
        return None
    if comma := with_a_point(text.value):
        _wrong(out, text.at, f"'{what}' {comma}")
        return None
    found = _COIL.fullmatch(text.value)
    if not found or float(found[1]) == 0.0:
        _wrong(out, text.at, f"'{what}' must be volts and AC or DC, like 24 V DC, not {text.value[:40]!r}")
        return None
    return float(found[1]), found[2].lower()


def system(node: Node, what: str, out: Problems) -> tuple[float, float] | None:
    """``208Y/120`` as (208.0, 120.0): volts between lines, volts from line to neutral."""
    text = scalar(node, what, out)
    if text is None:
        return None
    found = _SYSTEM.fullmatch(text.value)
    if not found or float(found[1]) == 0.0 or float(found[3]) == 0.0:
        say = "must be volts between lines, Y, a slash and volts to neutral, like 208Y/120"
        _wrong(out, text.at, f"'{what}' {say}, not {text.value[:40]!r}")
        return None
    line, neutral = float(found[1]), float(found[3])
    # A star has root three between the two; nominal pairs are rounded (380Y/220 is 1.727, 400Y/230 is 1.739).
    if found[2] and not math.isclose(line / neutral, math.sqrt(3), rel_tol=0.02):
        say = f"a star has 1.73 times as many volts between lines as to neutral, {line:g} and {neutral:g} do not fit"
        _wrong(out, text.at, say)
        return None
    return line, neutral


def texts(node: Node, what: str, out: Problems, *, names: bool = False) -> tuple[str, ...] | None:
    """A list of texts; a single one needs no brackets."""
    items = node.items if isinstance(node, Seq) else (node,)
    if isinstance(node, Map):
        _wrong(out, node.at, f"'{what}' must be a list, not a map of keys")
        return None
    if not items:
        _wrong(out, node.at, f"'{what}' is an empty list")
        return None
    read = [(name if names else words)(item, what, out) for item in items]
    done = tuple(text for text in read if text is not None)
    if len(done) < len(read):
        return None
    if names:
        for index, text in enumerate(done):
            if text in done[:index]:
                _wrong(out, items[index].at, f"{text!r} is in '{what}' twice")
                return None
    return done


def blocks(node: Node, what: str, out: Problems) -> dict[tuple[str, str], tuple[str, ...]] | None:
    """``{'13-14': no}`` as {("13", "14"): ("no",)}; a list gives the positions in which the contact is closed."""
    if not isinstance(node, Map):
        _wrong(out, node.at, f"'{what}' must be a map of contacts, like {EXAMPLES['blocks']}")
        return None
    before = len(out)
    done: dict[tuple[str, str], tuple[str, ...]] = {}
    for key, how in node:
        a, dash, b = (part.strip() for part in key.value.partition("-"))
        if not dash or not a or not b or "-" in b or a == b:
            _wrong(out, key.at, f"a contact is written with its two terminals, like '13-14', not {key.value!r}")
            continue
        if (a, b) in done or (b, a) in done:
            _wrong(out, key.at, f"contact {a}-{b} is in '{what}' twice")
            continue
        if isinstance(how, Seq):
            closed = texts(how, key.value, out, names=True)
        else:
            text = scalar(how, key.value, out)
            closed = None
            if text is not None and text.value.lower() in ("no", "nc"):
                closed = (text.value.lower(),)
            elif text is not None:
                say = f"contact {a}-{b} is no, nc, or a list of the positions in which it is closed, not {text.value!r}"
                _wrong(out, text.at, say, nearest(text.value, ("no", "nc")))
        if closed is not None:
            done[a, b] = closed
    return done if len(out) == before else None


def points(node: Node, what: str, out: Problems) -> dict[str, str] | None:
    """``{'%IX0.0': start}``: point to what is wired to it."""
    if not isinstance(node, Map):
        _wrong(out, node.at, f"'{what}' must be a map of points, like {EXAMPLES['points']}")
        return None
    before = len(out)
    done: dict[str, str] = {}
    for key, said in node:
        if key.value.startswith("%") and not _ADDRESS.fullmatch(key.value):
            _wrong(out, key.at, f"{key.value!r} is not a direct address, like %IX0.0 or %QX0.1")
        text = words(said, key.value, out)
        if text is not None:
            done[key.value] = text
    return done if len(out) == before else None


def groups(node: Node, what: str, choices: Iterable[str], out: Problems) -> tuple[PointGroup, ...] | None:
    """``{1M: {what: sinking inputs, points: {DI0: '%IX0.0 start'}}}``: points by the terminal of their common.

    A point is written by its terminal. Where that is not its direct address, the address stands before the words.
    """
    if not isinstance(node, Map):
        _wrong(out, node.at, f"'{what}' must be a map of common terminals, like {EXAMPLES['groups']}")
        return None
    before = len(out)
    known = tuple(choices)
    done: list[PointGroup] = []
    taken: dict[str, Position] = {}
    for key, spec in node:
        if not isinstance(spec, Map):
            _wrong(out, spec.at, f"group {key.value!r} is written like {EXAMPLES['groups']}")
            continue
        _once(key, key.value, taken, out)
        for name_, _ in spec:
            if name_.value not in ("what", "points"):
                near = nearest(name_.value, ("what", "points"))
                _wrong(out, name_.at, f"group {key.value!r} has no key {name_.value!r}", near)
        kind, listed = spec.get("what"), spec.get("points")
        for missing in (m for m, found in (("what", kind), ("points", listed)) if found is None):
            _wrong(out, key.at, f"group {key.value!r} must have '{missing}', like {EXAMPLES['groups']}")
        sort = choice(kind, "what", known, out) if kind is not None else None
        if kind is not None and sort is None and len(known) > 6:
            _wrong(out, kind.at, f"what a group can be: {', '.join(known)}")
        if listed is None:
            continue
        if not isinstance(listed, Map):
            _wrong(out, listed.at, f"'points' must be a map of terminals, like {EXAMPLES['points']}")
            continue
        points_ = [_group_point(terminal, said, sort, taken, out) for terminal, said in listed]
        if sort is not None:
            done.append(PointGroup(key.value, sort, tuple(point for point in points_ if point is not None)))
    return tuple(done) if len(out) == before else None


def _group_point(
    key: Text, said: Node, sort: str | None, taken: dict[str, Position], out: Problems
) -> GroupPoint | None:
    text = words(said, key.value, out)
    if text is None:
        return None
    if _ADDRESS.fullmatch(key.value):
        address = key.value
    else:
        address, _, text = (part.strip() for part in text.partition(" "))
        if not _ADDRESS.fullmatch(address):
            say = f"{key.value!r} is not a direct address, so one stands before its words: {key.value}: '%IX0.0 start'"
            _wrong(out, said.at, say)
            return None
    wanted = "%Q" if sort is not None and sort.endswith("outputs") else "%I"
    if sort is not None and not address.startswith(wanted):
        _wrong(out, key.at, f"{address} cannot be among {sort}, which are {wanted}...")
        return None
    _once(key, key.value, taken, out)
    if address != key.value:
        _once(key, address, taken, out)
    return GroupPoint(key.value, address, text or key.value)


def _once(key: Text, mark: str, taken: dict[str, Position], out: Problems) -> None:
    first = taken.setdefault(mark, key.at)
    if first is not key.at:
        _wrong(out, key.at, f"{mark!r} is there already, on line {first.line}")
