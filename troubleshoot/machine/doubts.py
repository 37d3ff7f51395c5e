"""What makes a machine, as its file has it, one that cannot work: told as warnings, since a file may be right and unfinished.

Computed: what no wire reaches, what never pulls in, lights or turns although its role says that it should, what gets far more
volts than its rating, and one wire number on conductors that nothing joins.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Net as Current
from troubleshoot.circuit.kinds.base import coil_of, number
from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.machine.described import Machine, joined
from troubleshoot.solve.elimination import EARTH
from troubleshoot.solve.network import Network
from troubleshoot.solve.settle import Outcome, settle_many
from troubleshoot.text.problem import Position
from troubleshoot.text.yamlnodes import Map, Seq, Text, compose

TOO_MUCH: Final = 1.25
"""Share of its rating over which a part gets volts that it is not made for. A nominal pair (230 V parts on 240 V) and the
rise of an unloaded transformer stay under it; judgement."""
SOME: Final = 1.0
"""Volts under which a part gets nothing."""
_DOES: Final = {
    "contactor": ("coil", "never pulls in", "in"), "relay": ("coil", "never pulls in", "in"), "brake": ("coil", "never lets go", "released"),
    "lamp": ("lamp", "never lights", "on"), "horn": ("horn", "never sounds", "on"),
}  # fmt: skip
"""Kind to its rating, what it then does not do, and the state in which it does."""
_CURRENTS: Final[tuple[Current, ...]] = ("ac", "dc")
_JOINS: Final = ("bar", "terminals", "plug")
"""Kinds on both sides of which a wire may keep its number."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that looks wrong: of a device or of a wire number."""

    of: Literal["device", "wire"]
    name: str
    """Tag or wire number."""
    what: str
    stays_out: bool = False
    """A coil that gets volts and does not move."""
    follows: bool = False
    """It gets nothing, which may well follow from a coil that stays out."""


def doubts(machine: Machine, situations: Iterable[Situation]) -> tuple[Doubt, ...]:
    """Everything that looks wrong on the whole machine. situations: in which it is looked at; the more, the surer."""
    # Also while it goes on: a coil that does not seal in has volts only while the button is held.
    begun = (replace(s, acts=s.acts[:k]) for s in (Situation(), *situations) for k in range(len(s.acts) + 1))
    cases = [((), situation) for situation in dict.fromkeys(begun)]
    outcomes = [one for found in settle_many(machine.net, cases) for one in found]
    bare = tuple(_unreached(machine))
    known = {doubt.name for doubt in bare}
    loads = [d for d in (*_loads(machine, outcomes), *_motors(machine, outcomes)) if d.name not in known]
    # One coil of the wrong volts leaves everything behind it without any: that is told once, at the coil.
    cause = any(d.stays_out for d in loads)
    return (*bare, *(d for d in loads if not (cause and d.follows)), *_parted(machine))


def place_of(source: bytes, file: str) -> Callable[[Doubt], Position]:
    """Where in the text of a circuit file, which reads well, a doubt is about: the device's tag, or the last line of the wire."""
    root = compose(source, file).root
    sections = {key.value: value for key, value in root} if isinstance(root, Map) else {}
    tags, wires = sections.get("devices"), sections.get("wires")
    at: dict[tuple[str, str], Position] = {}
    for key, _ in tags if isinstance(tags, Map) else ():
        at["device", key.value] = key.at
    for item in wires.items if isinstance(wires, Seq) else ():
        number = item.get("number") if isinstance(item, Map) else None
        if isinstance(number, Text):
            at["wire", number.value] = number.at
    return lambda doubt: at.get((doubt.of, doubt.name), Position(file, 1, 1))


def _unreached(machine: Machine) -> Iterator[Doubt]:
    circuit = machine.circuit
    wired = {pin.device for hop in circuit.hops for pin in (hop.a, hop.b)}
    wired |= {pin.device for one in circuit.variants.values() for pair in one.join for pin in pair}
    for tag, device in circuit.devices.items():
        if tag not in wired and KINDS[device.kind].pins(device):
            yield Doubt("device", tag, f"{tag} ({device.words}): no wire reaches any of its terminals")


def _loads(machine: Machine, outcomes: Sequence[Outcome]) -> Iterator[Doubt]:
    """Coils, lamps and horns: never moved though a role says so, or given more than they are made for."""
    timed = any(device.kind == "timer relay" for device in machine.circuit.devices.values())
    wired = {str(pin) for hop in machine.circuit.hops for pin in (hop.a, hop.b)}
    in_role = {tag for tags in machine.circuit.roles.values() for tag in tags}
    for law in machine.net.laws:
        device = machine.circuit.devices.get(law.var)
        if device is None or device.kind not in _DOES:
            continue
        rating, never, does = _DOES[device.kind]
        rated, current = coil_of(device, rating)
        ends = machine.net.index[law.a], machine.net.index[law.b]
        most = {kind: max(_across(n, ends, kind) for o in outcomes for n in o.networks) for kind in _CURRENTS}
        moved = any(state[law.var] == does for o in outcomes for state in o.states)
        what = f"{rating} {rated:g} V {current.upper()}"
        if not moved and law.var in in_role:
            gets = [f"{most[kind]:.0f} V {kind.upper()}" for kind in _CURRENTS if most[kind] > SOME]
            got = f"gets at most {' and '.join(gets)}" if gets else "gets no volts in any situation"
            bare = [end for end in (law.a, law.b) if end not in wired]
            if not gets and timed and not bare:
                continue  # it may be in for a few seconds only, of which a situation at rest shows nothing
            got += f"; no wire at {' and '.join(bare)}" if bare else ""
            said = f"{law.var} ({device.words}) {never}: {what}, {got}"
            yield Doubt("device", law.var, said, bool(gets) and device.kind in ("contactor", "relay"), not gets)
        elif most[current] > TOO_MUCH * rated:
            yield Doubt(
                "device", law.var, f"{law.var} ({device.words}) gets {most[current]:.0f} V {current.upper()}: {what}"
            )


def _across(network: Network, ends: tuple[int, int], kind: Current) -> float:
    a, b = (0.0 if end == EARTH else complex(network.volts(kind)[end]) for end in ends)
    return abs(a - b)


def _motors(machine: Machine, outcomes: Sequence[Outcome]) -> Iterator[Doubt]:
    net = machine.net
    for motor in net.motors:
        device = machine.circuit.devices[motor.var]
        pins = [net.node(Pin(motor.var, pin)) for pin in KINDS[device.kind].pins(device) if pin != "PE"]
        pairs = list(zip(pins[:3], pins[3:] or (*pins[1:], pins[0]), strict=False))
        most = max(_across(n, ends, "ac") for o in outcomes for n in o.networks for ends in pairs)
        rated = number(device, "volts")
        turns = any(state[motor.var].startswith("turning") for o in outcomes for state in o.states)
        if not turns and motor.var in machine.circuit.roles.get("motor", ()):
            got = f"gets at most {most:.0f} V" if most > SOME else "gets no volts in any situation"
            said = f"{motor.var} ({device.words}) never turns: {rated:g} V motor, {got}"
            yield Doubt("device", motor.var, said, follows=most <= SOME)
        elif most > TOO_MUCH * rated:
            yield Doubt(
                "device", motor.var, f"{motor.var} ({device.words}) gets {most:.0f} V: it is made for {rated:g} V"
            )


def _parted(machine: Machine) -> Iterator[Doubt]:
    """One number on conductors that no wire, bar, terminal or plug joins: they are two potentials as soon as a contact opens."""
    net, devices = machine.net, machine.circuit.devices
    joins = [(net.node(hop.a), net.node(hop.b)) for hop in machine.circuit.hops]
    joins += [(e.a, e.b) for e in net.elements if (d := devices.get(e.slot.split(" ")[0])) and d.kind in _JOINS]
    ends: dict[str, dict[int, Pin]] = {}
    for hop in machine.circuit.hops:
        for pin in (hop.a, hop.b) if hop.number else ():
            ends.setdefault(hop.number, {}).setdefault(net.node(pin), pin)
    for wire, pins in ends.items():
        first, *_ = pins
        whole = joined({first}, joins)
        other = next((node for node in pins if node not in whole), None)
        if other is not None:
            what = (
                f"wire {wire} is on {pins[first]} and on {pins[other]}, which no wire joins: two potentials, one number"
            )
            yield Doubt("wire", wire, what)
