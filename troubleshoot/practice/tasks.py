"""What the lessons ask, one task at a time, computed from the machine and the seed. Pure."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from troubleshoot.circuit.kinds.controller import inputs_of
from troubleshoot.circuit.model import NamedSituation, Pin
from troubleshoot.evidence.seen import Meter
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.desk import Desk
from troubleshoot.practice.exercise import Nothing
from troubleshoot.practice.meter import WANDERS
from troubleshoot.practice.panel import Panel
from troubleshoot.safety.isolation import IsolationStep
from troubleshoot.safety.levels import DEAD_VOLTS
from troubleshoot.solve.meters import Mode

PREDICTED = 20
"""Points of the first lesson."""
METERED = 6
"""Readings of the lesson of the wrongly set meter."""
STRAY_FROM = 10.0
"""Volts from which what stands on a point that nothing feeds is worth a lesson."""
STRAY: Final = (
    "Stray volts: a wire that nothing feeds picks volts up from live wires beside it. They carry next to no current. A "
    "usual meter takes next to none either (without load), so it shows them, and they wander.",
    "A low-impedance meter (with load) draws current: stray volts collapse to nothing, what is truly fed stands.",
)


@dataclass(frozen=True, slots=True)
class Task:
    """One thing asked.

    kind: ``read`` (predicted first where `predict`), ``where`` (two neighbouring points), ``fed`` (yes or no), ``step``
    (one step of making dead), ``live`` (a terminal that stays live).
    """

    kind: Literal["read", "where", "fed", "step", "live"]
    words: str
    situation: NamedSituation
    meters: tuple[Meter, ...] = ()
    predict: bool = False
    mode_said: bool = True
    """Whether the card says in which mode; else that too is the trainee's."""
    path: tuple[Pin, ...] = ()
    open_at: int = -1
    """Index in `path` of the last point before the open place."""
    fed: bool = False
    step: IsolationStep | None = None
    unset: bool = False
    """Somebody has had the meter meanwhile: it is set otherwise before this task."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a lesson asks and what is wrong with the machine in it."""

    tasks: tuple[Task, ...]
    faults: tuple[Suspect, ...] = ()
    teaches: tuple[str, ...] = ()
    """What is said before it begins: the idea, and the words that it needs."""


def lesson(desk: Desk, level: int, seed: int) -> Lesson:
    """The tasks of one lesson. Raises `Nothing` where the machine has nothing for it."""
    dice = random.Random(f"{desk.machine.name} lesson {level} {seed}")
    return {1: _predict, 2: _halves, 3: _stray, 4: _meter, 5: _isolation}[level](desk, dice)


def _live_situations(desk: Desk) -> list[NamedSituation]:
    """At rest, and started: what a healthy machine is asked about."""
    found = [desk.at_rest]
    shows = desk.shows("wont-start")
    return list({n.situation: n for n in (*found, shows)}.values())


def _predict(desk: Desk, dice: random.Random) -> Lesson:
    tasks: list[Task] = []
    situations = _live_situations(desk)
    for k, named in enumerate(situations):
        meters = [
            c.meter for c in desk.planner.candidates(named.situation).items if c.meter.mode in ("ac volts", "dc volts")
        ]
        dice.shuffle(meters)
        # As many that have volts as have none, so that neither "nothing" nor "all of it" is a good guess.
        full = [m for m in meters if abs(_right(desk, m, named)) > 10]
        empty = [m for m in meters if abs(_right(desk, m, named)) < 1 and not _floats(desk, m, named)]
        each = PREDICTED // (2 * len(situations)) + (k == 0) * (PREDICTED % (2 * len(situations)))
        picked = [*full[:each], *empty[:each]]
        dice.shuffle(picked)
        tasks += [
            Task(
                "read", f"{named.words[:1].upper()}{named.words[1:]}: what should be there?", named, (m,), predict=True
            )
            for m in picked
        ]
    if not tasks:
        raise Nothing(f"{desk.machine.name} has no point to predict at.")
    return Lesson(tuple(tasks[:PREDICTED]))


def why(desk: Desk, task: Task) -> str:
    """Why a good machine has there what it has: which of the two points is live, and where the volts stop."""
    meter, named = task.meters[0], task.situation
    earth = next(iter(sorted(desk.earthed, key=str)), meter.black)
    net = desk.machine.net
    kinds: tuple[Mode, ...] = ("ac volts", "dc volts")

    def live(pin: Pin) -> tuple[Mode, ...]:
        # Of either kind: what is nothing in DC may be live in AC.
        apart = net.node(pin) != net.node(earth)
        return tuple(m for m in kinds if apart and abs(_right(desk, Meter(m, pin, earth), named)) > 10)

    red, black = live(meter.red), live(meter.black)
    if _floats(desk, meter, named):
        loose = meter.red if not red else meter.black
        return (
            f"Why: {loose} is tied to nothing now: what the meter shows there is stray, and collapses under any load. On a meter "
            "of low impedance it is nothing."
        )
    if abs(_right(desk, meter, named)) > 10:
        if red and black:
            return f"Why: {meter.red} and {meter.black} are live from two sides of the supply; the meter shows the difference."
        fed, other = (meter.red, meter.black) if red else (meter.black, meter.red)
        return f"Why: {fed} is fed now; {other} is not, it lies towards the return or earth."
    if (red or black) and meter.mode in kinds and meter.mode not in (*red, *black):
        hot = meter.red if red else meter.black
        has, shows = ("AC", "DC") if meter.mode == "dc volts" else ("DC", "AC")
        return f"Why: {hot} is live, with {has}; the {shows} range does not show that. Nothing here does not mean dead."
    if red and black:
        return (
            "Why: both are live from one side, so there is no difference between them. Nothing here does not mean dead."
        )
    if red or black:
        # The one is fed and the other neither fed nor floating, and yet there is no difference: a high resistance lies between.
        hot, other = (meter.red, meter.black) if red else (meter.black, meter.red)
        return f"Why: {hot} is live to earth, but nothing drives a current from there to {other}. Nothing here does not mean dead."
    stops = next((found for pin in (meter.red, meter.black) if (found := _stops_before(desk, pin, named))), "")
    return f"Why: on a good machine neither is fed now{f': {stops}' if stops else ''}."


def _stops_before(desk: Desk, pin: Pin, named: NamedSituation) -> str:
    """Where on the rung of a point the volts stop before they come to it, in words; empty where that is on no rung."""
    net, devices = desk.machine.net, desk.machine.circuit.devices
    for path in (*desk.rungs(named.situation), *desk.rungs(desk.shows("wont-start").situation)):
        at = next((k for k, p in enumerate(path[:-1]) if net.node(p) == net.node(pin)), None)
        if at is None:
            continue
        mode = desk.mode_between(path[0], path[-1])
        volts = [abs(_right(desk, Meter(mode, p, path[-1]), named)) for p in path[: at + 1]]
        for k, (a, b) in enumerate(itertools.pairwise(path[: at + 1])):
            if volts[k] > 10 > volts[k + 1] and a.device == b.device:
                words = devices[a.device].words or devices[a.device].kind
                return f"{a.device} ({words}) is open between {a} and {b}"
    return ""


def _right(desk: Desk, meter: Meter, named: NamedSituation) -> float:
    return desk.reasoner.predict(meter, named.situation).right


def _floats(desk: Desk, meter: Meter, named: NamedSituation) -> bool:
    return desk.reasoner.expected(meter, named.situation).floating


def open_rungs(desk: Desk) -> list[tuple[NamedSituation, tuple[Pin, ...], int, Suspect]]:
    """Every drawn rung with a suspect that opens it between two of its points: situation, rung, place, suspect."""
    named = desk.shows("wont-start")
    by_ends: dict[frozenset[Pin], Suspect] = {}
    for hop in desk.machine.circuit.hops:
        by_ends |= {frozenset((hop.a, hop.b)): s for s in desk.machine.suspects if s.id == f"{hop.id} open"}
    for s in desk.machine.suspects:
        tag, _, rest = s.id.partition(" ")
        pins, _, how = rest.rpartition(" ")
        a, dash, b = pins.partition("-")
        if how == "open" and dash and tag in desk.machine.circuit.devices:
            by_ends[frozenset((Pin(tag, a), Pin(tag, b)))] = s
    out = []
    for path in desk.rungs(named.situation):
        for k, pair in enumerate(itertools.pairwise(path[:-1])):
            opens = by_ends.get(frozenset(pair))
            if opens is not None and len(path) >= 6:
                out.append((named, path, k, opens))
    return out


def _halves(desk: Desk, dice: random.Random) -> Lesson:
    found = open_rungs(desk)
    if not found:
        raise Nothing(f"{desk.machine.name} has no rung long enough to halve.")
    named, path, k, suspect = dice.choice(found)
    path = _to_its_common(desk, path)
    back = path[-1]
    mode = desk.mode_between(path[0], back)
    meters = tuple(Meter(mode, p, back) for p in path[:-1])
    words = (
        f"{named.words[:1].upper()}{named.words[1:]}: this rung is open in one place. Between which two neighbours? "
        "Measure where you like, by halves; then type both points."
    )
    return Lesson((Task("where", words, named, meters, path=path, open_at=k),), (suspect,))


def _to_its_common(desk: Desk, path: tuple[Pin, ...]) -> tuple[Pin, ...]:
    """A path to an input of a controller, on to the common of its group: the black lead lies there, not on the input."""
    device = desk.machine.circuit.devices[path[-1].device]
    if device.kind != "plc":
        return path
    common = next((g.common for g in inputs_of(device) if any(p.terminal == path[-1].pin for p in g.points)), "")
    if not common:
        return path
    back = Pin(device.tag, common)
    node = desk.machine.net.node(back)
    # The bar or terminal of that conductor, where there is one: a probe stands there more safely than on a module.
    bars = [p for p in desk.pins.values() if desk.machine.net.node(p) == node
            and desk.machine.circuit.devices[p.device].kind in ("bar", "terminals")]  # fmt: skip
    return (*path, min(bars, key=str, default=back))


def _stray(desk: Desk, dice: random.Random) -> Lesson:
    """A conductor that nothing feeds beside live ones, and one that is fed: each without and with load."""
    named = desk.at_rest
    order = [s for s in desk.machine.suspects if s.id.endswith(" open") and s.sort in ("wire", "contact")]
    dice.shuffle(order)
    tried: list[tuple[Suspect, ...]] = [(), *((s,) for s in order[:12])]
    for faults in tried:
        panel = Panel(desk, faults, 0, fresh=False)
        ghosts, fed = _ghosts_and_fed(desk, panel, dice)
        if ghosts and fed:
            tasks: list[Task] = []
            for meter, is_fed in dice.sample([(ghosts[0], False), (fed[0], True)], 2):
                low = Meter("low-impedance volts", meter.red, meter.black)
                asked = f"Does anything feed {meter.red}, judged against {meter.black}? Type yes or no."
                tasks += [
                    Task("read", "Nobody at the buttons: without load, on V AC. What does it show?", named, (meter,)),
                    Task("read", "The same points with load: a low-impedance meter. What does it show?", named, (low,)),
                    Task("fed", asked, named, (meter,), fed=is_fed),
                ]
            return Lesson(tuple(tasks), faults, STRAY)
    raise Nothing(f"{desk.machine.name} has no conductor at which stray volts would stand.")


def _ghosts_and_fed(desk: Desk, panel: Panel, dice: random.Random) -> tuple[list[Meter], list[Meter]]:
    """Points judged against the return of a rung: of two points across an open pole neither would be "the point"."""
    meters = _to_the_return(desk)
    dice.shuffle(meters)
    ghosts: list[Meter] = []
    fed: list[Meter] = []
    for meter in meters[:80]:
        truth = panel.truth("ac volts", meter.red, meter.black)
        stands = truth.low + WANDERS[0] * (truth.high - truth.low)
        if panel.moves_by_meter("low-impedance volts", meter.red, meter.black):
            continue
        loaded = abs(panel.truth("low-impedance volts", meter.red, meter.black).high)
        if truth.floats and stands >= STRAY_FROM and loaded <= DEAD_VOLTS:
            ghosts.append(meter)
        elif not truth.floats and truth.low > 50 and loaded > 0.9 * truth.low:
            fed.append(meter)
        if ghosts and fed:
            break
    return ghosts, fed


def _to_the_return(desk: Desk) -> list[Meter]:
    """Every point where a trip may be made, its black lead on the conductor to which the control circuit returns."""
    net = desk.machine.net
    backs: dict[int, Pin] = {}
    for path in desk.rungs(desk.shows("wont-start").situation):
        if desk.mode_between(path[0], path[-1]) == "ac volts":
            backs.setdefault(net.node(path[-1]), path[-1])
    candidates = [c.meter for c in desk.planner.candidates(desk.at_rest.situation).items if c.meter.mode == "ac volts"]
    found = [m for m in candidates if net.node(m.black) in backs]
    # A machine whose points are all read to each other: the same points, each to the return.
    pins = dict.fromkeys(p for m in candidates for p in (m.red, m.black) if net.node(p) not in backs)
    black = {m.black for m in found} or set(backs.values())
    usual = min(black, key=str, default=None)
    return list(dict.fromkeys([*found, *(Meter("ac volts", p, usual) for p in pins if usual is not None)]))


def _meter(desk: Desk, dice: random.Random) -> Lesson:
    named = desk.at_rest
    pairs: dict[str, list[Meter]] = {"ac volts": [], "dc volts": []}
    for c in desk.planner.candidates(named.situation).items:
        if c.meter.mode in pairs and abs(_right(desk, c.meter, named)) > 5:
            pairs[c.meter.mode].append(c.meter)
    for meters in pairs.values():
        dice.shuffle(meters)
    half = METERED // 2
    picked = [*pairs["dc volts"][:half]]
    picked += pairs["ac volts"][: METERED - len(picked)]
    if not picked:
        raise Nothing(f"{desk.machine.name} has nothing live to read at rest.")
    dice.shuffle(picked)
    words = "Somebody had your meter. What stands between these? Function, range, jack and leads are yours to set."
    return Lesson(tuple(Task("read", words, named, (m,), mode_said=False, unset=True) for m in picked))


def _isolation(desk: Desk, dice: random.Random) -> Lesson:
    plan = desk.isolation(())
    dead = NamedSituation("isolated", "every disconnect open", plan.situation)
    tasks = [
        Task("step", s.words, dead if s.id.startswith("dead") else desk.at_rest, s.readings, step=s) for s in plan.steps
    ]
    if desk.live_when_dead:
        tasks.append(Task("live", "Name one terminal that stays LIVE with every disconnect open.", dead))
    return Lesson(tuple(tasks))


def fewest(path: Sequence[Pin]) -> int:
    """Readings that halving needs at most on one rung, its return left out."""
    return math.ceil(math.log2(max(2, len(path) - 2)))


__all__ = ["Lesson", "Task", "fewest", "lesson", "open_rungs"]
