"""Making a machine dead and proving it: the steps in order, the dead test computed for the points of work.

The order is that of NFPA 70E 120.6 and OSHA 29 CFR 1910.147(d) and 1910.333(b)(2): tell, stop, open, lock, let stored
energy go, try to start, prove the tester, test every conductor to earth and between, prove the tester again. A contactor,
an emergency stop or a selector never counts as isolation (1910.333(b)(2)(ii)(B)).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import number
from troubleshoot.circuit.kinds.drive import cage_of
from troubleshoot.circuit.kinds.induction import residual_seconds
from troubleshoot.circuit.kinds.supplies import discharge_seconds
from troubleshoot.circuit.model import Act, Device, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import Floats, Table
from troubleshoot.evidence.seen import Meter
from troubleshoot.machine import Machine
from troubleshoot.safety.dead_test import borders, can_feed, cards, conductors_from, dead_readings, earth_pin, fed_by
from troubleshoot.safety.doings import after, doings
from troubleshoot.safety.levels import CARE_AC, CARE_DC, DEAD_VOLTS, RESIDUAL_VOLTS
from troubleshoot.safety.naming import named
from troubleshoot.safety.volts import pins_of
from troubleshoot.solve.compiled import frequency
from troubleshoot.text.showing import show

Bools = npt.NDArray[np.bool_]

THEIRS: Final = "their lock "
"""How the id of the step begins in which somebody else's lock comes off; their name follows."""
SAID_FROM_S = 1.0
"""Seconds from which the field of a motor is worth a word: to open, lock and walk to its leads takes longer. Judgement."""
PROVED_SHARE = 0.8
"""Below this share of what the live point must show the tester, its leads or its range are not proved."""


@dataclass(frozen=True, slots=True)
class IsolationStep:
    """One step; each is answered by itself."""

    id: str
    words: str
    ask: Literal["done", "reading"]
    readings: tuple[Meter, ...] = ()
    expects: tuple[float, ...] = ()
    """Volts that each reading must show, computed; for a dead test 0."""
    blocks: str = ""
    """What is blocked or secured in this step, and must be let go again before power; empty for any other step."""
    lock_of: str = ""
    """Whose lock comes off in this step; empty for any other step."""


@dataclass(frozen=True, slots=True)
class Isolation:
    """All steps of making one machine dead for work at some points."""

    steps: tuple[IsolationStep, ...]
    stays_live: tuple[str, ...]
    """What stays live with every disconnect open, in words."""
    situation: Situation
    """The state it ends in: every disconnect open."""


GHOST: Final = " If a low-impedance tester shows nothing there, it was only coupled in: type what that one shows."


PROVED_ON: Final = "proved on"
"""How what is said of a proving begins where it was on another source than the point asked for."""
SAME_SOURCE: Final = "Prove the tester again: on the same proving unit or live point as before the dead test."


@dataclass(frozen=True, slots=True)
class Judged:
    """Whether a step may be ticked off, and in words why not."""

    ok: bool
    words: str


def open_all(machine: Machine) -> Situation:
    """Every disconnect of the machine open, and every supply that has none."""
    return after(*(Act("open", tag) for tag in doings(machine).disconnects))


def isolation(reasoner: Reasoner, points: Sequence[Pin] = ()) -> Isolation:
    """The steps for work at `points`; without points, at the load side of the disconnect and at the motor's leads."""
    machine = reasoner.machine
    has = doings(machine)
    work = tuple(dict.fromkeys(points)) or _usual_points(machine)
    off = open_all(machine)
    # Work on the earth conductor itself has nothing of its own to read: then the panel is proved dead as usual.
    dead = dead_readings(reasoner, work, off) or dead_readings(reasoner, _usual_points(machine), off)
    steps = [IsolationStep("tell", "Tell everybody who works here that the machine goes off and stays off.", "done")]
    if has.stops:
        steps.append(IsolationStep("stop", _stop(machine, has.stops), "done"))
    for tag in machine.own_disconnects:
        steps += [
            IsolationStep(f"open {tag}", f"Open {named(machine, tag)}. Stand aside of its door. Look: handle off.", "done"),
            IsolationStep(f"lock {tag}", f"Your own lock and tag on {tag}; the key stays in your pocket.", "done"),
        ]  # fmt: skip
    steps += _other_feeds(reasoner, work, off)
    if not has.disconnects:
        steps.append(
            IsolationStep(
                "upstream", "No disconnect is drawn: have it opened and locked upstream by who may do it.", "done"
            )
        )
    steps += [
        IsolationStep(f"stored {k}", words, "done", blocks=blocks)
        for k, (words, blocks) in enumerate(_stored(machine), 1)
    ]
    if has.starts:
        steps.append(
            IsolationStep("try", f"All clear? Press {named(machine, has.starts[0])}: nothing may move. Let go.", "done")
        )
    modes = [mode for mode in _SUFFIX if mode == "ac volts" or any(m.mode == mode for m in dead)]
    steps += [_prove(f"prove before{_SUFFIX[m]}", reasoner, m, "Prove the tester on a known live point") for m in modes]
    asked = cards(dead)
    for k, card in enumerate(asked, 1):
        part = "" if len(asked) == 1 else f", card {k} of {len(asked)}"
        words = f"Test dead{part}: every conductor to earth and between, under {DEAD_VOLTS:.0f} V."
        steps.append(IsolationStep("dead" if k == 1 else f"dead {k}", words, "reading", card, (0.0,) * len(card)))
    steps += [
        _prove(f"prove after{_SUFFIX[m]}", reasoner, m, "Prove the tester again on the same point") for m in modes
    ]
    return Isolation(tuple(steps), stays_live(reasoner), off)


def as_it_stands(
    machine: Machine, plan: Isolation, *, opened: Collection[str] = (), locks: Mapping[str, Collection[str]] = MappingProxyType({}),
    done: Mapping[str, str] = MappingProxyType({}), distrusted: Sequence[str] = (),
) -> Isolation:  # fmt: skip
    """The same steps on a machine that somebody has opened before, or one of whose stops has failed.

    opened: disconnects that were opened since power was last on, which are looked at and not opened again; locks: whose
    own lock hangs on what, each to come off by its owner once one's own is on; done: what was said of each step done since,
    by its id; distrusted: stops that nothing leans on.
    """
    steps: list[IsolationStep] = []
    asked = {who: tags for who, tags in locks.items() if tags or f"{THEIRS}{who}" in done}
    for step in plan.steps:
        verb, _, tag = step.id.partition(" ")
        hangs = [show(who) for who, tags in asked.items() if tag in tags]
        on_it = f", the lock of {' and '.join(hangs)} on it" if hangs else ""
        if step.id == "stop" and step.id not in done and opened and set(machine.own_disconnects) <= set(opened):
            continue  # it has no power to be stopped from
        before = done.get(step.id.replace("prove after", "prove before"), "")
        if step.id.startswith("prove after") and step.readings and before.startswith(PROVED_ON):
            # The usual point was dead by the fault, or not used: asked for again it would void the dead test.
            steps.append(replace(step, words=SAME_SOURCE, ask="done", readings=(), expects=()))
        elif step.id == "stop" and distrusted:
            steps.append(replace(step, words=_stands(machine, distrusted)))
        elif step.id in done:
            steps.append(step)
        elif verb == "open" and tag in opened:
            what = named(machine, tag) if tag in machine.circuit.devices else f"what was opened {tag}"
            steps.append(replace(step, words=f"Opened before. Look at {what}: still open, handle off{on_it}."))
        elif verb == "lock" and hangs:
            steps.append(replace(step, words=f"Your own lock and tag on {tag}, beside that of {' and '.join(hangs)}; the key "
                                             "stays in your pocket."))  # fmt: skip
        else:
            steps.append(step)
    last = max((k for k, s in enumerate(steps) if s.id.startswith("lock ")), default=-1)
    for who, tags in reversed(asked.items()):
        if last >= 0:
            where = f" {', '.join(sorted(tags))}" if tags else ""
            words = f"{show(who)} now takes their own lock off{where}, once yours is on. Nobody else takes it off."
            steps.insert(last + 1, IsolationStep(f"{THEIRS}{who}", words, "done", lock_of=who))
    return replace(plan, steps=tuple(steps))


def _stands(machine: Machine, distrusted: Sequence[str]) -> str:
    motors = " and ".join(named(machine, m.var) for m in machine.net.motors) or "The machine"
    ways = " and ".join(named(machine, tag) for tag in machine.own_disconnects) or "its disconnect"
    return (
        f"Look: {motors} must stand still. If not, open {ways} at once. Do not lean on {' or '.join(distrusted)}: a stop "
        "has failed, none is proved since."
    )


_SUFFIX: Final[dict[Literal["ac volts", "dc volts"], str]] = {"ac volts": "", "dc volts": " dc"}


def _stop(machine: Machine, stops: Sequence[str]) -> str:
    return f"Stop the machine with {named(machine, stops[0])}, if it runs."


def _other_feeds(reasoner: Reasoner, work: Sequence[Pin], off: Situation) -> list[IsolationStep]:
    """To open and lock: each supply that has no disconnect here, and each that comes to the points of work past its own."""
    machine = reasoner.machine
    points = (*work, *borders(reasoner, work, off))
    steps: list[IsolationStep] = []
    for tag, device in machine.circuit.devices.items():
        if device.kind != "supply":
            continue
        own = tag in machine.feeds
        past = () if own else can_feed(reasoner, tag, points)
        if not own and not past:
            continue
        place = machine.circuit.places[device.place].words if device.place in machine.circuit.places else ""
        reached = fed_by(reasoner, tag)
        there = [t for t, d in machine.circuit.devices.items() if d.kind not in ("supply", "disconnect", "bar")
                 and any(machine.net.node(p) in reached for p in pins_of(machine, t))]  # fmt: skip
        first = f"Open {named(machine, tag)} where it comes from" if own else f"Open ahead of {named(machine, tag)} too"
        at = f" ({show(place)})" if own and place else ""
        still = f" Until then these can be LIVE here: {', '.join(there)}." if there else ""
        steps += [
            IsolationStep(f"open {tag}" if own else f"open ahead {tag}",
                          f"{first}{at}. You cannot find it: stop here, touch nothing.{still}", "done"),
            IsolationStep(f"lock {tag}" if own else f"lock ahead {tag}",
                          f"Your own lock and tag there, on what feeds {tag}; the key stays in your pocket.", "done"),
        ]  # fmt: skip
    return steps


def judge(step: IsolationStep, seen: Sequence[float | None]) -> Judged:
    """Whether the readings let the sequence go on. seen: volts in the order of `step.readings`, None where missing.

    A step that asks only ``done`` needs no values. Refuses any dead reading over `DEAD_VOLTS`, any missing one, and a
    known live point that shows less than `PROVED_SHARE` of its volts.
    """
    if step.ask == "done":
        return Judged(True, "")
    for k, reading in enumerate(step.readings):
        value = seen[k] if k < len(seen) else None
        where = f"{reading.red} to {reading.black}"
        if value is None or math.isnan(value):
            return Judged(False, f"{where} has no reading yet; every one of them is needed.")
        if step.expects[k] == 0 and abs(value) > DEAD_VOLTS:
            return Judged(
                False,
                f"NOT DEAD: {abs(value):.0f} V at {where}. Touch nothing; find where it comes from and open that too."
                + (GHOST if abs(value) < CARE_AC else ""),
            )
        if step.expects[k] and abs(value) < PROVED_SHARE * abs(step.expects[k]):
            return Judged(
                False,
                f"{where} must show about {abs(step.expects[k]):.0f} V and shows {abs(value):.0f}: "
                "the tester is not proved. Nothing measured with it counts.",
            )
    return Judged(True, "")


@dataclass(frozen=True, slots=True)
class LivePart:
    """Terminals of one device that stay live with every disconnect open."""

    tag: str
    pins: tuple[Pin, ...]
    volts: float
    """Highest to earth, volts r.m.s. or DC."""
    sure: bool
    """Also on a machine with nothing wrong."""


def live_parts(reasoner: Reasoner) -> tuple[LivePart, ...]:
    """Every device with 25 V AC or 60 V DC or more to earth while every disconnect is open, under any suspect."""
    machine = reasoner.machine
    table = reasoner.table(open_all(machine))
    key = ("safety live parts", table.situation)
    found = machine.net.scratch.get(key)
    if found is None:
        healthy = table.owner == len(machine.suspects) - 1
        parts: list[LivePart] = []
        for tag in machine.circuit.devices:
            pins = pins_of(machine, tag)
            ac, dc = _to_earth(reasoner, table, pins)
            live = (ac >= CARE_AC) | (dc >= CARE_DC)
            some: Bools = np.asarray(live.any(axis=1), dtype=np.bool_)
            if some.any():
                most = max(float(ac[some].max()), float(dc[some].max()))
                sure = bool(live[:, healthy].any())
                parts.append(LivePart(tag, tuple(p for p, on in zip(pins, some, strict=True) if on), most, sure))
        found = machine.net.scratch[key] = tuple(parts)
    assert isinstance(found, tuple)
    return found


def stays_live(reasoner: Reasoner) -> tuple[str, ...]:
    """`live_parts` in words, one line a device: ``Q1:1, Q1:3, Q1:5 (main disconnect): 120 V to earth``."""
    devices = reasoner.machine.circuit.devices
    return tuple(
        f"{', '.join(map(str, part.pins))} ({show(devices[part.tag].words)}): {part.volts:.0f} V to earth"
        + ("" if part.sure else ", if something is wrong")
        for part in live_parts(reasoner)
    )


def _to_earth(reasoner: Reasoner, table: Table, pins: Sequence[Pin]) -> tuple[Floats, Floats]:
    """(pins, outcomes) volts to earth, AC and DC."""
    rows = np.array([reasoner.machine.net.node(p) for p in pins], dtype=np.intp)
    inverse = table.inverse
    ac, dc = np.abs(table.volts["ac"][rows]), np.abs(table.volts["dc"][rows])
    return ac[:, inverse], dc[:, inverse]


def _usual_points(machine: Machine) -> tuple[Pin, ...]:
    fed = [p for tag in machine.own_disconnects for p in _load_side(machine, tag)]
    for tag in machine.feeds:
        lines = [p for p in pins_of(machine, tag) if p.pin not in ("N", "PE")]
        ends = [next((e for e in sorted(conductors_from(machine, {p})) if e.device != tag), None) for p in lines]
        fed += [end for end in ends if end is not None]
    leads = [
        p for tag, d in machine.circuit.devices.items() if d.kind == "motor"
        for p in pins_of(machine, tag) if p.pin != "PE"
    ]  # fmt: skip
    stored = [
        Pin(tag, pin) for tag, d in machine.circuit.devices.items() if d.kind == "dc supply" for pin in ("+", "-")
    ]
    return tuple(dict.fromkeys([*fed, *leads, *stored]))


def _load_side(machine: Machine, tag: str) -> list[Pin]:
    """Terminals of a disconnect that a supply does not reach while it is open."""
    reached = conductors_from(machine, {p for t, d in machine.circuit.devices.items() if d.kind == "supply"
                                         for p in pins_of(machine, t)})  # fmt: skip
    return [p for p in pins_of(machine, tag) if p not in reached]


_KINDS: Final[dict[Literal["ac volts", "dc volts"], str]] = {"ac volts": "ac", "dc volts": "dc"}


def _known_live(reasoner: Reasoner, mode: Literal["ac volts", "dc volts"]) -> tuple[Meter, float] | None:
    """A reading that is surely live with every disconnect open, on the healthy machine: the highest to earth."""
    machine = reasoner.machine
    table = reasoner.table(open_all(machine))
    best: tuple[Meter, float] | None = None
    earths = {place: earth_pin(machine, place) for place in machine.circuit.places}
    first = {tag: k for k, tag in enumerate(machine.own_disconnects)}
    order = sorted(machine.circuit.devices, key=lambda t: first.get(t, len(first)))
    for tag in order:
        if machine.circuit.devices[tag].kind == "supply" and best is not None:
            continue
        earth = earths[machine.circuit.devices[tag].place]
        if earth is None:
            continue
        for pin in pins_of(machine, tag):
            reading = Meter(mode, pin, earth)
            volts = abs(complex(table.volts[_KINDS[mode]][machine.net.node(pin), table.inverse[table.healthy]]))
            if volts > max(best[1] + 1 if best else 0.0, CARE_AC):
                best = (reading, volts)
    return best


def _prove(step: str, reasoner: Reasoner, mode: Literal["ac volts", "dc volts"], words: str) -> IsolationStep:
    live = _known_live(reasoner, mode)
    if live is None:
        first = words.partition(" on ")[0]
        kind = _KINDS[mode].upper()
        return IsolationStep(
            step,
            f"{first} on V {kind}: nothing here stays live in {kind}. On a proving unit, or a battery or source you know is live.",
            "done",
        )
    reading, volts = live
    return IsolationStep(step, f"{words}: LIVE, as the caution says.", "reading", (reading,), (volts,))


def _stored(machine: Machine) -> tuple[tuple[str, str], ...]:
    """In words what to let go, wait for or block; and what is blocked by it, if anything."""
    out: list[tuple[str, str]] = []
    for tag, device in machine.circuit.devices.items():
        load = show(str(device.ratings.get("load", "")))
        if device.kind == "motor":
            what = f"load ({load})" if load else "load"
            out.append((
                f"{named(machine, tag)} stands still{_field(machine, device)}. Block or secure the {what}: a brake alone "
                "is not a block.", f"{what} of {tag}",
            ))  # fmt: skip
        elif device.kind == "brake":
            held = str(device.ratings.get("holds", ""))
            out.append((f"{named(machine, tag)} is set; its spring may move the shaft of {held}. Hands clear.", ""))
        elif device.kind == "dc supply":
            seconds = discharge_seconds(device, RESIDUAL_VOLTS)
            wait = "" if seconds is None else f" {math.ceil(seconds)} s and"
            out.append((f"Wait{wait} until {named(machine, tag)} is dark; its capacitors hold a charge.", ""))
    return tuple(out)


def _field(machine: Machine, motor: Device) -> str:
    """How long a motor that was switched off holds volts at its own leads, where that is not over at once."""
    hertz, volts = frequency(machine.circuit), number(motor, "volts")
    seconds = residual_seconds(cage_of(motor), hertz, volts, RESIDUAL_VOLTS)
    if seconds <= SAID_FROM_S:
        return ""
    return f" and has been off for {math.ceil(seconds)} s: its own field holds volts at its leads that long"
