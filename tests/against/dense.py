"""An independent second opinion: the panel written out device by device, solved by LAPACK, settled by its own loop.

It shares with the program the circuit model (what is wired to what) and the published constants of the kinds (how many
ohms a contact has), and nothing else: no compiled network, no `Part` or `Law` of a kind, no elimination, no settling
code. So a slip in a kind's table of parts, in the stamping, in the elimination or in the order of settling shows.

The nodal matrix is factored by LAPACK (`numpy.linalg.inv`) and the answer refined until the currents at every node
balance, with the balance taken branch by branch in extended precision: a plain nodal solve keeps only four digits of an
island that hangs on a nanosiemens beside millisiemens-to-kilosiemens joints. Iterative refinement: Wilkinson, Rounding
Errors in Algebraic Processes (1963), from memory.
"""

from __future__ import annotations

import cmath
import itertools
import math
import os
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from multiprocessing import get_context
from typing import TypeVar

import numpy as np

from troubleshoot.circuit.kinds import points, rectifiers, safety, sensors, suppressors
from troubleshoot.circuit.kinds.drive import COLD, CORE_DC_OHMS, DC_HOLD, DC_RELEASE, DRAG, HEAVY, LEAST_LOAD, cage_of
from troubleshoot.circuit.kinds.hands import CONTACT_OHMS
from troubleshoot.circuit.kinds.induction import Cage, typical
from troubleshoot.circuit.kinds.joints import PLUG_OHMS
from troubleshoot.circuit.kinds.magnets import AC_DROP, AC_PICK, DC_DROP, DC_PICK
from troubleshoot.circuit.kinds.supplies import STRAY_FARADS, SUPPLY_OHMS
from troubleshoot.circuit.model import Act, Circuit, Device, Situation
from troubleshoot.solve.columns import LIMITING_S
from troubleshoot.solve.compiled import COPPER_OHMS_PER_M, JOINT_OHMS, Scanner
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import LEAK_S
from troubleshoot.solve.reacting import START_BAND

State = dict[str, str]
_Asked = TypeVar("_Asked")
_Found = TypeVar("_Found")
THIRD = cmath.rect(1, 2 * math.pi / 3)


@dataclass(frozen=True)
class Branch:
    """One two-terminal thing at one moment: siemens and emf, for both kinds of current."""

    name: str
    a: str
    b: str
    ac_s: complex
    dc_s: float
    ac_emf: complex = 0
    dc_emf: float = 0


@dataclass(frozen=True)
class Volts:
    """A solved network: volts by node name; earth is 0."""

    nodes: Mapping[str, int]
    ac: np.ndarray
    dc: np.ndarray
    branches: Mapping[str, Branch]
    stalled: frozenset[str] = frozenset()
    """Motors that turn and have no speed at which they carry their load."""

    def across(self, kind: str, a: str, b: str) -> complex:
        volts = self.ac if kind == "ac" else self.dc
        return complex((volts[self.nodes[a]] if a != EARTH else 0) - (volts[self.nodes[b]] if b != EARTH else 0))

    def amps(self, name: str) -> tuple[complex, float]:
        x = self.branches[name]
        return (
            (self.across("ac", x.a, x.b) - x.ac_emf) * x.ac_s,
            (self.across("dc", x.a, x.b).real - x.dc_emf) * x.dc_s,
        )


EARTH = "earth"


def _contacts(discs: int) -> int:
    """How many pairs touch when so many equal discs are packed: laid one by one where most of the earlier ones touch it."""
    laid = [0j]
    while len(laid) < discs:
        free = {
            complex(round(c.real, 6), round(c.imag, 6)) for d in laid for c in (d + cmath.rect(1, k * math.pi / 3) for k in range(6))
        }  # fmt: skip
        free = {c for c in free if all(abs(c - d) > 0.5 for d in laid)}
        laid.append(max(free, key=lambda c: (sum(abs(c - d) < 1.1 for d in laid), -sum(abs(c - d) ** 2 for d in laid))))
    return sum(abs(c - d) < 1.1 for c, d in itertools.combinations(laid, 2))


class Undecided(Exception):
    """A quantity inside the band in which the threshold may lie."""

    def __init__(self, key: str, value: float) -> None:
        self.key, self.value = key, value


class When(Exception):
    """An act comes while the machine goes in circles: at one of so many moments."""

    def __init__(self, key: str, moments: int) -> None:
        self.key, self.moments = key, moments


@dataclass
class Answer:
    """One way the machine may stand."""

    state: State
    memory: Hashable
    settled: bool
    weight: float
    volts: Volts
    moments: tuple[State, ...] = ()
    """Where it goes in circles: every state on the way round."""
    hangs_on: str = ""
    """``moment``: the last act came at one moment of a circle; ``history``: an earlier one did, and ended the circle."""
    moment: tuple[int, int] = (0, 1)
    """Which moment that was, of how many."""

    @property
    def states(self) -> tuple[State, ...]:
        """The state at rest, or every one that it goes through."""
        return self.moments or (self.state,)


def _num(d: Device, name: str) -> float:
    return float(d.ratings[name])


def _coil_ohms(volts: float, va: float, pf: float) -> complex:
    return volts * volts / va * complex(pf, math.sqrt(1 - pf * pf))


def _points(d: Device) -> Iterator[tuple[str, str, str, str]]:
    """Every point of a controller: what it is, its common, its terminal, its address."""
    groups = d.ratings["groups"]
    for address in d.ratings["inputs"]:
        yield "DC inputs", "COM", address, address
    for address in d.ratings["outputs"]:
        yield "sourcing outputs", "Q+", address, address
    # Inputs before outputs, as their laws are asked in that order.
    for last in ("inputs", "outputs"):
        for group in groups:
            for point in group.points if group.what.endswith(last) else ():
                yield group.what, group.common, point.terminal, point.address


def _protected(what: str) -> bool:
    return what in ("sourcing outputs", "sinking outputs")


def _sees(d: Device, here: str) -> bool:
    nothing, something = d.ratings["positions"][0], d.ratings["contact"] == "no"
    return (here != nothing) is something


def _two_wire(d: Device) -> tuple[float, str, float, float, float]:
    """Rated volts, kind of current, siemens on, siemens off, volts across it under which it lets go for sure."""
    volts, kind = d.ratings["supply"]
    usual = (4.0, 0.025, 0.0008) if kind == "dc" else (7.0, 0.2, 0.0017)
    drop, load, leak = (_num(d, name) or value for name, value in zip(("drop", "load", "leak"), usual, strict=True))
    return volts, kind, load / drop, leak / (sensors.LEAK_SHARE * volts), drop / load * _num(d, "least")


@dataclass
class Panel:
    """The circuit, and what was solved before."""

    circuit: Circuit
    program: Scanner | None
    mended: Scanner | None = None
    """The program once a fault has healed: without what was forced. None: as it is."""
    laid: tuple[Branch, ...] = ()
    """What is laid across terminals from outside: a meter."""
    any_moment: bool = False
    """The last act comes at every moment of a circle that goes on then, all equally likely; else at the last one."""
    memo: dict = field(default_factory=dict)

    # ------------------------------------------------------------------------------------------------- what is wired

    def branches(self, state: State) -> Iterator[Branch]:
        for d in self.circuit.devices.values():
            for name, a, b, *values in self.of_device(d, state):
                yield Branch(
                    f"{d.tag} {name}", a if a == EARTH else self.at(d, a), b if b == EARTH else self.at(d, b), *values
                )
        for hop in self.circuit.hops:
            s = 1 / (2 * JOINT_OHMS + COPPER_OHMS_PER_M * hop.metres)
            yield Branch(hop.id, str(hop.a), str(hop.b), s, s)
        yield from self.side_by_side()
        yield from self.laid

    def side_by_side(self) -> Iterator[Branch]:
        """What lies in one conduit: between every two at either end half of what their length has, and to earth."""
        hops = {hop.id: hop for hop in self.circuit.hops}
        place = {d.tag: d.place for d in self.circuit.devices.values()}
        for number, run in enumerate(self.circuit.runs):
            begins = place[hops[run.hops[0]].a.device]
            ends: list[list[str]] = [[], []]
            for name in run.hops:
                a, b = hops[name].a, hops[name].b
                turned = place[a.device] != begins and place[b.device] == begins
                ends[turned].append(str(a))
                ends[not turned].append(str(b))
            half = 1j * math.pi * self.hertz() * run.metres
            n = len(run.hops)
            touch = _contacts(n) / (n * (n - 1) / 2) if n > 1 else 0
            for pins in ends:
                for k, pin in enumerate(pins):
                    yield Branch(f"earth {number} {pin} {k}", pin, EARTH, half * run.to_earth, 0)
                    for j in range(k):
                        yield Branch(f"{number} {pin} {k} {j}", pin, pins[j], half * run.to_neighbour * touch, 0)

    @staticmethod
    def at(d: Device, pin: str) -> str:
        return f"{d.tag}{pin}" if pin.startswith("@") else f"{d.tag}:{pin}"

    def of_device(self, d: Device, state: State) -> Iterator[tuple]:
        here = state.get(d.tag, "")
        match d.kind:
            case "supply":
                _, volts = d.ratings["volts"]
                for k, line in enumerate(("L1", "L2", "L3")):
                    if here == "on":
                        yield line, line, "N", 1 / SUPPLY_OHMS, 1 / abs(SUPPLY_OHMS), volts * THIRD ** (-k)
                    else:
                        yield line, line, "N", 1e-4, 1e-4
                match d.ratings["earthing"]:
                    case "star point":
                        yield "bond", "N", "PE", 1e3, 1e3
                    case "none":
                        for line in ("L1", "L2", "L3"):
                            yield (
                                f"{line} to earth",
                                line,
                                EARTH,
                                2j * math.pi * _num(d, "frequency") * STRAY_FARADS,
                                1e-9,
                            )
                    case corner:
                        yield "bond", str(corner), "PE", 1e3, 1e3
                yield "earth", "PE", EARTH, 1e3, 1e3
            case "control transformer":
                # What couples the two sides is a current of its own: see `Transformer`. Here stand the iron and the copper.
                coupled, core = transformer_of(d)
                copper = 2 / (_num(d, "resistance") * coupled.rated_ohms)
                yield "primary", "H1", "H2", 1 / core, copper * coupled.ratio**2
                yield "secondary", "X1", "X2", 0, copper
            case "disconnect":
                yield from self.poles(here == "on", 500.0)
            case "fuse":
                yield ("link", "1", "2", *self.twice(200.0 if here == "whole" else 0.0))
            case "overload":
                for pair in ("1-2", "3-4", "5-6"):
                    yield (pair, *pair.split("-"), *self.twice(_num(d, "set") ** 2 / 2))
                yield ("95-96", "95", "96", *self.twice(50.0 if here == "set" else 0.0))
                yield ("97-98", "97", "98", *self.twice(0.0 if here == "set" else 50.0))
            case "push button" | "emergency stop" | "pull cord" | "selector" | "relay" | "contactor":
                yield from self.contacts(d.ratings["blocks"], here)
                if d.kind in ("relay", "contactor"):
                    yield ("coil", "A1", "A2", *self.coil(d, here == "in"))
                if d.kind == "contactor":
                    yield from self.poles(here == "in", 250.0)
            case "process switch":
                first, *others = d.ratings["positions"]
                named = {("nc",): (first,), ("no",): tuple(others)}
                yield from self.contacts({ab: named.get(how, how) for ab, how in d.ratings["blocks"].items()}, here)
            case "lamp" | "horn":
                volts, _ = d.ratings[d.kind]
                yield (d.kind, "X1", "X2", *self.twice(_num(d, "amps") / volts))
            case "timer relay":
                yield ("coil", "A1", "A2", *self.coil(d, here == "in"))
                yield from self.contacts(d.ratings["blocks"], state[f"{d.tag} timer"])
                yield from self.contacts(d.ratings["at once"], here)
            case "two-wire sensor":
                _, _, on, off, _ = _two_wire(d)
                made = _sees(d, here) and state[f"{d.tag} power"] == "on"
                yield ("signal", *d.ratings["pins"], *self.twice(on if made else off))
            case "three-wire sensor":
                plus, minus, out = d.ratings["pins"]
                yield ("supply", plus, minus, *self.twice(sensors.SUPPLY_AMPS / _num(d, "volts")))
                made = _sees(d, here) and (state[f"{d.tag} power"], state[f"{d.tag} stage"]) == ("on", "ok")
                s = _num(d, "load") / _num(d, "drop") if made else _num(d, "leak") / _num(d, "volts")
                yield ("signal", *((plus, out) if d.ratings["output"] == "PNP" else (out, minus)), *self.twice(s))
            case "safety relay":
                yield from self.safety_relay(d, here, state)
            case "dc supply":
                z = _num(d, "in") ** 2 / _num(d, "power") * complex(0.6, 0.8)
                yield "input", "L", "N", 1 / z, 1e-6
                if here == "limiting":
                    yield "output", "+", "-", LIMITING_S, LIMITING_S, 0, _num(d, "limit") / LIMITING_S
                elif here == "on":
                    yield "output", "+", "-", 50.0, 50.0, 0, _num(d, "out")
                else:
                    yield "output", "+", "-", 1e-4, 1e-4
            case "plc":
                yield ("supply", "L+", "M", *self.twice(_num(d, "amps") / 24))
                for what, common, terminal, address in _points(d):
                    yield from self.point(what, common, terminal, address, f"{d.tag} {address}", state)
            case "motor":
                # The copper. What lies behind it has no branch of its own: see `Rotor`.
                cage = cage_of(d)
                for winding in "UVW":
                    yield winding, f"{winding}1", f"@{winding}", 1 / cage.r1, 1 / (COLD * cage.r1 - CORE_DC_OHMS)
                for winding, end in zip("UVW", self.winding_ends(d), strict=True):
                    yield f"{winding} core", f"@{winding}", end, 0.0, 1 / CORE_DC_OHMS
            case "brake" if d.ratings["coil"][1] == "dc":
                ohms = d.ratings["coil"][0] ** 2 / _num(d, "coil watts")
                yield "coil", "1", "2", 1 / (3 * ohms), 1 / ohms
            case "rectifier":
                # What it takes and gives is worked out in `_solve`; here it is its diodes alone.
                yield "input", "1", "2", 0, 0
                through = 1 / (2 * rectifiers.DIODE_OHMS)
                if d.ratings["form"] == "half-wave":
                    yield "output", "+", "-", 0, through if here == "on" else 1e-9
                    yield "through", "2", "-", 1e3, 1e3
                else:
                    for half, a, b in (("upper", "+", "@middle"), ("lower", "@middle", "-")):
                        yield half, a, b, 0, 2 * through if here == "on" else 1e-9
                    for k in "12":
                        yield f"line {k}", k, "@middle", 1e-7, through if here == "on" else 1e-9
            case "suppressor":
                match d.ratings["type"]:
                    case "RC":
                        volt_seconds = 2 * math.pi * self.hertz() * _num(d, "farads")
                        yield "body", "1", "2", 1 / complex(_num(d, "ohms"), -1 / volt_seconds), 0
                    case "varistor":
                        yield ("body", "1", "2", *self.twice(1 / suppressors.VARISTOR_OHMS))
                    case _:
                        yield ("body", "1", "2", *self.twice(1e-9))
                        right = state[f"{d.tag} fitted"] == "right way round"
                        for name, var, fits in (("diode", d.tag, right), ("reversed", f"{d.tag} reversed", not right)):
                            on = fits and state[var] == "conducting"
                            yield (name, "1", "2", *self.twice(1 / suppressors.DIODE_OHMS if on else 0.0))
            case "plug":
                poles = d.ratings["poles"]
                for p in poles:
                    yield (p, f"{p} socket", f"{p} plug", *self.twice(1 / PLUG_OHMS if here == "in" else 0.0))
                for p, q in itertools.pairwise(poles):
                    yield (f"{p} to {q}", f"{p} plug", f"{q} plug", 0, 0)
            case "brake":
                volts, _ = d.ratings["coil"]
                pulled = here == "released"
                open_z = _coil_ohms(volts, _num(d, "inrush va"), _num(d, "inrush pf"))
                z = _coil_ohms(volts, _num(d, "sealed va"), _num(d, "sealed pf")) if pulled else open_z
                yield "coil", "1", "2", 1 / z, 1 / open_z.real
            case "terminals":
                return
            case "bar":
                for pin in d.ratings["pins"]:
                    yield pin, pin, "@bar", 1e3, 1e3
            case other:
                raise AssertionError(f"the oracle does not know the kind {other!r}")

    def point(self, what: str, common: str, terminal: str, name: str, bit: str, state: State) -> Iterator[tuple]:
        match what:
            case "DC inputs" | "sinking inputs" | "sourcing inputs":
                yield (name, terminal, common, *self.twice(1 / points.INPUT_OHMS))
            case "120 V AC inputs" | "230 V AC inputs":
                yield name, terminal, common, points.AC_INPUT_AMPS / float(what[:3]), 1 / points.AC_INPUT_DC_OHMS
            case "sourcing outputs" | "sinking outputs":
                made = state[bit] == "on" and state[f"{bit} stage"] == "ok"
                s = 1 / (points.OUTPUT_OHMS if made else points.OUTPUT_LEAK_OHMS)
                yield (name, terminal, common, *self.twice(s))
            case "relay outputs":
                yield (name, terminal, common, *self.twice(state[bit] == "on" and 1 / points.RELAY_OHMS))
            case "triac outputs":
                hertz = next(_num(d, "frequency") for d in self.circuit.devices.values() if d.kind == "supply")
                reactance = 1 / (2 * math.pi * hertz * points.SNUBBER_FARADS)
                yield f"{name} snubber", terminal, common, 1 / complex(points.SNUBBER_OHMS, -reactance), 0.0
                made = state[bit] == "on" and state[f"{bit} triac"] == "firing"
                yield (name, terminal, common, *self.twice(made and 1 / points.TRIAC_OHMS))
            case other:
                raise AssertionError(f"the oracle does not know {other!r}")

    def contacts(self, blocks: Mapping, here: str) -> Iterator[tuple]:
        for (a, b), how in blocks.items():
            made = {("no",): ("pressed", "pulled", "in"), ("nc",): ("free", "out")}.get(how, how)
            yield (f"{a}-{b}", a, b, *self.twice(1 / CONTACT_OHMS if here in made else 0.0))

    def safety_relay(self, d: Device, here: str, state: State) -> Iterator[tuple]:
        volts, kind = d.ratings["supply"]
        watts = _num(d, "power")
        yield "supply", "A1", "A2", watts / volts**2, watts / volts**2 * (1 if kind == "dc" else 10)
        if kind == "dc":
            yield (
                "rail",
                "A1",
                "@plus",
                *self.twice((state[f"{d.tag} rail"], here) == ("ok", "on") and 1 / safety.FUSE_OHMS),
            )
            yield "0 V", "A2", "@minus", 10.0, 10.0
        elif here == "limiting":
            yield "rail", "@plus", "@minus", LIMITING_S, LIMITING_S, 0, safety.RAIL_AMPS / LIMITING_S
        elif here == "on":
            yield "rail", "@plus", "@minus", 1 / safety.FUSE_OHMS, 1 / safety.FUSE_OHMS, 0, safety.RAIL_VOLTS
        else:
            yield "rail", "@plus", "@minus", 1e-4, 1e-4
        for pin in ("S11", "S33"):
            yield pin, "@plus", pin, 10.0, 10.0
        yield "channel 1", "S12", "@minus", 1 / safety.CHANNEL_OHMS, 1 / safety.CHANNEL_OHMS
        far, near = ("@minus", "@plus") if d.ratings["cross fault"] == "seen" else ("@plus", "@minus")
        yield "S21", far, "S21", 10.0, 10.0
        yield "channel 2", near, "S22", 1 / safety.CHANNEL_OHMS, 1 / safety.CHANNEL_OHMS
        yield "reset", "S34", "@minus", 1 / safety.RESET_OHMS, 1 / safety.RESET_OHMS
        closed = state[f"{d.tag} outputs"] == "closed"
        for (a, b), how in d.ratings["blocks"].items():
            yield (f"{a}-{b}", a, b, *self.twice(1 / CONTACT_OHMS if closed == (how == ("no",)) else 0.0))

    def hertz(self) -> float:
        return next(_num(d, "frequency") for d in self.circuit.devices.values() if d.kind == "supply")

    @staticmethod
    def winding_ends(d: Device) -> tuple[str, str, str]:
        """Where U, V and W end: at leads of their own, at the next one's begin, or at an inner star point."""
        if d.ratings["leads"] == "6":
            return "U2", "V2", "W2"
        return ("V1", "W1", "U1") if d.ratings["windings"] == "delta" else ("@star",) * 3

    def rotors(self, state: State, nodes: Mapping[str, int]) -> list[Rotor]:
        found = []
        for d in self.circuit.devices.values():
            if d.kind == "motor":
                ends = [
                    (nodes[self.at(d, f"@{w}")], nodes[self.at(d, end)])
                    for w, end in zip("UVW", self.winding_ends(d), strict=True)
                ]
                delta = d.ratings["windings"] == "delta"
                wound = (
                    (_num(d, "volts"), _num(d, "amps") / math.sqrt(3))
                    if delta
                    else (_num(d, "volts") / math.sqrt(3), _num(d, "amps"))
                )
                slip = _num(d, "rated slip") or typical(_num(d, "power")).slip
                way = {"turning": 1, "turning backward": -1}.get(state[d.tag], 0)
                load = max(_num(d, "load torque"), LEAST_LOAD)
                match state[f"{d.tag} shaft"]:
                    case "heavy":
                        load = max(load, HEAVY)
                    case "dragged" | "rubs":
                        load += DRAG
                    case "loose":
                        load = LEAST_LOAD
                found.append(
                    Rotor(d.tag, ends, cage_of(d), way, slip, *wound, load, delta or d.ratings["leads"] == "6")
                )
        return found

    def transformers(self, changed: Mapping[str, float]) -> list[Transformer]:
        """Those whose windings couple: an open one has no current to balance another with."""
        return [
            transformer_of(d)[0]
            for d in self.circuit.devices.values()
            if d.kind == "control transformer" and changed.get(f"{d.tag} primary") != 0
        ]

    @staticmethod
    def twice(s: float) -> tuple[float, float]:
        return s, s

    def poles(self, closed: bool, siemens: float) -> Iterator[tuple]:
        for pair in ("1-2", "3-4", "5-6"):
            yield (pair, *pair.split("-"), *self.twice(siemens if closed else 0.0))

    @staticmethod
    def coil(d: Device, sealed: bool) -> tuple[complex, float]:
        volts, current = d.ratings["coil"]
        if current == "dc":
            ohms = volts * volts / _num(d, "coil watts")
            return 1 / (3 * ohms), 1 / ohms
        open_z = _coil_ohms(volts, _num(d, "inrush va"), _num(d, "inrush pf"))
        z = _coil_ohms(volts, _num(d, "sealed va"), _num(d, "sealed pf")) if sealed else open_z
        return 1 / z, 1 / open_z.real

    # ----------------------------------------------------------------------------------------------------- the volts

    def pins(self) -> dict[str, int]:
        found: dict[str, int] = {}
        for x in self.branches(self.at_rest()):
            for end in (x.a, x.b):
                if end != EARTH:
                    found.setdefault(end, len(found))
        # A strip has no metal of its own: its terminals exist even where nothing is wired to them.
        for d in self.circuit.devices.values():
            for pin in d.ratings.get("pins", ()):
                found.setdefault(f"{d.tag}:{pin}", len(found))
        return found

    def solve(self, state: State, edits: tuple[Edit, ...]) -> Volts:
        before = (edits, tuple(state.values()))
        if before not in self.memo:
            self.memo[before] = self._solve(state, edits)
        return self.memo[before]

    def _solve(self, state: State, edits: tuple[Edit, ...]) -> Volts:
        changed = {e.slot: float(e.value) for e in edits if e.does == "siemens"}
        earthed = [(e.slot, float(e.value)) for e in edits if e.does == "earth"]
        scaled = {e.slot: float(e.value) for e in edits if e.does == "times"}
        transformers = self.transformers(changed)
        branches: list[Branch] = []
        for slot in changed:
            if "~" in slot:  # two terminals that nothing joins but this fault
                branches.append(Branch(slot, *slot.split("~"), 0, 0))
        for x in (*branches, *self.branches(state)):
            if x.name in scaled:
                x = replace(x, ac_s=x.ac_s * scaled[x.name], dc_s=x.dc_s * scaled[x.name])
            if x.name in changed:
                s = changed[x.name]
                dc_emf = x.dc_emf if x.dc_s != LIMITING_S else LIMITING_S * x.dc_emf
                # Beside the coupling, which goes on carrying what the winding's own impedance lets through.
                inside = sum(1 / one.ohms for one in transformers if x.name == f"{one.tag} secondary")
                x = Branch(x.name, x.a, x.b, s - inside, s, x.ac_emf, dc_emf)
            branches.append(x)
        for node, s in earthed:
            branches.append(Branch(f"earth fault {node}", node, EARTH, s, s))
        nodes = self.memo.get("nodes")
        if nodes is None:
            nodes = self.memo["nodes"] = self.pins()
        return self._converted(branches, nodes, tuple(slot for slot, _ in earthed), state, changed, transformers)

    def _converted(
        self, branches: list[Branch], nodes: Mapping[str, int], earthed: tuple, state: State, changed: Mapping,
        transformers: list[Transformer],
    ) -> Volts:  # fmt: skip
        """Solve again and again, each rectifier taking from its lines the power that it gave in the round before.

        Below two diode drops it gives nothing; what it would take is then reckoned as if it conducted, so that a loose
        line before it comes to rest at the volts that its load leaves there.
        """
        taken: dict[str, float] = {}
        rotors = self.rotors(state, nodes)
        for _ in range(50):
            now = [replace(x, ac_s=taken[x.name]) if x.name in taken else x for x in branches]
            ac, stalled = self._volts("ac", now, nodes, earthed, rotors, transformers)
            half = Volts(nodes, ac, np.zeros(len(nodes)), {})
            emf: dict[str, float] = {}
            for d in self.circuit.devices.values():
                if d.kind == "rectifier":
                    one = state[f"{d.tag} diodes"]
                    mean = {"series open": 0.0, "freewheel open": rectifiers.NO_FREEWHEEL_MEAN}.get(
                        one, math.sqrt(2) / math.pi
                    )
                    if d.ratings["form"] == "full-wave":
                        mean *= 1 if one == "one open" else 2
                    volts = abs(half.across("ac", f"{d.tag}:1", f"{d.tag}:2")) * mean
                    emf |= {f"{d.tag} output": volts, f"{d.tag} upper": volts / 2, f"{d.tag} lower": volts / 2}
            on = {f"{d.tag} {n}": state[d.tag] == "on" for d in self.circuit.devices.values() if d.kind == "rectifier"
                  for n in ("output", "upper", "lower")}  # fmt: skip
            through = {"output": 0.5, "upper": 1.0, "lower": 1.0}
            would = [
                replace(x, dc_emf=emf[x.name], dc_s=through[x.name.split()[-1]] / rectifiers.DIODE_OHMS)
                if x.name in on and x.name not in changed else x
                for x in now
            ]  # fmt: skip
            now = [replace(x, dc_emf=emf[x.name]) if on.get(x.name) else x for x in now]
            dc, _ = self._volts("dc", now, nodes, earthed, [])
            found = Volts(nodes, ac, self._volts("dc", would, nodes, earthed, [])[0], {x.name: x for x in would})
            before, taken = taken, {}
            for d in self.circuit.devices.values():
                if d.kind == "rectifier" and f"{d.tag} input" not in changed:
                    across = abs(found.across("ac", f"{d.tag}:1", f"{d.tag}:2"))
                    halves = [
                        n
                        for n in ("output", "upper", "lower")
                        if f"{d.tag} {n}" in emf and f"{d.tag} {n}" in found.branches
                    ]
                    watts = sum(-found.amps(f"{d.tag} {n}")[1] * emf[f"{d.tag} {n}"] for n in halves)
                    name = f"{d.tag} input"
                    taken[name] = max(watts, 0.0) / across**2 if across > 1e-9 else before.get(name, 0.0)
            if all(abs(taken[n] - before.get(n, 0.0)) <= 1e-6 * taken[n] + 1e-12 for n in taken):
                return Volts(nodes, ac, dc, {x.name: x for x in now}, stalled)
        raise AssertionError(f"the rectifiers' powers do not come to rest: {before} {taken}")

    def _volts(
        self, kind: str, branches: list[Branch], nodes: Mapping[str, int], earthed: tuple, rotors: list[Rotor],
        transformers: list[Transformer] | None = None,
    ) -> tuple[np.ndarray, frozenset[str]]:  # fmt: skip
        s = np.array([x.ac_s if kind == "ac" else x.dc_s for x in branches])
        emf = np.array([x.ac_emf if kind == "ac" else x.dc_emf for x in branches])
        spares, ways = (
            tuple(x.name for x in branches if "~" in x.name),
            tuple((rotor.way, rotor.load) for rotor in rotors),
        )
        coupled = transformers or []
        key = (kind, ways, earthed, spares, tuple(one.tag for one in coupled), s.tobytes(), emf.tobytes())
        if key not in self.memo:
            ends = np.array([[nodes.get(x.a, -1), nodes.get(x.b, -1)] for x in branches])
            self.memo[key] = _balanced(len(nodes), ends, s, emf, rotors, [one.into(nodes) for one in coupled])
        found: tuple[np.ndarray, frozenset[str]] = self.memo[key]
        return found

    # --------------------------------------------------------------------------------------------------- what it does

    def at_rest(self) -> State:
        state: State = {}
        for d in self.circuit.devices.values():
            match d.kind:
                case "supply" | "disconnect":
                    state[d.tag] = "on"
                case "fuse":
                    state[d.tag] = "whole"
                case "overload":
                    state[d.tag] = "set"
                case "push button" | "emergency stop" | "pull cord":
                    state[d.tag] = "free"
                case "selector" | "process switch":
                    state[d.tag] = d.ratings["usual"] or d.ratings["positions"][0]
                case "two-wire sensor" | "three-wire sensor":
                    state[d.tag] = d.ratings["usual"] or d.ratings["positions"][0]
                    state[f"{d.tag} power"] = "off"
                    if d.kind == "three-wire sensor":
                        state[f"{d.tag} stage"] = "ok"
                case "relay" | "contactor":
                    state[d.tag] = "out"
                    if d.ratings.get("interlocked with"):
                        state[f"{d.tag} interlock"] = "whole"
                case "timer relay":
                    state[d.tag] = state[f"{d.tag} timer"] = "out"
                case "safety relay":
                    state |= {d.tag: "off", f"{d.tag} outputs": "open"}
                    state |= dict.fromkeys((f"{d.tag} {x}" for x in ("channel 1", "channel 2", "reset")), "off")
                    if d.ratings["supply"][1] == "dc":
                        state[f"{d.tag} rail"] = "ok"
                case "lamp" | "horn" | "dc supply":
                    state[d.tag] = "off"
                case "brake":
                    state[d.tag] = "set"
                    # For eyes and a gauge; nothing electrical follows from them.
                    state |= {f"{d.tag} gap": "same", f"{d.tag} lining": "same", f"{d.tag} hand release": "let go"}
                case "plug":
                    state[d.tag] = "in"
                case "rectifier":
                    state[d.tag], state[f"{d.tag} diodes"] = "off", "whole"
                case "suppressor" if d.ratings["type"] == "diode":
                    state |= {d.tag: "blocking", f"{d.tag} reversed": "blocking", f"{d.tag} fitted": "right way round"}
                case "motor":
                    state[d.tag], state[f"{d.tag} shaft"] = "still", "free"
                case "plc":
                    state[d.tag] = "off"
                    for what, _, _, address in _points(d):
                        state[f"{d.tag} {address}"] = "off"
                        if _protected(what):
                            state[f"{d.tag} {address} stage"] = "ok"
                        if what == "triac outputs":
                            state[f"{d.tag} {address} triac"] = "waiting"
                    state |= {f"{d.tag} program": "same", f"{d.tag} forces": "same"}
        return state

    def answers(self, edits: tuple[Edit, ...], situation: Situation, least: float = 1e-3) -> list[Answer]:
        """Every way the machine may stand, thresholds being anywhere in their bands, all equally likely."""
        starts = self.circuit.roles.get("start", ())
        histories: list[tuple[Act, ...]] = [()]
        if situation.origin == "as-found" and starts:
            by_hand = [*self.circuit.roles.get("reset", ()), starts[0]]
            histories.append(tuple(Act(verb, tag) for tag in by_hand for verb in ("press", "release")))
        found: list[Answer] = []
        for history in histories:
            boxes: list[tuple[float, dict[str, tuple[float, float]]]] = [(1 / len(histories), {})]
            while boxes:
                weight, box = boxes.pop()
                story = Story(self, edits, situation, box)
                try:
                    story.play(history + situation.acts)
                except When as act:
                    boxes += [(weight / act.moments, {**box, act.key: (k, k)}) for k in range(act.moments)]
                    continue
                except Undecided as split:
                    low, high = story.asked[split.key]
                    share = (split.value - low) / (high - low)
                    for part, edge in ((share, (low, split.value)), (1 - share, (split.value, high))):
                        if weight * part * len(histories) >= least:
                            boxes.append((weight * part, {**box, split.key: edge}))
                    continue
                found.append(
                    Answer(
                        story.state,
                        story.memory,
                        story.settled,
                        weight,
                        story.now(),
                        tuple(state for state, _ in story.moments),
                        story.hangs_on,
                        story.moment,
                    )
                )
        return found if self.any_moment else _merged(found)


def answers_to_all(
    circuit: Circuit, program: Scanner | None, cases: list[tuple[tuple[Edit, ...], Situation]]
) -> list[list[Answer]]:
    """`Panel.answers` of many cases, in two processes."""
    return in_two(partial(_all, circuit, program), cases)


def in_two(answer: Callable[[list[_Asked]], list[_Found]], cases: Sequence[_Asked]) -> list[_Found]:
    """Answer all cases in two processes whose LAPACK keeps to one thread: for 111 nodes more are slower."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ |= dict.fromkeys(_ONE_THREAD, "1")
    try:
        with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
            # Every other one: dear cases stand beside each other.
            halves = [pool.submit(answer, [*cases[k::2]]) for k in (0, 1)]
            found: list[_Found] = [None] * len(cases)  # type: ignore[list-item]
            for k, half in enumerate(halves):
                found[k::2] = half.result()
            return found
    finally:
        for name, value in before.items():
            os.environ.pop(name) if value is None else os.environ.update({name: value})


_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS")


def _all(circuit: Circuit, program: Scanner | None, cases: list) -> list[list[Answer]]:
    panel = Panel(circuit, program)
    found = [panel.answers(edits, situation) for edits, situation in cases]
    for answer in (a for answers in found for a in answers):
        answer.volts = Volts({}, answer.volts.ac, answer.volts.dc, {})  # what is asked for, not what it was made of
    return found


def _merged(found: list[Answer]) -> list[Answer]:
    together: dict[Hashable, Answer] = {}
    for answer in found:
        round_ = tuple(tuple(sorted(state.items())) for state in answer.moments)
        key = (tuple(sorted(answer.state.items())), answer.memory, answer.settled, round_)
        if key in together:
            together[key].weight += answer.weight
            together[key].hangs_on = min(together[key].hangs_on, answer.hangs_on, key=["history", "moment", ""].index)
        else:
            together[key] = answer
    return sorted(together.values(), key=lambda a: -a.weight)


class Story:
    """One run of one situation with the thresholds in one box; replayed from the start whenever the box is split."""

    def __init__(self, panel: Panel, edits: tuple[Edit, ...], situation: Situation, box: Mapping) -> None:
        self.panel, self.edits, self.box = panel, edits, box
        self.asked: dict[str, tuple[float, float]] = {}
        self.stuck = {e.slot: str(e.value) for e in edits if e.does == "stuck"}
        self.weak = {e.slot: float(e.value) for e in edits if e.does == "threshold"}
        self.state = panel.at_rest()
        self.state |= {e.slot: str(e.value) for e in edits if e.does == "left"}
        self.state |= dict(situation.hold)
        self.state |= self.stuck
        self.program = panel.program
        self.memory = self.program.start() if self.program else None
        self.hands = dict(situation.hold)
        """Where a hand has each thing, whether or not it follows."""
        self.settled = True
        self.moments: tuple[tuple[State, Hashable], ...] = ()
        """Where it goes in circles: every state on the way round, with the program's memory."""
        self.hangs_on = ""
        self.moment = (0, 1)
        self.clock = 0.0
        self.started: dict[str, float] = {}
        """When each timer relay began to count, by tag; those that count."""

    def now(self) -> Volts:
        return self.panel.solve(self.state, self.edits)

    def play(self, acts: tuple[Act, ...]) -> None:
        self.rest()
        for left, act in zip(reversed(range(len(acts))), acts, strict=True):
            restless = not self.settled
            if restless and self.panel.any_moment and not left:
                key = "the last act comes"
                if key not in self.box:
                    raise When(key, len(self.moments))
                state, self.memory = self.moments[int(self.box[key][0])]
                self.state, self.hangs_on = dict(state), self.hangs_on or "moment"
                self.moment = (int(self.box[key][0]), len(self.moments))
            self.settled = True  # what went in circles may come to rest after the next act
            self.do(act)
            self.rest()
            if restless and self.settled and left:
                self.hangs_on = "history"

    def do(self, act: Act) -> None:
        if act.verb in ("lose power", "restore power"):
            for d in self.panel.circuit.devices.values():
                if d.kind == "supply":
                    self.state[d.tag] = "off" if act.verb == "lose power" else "on"
            return
        if act.verb == "heal":
            self.heal()
            return
        usual = self.panel.at_rest()[act.device]
        self.hands[act.device] = {
            "press": "pressed", "release": usual, "pull": "pulled", "put": act.value, "open": "off", "close": "on", "test": "tested",
            "reset": usual, "trip": "tripped", "refit": usual,
        }[act.verb]  # fmt: skip
        if act.device not in self.stuck:
            self.state[act.device] = self.hands[act.device]

    def heal(self) -> None:
        """Somebody wiggles the wire, knocks on the part, pulls out the button: the fault is gone, what is known stays known.

        What was held goes to where the hand has it, or falls back to its usual place. A program that was loaded stays; a
        force is taken off.
        """
        usual = self.panel.at_rest()
        for e in self.edits:
            if e.does in ("stuck", "left"):
                self.state[e.slot] = self.hands.get(e.slot, usual[e.slot])
        self.edits = tuple(e for e in self.edits if e.does == "program" and e.value != "forced")
        self.stuck, self.weak = {}, {}
        if not self.edits and self.panel.mended is not None:
            self.program = self.panel.mended

    def rest(self) -> None:
        """Let things happen until nothing does, or until the machine has been here before."""
        been: set[Hashable] = set()
        # What came and went before an act says nothing of what it does after it.
        self.settled, self.moments = True, ()
        for _ in range(80):
            if not self.onward(been):
                return
            if self.here() in been:
                break
            been.add(self.here())
        self.settled = False
        self.moments = tuple(self.round())

    def here(self) -> Hashable:
        return tuple(sorted(self.state.items())), self.memory

    def round(self) -> Iterator[tuple[State, Hashable]]:
        """Once more round, from where it stands to where it stands; what electronics leaves in no time is left out."""
        begun, passed = self.here(), list[tuple[State, Hashable]]()
        stays = False
        for _ in range(80):
            stood = dict(self.state), self.memory
            passed.append(stood)
            if not self.electronics(self.now()):
                stays = True
                yield stood
                self.onward(set())
            if self.here() == begun:
                break
        if not stays:
            yield from passed

    def onward(self, been: set[Hashable]) -> bool:
        """The next thing happens, and what cannot come back is forgotten; False: nothing does."""
        volts = self.now()
        # 14 times its rating: the fuse is faster than an armature (gG: 3.5 In in 5 s, 7 In in 0.1 s).
        if self.electronics(volts):
            return True
        if self.one_fuse(volts, at_least=14 / 3.5):
            been.clear()
        elif not self.magnets_and_program(volts):
            if not self.one_fuse(volts, at_least=1):
                if not self.started:
                    return False
                self.clock = min(self.ends(tag) for tag in self.started)
            been.clear()
        return True

    def set(self, var: str, value: str) -> bool:
        if var in self.stuck or self.state[var] == value:
            return False
        self.state[var] = value
        return True

    def over(self, key: str, value: float, low: float, high: float) -> bool:
        low, high = self.box.get(key, (low, high))
        self.asked[key] = (low, high)
        if value >= high * (1 - 1e-6):
            return True
        if value <= low * (1 + 1e-6):
            return False
        raise Undecided(key, value)

    def electronics(self, volts: Volts) -> bool:
        moved = False
        for stage, part, most, rests in self.protected():
            if self.state[stage] == "shut":
                moved |= self.state[rests] == "off" and self.set(stage, "ok")
            elif math.hypot(*map(abs, volts.amps(part))) > most:
                moved |= self.set(stage, "shut")
        if moved:
            return True
        for d in self.panel.circuit.devices.values():
            if d.kind == "dc supply":
                part, plus, minus, limit, full = "output", ":+", ":-", _num(d, "limit"), _num(d, "out")
            elif d.kind == "safety relay" and d.ratings["supply"][1] == "ac":
                part, plus, minus, limit, full = "rail", "@plus", "@minus", safety.RAIL_AMPS, safety.RAIL_VOLTS
            else:
                continue
            if self.state[d.tag] == "on" and -volts.amps(f"{d.tag} {part}")[1] > limit:
                moved |= self.set(d.tag, "limiting")
            elif self.state[d.tag] == "limiting":
                out = volts.across("dc", f"{d.tag}{plus}", f"{d.tag}{minus}").real
                moved |= out >= full and self.set(d.tag, "on")
        return moved

    def protected(self) -> Iterator[tuple[str, str, float, str]]:
        """Electronic fuses: their state, the part they watch, amperes, and the state that must be off for them to recover."""
        for d in self.panel.circuit.devices.values():
            if d.kind == "plc":
                for what, _, _, address in _points(d):
                    if _protected(what):
                        bit = f"{d.tag} {address}"
                        yield f"{bit} stage", bit, points.OUTPUT_TRIP_AMPS, bit
            elif d.kind == "three-wire sensor":
                yield f"{d.tag} stage", f"{d.tag} signal", sensors.THREE_WIRE_TRIP_AMPS, f"{d.tag} power"
            elif d.kind == "safety relay" and d.ratings["supply"][1] == "dc":
                yield f"{d.tag} rail", f"{d.tag} rail", safety.RAIL_AMPS, d.tag

    def ends(self, tag: str) -> float:
        return self.started[tag] + _num(self.panel.circuit.devices[tag], "time")

    def times(self, d: Device) -> bool:
        """A timer relay: one way its late contacts follow the coil at once, the other way when the time is up."""
        late = f"{d.tag} timer"
        coil, waits = self.state[d.tag], "in" if d.ratings["delay"] == "on" else "out"
        if late in self.stuck or self.state[late] == coil or coil != waits:
            self.started.pop(d.tag, None)
            return self.set(late, coil)
        self.started.setdefault(d.tag, self.clock)
        if self.clock < self.ends(d.tag) - 1e-9:
            return False
        del self.started[d.tag]
        return self.set(late, coil)

    def guards(self, d: Device) -> bool:
        """A safety relay: what its outputs do next."""
        one, two, reset = (self.state[f"{d.tag} {x}"] == "on" for x in ("channel 1", "channel 2", "reset"))
        out = f"{d.tag} outputs"
        here = self.state[out]
        if here == "one channel":
            return not (one or two) and self.set(out, "open")
        if here != "open" and not (one and two):
            return self.set(out, "one channel")
        if not (one and two):
            return False
        if d.ratings["reset"] == "automatic":
            return reset and here == "open" and self.set(out, "closed")
        following = {("open", False): "ready", ("ready", True): "pressed", ("pressed", False): "closed"}
        return self.set(out, following.get((here, reset), here))

    def magnets_and_program(self, volts: Volts) -> bool:
        new: dict[str, str] = {}
        for d in self.panel.circuit.devices.values():
            if d.kind != "motor":
                new |= self.reacts(d, volts)
        self.levers(new)
        for d in self.panel.circuit.devices.values():
            if d.kind == "motor":
                new[d.tag] = self.turns(d, volts)
        moved = False
        for var, value in new.items():
            moved |= self.set(var, value)
        for d in self.panel.circuit.devices.values():
            if d.kind == "timer relay":
                moved |= self.times(d)
            elif d.kind == "safety relay":
                moved |= self.guards(d)
        return self.scan() or moved

    def levers(self, new: dict[str, str]) -> None:
        """A mechanical interlock: an armature that wants in stays out if the other is in, or was the faster of two."""
        for d in self.panel.circuit.devices.values():
            mate = d.ratings.get("interlocked with")
            if not mate or self.state[f"{d.tag} interlock"] != "whole":
                continue
            wants = [t for t in (d.tag, str(mate)) if self.state[t] == "out" and new[t] == "in" and t not in self.stuck]
            if len(wants) == 2:
                faster = self.over(f"{d.tag} interlock race", 0.5, 0.0, 1.0)
                new[wants[1] if faster else wants[0]] = "out"
            for tag in wants:
                other = str(mate) if tag == d.tag else d.tag
                if self.state[other] == "in":
                    new[tag] = "out"

    def magnet(self, var: str, volts: float, off: str, on: str, rise: tuple, fall: tuple) -> str:
        if var in self.stuck:
            return self.state[var]
        if self.state[var] == off:
            # As a share of what it needs when it is whole, so that it is the same coil after it has healed.
            return on if self.over(f"{var} rise", volts / self.weak.get(var, 1.0), *rise) else off
        return self.state[var] if self.over(f"{var} fall", volts, *fall) else off

    def reacts(self, d: Device, volts: Volts) -> dict[str, str]:
        def across(kind: str, a: str, b: str) -> float:
            return abs(volts.across(kind, f"{d.tag}:{a}", f"{d.tag}:{b}"))

        match d.kind:
            case "relay" | "contactor" | "timer relay":
                u, kind = d.ratings["coil"]
                pick, drop = (DC_PICK, DC_DROP) if kind == "dc" else (AC_PICK, AC_DROP)
                rise, fall = (pick.low * u, pick.high * u), (drop.low * u, drop.high * u)
                return {d.tag: self.magnet(d.tag, across(kind, "A1", "A2"), "out", "in", rise, fall)}
            case "rectifier":
                return {} if d.tag in self.stuck else {d.tag: "on" if across("ac", "1", "2") >= 2.0 else "off"}
            case "suppressor" if d.ratings["type"] == "diode":
                forward = volts.across("dc", f"{d.tag}:2", f"{d.tag}:1").real
                new = {}
                for var, v in ((d.tag, forward), (f"{d.tag} reversed", -forward)):
                    goes_on = v >= 0.7 * (1 - 1e-6) if self.state[var] == "blocking" else v > 1e-3
                    new[var] = "conducting" if goes_on else "blocking"
                return new
            case "brake" if d.ratings["coil"][1] == "dc":
                u, _ = d.ratings["coil"]
                rise, fall = ((u * b.low, u * b.high) for b in (DC_RELEASE, DC_HOLD))
                return {d.tag: self.magnet(d.tag, across("dc", "1", "2"), "set", "released", rise, fall)}
            case "brake":
                u, _ = d.ratings["coil"]
                return {
                    d.tag: self.magnet(
                        d.tag, across("ac", "1", "2"), "set", "released", (0.70 * u, 0.85 * u), (0.40 * u, 0.60 * u)
                    )
                }
            case "dc supply":
                u = _num(d, "in")
                return {
                    d.tag: self.magnet(
                        d.tag, across("ac", "L", "N"), "off", "on", (0.70 * u, 0.85 * u), (0.60 * u, 0.75 * u)
                    )
                }
            case "lamp" | "horn":
                u, kind = d.ratings[d.kind]
                if d.tag in self.stuck:
                    return {}
                low, high = (0.35, 0.50) if d.kind == "lamp" else (0.50, 0.75)
                lit = self.over(d.tag, across(kind, "X1", "X2"), low * u, high * u)
                return {d.tag: "on" if lit else "off"}
            case "two-wire sensor":
                u, kind, _, _, least = _two_wire(d)
                name = f"{d.tag} power"
                rise = (sensors.ALIVE.low * u, sensors.ALIVE.high * u)
                return {
                    name: self.magnet(name, across(kind, *d.ratings["pins"]), "off", "on", rise, (0.6 * least, least))
                }
            case "three-wire sensor":
                u, name = _num(d, "volts"), f"{d.tag} power"
                plus, minus, _ = (f"{d.tag}:{pin}" for pin in d.ratings["pins"])
                rise, fall = ((band.low * u, band.high * u) for band in (sensors.ALIVE, sensors.DYING))
                return {
                    name: self.magnet(name, max(0.0, volts.across("dc", plus, minus).real), "off", "on", rise, fall)
                }
            case "safety relay":
                u, kind = d.ratings["supply"]
                new = {
                    d.tag: self.magnet(
                        d.tag, across(kind, "A1", "A2"), "off", "on", (0.65 * u, 0.85 * u), (0.45 * u, 0.6 * u)
                    )
                }
                second = ("@plus", ":S22") if d.ratings["cross fault"] == "seen" else (":S22", "@minus")
                rail = safety.RAIL_VOLTS
                for name, (a, b) in (
                    ("channel 1", (":S12", "@minus")),
                    ("channel 2", second),
                    ("reset", (":S34", "@minus")),
                ):
                    seen = abs(volts.across("dc", f"{d.tag}{a}", f"{d.tag}{b}"))
                    rise, fall = (DC_PICK.low * rail, DC_PICK.high * rail), (DC_DROP.low * rail, DC_DROP.high * rail)
                    var = f"{d.tag} {name}"
                    new[var] = self.magnet(var, seen, "off", "on", rise, fall)
                return new
            case "plc":
                new = {d.tag: self.magnet(d.tag, across("dc", "L+", "M"), "off", "running", (16.0, 20.4), (14.0, 18.0))}
                for what, common, terminal, address in _points(d):
                    bit = f"{d.tag} {address}"
                    if what == "triac outputs":
                        fires, holds = points.TRIAC_FIRES, points.TRIAC_HOLD_AMPS
                        lets_go = (points.TRIAC_OHMS * holds.low, points.TRIAC_OHMS * holds.high)
                        var, seen = f"{bit} triac", across("ac", terminal, common)
                        new[var] = self.magnet(var, seen, "waiting", "firing", (fires.low, fires.high), lets_go)
                    if not what.endswith("inputs") or bit in self.stuck:
                        continue
                    if " AC " in what:
                        seen, band = across("ac", terminal, common), points.AC_INPUT_BANDS[int(what[:3])]
                    else:
                        along = volts.across("dc", f"{d.tag}:{terminal}", f"{d.tag}:{common}").real
                        along = {"sinking inputs": along, "sourcing inputs": -along}.get(what, abs(along))
                        seen, band = max(0.0, along), points.INPUT_BAND
                    limits = band[d.ratings["type"]]
                    shared = f"{d.tag} inputs" if common == "COM" else f"{d.tag} {common} inputs"
                    new[bit] = "on" if self.over(shared, seen, limits.low, limits.high) else "off"
                return new
            case _:
                return {}

    def turns(self, d: Device, volts: Volts) -> str:
        amps = [volts.amps(f"{d.tag} {w}")[0] for w in "UVW"]
        delta = d.ratings["windings"] == "delta"
        rated = _num(d, "amps") / (math.sqrt(3) if delta else 1)
        if max(map(abs, amps)) < 0.05 * rated:
            return "still"
        brakes = [b.tag for b in self.panel.circuit.devices.values() if b.ratings.get("holds") == d.tag]
        if self.state[f"{d.tag} shaft"] == "held" or any(self.state[b] == "set" for b in brakes):
            return "humming"
        if self.state[d.tag].startswith("turning"):
            return "humming" if d.tag in volts.stalled else self.state[d.tag]
        (rotor,) = (r for r in self.panel.rotors(self.state, volts.nodes) if r.tag == d.tag)
        torque = rotor.torque(np.array(amps), 1.0)
        if not self.over(f"{d.tag} start", abs(torque), START_BAND.low, START_BAND.high):
            return "humming"
        return "turning" if torque > 0 else "turning backward"

    def scan(self) -> bool:
        moved = False
        for d in self.panel.circuit.devices.values():
            if d.kind != "plc" or self.program is None:
                continue
            if self.state[d.tag] == "running":
                inputs = {
                    p: self.state[f"{d.tag} {p}"] == "on" for what, _, _, p in _points(d) if what.endswith("inputs")
                }
                memory, outputs = self.program.scan(self.memory, inputs, 0)
            else:
                memory, outputs = self.program.start(self.memory), {}
            moved |= memory != self.memory
            self.memory = memory
            for what, _, _, p in _points(d):
                if what.endswith("outputs"):
                    moved |= self.set(f"{d.tag} {p}", "on" if outputs.get(p) else "off")
        return moved

    def one_fuse(self, volts: Volts, at_least: float) -> bool:
        worst, which = at_least, ""
        for d in self.panel.circuit.devices.values():
            if d.kind == "fuse" and self.state[d.tag] == "whole" and d.tag not in self.stuck:
                ratio = math.hypot(*map(abs, volts.amps(f"{d.tag} link"))) / (3.5 * _num(d, "amps"))
                if ratio >= worst:
                    worst, which = ratio, d.tag
        return bool(which) and self.set(which, "blown")


@dataclass(frozen=True)
class Rotor:
    """What lies behind the copper of one motor: three currents of their own, bound by impedances of the sequences."""

    tag: str
    ends: list[tuple[int, int]]
    cage: Cage
    way: int
    rated_slip: float
    volts: float
    amps: float
    load: float
    """Torque of the load over rated torque."""
    closed: bool

    # A slip may be an array of slips in all of these, what comes of it then has one more axis in front.

    def of_sequence(self, slip: float) -> complex:
        c = self.cage
        rotor = c.r2 / slip + 1j * c.x2
        iron = 1j * c.xm * c.rc / (c.rc + 1j * c.xm)
        return 1j * c.x1 + rotor * iron / (rotor + iron)

    def ohms(self, slip: float) -> np.ndarray:
        """(3, 3) volts of each winding for an ampere in each: a circulant by its three eigenvalues."""
        ahead, behind = self.of_sequence(slip), self.of_sequence(2 - slip)
        one, two = (ahead, behind) if self.way >= 0 else (behind, ahead)
        # An inner star point lets no zero sequence through but its leak to earth: any ohms will do.
        zero = 1j * self.cage.x1 if self.closed else self.of_sequence(self.rated_slip if self.way else 1.0)
        first = [(zero + one * THIRD**k + two * THIRD ** (-k)) / 3 for k in range(3)]
        rows = np.array([[first[(column - row) % 3] for column in range(3)] for row in range(3)])
        return np.moveaxis(rows, (0, 1), (-2, -1))

    def gap_watts(self, amps: complex, slip: float) -> float:
        """By the balance of power: what goes in less what the iron takes. The leakage takes none."""
        field_volts = amps * (self.of_sequence(slip) - 1j * self.cage.x1)
        return 3 * ((field_volts * amps.conjugate()).real - abs(field_volts) ** 2 / self.cage.rc)

    def torque(self, amps: np.ndarray, slip: float) -> float:
        """Forward torque over the load's torque; backward where it is negative."""
        one = amps @ [1, THIRD, THIRD**2] / 3
        two = amps @ [1, THIRD**2, THIRD] / 3
        ahead, behind = (one, two) if self.way >= 0 else (two, one)
        return (self.gap_watts(ahead, slip) - self.gap_watts(behind, 2 - slip)) / self.load_watts

    @cached_property
    def load_watts(self) -> float:
        rated = self.volts / (self.cage.r1 + self.of_sequence(self.rated_slip))
        return self.load * self.gap_watts(rated, self.rated_slip)

    def slip(self, open_volts: np.ndarray, inner_ohms: np.ndarray) -> float | None:
        """Where torque first meets the load, coming down from synchronous speed; None: nowhere."""

        def carries(slip: float) -> bool:
            return self.torque(np.linalg.solve(self.ohms(slip) + inner_ohms, open_volts), slip) >= 1

        grid = np.concatenate([[0.0], np.linspace(0.0005, 0.2, 400), np.linspace(0.202, 1, 400)])
        amps = np.linalg.solve(self.ohms(grid[1:]) + inner_ohms, open_volts[:, None])[..., 0]
        carrying = np.flatnonzero(self.torque(amps, grid[1:]) >= 1)
        if not len(carrying):
            return None
        low, high = float(grid[carrying[0]]), float(grid[carrying[0] + 1])
        while high - low > 1e-16:
            middle = (low + high) / 2
            if middle in (low, high):
                break
            low, high = (low, middle) if carries(middle) else (middle, high)
        return high


@dataclass(frozen=True)
class Transformer:
    """Ampere-turns that balance, behind the impedance of a short-circuit test: one current more, bound by one equation."""

    tag: str
    ratio: float
    """Secondary over primary volts."""
    rated_ohms: float
    ohms: complex
    """Seen from the secondary."""

    def into(self, nodes: Mapping[str, int]) -> tuple[Mapping[int, float], complex]:
        turns = {"H1": self.ratio, "H2": -self.ratio, "X1": -1.0, "X2": 1.0}
        return {nodes[f"{self.tag}:{pin}"]: share for pin, share in turns.items()}, self.ohms


def transformer_of(d: Device) -> tuple[Transformer, complex]:
    """The coupling, and the ohms of the iron across the primary: a quarter of the rated current at a power factor of 0.2."""
    high, low, va = _num(d, "in"), _num(d, "out"), _num(d, "power")
    rated = low * low / va
    ohms = rated * complex(_num(d, "resistance"), _num(d, "reactance"))
    return Transformer(d.tag, low / high, rated, ohms), 4 * high * high / va * complex(0.2, 0.98)


def _balanced(
    count: int, ends: np.ndarray, siemens: np.ndarray, emf: np.ndarray, rotors: list[Rotor],
    coupled: list[tuple[Mapping[int, float], complex]],
) -> tuple[np.ndarray, frozenset[str]]:  # fmt: skip
    """Node volts: LAPACK's inverse, then refinement until no node's current balance can be improved.

    Beside the volts, the currents behind the windings are unknowns of their own (modified nodal analysis: Ho, Ruehli,
    Brennan, IEEE Trans. CAS-22 (1975) 504, from memory), each with its row: volts of the winding less ohms times
    currents is nothing.
    """
    one, two = ends[:, 0], ends[:, 1]
    # Earth is one more row and column, cut off before inverting.
    matrix = np.zeros((count + 1, count + 1), siemens.dtype)
    for i, j, sign in ((one, one, 1), (two, two, 1), (one, two, -1), (two, one, -1)):
        np.add.at(matrix, (i, j), sign * siemens)
    matrix = matrix[:count, :count] + LEAK_S * np.eye(count)
    wide = 3 * len(rotors) + len(coupled)
    into = np.zeros((count, wide))
    for k, (a, b) in enumerate(end for rotor in rotors for end in rotor.ends):
        into[a, k] += 1
        into[b, k] -= 1
    for k, (shares, _) in enumerate(coupled, 3 * len(rotors)):
        for node, share in shares.items():
            into[node, k] += share
    long = np.clongdouble if np.iscomplexobj(siemens) or np.iscomplexobj(emf) else np.longdouble
    s, e = siemens.astype(long), emf.astype(long)

    def bound(slips: list[float]) -> np.ndarray:
        """Ohms between the currents that are unknowns of their own."""
        # A motor's are complex though all else be ohms alone: nothing but a heater wired beside it.
        ohms = np.zeros((wide, wide), np.complex128 if wide else siemens.dtype)
        for m, (rotor, slip) in enumerate(zip(rotors, slips, strict=True)):
            ohms[3 * m : 3 * m + 3, 3 * m : 3 * m + 3] = rotor.ohms(slip)
        for k, (_, own) in enumerate(coupled, 3 * len(rotors)):
            ohms[k, k] = own
        return ohms

    def at(slips: list[float]) -> tuple[np.ndarray, np.ndarray]:
        ohms = bound(slips)
        inverse = np.linalg.inv(np.block([[matrix, into], [into.T, -ohms]]) if wide else matrix)
        volts, wound = np.zeros(count + 1, long), np.zeros(wide, long)
        for _ in range(12):
            amps = s * (volts[one] - volts[two] - e)
            short = -LEAK_S * volts
            np.subtract.at(short, one, amps)
            np.add.at(short, two, amps)
            left = np.concatenate([short[:count] - into @ wound, ohms @ wound - into.T @ volts[:count]])
            step = inverse @ left.astype(inverse.dtype if long is np.longdouble else np.complex128)
            volts[:count] += step[:count]
            wound += step[count:]
            if np.max(np.abs(step)) < 1e-12:
                break
        return volts[:count], wound

    def first(m: int, slips: list[float]) -> float | None:
        """Slip of one rotor, the others turning as they do."""
        own = slice(3 * m, 3 * m + 3)
        rest = [k for k in range(wide) if not own.start <= k < own.stop]
        # The rest as the windings see it; without them the inner points hang in the air, so a stand-in holds them.
        stand_in = 1 / rotors[m].of_sequence(1.0)
        mine = into[:, own]
        held = np.block([
            [matrix + stand_in * mine @ mine.T, into[:, rest]],
            [into[:, rest].T, -bound(slips)[np.ix_(rest, rest)]],
        ])  # fmt: skip
        inverse = np.linalg.inv(held)[:count, :count]
        source = np.zeros(count + 1, np.complex128)
        np.add.at(source, one, siemens * emf)
        np.subtract.at(source, two, siemens * emf)
        v, z = mine.T @ (inverse @ source[:count]), mine.T @ inverse @ mine
        free = np.linalg.inv(np.eye(3) - stand_in * z)
        return rotors[m].slip(free @ v, free @ z)

    slips = [1.0] * len(rotors)
    turning = [m for m, rotor in enumerate(rotors) if rotor.way]
    stalled: set[str] = set()
    for _ in range(60):
        before = list(slips)
        for m in turning:
            found = first(m, slips)
            slips[m] = 1.0 if found is None else found
            (stalled.add if found is None else stalled.discard)(rotors[m].tag)
        if len(turning) < 2 or max(abs(a - b) for a, b in zip(before, slips, strict=True)) < 1e-12:
            break
    # That inverse keeps few digits where a terminal hangs on a nanosiemens: more steps, on refined volts.
    for _ in range(1 if len(turning) < 2 else 3):
        for m in turning:
            if rotors[m].tag in stalled:
                continue
            own = slice(3 * m, 3 * m + 3)

            def off_balance(slip: float, m: int = m, own: slice = own) -> float:
                return float(rotors[m].torque(at([*slips[:m], slip, *slips[m + 1 :]])[1][own], slip) - 1)

            slip = slips[m]
            behind = slip * 1.001
            off = off_balance(behind)
            for _ in range(3):
                here = off_balance(slip)
                if here == off:
                    break
                behind, slip, off = slip, float(slip - here * (slip - behind) / (here - off)), here
            slips[m] = slip
    volts = at(slips)[0]
    return volts.astype(np.complex128 if long is np.clongdouble else np.float64), frozenset(stalled)
