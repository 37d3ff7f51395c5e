"""A circuit made ready for solving: numbered nodes, elements with their slots, laws, the state before power."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol, TypeVar

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import (
    Branch,
    Control,
    Cpu,
    CurrentLaw,
    DelayLaw,
    Given,
    HeatLaw,
    InterlockLaw,
    Kind,
    Law,
    LimitLaw,
    MotorLaw,
    Part,
    Sign,
    Spare,
    Variable,
    shaft_of,
)
from troubleshoot.circuit.model import Circuit, Device, Hop, Pin
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import EARTH, Plan, plan
from troubleshoot.solve.runs import couplings

COPPER_OHMS_PER_M = 0.0121
"""1.5 mm2 copper at 20 C (IEC 60228: 12.1 ohm/km)."""
USUAL_HZ = 60.0
"""For a circuit without a supply, whose AC network then has no source and is zero at any frequency."""
SAME = "same"
"""State of whatever is only compared with a copy, on a machine that is as described."""
JOINT_OHMS = 1e-3
"""One good screw terminal. Common practice, no published source."""


_Kept = TypeVar("_Kept")


class Scanner(Protocol):
    """The controller's program as the solver sees it: memory in, memory and outputs out. Pure and repeatable."""

    def start(self, before: Hashable = None) -> Hashable:
        """Memory after power-up. before: what it was when power went or the controller stopped; RETAIN is kept of it."""

    def scan(self, memory: Hashable, inputs: Mapping[str, bool], now_ms: int) -> tuple[Hashable, Mapping[str, bool]]:
        """One scan; inputs and outputs by point (``%IX0.0``)."""

    def next_event_ms(self, memory: Hashable, now_ms: int) -> int | None:
        """When the next running timer will act, in virtual milliseconds; None while none runs."""

    def changed(self, changes: tuple[str, ...]) -> Scanner:
        """The controller with its program changed; `changes` are slots of ``program`` edits."""


@dataclass(frozen=True, slots=True)
class Element:
    """One two-terminal element of the network."""

    slot: str
    """``K1 13-14`` for a part, the hop id for a conductor, ``meter`` for the meter."""
    a: int
    b: int
    part: Part


@dataclass(frozen=True)
class Net:
    """The compiled network. Immutable; faults are edits laid over it."""

    circuit: Circuit
    nodes: tuple[str, ...]
    """Node names: ``K1:14`` for pins, ``M1@star`` for inner points."""
    elements: tuple[Element, ...]
    laws: tuple[Law, ...]
    currents: tuple[CurrentLaw, ...]
    limits: tuple[LimitLaw, ...]
    motors: tuple[MotorLaw, ...]
    delays: tuple[DelayLaw, ...]
    cpus: tuple[Cpu, ...]
    interlocks: tuple[InterlockLaw, ...]
    controls: Mapping[str, Control]
    """By state variable, which is the device tag."""
    signs: Mapping[str, Sign]
    initial: Mapping[str, str]
    """State of every variable before power, controls in their usual position."""
    brakes: Mapping[str, tuple[str, ...]]
    """Motor tag to the state variables of the brakes that hold its shaft."""
    scanner: Scanner | None
    heats: tuple[HeatLaw, ...] = ()
    stray: tuple[int, ...] = ()
    """Numbers of the elements that are only capacitance between conductors or to earth: they hold no point."""
    scratch: dict[object, object] = field(default_factory=dict, compare=False, repr=False)
    """Solved networks by content: a cache, never a result."""

    def kept(self, name: str, kind: type[_Kept], make: Callable[[Net], _Kept]) -> _Kept:
        """What follows from this net alone and is made on first use. name: under which it lies in `scratch`."""
        found = self.scratch.get(name)
        if found is None:
            found = self.scratch[name] = make(self)
        assert isinstance(found, kind)
        return found

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Node name to number; ``@earth`` is EARTH."""
        return {name: k for k, name in enumerate(self.nodes)} | {"@earth": EARTH}

    @cached_property
    def element_index(self) -> Mapping[str, int]:
        """Slot name to element number."""
        return {element.slot: k for k, element in enumerate(self.elements)}

    @cached_property
    def plan(self) -> Plan:
        """Order of elimination, with one earth branch per node as the spare slots for earth faults."""
        return plan(len(self.nodes), tuple((e.a, e.b) for e in self.elements))

    def scanner_under(self, edits: Iterable[Edit]) -> Scanner | None:
        """The program as the edits leave it, made once for each set of changes."""
        changes = tuple(e.slot for e in edits if e.does == "program")
        if self.scanner is None or not changes:
            return self.scanner
        kept = self.scratch.setdefault("scanners", {})
        assert isinstance(kept, dict)
        if changes not in kept:
            kept[changes] = self.scanner.changed(changes)
        found: Scanner = kept[changes]
        return found

    @cached_property
    def supplies(self) -> tuple[str, ...]:
        """Tags of what power comes from."""
        return tuple(tag for tag, device in self.circuit.devices.items() if device.kind == "supply")

    @cached_property
    def hops(self) -> Mapping[str, Hop]:
        """Conductors by id."""
        return {hop.id: hop for hop in self.circuit.hops}

    def node(self, pin: Pin) -> int:
        """Number of a pin's node."""
        return self.index[str(pin)]

    def with_meter(self, red: Pin, black: Pin, ac_ohms: complex, dc_ohms: float) -> Net:
        """The same network with a meter laid across two pins."""
        meter = Element("meter", self.node(red), self.node(black), Branch("meter", "", "", ac_ohms, dc_ohms))
        return dataclasses.replace(self, elements=(*self.elements, meter), scratch={})

    def with_meters(self, meters: Sequence[tuple[Pin, Pin, complex, float]]) -> Net:
        """The same network with several meters to lay, each away until its state variable, `meter_name`, is `LAID`.

        meters: red, black, AC ohms and DC ohms of each.
        """
        names = [meter_name(k) for k in range(len(meters))]
        elements = (
            Element(name, self.node(red), self.node(black), Variable(
                name, "", "", name, {AWAY: math.inf, LAID: ac_ohms}, {AWAY: math.inf, LAID: dc_ohms}
            ))
            for name, (red, black, ac_ohms, dc_ohms) in zip(names, meters, strict=True)
        )  # fmt: skip
        initial = {**self.initial, **dict.fromkeys(names, AWAY)}
        return dataclasses.replace(self, elements=(*self.elements, *elements), initial=initial, scratch={})

    def with_spares(self, pairs: Sequence[tuple[Pin, Pin]]) -> Net:
        """The same network with an open slot between the terminals of each pair, for faults that join them."""
        spares = tuple(Element(spare_slot(a, b), self.node(a), self.node(b), Spare("", "", "")) for a, b in pairs)
        return dataclasses.replace(self, elements=(*self.elements, *spares), scratch={})


AWAY, LAID = "away", "laid"
"""States of a meter that may be laid."""


def meter_name(number: int) -> str:
    """Element and state variable of one of several meters."""
    return f"meter {number}"


def spare_slot(a: Pin, b: Pin) -> str:
    """Name of the open slot between two terminals."""
    return f"{a}~{b}"


def hop_ohms(hop: Hop) -> float:
    """Resistance of one conductor with its two joints, ohms."""
    return 2 * JOINT_OHMS + COPPER_OHMS_PER_M * hop.metres


def frequency(circuit: Circuit) -> float:
    """Supply frequency in hertz; the usual one for a circuit without a supply."""
    supplies = (device for device in circuit.devices.values() if device.kind == "supply")
    return next((float(str(device.ratings["frequency"])) for device in supplies), USUAL_HZ)


def _at_frequency(part: Part, hertz: float) -> Part:
    """The part with the reactance of its capacitor, where it has one."""
    if not isinstance(part, Branch) or not part.farads:
        return part
    return dataclasses.replace(part, ac=part.ac - 1j / (2 * math.pi * hertz * part.farads), farads=0.0)


def _qualified(device: Device, terminal: str) -> str:
    if terminal == "@earth":
        return terminal
    return f"{device.tag}{terminal}" if terminal.startswith("@") else f"{device.tag}:{terminal}"


def compile_circuit(circuit: Circuit, scanner: Scanner | None, kinds: Mapping[str, Kind] = KINDS) -> Net:
    """Number the nodes and gather elements, laws and states of a circuit that the loader has accepted.

    scanner: the controller's program, None where the circuit has none. Raises nothing on an accepted circuit.
    """
    names: dict[str, int] = {}
    elements: list[Element] = []
    laws: list[Law] = []
    currents: list[CurrentLaw] = []
    limits: list[LimitLaw] = []
    motors: list[MotorLaw] = []
    delays: list[DelayLaw] = []
    heats: list[HeatLaw] = []
    cpus: list[Cpu] = []
    interlocks: list[InterlockLaw] = []
    controls: dict[str, Control] = {}
    signs: dict[str, Sign] = {}
    initial: dict[str, str] = {}
    brakes: dict[str, tuple[str, ...]] = {}

    hertz = frequency(circuit)

    def number(name: str) -> int:
        return EARTH if name == "@earth" else names.setdefault(name, len(names))

    for device in circuit.devices.values():
        kind = kinds[device.kind]
        for pin in kind.pins(device):
            number(f"{device.tag}:{pin}")
        for part in kind.parts(device):
            ends = (number(_qualified(device, part.a)), number(_qualified(device, part.b)))
            elements.append(Element(f"{device.tag} {part.name}", *ends, _at_frequency(part, hertz)))
        for law in kind.laws(device):
            match law:
                case Law():
                    laws.append(dataclasses.replace(law, a=_qualified(device, law.a), b=_qualified(device, law.b)))
                    initial[law.var] = law.off
                case CurrentLaw():
                    currents.append(dataclasses.replace(law, part=f"{device.tag} {law.part}"))
                    initial[law.var] = law.ok
                case LimitLaw():
                    limits.append(dataclasses.replace(law, part=f"{device.tag} {law.part}"))
                case MotorLaw():
                    u, v, w = (f"{device.tag} {name}" for name in law.windings)
                    x, y, z = (f"{device.tag} {name}" for name in law.cores)
                    motors.append(dataclasses.replace(law, windings=(u, v, w), cores=(x, y, z)))
                    initial[law.var] = "still"
                    initial[shaft_of(law)] = "free"
                case DelayLaw():
                    delays.append(law)
                    initial.setdefault(law.var, law.before)
                case Given():
                    initial[law.var] = law.value
                case InterlockLaw():
                    interlocks.append(law)
                    initial[law.var] = "whole"
                case HeatLaw():
                    heats.append(dataclasses.replace(law, parts=tuple(f"{device.tag} {name}" for name in law.parts)))
                    initial[law.var] = law.ok
                case Cpu():
                    cpus.append(law)
                    initial |= dict.fromkeys(law.outputs.values(), "off")
        for control in kind.controls(device):
            controls[control.var] = control
            initial[control.var] = control.usual
        for sign in kind.signs(device):
            signs[sign.name] = sign
            if sign.kind == "compare":
                initial.setdefault(sign.var, SAME)
        held = device.ratings.get("holds")
        if isinstance(held, str):
            brakes[held] = (*brakes.get(held, ()), device.tag)
    for hop in circuit.hops:
        ohms = hop_ohms(hop)
        elements.append(Element(hop.id, number(str(hop.a)), number(str(hop.b)), Branch(hop.id, "", "", ohms, ohms)))
    first = len(elements)
    for slot, a, b, farads in couplings(circuit):
        ac = complex(0.0, -1 / (2 * math.pi * hertz * farads))
        elements.append(Element(slot, number(a), number(b), Branch(slot, "", "", ac, math.inf)))
    return Net(
        circuit, tuple(names), tuple(elements), tuple(laws), tuple(currents), tuple(limits), tuple(motors), tuple(delays),
        tuple(cpus), tuple(interlocks), controls, signs, initial, brakes, scanner, tuple(heats),
        tuple(range(first, len(elements))),
    )  # fmt: skip


__all__ = ["Element", "Net", "Scanner", "compile_circuit", "frequency", "hop_ohms", "spare_slot"]
