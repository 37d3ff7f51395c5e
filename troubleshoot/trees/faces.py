"""Roles, faces and paths found on one machine, from what is wired and what a healthy machine carries.

Which side of a face is hot is computed, never taken from the order of the pins: a coil wired the other way round is
still a coil. A path is what really carries current in a situation: conductors and closed contacts in series.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Branch, Source, Switch
from troubleshoot.circuit.kinds.controller import terminals_of
from troubleshoot.circuit.model import Device, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.solve.elimination import EARTH
from troubleshoot.solve.network import Network, holds
from troubleshoot.text.problem import nearest
from troubleshoot.trees.model import DevicePoint, FacePoint, PinPoint, PointName, SourcePoint, WiredPoint
from troubleshoot.trees.roles import parted, tags_of

SERIES_OHMS: Final = 25.0
"""A part of up to so many ohms may stand in series with a load: contacts, heaters of small overload relays."""
SERIES_DROP: Final = 0.05
"""Share of the supply that a part in series may take on a healthy machine."""
LEAST_CHANCE: Final = 1e-4
"""What a part of a path counts for at least where a path is halved by chance."""
LIVE_SHARE: Final = 0.10
"""Share of the supply from which a point counts as live."""

Net = Literal["ac", "dc"]
_NETS: Final[tuple[Net, ...]] = ("ac", "dc")


@dataclass(frozen=True, slots=True)
class Absent:
    """The machine has no such role: whatever names it is stepped over."""

    role: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """The machine has the role, but not what is asked of it."""

    what: str
    near: str | None = None


@dataclass(frozen=True)
class Wiring:
    """What carries current on the healthy machine in one situation."""

    reasoner: Reasoner
    situation: Situation

    @cached_property
    def network(self) -> Network:
        """The healthy machine, solved."""
        table = self.reasoner.table(self.situation)
        return table.outcomes[table.healthy].network

    @cached_property
    def _state(self) -> Mapping[str, str]:
        table = self.reasoner.table(self.situation)
        return table.outcomes[table.healthy].state

    @cached_property
    def scale(self) -> Mapping[str, float]:
        """Largest volts to earth, by kind of current."""
        return self.reasoner.table(self.situation).scale

    def volts(self, kind: Net, pin: Pin) -> complex:
        """Volts from a pin to earth."""
        values = self.network.ac_v if kind == "ac" else self.network.dc_v
        assert values is not None
        return complex(values[self.reasoner.machine.net.node(pin)])

    @cached_property
    def _edges(self) -> Mapping[int, tuple[tuple[int, int], ...]]:
        """Node to (neighbour, element), along conductors and closed contacts."""
        net, network = self.reasoner.machine.net, self.network
        assert network.ac_v is not None
        assert network.dc_v is not None
        apart = {f"{device.tag} {part.name}" for device, _ in self._giving for part in KINDS[device.kind].parts(device)}
        out: dict[int, list[tuple[int, int]]] = {}
        for k, element in enumerate(net.elements):
            if not isinstance(element.part, Branch | Switch) or EARTH in (element.a, element.b) or k in net.stray:
                continue
            if element.slot in apart:
                continue
            if max(abs(network.ac_s[k]), float(network.dc_s[k])) < 1 / SERIES_OHMS:
                continue
            drop_ac = abs(network.ac_v[element.a] - network.ac_v[element.b])
            drop_dc = abs(network.dc_v[element.a] - network.dc_v[element.b])
            if drop_ac > SERIES_DROP * self.scale["ac"] or drop_dc > SERIES_DROP * self.scale["dc"]:
                continue
            out.setdefault(element.a, []).append((element.b, k))
            out.setdefault(element.b, []).append((element.a, k))
        return {node: tuple(found) for node, found in out.items()}

    @cached_property
    def _giving(self) -> tuple[tuple[Device, tuple[tuple[str, str], ...]], ...]:
        """Devices that feed what is behind them without being a source, with the pairs of pins that do."""
        devices = self.reasoner.machine.circuit.devices.values()
        return tuple((d, pairs) for d in devices if (pairs := KINDS[d.kind].gives(d)))

    @cached_property
    def _terminals(self) -> Mapping[str, Mapping[int, int]]:
        """By kind of current: node of a source's terminal to the node of its other terminal."""
        out: dict[str, dict[int, int]] = {"ac": {}, "dc": {}}
        for element in self.reasoner.machine.net.elements:
            if isinstance(element.part, Source) and holds(element.part.when, self._state):
                out[element.part.net][element.a] = element.b
                out[element.part.net].setdefault(element.b, element.a)
        for device, pairs in self._giving:
            for live, back in (tuple(Pin(device.tag, pin) for pin in pair) for pair in pairs):
                if abs(self.volts("ac", live) - self.volts("ac", back)) > LIVE_SHARE * self.scale["ac"]:
                    one, two = (self.reasoner.machine.net.node(pin) for pin in (live, back))
                    out["ac"][one] = two
                    out["ac"].setdefault(two, one)
        return out

    def _walk(self, start: int, without: frozenset[int]) -> dict[int, int | None]:
        """Breadth first from a node: every node reached and the one before it."""
        before: dict[int, int | None] = {start: None}
        queue = deque([start])
        while queue:
            node = queue.popleft()
            for other, element in self._edges.get(node, ()):
                if other not in before and element not in without:
                    before[other] = node
                    queue.append(other)
        return before

    def _pins(self, node: int | None, before: Mapping[int, int | None]) -> tuple[Pin, ...]:
        out: list[Pin] = []
        while node is not None:
            found = self._pin(node)
            if found is not None:
                out.append(found)
            node = before[node]
        return tuple(out)

    def _pin(self, node: int) -> Pin | None:
        return _pins_by_node(self.reasoner).get(node)

    def own(self, tag: str) -> frozenset[int]:
        """Numbers of the contacts that a device moves itself."""
        return frozenset(
            k
            for k, element in enumerate(self.reasoner.machine.net.elements)
            if isinstance(element.part, Switch) and any(w.var == tag for w in element.part.when)
        )

    def parts_of(self, a: Pin, b: Pin) -> frozenset[int]:
        """Numbers of the elements straight between two pins."""
        net = self.reasoner.machine.net
        ends = {net.node(a), net.node(b)}
        return frozenset(k for k, element in enumerate(net.elements) if {element.a, element.b} == ends)

    def source_path(self, pin: Pin, kind: Net, without: frozenset[int] = frozenset()) -> tuple[Pin, ...]:
        """Pins in order from the nearest terminal of a source to `pin`; empty where nothing closed leads there."""
        before = self._walk(self.reasoner.machine.net.node(pin), without)
        terminal = next((node for node in before if node in self._terminals[kind]), None)
        return () if terminal is None else self._pins(terminal, before)

    def between(self, a: Pin, b: Pin, without: frozenset[int] = frozenset()) -> tuple[Pin, ...]:
        """Pins in order from a to b; empty where nothing closed joins them."""
        net = self.reasoner.machine.net
        before = self._walk(net.node(b), without)
        return self._pins(net.node(a), before) if net.node(a) in before else ()

    def other_terminal(self, pin: Pin, kind: Net) -> Pin | None:
        """The other terminal of the source at whose terminal `pin` is."""
        node = self._terminals[kind].get(self.reasoner.machine.net.node(pin))
        return None if node is None else self._pin(node)


def _pins_by_node(reasoner: Reasoner) -> Mapping[int, Pin]:
    scratch = reasoner.machine.net.scratch
    found = scratch.get("pins by node")
    if found is None:
        net = reasoner.machine.net
        found = scratch["pins by node"] = {
            net.index[f"{tag}:{pin}"]: Pin(tag, pin)
            for tag, device in reasoner.machine.circuit.devices.items()
            for pin in KINDS[device.kind].pins(device)
        }
    assert isinstance(found, dict)
    return found


def _contacts(faces: Mapping[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
    """Faces that are named by their terminals, as ``contact 1``, ``contact 2`` ...: a tree knows no terminal numbers."""
    numbered = [pair for name, pair in faces.items() if name == "-".join(pair)]
    return {f"contact {k}": pair for k, pair in enumerate(numbered, 1)}


@dataclass
class Faces:
    """Points of one machine. Keeps the wirings it has looked at; every answer follows from the machine alone."""

    reasoner: Reasoner

    def __post_init__(self) -> None:
        self._wirings: dict[Situation, Wiring] = {}
        self._tags: dict[str, tuple[str, ...]] = {}

    def wiring(self, situation: Situation) -> Wiring:
        if situation not in self._wirings:
            self._wirings[situation] = Wiring(self.reasoner, situation)
        return self._wirings[situation]

    def wirings(self, first: Situation) -> Iterator[Wiring]:
        """The wiring of a situation, then of every other that the file names: a dead coil has sides as well."""
        yield self.wiring(first)
        for named in self.reasoner.machine.circuit.situations.values():
            if named.situation != first:
                yield self.wiring(named.situation)

    # -- devices ------------------------------------------------------------------------------------------------------

    def tags(self, role: str) -> tuple[str, ...]:
        """Tags of the devices that a role means, the first one first; empty where the machine has none."""
        if role not in self._tags:
            found = tags_of(role, self.reasoner.machine.circuit.roles)
            if parted(role)[0]:
                found = tuple(tag for one in found[:1] if (tag := self._supply(one)))
            self._tags[role] = found
        return self._tags[role]

    def tag(self, role: str) -> str | None:
        """The device that a role means where it means one: the first."""
        return next(iter(self.tags(role)), None)

    def _supply(self, tag: str) -> str | None:
        """The rectifier, transformer or supply that makes the current of a device's coil; None where it takes the mains."""
        device = self._device(tag)
        faces = KINDS[device.kind].faces(device)
        if "coil" not in faces:
            return None
        coil = tuple(Pin(tag, pin) for pin in faces["coil"])
        making = {
            other: tuple(Pin(other, pin) for pin in faces["output"])
            for other, found in self.reasoner.machine.circuit.devices.items()
            if {"input", "output"} <= (faces := KINDS[found.kind].faces(found)).keys()
        }
        for wiring in self.wirings(Situation()):
            for other, pins in making.items():
                if any(wiring.between(a, b) for a in pins for b in coil):
                    return other
        return None

    # -- points -------------------------------------------------------------------------------------------------------

    def pin(self, point: PointName, situation: Situation) -> Pin | Absent | Unknown:
        """The terminal that a point names on this machine. A face without a side has none: see `pair`."""
        match point:
            case PinPoint():
                return self._terminal(point)
            case WiredPoint():
                return self._wired(point)
            case SourcePoint() | DevicePoint():
                return Unknown(f"'{point}' is the beginning of a path, not a terminal")
            case FacePoint():
                found = self.pair(point)
                if not isinstance(found, tuple):
                    return found
                if point.side == "":
                    return Unknown(f"{point} has two terminals; add .hot or .return")
                hot, cold = self.sides(found, situation)
                if point.side == "reference":
                    return self.reference(hot, self.net(hot, situation), situation) or Unknown(
                        f"no source feeds {point.role}.{point.face}"
                    )
                return hot if point.side in ("hot", "in") else cold

    def pair(self, point: FacePoint) -> tuple[Pin, Pin] | Absent | Unknown:
        """Both terminals of a face."""
        tag = self.tag(point.role)
        if tag is None:
            return Absent(point.role)
        device = self._device(tag)
        faces = {**_contacts(KINDS[device.kind].faces(device)), **KINDS[device.kind].faces(device)}
        if point.face not in faces:
            return Unknown(f"{tag}, the {point.role}, has no face {point.face!r}", nearest(point.face, faces))
        a, b = faces[point.face]
        return Pin(tag, a), Pin(tag, b)

    def _device(self, tag: str) -> Device:
        return self.reasoner.machine.circuit.devices[tag]

    def _terminal(self, point: PinPoint) -> Pin | Absent | Unknown:
        circuit = self.reasoner.machine.circuit
        tag = point.device if point.device in circuit.devices else self.tag(point.device)
        if tag is None:
            return Absent(point.device)
        pins = KINDS[circuit.devices[tag].kind].pins(circuit.devices[tag])
        if point.pin not in pins:
            near = nearest(point.pin, pins)
            return Unknown(f"{tag} has no terminal {point.pin!r}", near and f"{point.device}:{near}")
        return Pin(tag, point.pin)

    def _wired(self, point: WiredPoint) -> Pin | Absent:
        """The controller's point that conductors alone join to a device in the role."""
        machine = self.reasoner.machine
        plc, tag = machine.role("plc"), self.tag(point.role)
        if plc is None or tag is None:
            return Absent(point.role if tag is None else "plc")
        near: dict[Pin, list[Pin]] = {}
        for hop in machine.circuit.hops:
            near.setdefault(hop.a, []).append(hop.b)
            near.setdefault(hop.b, []).append(hop.a)
        for target in terminals_of(self._device(plc), point.which):
            seen = {Pin(plc, target)}
            queue = list(seen)
            while queue:
                for other in near.get(queue.pop(), ()):
                    if other not in seen:
                        seen.add(other)
                        queue.append(other)
            if any(pin.device == tag for pin in seen):
                return Pin(plc, target)
        return Absent(point.role)

    def chance(self, a: Pin | None, b: Pin | None) -> float:
        """Chance beforehand of the faults in the conductor or contact between two pins; a floor for what has none."""
        if a is None or b is None:
            return LEAST_CHANCE
        net = self.reasoner.machine.net
        slots = {net.elements[k].slot for k in self.wiring(Situation()).parts_of(a, b)}
        return max(sum(self._by_slot.get(slot, 0.0) for slot in slots), LEAST_CHANCE)

    @cached_property
    def _by_slot(self) -> Mapping[str, float]:
        found: dict[str, float] = {}
        for suspect in self.reasoner.machine.suspects:
            for slot in {edit.slot for edit in suspect.edits}:
                found[slot] = found.get(slot, 0.0) + suspect.prior
        return found

    # -- sides, kinds of current, references --------------------------------------------------------------------------

    def sides(self, pair: tuple[Pin, Pin], situation: Situation) -> tuple[Pin, Pin]:
        """(hot, return) of a load, (in, out) of a contact or a link.

        The side with more volts to earth on the healthy machine. Where both have the same: the side that is fed when
        the part between them is taken out; where both are fed (a coil between two phases), the side that more
        terminals lead to, which is the switched one.
        """
        a, b = pair
        for wiring in self.wirings(situation):
            for kind in _NETS:
                va, vb = wiring.volts(kind, a), wiring.volts(kind, b)
                level_a, level_b = (abs(va), abs(vb)) if kind == "ac" else (va.real, vb.real)
                if wiring.scale[kind] > 1 and abs(level_a - level_b) > LIVE_SHARE * wiring.scale[kind]:
                    return (a, b) if level_a > level_b else (b, a)
        for wiring in self.wirings(situation):
            out = wiring.parts_of(a, b)
            for kind in _NETS:
                fed = {p: wiring.source_path(p, kind, out) for p in pair}
                live = {p: bool(fed[p]) and abs(wiring.volts(kind, p)) > LIVE_SHARE * wiring.scale[kind] for p in pair}
                if live[a] != live[b]:
                    return (a, b) if live[a] else (b, a)
                if live[a]:
                    return (a, b) if len(fed[a]) >= len(fed[b]) else (b, a)
                if bool(fed[a]) != bool(fed[b]):
                    # On the neutral side of a load current runs towards the terminal that is joined to the source.
                    return (b, a) if fed[a] else (a, b)
        return a, b

    def net(self, pin: Pin, situation: Situation) -> Net:
        """Kind of current at a point, in the first situation in which it is live."""
        for wiring in self.wirings(situation):
            for kind in _NETS:
                if wiring.scale[kind] > 1 and abs(wiring.volts(kind, pin)) > LIVE_SHARE * wiring.scale[kind]:
                    return kind
        for wiring in self.wirings(situation):
            if wiring.source_path(pin, "dc"):
                return "dc"
        return "ac"

    def feeding(self, point: PointName, pin: Pin, situation: Situation) -> Pin:
        """The pin that tells what feeds a point: for a side of a face its hot one, as a return carries nothing."""
        if isinstance(point, FacePoint):
            pair = self.pair(point)
            if isinstance(pair, tuple):
                return self.sides(pair, situation)[0]
        return pin

    def reference(self, pin: Pin, kind: Net, situation: Situation) -> Pin | None:
        """Where the black lead is parked: the bar wired to the other terminal of the source that feeds `pin`.

        Without a bar, that terminal. None where no source feeds the point.
        """
        for wiring in self.wirings(situation):
            path = wiring.source_path(pin, kind)
            if path and (other := wiring.other_terminal(path[0], kind)) is not None:
                return self._bar_at(other) or other
        return None

    def _bar_at(self, terminal: Pin) -> Pin | None:
        devices = self.reasoner.machine.circuit.devices
        seen, queue = {terminal}, deque([terminal])
        while queue:
            pin = queue.popleft()
            if devices[pin.device].kind == "bar":
                return Pin(pin.device, KINDS["bar"].pins(devices[pin.device])[0])
            for hop in self.reasoner.machine.circuit.hops:
                if pin in (hop.a, hop.b):
                    other = hop.b if pin == hop.a else hop.a
                    if other not in seen:
                        seen.add(other)
                        queue.append(other)
        return None

    # -- paths --------------------------------------------------------------------------------------------------------

    def path(self, start: PointName, end: PointName, situation: Situation) -> tuple[Pin, ...] | Absent | Unknown:
        """Conductors and contacts in series from `start` to `end`, as pins in order, in this situation.

        A contact that the device at the end moves itself is taken only where nothing else leads there: before the
        contactor is in, its own contact carries nothing.
        """
        last = self.pin(end, situation)
        if not isinstance(last, Pin):
            return last
        wiring = self.wiring(situation)
        kind = self.net(self.feeding(end, last, situation), situation)
        if isinstance(start, DevicePoint):
            return self._from_device(start, last, wiring, kind)
        first: Pin | None = None
        if not isinstance(start, SourcePoint):
            found = self.pin(start, situation)
            if not isinstance(found, Pin):
                return found
            first = found
        for without in (wiring.own(last.device), frozenset[int]()):
            whole = wiring.source_path(last, kind, without)
            if first is None and whole:
                return whole
            if first is not None and first in whole:
                return whole[whole.index(first) :]
            if first is not None and (direct := wiring.between(first, last, without)):
                return direct
        return Unknown(f"nothing leads from {start} to {end} ({last}) in this situation")

    def _from_device(self, start: DevicePoint, last: Pin, wiring: Wiring, kind: Net) -> tuple[Pin, ...] | Absent:
        """From the terminal at which the way from the source leaves a device; Absent where it does not run past it."""
        tags = self.tags(start.role)
        whole = wiring.source_path(last, kind, wiring.own(last.device)) or wiring.source_path(last, kind)
        past = [k for k, pin in enumerate(whole) if pin.device in tags and pin.device != last.device]
        return whole[past[-1] :] if past else Absent(start.role)
