"""What a dead test must read: every conductor that is touched or borders it, to earth and between, in AC and where it can be DC.

An open contact ends what a reading can tell: behind it a second feed may stand. So of each open contact on the way to a
point of work the side that is fed while the machine is on is read as well, and so is the other side of a touched contact.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from typing import Final, Literal

import numpy as np

from troubleshoot.circuit.kinds.base import Branch, Converter, Source, Spare, Switch
from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import Table
from troubleshoot.evidence.seen import Meter
from troubleshoot.machine import Machine, joined
from troubleshoot.safety.doings import after, doings
from troubleshoot.safety.levels import DEAD_VOLTS
from troubleshoot.safety.volts import pins_of

MOST_ON_CARD: Final = 8
"""Readings of a dead test asked at once."""

FEW: Final = 4
"""Conductors of which every pair is tested, whatever stands on them. Judgement: ten readings."""

SOLID_S: Final = 0.1
"""Siemens from which a closed contact, a fuse, a heater counts as one conductor with what it joins. Judgement."""
_CARRIES: Final = ("fuse", "breaker", "overload", "disconnect", "bar", "terminals")
"""Kinds whose parts carry on what is wired to them."""
_MODES: Final[tuple[Literal["ac volts", "dc volts"], ...]] = ("ac volts", "dc volts")


def dead_readings(reasoner: Reasoner, work: Sequence[Pin], dead: Situation) -> tuple[Meter, ...]:
    """Every reading of the dead test for work at some points, those in AC first; dead: every disconnect open.

    Between: of a few conductors at one place (two probes reach no farther) every pair; of more, phase to phase on each side of
    a device and across each load. AC everywhere; DC where a DC can come in any state, under any suspect. Empty where only
    the earth conductor itself is worked on.
    """
    machine = reasoner.machine
    points = [*work, *borders(reasoner, work, dead)]
    direct = {p: _has_dc(reasoner, p) for p in points}
    out: dict[Meter, None] = {}
    for mode in _MODES:
        # Earth itself is never live: what matters is what the conductor can carry.
        asked = [p for p in points if mode == "ac volts" or direct[p]]
        earths = {p: earth_pin(machine, machine.circuit.devices[p.device].place) for p in asked}
        pairs = [(p, earth) for p, earth in earths.items() if earth is not None and p != earth]
        places = {p: machine.circuit.devices[p.device].place for p in asked}
        among = [(p, q) for p, q in itertools.combinations(asked, 2) if places[p] == places[q]]
        among = [(p, q) for p, q in among if p not in earths.values() and q not in earths.values()]
        if len(asked) > FEW:
            among = [(p, q) for p, q in among if _facing(reasoner, mode, p, q)]
        for red, black in (*pairs, *among):
            out[Meter(mode, red, black)] = None
    return tuple(out)


def cards(readings: Sequence[Meter]) -> list[tuple[Meter, ...]]:
    """Cards of at most MOST_ON_CARD readings, none with two settings of the meter, as even as can be."""
    out: list[tuple[Meter, ...]] = []
    for mode in _MODES:
        some = [m for m in readings if m.mode == mode]
        count = -(-len(some) // MOST_ON_CARD)
        size = -(-len(some) // count) if count else 1
        out += [tuple(some[k : k + size]) for k in range(0, len(some), size)]
    return out or [()]


def borders(reasoner: Reasoner, work: Sequence[Pin], dead: Situation) -> tuple[Pin, ...]:
    """Across each contact that ends the way from a point of work: the far side, one point a conductor.

    Of an open contact where that side is fed while the machine is on and at rest; of a touched contact in any case. What a
    disconnect leaves live cannot be proved dead and is not among them.
    """
    machine = reasoner.machine
    net = machine.net
    off, on = reasoner.table(dead), reasoner.table(Situation())
    network = off.outcomes[off.healthy].network
    makes = np.abs(network.ac_s) > SOLID_S
    part = {k: e for k, e in enumerate(net.elements) if not isinstance(e.part, Spare)}
    solid = [
        (e.a, e.b) for k, e in part.items()
        if makes[k] and (e.slot in net.hops or isinstance(e.part, Switch) or _kind(machine, e.slot) in _CARRIES)
    ]  # fmt: skip
    earthed = earthed_nodes(machine)
    touched = {net.node(p) for p in work} - earthed
    near = joined(touched, [(a, b) for a, b in solid if a not in earthed and b not in earthed])
    tags = {p.device for p in work}
    far: dict[int, int] = {}
    for k, e in part.items():
        if not isinstance(e.part, Switch):
            continue
        for here, there in ((e.a, e.b), (e.b, e.a)):
            own = e.slot.split(" ")[0] in tags and here in touched
            fed = here in near and not makes[k] and e.part.leak is None and _volts(on, there) > DEAD_VOLTS
            if (own or fed) and there not in touched | earthed and (own or there not in near):
                far.setdefault(there, here)
    out: list[Pin] = []
    known = set(touched)
    wires = [(net.node(h.a), net.node(h.b)) for h in machine.circuit.hops]
    for node in far:
        conductor = joined({node}, wires)
        if conductor & known or _volts(off, node) > DEAD_VOLTS:
            continue
        pin = _point(machine, node, conductor, work)
        if pin is not None:
            known |= conductor
            out.append(pin)
    return tuple(out)


def can_feed(reasoner: Reasoner, supply: str, points: Iterable[Pin]) -> tuple[Pin, ...]:
    """Which points a supply reaches past every disconnect, whatever contact is open or closed on the way."""
    reached = fed_by(reasoner, supply)
    return tuple(p for p in points if reasoner.machine.net.node(p) in reached)


def fed_by(reasoner: Reasoner, supply: str) -> set[int]:
    """Nodes that a supply reaches past every described disconnect, through contacts, loads and windings, but not by earth."""
    machine = reasoner.machine
    net = machine.net
    cut = set(machine.own_disconnects)
    wired = [e for e in net.elements if not isinstance(e.part, Spare) and e.slot.split(" ")[0] not in cut]
    joins = [(e.a, e.b) for e in wired]
    by_device: dict[str, list[int]] = {}
    for e in wired:
        by_device.setdefault(e.slot.split(" ")[0], []).extend((e.a, e.b))
    for e in wired:
        if isinstance(e.part, Source | Converter) and e.slot.split(" ")[0] != supply:
            # What has a source of its own is fed from elsewhere: its sides belong together.
            ends = by_device[e.slot.split(" ")[0]]
            joins += [(ends[0], end) for end in ends]
    lines = {net.node(p) for p in supplied(machine) if p.device == supply}
    others = [t for t, d in machine.circuit.devices.items() if d.kind == "supply" and t != supply]
    foreign = {net.node(p) for t in others for p in pins_of(machine, t)}
    return joined(lines, joins, frozenset((earthed_nodes(machine) - lines) | foreign))


def earth_pin(machine: Machine, place: str) -> Pin | None:
    """A terminal of the protective conductor, at that place if there is one; None where none is drawn."""
    pe = {Pin(t, "PE") for t, d in machine.circuit.devices.items() if d.kind == "supply"}
    reached = sorted(conductors_from(machine, pe))
    bars = [p for p in reached if machine.circuit.devices[p.device].kind in ("bar", "terminals")]
    here = [p for p in (*bars, *reached) if machine.circuit.devices[p.device].place == place]
    return next(iter((*here, *bars, *reached)), None)


def conductors_from(machine: Machine, pins: set[Pin]) -> set[Pin]:
    """Every terminal that wires alone join to one of `pins`."""
    beside: dict[Pin, list[Pin]] = {}
    for hop in machine.circuit.hops:
        beside.setdefault(hop.a, []).append(hop.b)
        beside.setdefault(hop.b, []).append(hop.a)
    found, fresh = set(pins), list(pins)
    while fresh:
        for pin in beside.get(fresh.pop(), ()):
            if pin not in found:
                found.add(pin)
                fresh.append(pin)
    return found


def earthed_nodes(machine: Machine) -> set[int]:
    """Nodes that conductors alone tie to earth: the protective conductor, an earthed neutral or line."""
    net = machine.net
    found = {net.node(Pin(t, "PE")) for t, d in machine.circuit.devices.items() if d.kind == "supply"}
    ties = [
        (e.a, e.b) for e in net.elements
        if e.slot in net.hops
        or (_kind(machine, e.slot) in ("supply", "bar", "terminals") and isinstance(e.part, Branch) and abs(e.part.ac) < 1 / SOLID_S)
    ]  # fmt: skip
    return joined(found, ties)


def _kind(machine: Machine, slot: str) -> str:
    tag = slot.split(" ")[0]
    return machine.circuit.devices[tag].kind if tag in machine.circuit.devices else ""


def _volts(table: Table, node: int) -> float:
    """Volts to earth on the healthy machine, AC or DC, whichever is more."""
    column = table.inverse[table.healthy]
    return max(abs(complex(table.volts[kind][node, column])) for kind in ("ac", "dc")) if node >= 0 else 0.0


def _point(machine: Machine, node: int, conductor: set[int], work: Sequence[Pin]) -> Pin | None:
    """A terminal of a conductor, where one works already if it comes there."""
    places = {machine.circuit.devices[p.device].place for p in work}
    here = [p for tag in machine.circuit.devices for p in pins_of(machine, tag) if machine.net.node(p) in conductor]
    own = [p for p in here if machine.net.node(p) == node]
    near = [p for p in (*own, *here) if machine.circuit.devices[p.device].place in places]
    return next(iter((*near, *own, *here)), None)


def _facing(reasoner: Reasoner, mode: Literal["ac volts", "dc volts"], one: Pin, other: Pin) -> bool:
    """Whether two conductors are to be read against each other: phase to phase on one side of a device, or a load's two ends.

    Both only where volts stand between them on the healthy machine, at rest or running. Two contacts that only sit in one
    housing are each read to earth.
    """
    machine = reasoner.machine
    net = machine.net
    a, b = net.node(one), net.node(other)
    if one.device != other.device:
        return False
    parts = [e for e in net.elements if not isinstance(e.part, Spare) and e.slot.split(" ")[0] == one.device]
    carry = [e for e in parts if isinstance(e.part, Switch) or _kind(machine, e.slot) in _CARRIES]
    load = any({e.a, e.b} == {a, b} for e in parts if e not in carry)
    side = not carry or any({a, b} <= {getattr(e, end) for e in carry} for end in "ab")
    if not (load or side):
        return False
    kind: Literal["ac", "dc"] = "ac" if mode == "ac volts" else "dc"
    lines = [net.node(p) for p in supplied(machine)]
    for at in {Situation(), after(*doings(machine).running())}:
        table = reasoner.table(at)
        volts = table.volts[kind][:, table.inverse[table.healthy]]
        u, v = (volts[n] if n >= 0 else 0.0 for n in (a, b))
        on_lines = all(min((abs(w - volts[n]) for n in lines), default=np.inf) < DEAD_VOLTS for w in (u, v))
        if abs(u - v) > DEAD_VOLTS and (load or on_lines):
            return True
    return False


def supplied(machine: Machine) -> tuple[Pin, ...]:
    """The line terminals of every supply."""
    tags = [t for t, d in machine.circuit.devices.items() if d.kind == "supply"]
    return tuple(p for t in tags for p in pins_of(machine, t) if p.pin not in ("N", "PE"))


def _has_dc(reasoner: Reasoner, pin: Pin) -> bool:
    """Whether a DC can come to a point, at rest or running, under any suspect."""
    node = reasoner.machine.net.node(pin)
    tables = [reasoner.table(at) for at in {Situation(), after(*doings(reasoner.machine).running())}]
    return any(float(np.abs(table.volts["dc"][node]).max()) > DEAD_VOLTS for table in tables)


__all__ = [
    "MOST_ON_CARD",
    "borders",
    "can_feed",
    "cards",
    "conductors_from",
    "dead_readings",
    "earth_pin",
    "earthed_nodes",
    "fed_by",
]
