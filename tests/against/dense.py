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
import math
import os
from collections.abc import Hashable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context

import numpy as np

from troubleshoot.circuit.kinds.controller import (
    INPUT_BAND,
    INPUT_OHMS,
    OUTPUT_LEAK_OHMS,
    OUTPUT_OHMS,
    OUTPUT_TRIP_AMPS,
)
from troubleshoot.circuit.kinds.drive import COLD, CORE_DC_OHMS, LEAST_LOAD, cage_of
from troubleshoot.circuit.kinds.hands import CONTACT_OHMS
from troubleshoot.circuit.kinds.induction import Cage, typical
from troubleshoot.circuit.kinds.magnets import AC_DROP, AC_PICK, DC_DROP, DC_PICK
from troubleshoot.circuit.kinds.supplies import SUPPLY_OHMS
from troubleshoot.circuit.model import Act, Circuit, Device, Situation
from troubleshoot.solve.compiled import COPPER_OHMS_PER_M, JOINT_OHMS, Scanner
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import LEAK_S
from troubleshoot.solve.network import LIMITING_S
from troubleshoot.solve.settle import START_BAND

State = dict[str, str]
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


class Undecided(Exception):
    """A quantity inside the band in which the threshold may lie."""

    def __init__(self, key: str, value: float) -> None:
        self.key, self.value = key, value


@dataclass
class Answer:
    """One way the machine may stand."""

    state: State
    memory: Hashable
    settled: bool
    weight: float
    volts: Volts


def _num(d: Device, name: str) -> float:
    return float(d.ratings[name])


def _coil_ohms(volts: float, va: float, pf: float) -> complex:
    return volts * volts / va * complex(pf, math.sqrt(1 - pf * pf))


@dataclass
class Panel:
    """The circuit, and what was solved before."""

    circuit: Circuit
    program: Scanner | None
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
                yield "bond", "N", "PE", 1e3, 1e3
                yield "earth", "PE", EARTH, 1e3, 1e3
            case "disconnect":
                yield from self.poles(here == "on", 500.0)
            case "fuse":
                yield ("link", "1", "2", *self.twice(200.0 if here == "whole" else 0.0))
            case "overload":
                for pair in ("1-2", "3-4", "5-6"):
                    yield (pair, *pair.split("-"), *self.twice(_num(d, "set") ** 2 / 2))
                yield ("95-96", "95", "96", *self.twice(50.0 if here == "set" else 0.0))
                yield ("97-98", "97", "98", *self.twice(0.0 if here == "set" else 50.0))
            case "push button" | "emergency stop" | "selector" | "relay" | "contactor":
                for (a, b), how in d.ratings["blocks"].items():
                    made = {("no",): ("pressed", "in"), ("nc",): ("free", "out")}.get(how, how)
                    yield (f"{a}-{b}", a, b, *self.twice(1 / CONTACT_OHMS if here in made else 0.0))
                if d.kind in ("relay", "contactor"):
                    yield ("coil", "A1", "A2", *self.coil(d, here == "in"))
                if d.kind == "contactor":
                    yield from self.poles(here == "in", 250.0)
            case "lamp":
                volts, _ = d.ratings["lamp"]
                yield ("lamp", "X1", "X2", *self.twice(_num(d, "amps") / volts))
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
                for point in d.ratings["inputs"]:
                    yield (point, point, "COM", *self.twice(1 / INPUT_OHMS))
                for point in d.ratings["outputs"]:
                    made = state[f"{d.tag} {point}"] == "on" and state[f"{d.tag} {point} stage"] == "ok"
                    yield (point, "Q+", point, *self.twice(1 / (OUTPUT_OHMS if made else OUTPUT_LEAK_OHMS)))
            case "motor":
                # The copper. What lies behind it has no branch of its own: see `Rotor`.
                cage = cage_of(d)
                for winding in "UVW":
                    yield winding, f"{winding}1", f"@{winding}", 1 / cage.r1, 1 / (COLD * cage.r1 - CORE_DC_OHMS)
                for winding, end in zip("UVW", self.winding_ends(d), strict=True):
                    yield f"{winding} core", f"@{winding}", end, 0.0, 1 / CORE_DC_OHMS
            case "brake":
                volts, _ = d.ratings["coil"]
                pulled = here == "released"
                open_z = _coil_ohms(volts, _num(d, "inrush va"), 0.6)
                z = _coil_ohms(volts, _num(d, "sealed va"), 0.3) if pulled else open_z
                yield "coil", "1", "2", 1 / z, 1 / open_z.real
            case "terminals":
                return
            case "bar":
                for pin in d.ratings["pins"]:
                    yield pin, pin, "@bar", 1e3, 1e3
            case other:
                raise AssertionError(f"the oracle does not know the kind {other!r}")

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
                found.append(
                    Rotor(d.tag, ends, cage_of(d), way, slip, *wound, load, delta or d.ratings["leads"] == "6")
                )
        return found

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
        open_z = _coil_ohms(volts, _num(d, "inrush va"), 0.6)
        z = _coil_ohms(volts, _num(d, "sealed va"), 0.3) if sealed else open_z
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
        branches: list[Branch] = []
        for x in self.branches(state):
            if x.name in changed:
                s = changed[x.name]
                dc_emf = x.dc_emf if x.dc_s != LIMITING_S else LIMITING_S * x.dc_emf
                x = Branch(x.name, x.a, x.b, s, s, x.ac_emf, dc_emf)
            branches.append(x)
        for node, s in earthed:
            branches.append(Branch(f"earth fault {node}", node, EARTH, s, s))
        nodes = self.memo.get("nodes")
        if nodes is None:
            nodes = self.memo["nodes"] = self.pins()
        answers = []
        rotors = self.rotors(state, nodes)
        for kind in ("ac", "dc"):
            s = np.array([x.ac_s if kind == "ac" else x.dc_s for x in branches])
            emf = np.array([x.ac_emf if kind == "ac" else x.dc_emf for x in branches])
            ways = tuple(rotor.way for rotor in rotors) if kind == "ac" else ()
            key = (kind, ways, tuple(e[0] for e in earthed), s.tobytes(), emf.tobytes())
            if key not in self.memo:
                ends = np.array([[nodes.get(x.a, -1), nodes.get(x.b, -1)] for x in branches])
                self.memo[key] = _balanced(len(nodes), ends, s, emf, rotors if kind == "ac" else [])
            answers.append(self.memo[key])
        return Volts(nodes, answers[0][0], answers[1][0], {x.name: x for x in branches}, answers[0][1])

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
                case "push button" | "emergency stop":
                    state[d.tag] = "free"
                case "selector":
                    state[d.tag] = d.ratings["usual"] or d.ratings["positions"][0]
                case "relay" | "contactor":
                    state[d.tag] = "out"
                case "lamp" | "dc supply":
                    state[d.tag] = "off"
                case "brake":
                    state[d.tag] = "set"
                case "motor":
                    state[d.tag], state[f"{d.tag} shaft"] = "still", "free"
                case "plc":
                    state[d.tag] = "off"
                    state |= {f"{d.tag} {p}": "off" for p in (*d.ratings["inputs"], *d.ratings["outputs"])}
                    state |= {f"{d.tag} {p} stage": "ok" for p in d.ratings["outputs"]}
        return state

    def answers(self, edits: tuple[Edit, ...], situation: Situation, least: float = 1e-3) -> list[Answer]:
        """Every way the machine may stand, thresholds being anywhere in their bands, all equally likely."""
        starts = self.circuit.roles.get("start", ())
        histories: list[tuple[Act, ...]] = [()]
        if situation.origin == "as-found" and starts:
            histories.append((Act("press", starts[0]), Act("release", starts[0])))
        found: list[Answer] = []
        for history in histories:
            boxes: list[tuple[float, dict[str, tuple[float, float]]]] = [(1 / len(histories), {})]
            while boxes:
                weight, box = boxes.pop()
                story = Story(self, edits, situation, box)
                try:
                    story.play(history + situation.acts)
                except Undecided as split:
                    low, high = story.asked[split.key]
                    share = (split.value - low) / (high - low)
                    for part, edge in ((share, (low, split.value)), (1 - share, (split.value, high))):
                        if weight * part * len(histories) >= least:
                            boxes.append((weight * part, {**box, split.key: edge}))
                    continue
                found.append(Answer(story.state, story.memory, story.settled, weight, story.now()))
        return _merged(found)


def answers_to_all(
    circuit: Circuit, program: Scanner | None, cases: list[tuple[tuple[Edit, ...], Situation]]
) -> list[list[Answer]]:
    """`Panel.answers` of many cases, in two processes whose LAPACK keeps to one thread: for 111 nodes more are slower."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ |= dict.fromkeys(_ONE_THREAD, "1")
    try:
        with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
            middle = len(cases) // 2
            halves = [pool.submit(_all, circuit, program, part) for part in (cases[:middle], cases[middle:])]
            return [answers for half in halves for answers in half.result()]
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
        key = (tuple(sorted(answer.state.items())), answer.memory, answer.settled)
        if key in together:
            together[key].weight += answer.weight
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
        self.memory = panel.program.start() if panel.program else None
        self.settled = True

    def now(self) -> Volts:
        return self.panel.solve(self.state, self.edits)

    def play(self, acts: tuple[Act, ...]) -> None:
        self.rest()
        for act in acts:
            self.settled = True  # what went in circles may come to rest after the next act
            self.do(act)
            self.rest()

    def do(self, act: Act) -> None:
        if act.verb in ("lose power", "restore power"):
            for d in self.panel.circuit.devices.values():
                if d.kind == "supply":
                    self.state[d.tag] = "off" if act.verb == "lose power" else "on"
            return
        if act.device in self.stuck:
            return
        usual = self.panel.at_rest()[act.device]
        self.state[act.device] = {
            "press": "pressed", "release": usual, "put": act.value, "open": "off", "close": "on", "test": "tested",
            "reset": usual, "trip": "tripped", "refit": usual,
        }[act.verb]  # fmt: skip

    def rest(self) -> None:
        """Let things happen until nothing does, or until the machine has been here before."""
        been: set[Hashable] = set()
        for _ in range(80):
            volts = self.now()
            # 14 times its rating: the fuse is faster than an armature (gG: 3.5 In in 5 s, 7 In in 0.1 s).
            if self.electronics(volts):
                pass
            elif self.one_fuse(volts, at_least=14 / 3.5):
                been.clear()
            elif not self.magnets_and_program(volts):
                if not self.one_fuse(volts, at_least=1):
                    return
                been.clear()
            here = (tuple(sorted(self.state.items())), self.memory)
            if here in been:
                break
            been.add(here)
        self.settled = False

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
        for d in self.panel.circuit.devices.values():
            if d.kind != "plc":
                continue
            for point in d.ratings["outputs"]:
                bit = f"{d.tag} {point}"
                if self.state[f"{bit} stage"] == "shut":
                    moved |= self.state[bit] == "off" and self.set(f"{bit} stage", "ok")
                elif math.hypot(*map(abs, volts.amps(bit))) > OUTPUT_TRIP_AMPS:
                    moved |= self.set(f"{bit} stage", "shut")
        if moved:
            return True
        for d in self.panel.circuit.devices.values():
            if d.kind != "dc supply":
                continue
            if self.state[d.tag] == "on" and -volts.amps(f"{d.tag} output")[1] > _num(d, "limit"):
                moved |= self.set(d.tag, "limiting")
            elif self.state[d.tag] == "limiting":
                out = volts.across("dc", f"{d.tag}:+", f"{d.tag}:-").real
                moved |= out >= _num(d, "out") and self.set(d.tag, "on")
        return moved

    def magnets_and_program(self, volts: Volts) -> bool:
        new: dict[str, str] = {}
        for d in self.panel.circuit.devices.values():
            if d.kind != "motor":
                new |= self.reacts(d, volts)
        for d in self.panel.circuit.devices.values():
            if d.kind == "motor":
                new[d.tag] = self.turns(d, volts)
        moved = False
        for var, value in new.items():
            moved |= self.set(var, value)
        return self.scan() or moved

    def magnet(self, var: str, volts: float, off: str, on: str, rise: tuple, fall: tuple) -> str:
        if var in self.stuck:
            return self.state[var]
        if self.state[var] == off:
            weak = self.weak.get(var, 1.0)
            return on if self.over(f"{var} rise", volts, rise[0] * weak, rise[1] * weak) else off
        return self.state[var] if self.over(f"{var} fall", volts, *fall) else off

    def reacts(self, d: Device, volts: Volts) -> dict[str, str]:
        def across(kind: str, a: str, b: str) -> float:
            return abs(volts.across(kind, f"{d.tag}:{a}", f"{d.tag}:{b}"))

        match d.kind:
            case "relay" | "contactor":
                u, kind = d.ratings["coil"]
                pick, drop = (DC_PICK, DC_DROP) if kind == "dc" else (AC_PICK, AC_DROP)
                rise, fall = (pick.low * u, pick.high * u), (drop.low * u, drop.high * u)
                return {d.tag: self.magnet(d.tag, across(kind, "A1", "A2"), "out", "in", rise, fall)}
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
            case "lamp":
                u, kind = d.ratings["lamp"]
                if d.tag in self.stuck:
                    return {}
                lit = self.over(d.tag, across(kind, "X1", "X2"), 0.35 * u, 0.50 * u)
                return {d.tag: "on" if lit else "off"}
            case "plc":
                new = {d.tag: self.magnet(d.tag, across("dc", "L+", "M"), "off", "running", (16.0, 20.4), (14.0, 18.0))}
                band = INPUT_BAND[d.ratings["type"]]
                for point in d.ratings["inputs"]:
                    bit = f"{d.tag} {point}"
                    if bit not in self.stuck:
                        new[bit] = (
                            "on"
                            if self.over(f"{d.tag} inputs", across("dc", point, "COM"), band.low, band.high)
                            else "off"
                        )
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
            if d.kind != "plc" or self.panel.program is None:
                continue
            if self.state[d.tag] == "running":
                inputs = {p: self.state[f"{d.tag} {p}"] == "on" for p in d.ratings["inputs"]}
                memory, outputs = self.panel.program.scan(self.memory, inputs, 0)
            else:
                memory, outputs = self.panel.program.start(), {}
            moved |= memory != self.memory
            self.memory = memory
            for p in d.ratings["outputs"]:
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
        return np.array([[first[(column - row) % 3] for column in range(3)] for row in range(3)])

    def gap_watts(self, amps: complex, slip: float) -> float:
        """By the balance of power: what goes in less what the iron takes. The leakage takes none."""
        field_volts = amps * (self.of_sequence(slip) - 1j * self.cage.x1)
        return 3 * ((field_volts * amps.conjugate()).real - abs(field_volts) ** 2 / self.cage.rc)

    def torque(self, amps: np.ndarray, slip: float) -> float:
        """Forward torque over the load's torque; backward where it is negative."""
        one = amps @ [1, THIRD, THIRD**2] / 3
        two = amps @ [1, THIRD**2, THIRD] / 3
        ahead, behind = (one, two) if self.way >= 0 else (two, one)
        rated = self.volts / (self.cage.r1 + self.of_sequence(self.rated_slip))
        return (self.gap_watts(ahead, slip) - self.gap_watts(behind, 2 - slip)) / (
            self.load * self.gap_watts(rated, self.rated_slip)
        )

    def slip(self, open_volts: np.ndarray, inner_ohms: np.ndarray) -> float | None:
        """Where torque first meets the load, coming down from synchronous speed; None: nowhere."""

        def carries(slip: float) -> bool:
            return self.torque(np.linalg.solve(self.ohms(slip) + inner_ohms, open_volts), slip) >= 1

        before = 0.0
        for slip in np.concatenate([np.linspace(0.0005, 0.2, 400), np.linspace(0.202, 1, 400)]):
            if carries(slip):
                low, high = before, float(slip)
                while high - low > 1e-16:
                    middle = (low + high) / 2
                    if middle in (low, high):
                        break
                    low, high = (low, middle) if carries(middle) else (middle, high)
                return high
            before = float(slip)
        return None


def _balanced(
    count: int, ends: np.ndarray, siemens: np.ndarray, emf: np.ndarray, rotors: list[Rotor]
) -> tuple[np.ndarray, frozenset[str]]:
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
    into = np.zeros((count, 3 * len(rotors)))
    for k, (a, b) in enumerate(end for rotor in rotors for end in rotor.ends):
        into[a, k] += 1
        into[b, k] -= 1
    long = np.clongdouble if np.iscomplexobj(siemens) or np.iscomplexobj(emf) else np.longdouble
    s, e = siemens.astype(long), emf.astype(long)

    def at(slips: list[float]) -> tuple[np.ndarray, np.ndarray]:
        ohms = np.zeros((3 * len(rotors), 3 * len(rotors)), siemens.dtype)
        for m, (rotor, slip) in enumerate(zip(rotors, slips, strict=True)):
            ohms[3 * m : 3 * m + 3, 3 * m : 3 * m + 3] = rotor.ohms(slip)
        inverse = np.linalg.inv(np.block([[matrix, into], [into.T, -ohms]]) if rotors else matrix)
        volts, wound = np.zeros(count + 1, long), np.zeros(3 * len(rotors), long)
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

    slips = [1.0] * len(rotors)
    stalled = frozenset()
    if any(rotor.way for rotor in rotors):
        assert len(rotors) == 1, "several motors, one of them turning: no test needs it so far"
        (rotor,) = rotors
        # The rest as the windings see it; without them the inner points hang in the air, so a stand-in holds them.
        stand_in = 1 / rotor.of_sequence(1.0)
        inverse = np.linalg.inv(matrix + stand_in * into @ into.T)
        source = np.zeros(count + 1, np.complex128)
        np.add.at(source, one, siemens * emf)
        np.subtract.at(source, two, siemens * emf)
        v, z = into.T @ (inverse @ source[:count]), into.T @ inverse @ into
        free = np.linalg.inv(np.eye(3) - stand_in * z)
        slip = rotor.slip(free @ v, free @ z)
        if slip is None:
            stalled = frozenset({rotor.tag})
        else:
            # That inverse keeps few digits where a terminal hangs on a nanosiemens: two more steps, on refined volts.
            behind, off = slip * 1.001, rotor.torque(at([slip * 1.001])[1], slip * 1.001) - 1
            for _ in range(3):
                here = rotor.torque(at([slip])[1], slip) - 1
                if here == off:
                    break
                behind, slip, off = slip, float(slip - here * (slip - behind) / (here - off)), here
            slips = [slip]
    volts = at(slips)[0]
    return volts.astype(np.complex128 if long is np.clongdouble else np.float64), stalled
