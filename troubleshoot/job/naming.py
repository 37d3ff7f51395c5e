"""What a person at the machine calls things: repair groups, readings and what a proof leaves open, in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import NamedSituation, Pin
from troubleshoot.evidence.seen import Meter, Mode
from troubleshoot.job.desk import Desk
from troubleshoot.solve.meters import INSULATION_VOLTS, RANGES

UNITS: Final[Mapping[Mode, str]] = {mode: one.words for mode, one in RANGES.items()}
METER_ON: Final[Mapping[Mode, str]] = {
    **{mode: f"Meter on {one.words}." for mode, one in RANGES.items()},
    "low-impedance volts": "Low-impedance voltmeter.",
    "insulation": f"Insulation tester, {INSULATION_VOLTS:.0f} V, electronics unplugged first.",
    "amps": "Clamp meter, one wire at a time.",
}
_WIRE: Final = re.compile(r"wire (\S+) (open|makes badly|touches earth)\b")
_KINDS_LEFT: Final = {
    "open": "open wires",
    "touches earth": "wires touching earth",
    "makes badly": "bad joints of wires",
}


def group_words(desk: Desk, group: str) -> str:
    """A repair group as one would say it: ``motor contactor KM1``, ``wire 12 (K1:14 to FR1:95)``."""
    wire, comma, ends = group.partition(", ")
    if comma and wire.startswith("wire "):
        return f"{wire} ({ends})"
    tag, space, rest = group.partition(" ")
    device = desk.machine.circuit.devices.get(tag)
    return f"{device.words or KINDS[device.kind].words} {tag}{space}{rest}" if device is not None else group


def act_words(act: str, item: str) -> str:
    """A repair as one would say it: ``replace KM1``, ``put S3 in run``, ``set A1 to run``."""
    if act == "set to run":
        return f"set {item} to run"
    return f"put {item} in {act.removeprefix('put in ')}" if act.startswith("put in ") else f"{act} {item}"


def part_words(desk: Desk, tag: str) -> str:
    """A device with its ratings, as one asks for it in the stores."""
    device = desk.machine.circuit.devices[tag]
    kind = KINDS[device.kind]
    words = []
    for rating in kind.ratings:
        value = device.ratings.get(rating.name)
        if isinstance(value, tuple) and len(value) == 2 and rating.type == "coil":
            words.append(f"{rating.name} {value[0]:g} V {str(value[1]).upper()}")
        elif isinstance(value, float) and rating.default is None:
            unit = {"amps": "A", "volts": "V", "watts": "W"}.get(rating.type, "")
            words.append(f"{rating.name if rating.name != rating.type else ''} {value:g} {unit}".strip())
    return f"{tag} {device.words}, {kind.words}" + (f": {', '.join(words)}" if words else "")


def device_words(desk: Desk, meter: Meter) -> str:
    """What the red lead stands on, and by which wire to find it where the device alone does not say."""
    device = desk.machine.circuit.devices[meter.red.device]
    return (device.words or KINDS[device.kind].words) + where_to(desk, meter.red)


_VAGUE: Final = frozenset({"terminals", "bar", "unknown chain"})
"""Kinds of which every terminal looks like the next: its wire tells which one is meant."""


def where_to(desk: Desk, pin: Pin, *, in_brackets: bool = False) -> str:
    """``, wire 16 to ES1:11`` for a terminal among many alike that nobody has read yet; empty for any other."""
    circuit = desk.machine.circuit
    device = circuit.devices[pin.device]
    hops = [h for h in circuit.hops if pin in (h.a, h.b)]
    if device.kind not in _VAGUE or not hops or device.known in ("seen", "measured"):
        return ""
    ends = [str(h.b if h.a == pin else h.a) for h in hops]
    words = f"wire {hops[0].number} to {', '.join(ends[:2])}"
    return f" ({words})" if in_brackets else f", {words}"


def black_words(desk: Desk, meter: Meter) -> str:
    """What the black lead stands on, where the red one is: nobody takes it out of a panel that he has left."""
    if not desk.away(meter) or meter.mode == "amps":
        return str(meter.black)
    if meter.black in desk.earthed:
        return "earth there"
    place = desk.machine.circuit.devices[meter.black.device].place
    return f"{meter.black} (long lead, {place})"


def red_words(desk: Desk, meter: Meter, meters: Iterable[Meter]) -> str:
    """What the red lead stands on, with its place where the readings of a card lie at several."""
    devices = desk.machine.circuit.devices
    several = len({devices[m.red.device].place for m in meters}) > 1
    return f"{meter.red} ({devices[meter.red.device].place})" if several else str(meter.red)


def should_be(desk: Desk, meter: Meter, named: NamedSituation) -> str:
    """What a good machine gives there, with its unit: what it gave when it was good, where that is known, or computed."""
    good = desk.baseline.get((meter, named.name))
    if good is not None:
        computed = desk.reasoner.expected(meter, named.situation)
        value = f"{abs(good.value):.3g} {UNITS[meter.mode]} on {good.date}"
        return f"{value} (computed {abs(computed.value):.3g})" if abs(computed.value) < 1e6 else value
    words = desk.reasoner.expected(meter, named.situation).words
    return f"{words} {UNITS[meter.mode]}" if re.fullmatch(r"[\d.-]+", words) else words


_SORTS: Final = {
    "bad joints": re.compile(r" makes badly\b"), "touches to earth": re.compile(r" touches earth\b"),
    "open wires": re.compile(r"^wire \S+ open\b"), "wires on another terminal": re.compile(r" instead of "),
    "terminals touching": re.compile(r"^terminals .* touch$"),
}  # fmt: skip


def in_sorts(missing: Iterable[str]) -> str:
    """The same for a person at the machine: how many of each sort, and by name what is of none of them."""
    counts: dict[str, int] = {}
    others: list[str] = []
    for words in missing:
        sort = next((name for name, pattern in _SORTS.items() if pattern.search(words)), "")
        if sort:
            counts[sort] = counts.get(sort, 0) + 1
        else:
            others.append(words)
    return "; ".join([*others, *(f"{count} {name}" for name, count in counts.items())])


def left_open(missing: Iterable[str]) -> list[str]:
    """What a proof could not show, wires of one failing together: a break first, a bad joint last."""
    wires: dict[str, dict[str, None]] = {}
    others: list[str] = []
    for words in missing:
        found = _WIRE.match(words)
        if found is None:
            others.append(words)
        else:
            wires.setdefault(found[2], {})[found[1]] = None
    return [*others, *(f"{does} {', '.join(wires[kind])}" for kind, does in _KINDS_LEFT.items() if kind in wires)]
