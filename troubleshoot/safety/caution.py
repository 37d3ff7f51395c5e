"""The caution of one step: what a person may meet at the points, computed for every suspect, present and healed."""

from __future__ import annotations

import hashlib
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import cast

from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.faults.suspects import Suspect
from troubleshoot.safety import volts as v
from troubleshoot.safety.doings import doings
from troubleshoot.safety.isolation import live_parts
from troubleshoot.safety.levels import DEAD_VOLTS, Level, approach, worst
from troubleshoot.safety.motion import TURNS, chance_of, grown, movables, stands
from troubleshoot.solve.meter import burden
from troubleshoot.solve.settle import settle_many
from troubleshoot.text.showing import show

STOP_SHARE = 1.1
"""A reading this much over anything that was computed means the drawing or the supply is not what we think."""
WIDTH = 76
"""Columns of a caution's line; it fits an 80-column screen with its frame."""


@dataclass(frozen=True, slots=True)
class Caution:
    """What is said before a reading is taken."""

    level: Level
    """Class of the volts in reach; a thing that can move makes it ``danger``."""
    volts: float
    """Highest volts in reach (r.m.s. AC or DC), never below what any suspect gives at the points."""
    at_points: float
    """Highest volts at the points themselves and the other terminals of their devices."""
    facts: tuple[str, ...]
    """What it says, one sentence each, worst first: what `new` is found by."""
    lines: tuple[str, ...]
    """The whole text, folded to `WIDTH`."""
    new: tuple[str, ...]
    """The lines of those facts that the caution before did not have, or one line that says so; all, without one."""
    moves: tuple[str, ...]
    """What can start or move; each of them is also in `facts`."""
    points: tuple[str, ...]
    digest: str
    """SHA-256 of `shown`: what a log keeps of an acceptance."""

    @property
    def shown(self) -> tuple[str, ...]:
        """What is to be drawn: the new lines first, marked, then the rest, then the points."""
        return _shown(self.new, self.lines, self.points)


def caution(
    reasoner: Reasoner,
    readings: Sequence[Meter],
    situation: Situation,
    *,
    person: str,
    before: Caution | None = None,
    hands: int = 1,
) -> Caution:
    """The caution for one trip with the meter. Never empty.

    readings: what will be read, one or more; person: for whom it is (it counts for nobody else); before: the caution
    accepted last, to say first what is different; hands: how many people the situation takes. Pure; the tables it needs
    are computed on first use (see `prepare`).
    """
    machine = reasoner.machine
    pins = tuple(dict.fromkeys(p for r in readings for p in (r.red, r.black)))
    tags = tuple(dict.fromkeys(p.device for p in pins))
    near = tuple(p for tag in tags for p in v.pins_of(machine, tag))
    places = tuple(dict.fromkeys(machine.circuit.devices[tag].place for tag in tags))
    cols = v.columns(reasoner, situation)
    extra, meter_moves = _with_meter(reasoner, readings, situation, near)
    at_points = v.merged([v.between(machine, cols, pins, near), *extra])
    loose = v.unearthed(reasoner, situation, pins)
    if loose:
        at_points = v.merged([at_points, v.supply_volts(reasoner)])
    around = v.merged([at_points, *(v.place_volts(reasoner, situation, place) for place in places)])
    moves = (*meter_moves, *_moves(reasoner, situation))
    level = worst((around.level, "danger")) if moves else around.level
    facts = _facts(reasoner, readings, situation, at_points, around, places, loose, moves, person, hands)
    lines = _folded(facts)
    new = _new(facts, before)
    points = tuple(_point(r) for r in readings)
    digest = hashlib.sha256("\n".join(_shown(new, lines, points)).encode()).hexdigest()
    return Caution(level, around.most, at_points.most, facts, lines, new, moves, points, digest)


def prepare(reasoner: Reasoner, situation: Situation) -> None:
    """Compute what every caution of one situation needs, so that `caution` answers at once."""
    v.columns(reasoner, situation)
    for place in reasoner.machine.circuit.places:
        v.place_volts(reasoner, situation, place)


# ---------------------------------------------------------------------------------------------- what can start or move


def _moves(reasoner: Reasoner, situation: Situation) -> tuple[str, ...]:
    now, then = reasoner.table(situation), reasoner.table(v.healed(situation))
    devices = reasoner.machine.circuit.devices
    unasked = [_by_itself(s) for s in reasoner.machine.suspects]
    out: list[str] = []
    for motor in reasoner.machine.net.motors:
        turning = chance_of(now, partial(stands, motor.var, TURNS))
        if turning[-1] > 0:
            out.append(f"{_named(reasoner, motor.var)} TURNS in this state.")
        elif turning.any():
            out.append(f"{_named(reasoner, motor.var)} may TURN in this state if a part is stuck or welded.")
    starts = False
    for thing in movables(reasoner.machine):
        rise = grown(now, then, thing.moved)
        moves = any(own and rise[k] > 0 for k, own in enumerate(unasked))
        name = _named(reasoner, thing.tag)
        match thing.change:
            case "turns" if moves:
                starts = True
                out.append(f"{name} can START if a bad joint makes or a part frees.")
            case "pulls in" if moves and not starts:
                out.append(f"{name} can PULL IN if a bad joint makes or a part frees.")
            case "brake free" if (chance_of(now, thing.moved) + chance_of(then, thing.moved)).any():
                held = str(devices[thing.tag].ratings.get("holds", ""))
                load = str(devices[held].ratings.get("load", "")) if held in devices else ""
                what = f"load ({show(load)})" if load else "load"
                out.append(f"{name} may be LIFTED, {held} not driving: the {what} can run.")
            case _:
                pass
    return tuple(out)


def _by_itself(suspect: Suspect) -> bool:
    """Whether it can come right with nobody meaning it: a joint, a contact, a mechanism; not a fuse or a reset."""
    return bool(suspect.edits) and all(e.does != "left" for e in suspect.edits)


def _with_meter(
    reasoner: Reasoner, readings: Sequence[Meter], situation: Situation, near: Sequence[Pin]
) -> tuple[list[v.Volts], tuple[str, ...]]:
    """Volts with each meter laid in the network, and what laying it there moves.

    A 10 megohm meter takes at most 0.1 mA from 1000 V, less than anything reacts to, so only low-impedance readings are
    settled again, under every suspect, present and healed.
    """
    found: list[v.Volts] = []
    moves: dict[str, None] = {}
    for reading in readings:
        if reading.mode == "low-impedance volts":
            some, words = _low_impedance(reasoner, reading, situation, tuple(near))
            found.append(some)
            moves |= dict.fromkeys(words)
    return found, tuple(moves)


def _low_impedance(
    reasoner: Reasoner, reading: Meter, situation: Situation, near: tuple[Pin, ...]
) -> tuple[v.Volts, tuple[str, ...]]:
    machine = reasoner.machine
    key = ("safety meter", situation, reading, near)
    found = machine.net.scratch.get(key)
    if found is None:
        ohms = burden(reading.mode)
        net = machine.net.with_meter(reading.red, reading.black, complex(ohms), ohms)
        outcomes = [
            settle_many(net, [(s.edits, at) for s in machine.suspects]) for at in (situation, v.healed(situation))
        ]
        cols = v.columns_of([o.network for outs in outcomes for one in outs for o in one])
        volts = v.between(machine, cols, (reading.red, reading.black), near)
        table = reasoner.table(situation)
        words: dict[str, str] = {}
        for thing in movables(machine):
            plain = chance_of(table, thing.moved)
            laid = [sum(o.weight for o in outs if thing.moved(o)) for outs in outcomes[0]]
            ways = [k for k, chance in enumerate(laid) if chance > plain[k] + 1e-6]
            if ways and thing.change in ("turns", "pulls in", "brake free"):
                does = {"turns": "STARTS", "pulls in": "PULLS IN", "brake free": "LIFTS"}[thing.change]
                sure = "" if len(machine.suspects) - 1 in ways else "may "
                words[thing.change] = (
                    f"This meter (low impedance) by itself {sure}{does} {_named(reasoner, thing.tag)}: do not lay it "
                    f"across {reading.red} and {reading.black}; read each side to its return."
                )
        if "turns" in words:
            words = {"turns": words["turns"]}
        found = machine.net.scratch[key] = (volts, tuple(words.values()))
    return cast("tuple[v.Volts, tuple[str, ...]]", found)


# ----------------------------------------------------------------------------------------------------------- the words


def _facts(
    reasoner: Reasoner, readings: Sequence[Meter], situation: Situation, at_points: v.Volts, around: v.Volts,
    places: tuple[str, ...], loose: tuple[Pin, ...], moves: tuple[str, ...], person: str, hands: int,
) -> tuple[str, ...]:  # fmt: skip
    circuit = reasoner.machine.circuit
    facts = [f"{_call(around.level)}: up to {at_points.words} at the points.", *moves]
    if around.most > at_points.most + 1:
        where = " and ".join(show(circuit.places[p].words or p) for p in places)
        facts.append(f"In reach: up to {around.words} at {where}.")
    if loose:
        facts.append(f"{_list(loose)}: tied to nothing here. Counts as live until proved dead.")
    table = reasoner.table(situation)
    state = table.outcomes[table.healthy].state
    opened = [tag for tag in doings(reasoner.machine).disconnects if state[tag] == "off"]
    live = [p for one in live_parts(reasoner) if one.sure for p in one.pins] if opened else []
    if live:
        facts.append(f"STILL LIVE with {', '.join(opened)} off: {_list(live)}.")
    if any(r.mode == "ohms" for r in readings) and around.most > DEAD_VOLTS:
        facts.append("Ohms only on a part proved dead; volts are still in reach.")
    facts.append(approach(around.ac, around.dc))
    habit = "One hand, black lead clipped." if around.level != "low" else "Probe tips apart."
    facts.append(f"CAT III 600 V meter. PPE per site assessment. {habit}")
    if hands > 1:
        facts.append("Helper: agree on words first; both clear of the drive before the button.")
    who = show(person).strip() or "You"
    limit = max(around.most * STOP_SHARE, DEAD_VOLTS)
    facts.append(f"{who}: only if qualified for this; site rules first.")
    facts.append(f"Over {limit:.0f} V, damage, heat, damp, a doubt: stop and call.")
    return tuple(facts)


def _folded(facts: Sequence[str]) -> tuple[str, ...]:
    return tuple(line for fact in facts for line in textwrap.wrap(fact, WIDTH))


def _call(level: Level) -> str:
    return {"low": "LOW VOLTS", "care": "CARE", "danger": "DANGER"}[level]


def _named(reasoner: Reasoner, tag: str) -> str:
    words = reasoner.machine.circuit.devices[tag].words
    return f"{tag} ({show(words)})" if words and words != tag else tag


def _list(pins: Sequence[Pin]) -> str:
    return ", ".join(str(p) for p in pins)


def _point(reading: Meter) -> str:
    if reading.mode == "amps":
        return f"clamp on the wire from {reading.red} to {reading.black}"
    return f"{reading.red} to {reading.black}"


def _new(facts: tuple[str, ...], before: Caution | None) -> tuple[str, ...]:
    if before is None:
        return _folded(facts)
    return _folded([f for f in facts if f not in before.facts]) or ("Nothing new since the last caution.",)


def _shown(new: tuple[str, ...], lines: tuple[str, ...], points: tuple[str, ...]) -> tuple[str, ...]:
    listed = textwrap.wrap("Points: " + "; ".join(points), WIDTH)
    if new == lines:
        return (*lines, *listed)
    marked = textwrap.wrap(f"NEW: {new[0]}", WIDTH)
    return (*marked, *new[1:], *(line for line in lines if line not in new), *listed)
