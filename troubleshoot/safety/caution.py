"""The caution of one step: what a person may meet at the points, computed for every suspect, present and healed.

It is said in full the first time and whenever the class of the volts rises. After that only what is new is said in full,
first, and the rest stays in one sentence behind it: what reads the same every time is not read the eighth time.
"""

from __future__ import annotations

import hashlib
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, cast

from troubleshoot.circuit.model import Pin, Place, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.faults.suspects import Suspect
from troubleshoot.machine import Machine
from troubleshoot.safety import volts as v
from troubleshoot.safety.dead_test import earthed_nodes
from troubleshoot.safety.doings import doings
from troubleshoot.safety.isolation import live_parts
from troubleshoot.safety.levels import DEAD_VOLTS, ORDER, Level, approach, worst
from troubleshoot.safety.motion import TURNS, chance_of, grown, movables, stands
from troubleshoot.safety.naming import named
from troubleshoot.solve.meter import metered
from troubleshoot.solve.meters import NEEDS_DEAD
from troubleshoot.solve.settle import settle_many
from troubleshoot.text.showing import show

STOP_SHARE = 1.1
"""A reading this much over anything that was computed means the drawing or the supply is not what we think."""
WIDTH = 76
"""Columns of a caution's line; it fits an 80-column screen with its frame."""
FIRST = 9
"""Columns left free on the first line, for the word that marks it as a caution."""
NEWS_SHARE = 1.05
"""Volts that differ by less than this from those read last are not news."""
WRONG_SHARE = 1.25
"""Volts so much higher under a fault than on a whole machine are said with both numbers."""
BY_METER = 0.05
"""Least rise of a chance, given a suspect, at which laying the meter there is said to move something."""
BESIDE_SHARE: Final = 2.0
"""From so many times the volts of the points themselves on, it is said which terminal beside them has more."""
SHARED: Final = frozenset({"root", "admin", "administrator", "user", "guest", "operator", "maintenance", "unknown"})
"""Logins that name no person: who reads the caution is then meant, whoever it is."""
_BETWEEN: Final = ", between "
_ELSE: Final = " by a fault, else "
_VOLTS = re.compile(r"(\d+(?:\.\d+)?) V\b")


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
    brief: tuple[str, ...]
    """Each of `facts` in a few words, in the same order: how it is said again."""
    lines: tuple[str, ...]
    """The whole text, folded to `WIDTH`."""
    new: tuple[str, ...]
    """The lines of those facts that the caution before did not have, or one line that says so; all of them where there
    was none before or the class of the volts has risen."""
    moves: tuple[str, ...]
    """What can start or move; each of them is also in `facts`."""
    points: tuple[str, ...]
    shown: tuple[str, ...]
    """What is to be drawn: all of `lines`, or the new ones first, marked, and the rest in a few words; then the points."""
    digest: str
    """SHA-256 of `shown`: what a log keeps of an acceptance."""


def caution(
    reasoner: Reasoner,
    readings: Sequence[Meter],
    situation: Situation,
    *,
    person: str,
    before: Caution | None = None,
    hands: int = 1,
    stalled: tuple[str, ...] = (),
    locked: Situation | None = None,
    clipped: bool = False,
) -> Caution:
    """The caution for one trip with the meter. Never empty.

    readings: what will be read, one or more; person: for whom it is (it counts for nobody else); before: the caution
    accepted last, to say first what is different; hands: how many people the situation takes; stalled: motors that were seen to hum;
    locked: for a dead test, the state with every disconnect open: volts are said as if none were, what moves as it then can; clipped: the leads were clipped on dead and no hand is near. Pure; the tables it needs
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
    moves = (*meter_moves, *(_moves(reasoner, situation) if locked is None else _moves_locked(reasoner, locked)))
    level = worst((around.level, "danger")) if moves else around.level
    said = _facts(
        reasoner,
        readings,
        situation,
        at_points,
        around,
        places,
        loose,
        moves,
        person,
        hands,
        locked=locked is not None,
        clipped=clipped,
    )
    if situation.acts:
        hum = [_stalled(reasoner, tag) for tag in stalled]
        said = (said[0], *hum, *said[1:])
    facts, brief = tuple(full for full, _ in said), tuple(short for _, short in said)
    fresh = _fresh(facts, level, before)
    new = _folded([fact for fact, is_new in zip(facts, fresh, strict=True) if is_new]) or (NOTHING_NEW,)
    points = tuple(_point(r) for r in readings)
    shown = (*_drawn(facts, brief, fresh), *textwrap.wrap(f"Points: {_points(machine, readings)}.", WIDTH))
    digest = hashlib.sha256("\n".join((*shown, *points)).encode()).hexdigest()
    return Caution(
        level, around.most, at_points.most, facts, brief, _folded(facts), new, tuple(full for full, _ in moves), points,
        shown, digest,
    )  # fmt: skip


def prepare(reasoner: Reasoner, situation: Situation) -> None:
    """Compute what every caution of one situation needs, so that `caution` answers at once."""
    v.columns(reasoner, situation)
    for place in reasoner.machine.circuit.places:
        v.place_volts(reasoner, situation, place)


# ---------------------------------------------------------------------------------------------- what can start or move


Said = tuple[str, str]
"""A sentence in full, and in a few words."""

STALLED_S: Final = 3
"""Seconds a motor that only hums is left on power. It takes some six times its current and warms 36 times as fast: about
half of what the hot stall time of small motors comes to (5 s at least, IEC 60079-7 for its kind of motor, from memory)."""


def _stalled(reasoner: Reasoner, tag: str) -> Said:
    brakes = [b for b, d in reasoner.machine.circuit.devices.items()
              if d.kind == "brake" and str(d.ratings.get("holds", "")) == tag]  # fmt: skip
    first = f" {' and '.join(brakes)} may be what holds it." if brakes else ""
    return (
        f"{named(reasoner.machine, tag)} HUMS: stalled, it overheats. Hold Start {STALLED_S} s at most, for one reading, a "
        f"minute off between.{first}",
        f"{tag} stalled: {STALLED_S} s at most, a minute off",
    )


def _moves(reasoner: Reasoner, situation: Situation) -> tuple[Said, ...]:
    now, then = reasoner.standings(situation), reasoner.standings(v.healed(situation))
    devices = reasoner.machine.circuit.devices
    unasked = [_by_itself(s) for s in reasoner.machine.suspects]
    out: list[Said] = []
    turns: dict[str, bool] = {}
    for motor in reasoner.machine.net.motors:
        turning = chance_of(now, partial(stands, motor.var, TURNS))
        if turning.any():
            turns[motor.var] = bool(turning[-1] > 0)
    starts: set[str] = set()
    found = situation.origin == "as-found"
    for thing in movables(reasoner.machine):
        rise = grown(now, then, thing.moved)
        moves = any(own and rise[k] > 0 for k, own in enumerate(unasked))
        name = named(reasoner.machine, thing.tag)
        match thing.change:
            case "turns" if moves or thing.tag in turns:
                starts |= {thing.tag} if moves else set()
                out.append(_turns(thing.tag, name, turns.get(thing.tag), can_start=moves, found=found))
            case "pulls in" if moves and not starts:
                out.append((f"{name} can PULL IN if a bad joint makes or a part frees.", f"{thing.tag} can PULL IN"))
            case "brake free" if (chance_of(now, thing.moved) + chance_of(then, thing.moved)).any():
                held = str(devices[thing.tag].ratings.get("holds", ""))
                load = str(devices[held].ratings.get("load", "")) if held in devices else ""
                what = f"load ({show(load)})" if load else "load"
                out.append((f"{name} may be LIFTED, {held} not driving: the {what} can run.", "the load can RUN"))
            case _:
                pass
    return tuple(out)


_CAUSES: Final = 2
"""Faults that are named as why something can still move with the disconnect open."""


def _moves_locked(reasoner: Reasoner, situation: Situation) -> tuple[Said, ...]:
    """What can still turn, or let a load go, with every disconnect open, and only by which fault: so that nobody takes a line
    about a machine with its power on for a doubt of the lock."""
    now, then = reasoner.standings(situation), reasoner.standings(v.healed(situation))
    suspects, off = reasoner.machine.suspects, " and ".join(doings(reasoner.machine).disconnects)
    out: list[Said] = []
    for thing in movables(reasoner.machine):
        chance = chance_of(now, thing.moved) + chance_of(then, thing.moved)
        causes = [show(s.words) for s, p in zip(suspects, chance, strict=True) if p > 0 and s.edits]
        if not chance.any() or thing.change not in ("turns", "brake free"):
            continue
        more = f" or {len(causes) - _CAUSES} more" if len(causes) > _CAUSES else ""
        why = "as it is drawn" if chance[-1] > 0 else f"only if {' or '.join(causes[:_CAUSES])}{more}"
        name = named(reasoner.machine, thing.tag)
        out.append(
            (f"{name} may TURN with {off} open, {why}.", f"{thing.tag} may TURN") if thing.change == "turns" else
            (f"{name} may be LIFTED with {off} open, {why}: the load can run.", "the load can RUN")
        )  # fmt: skip
    return tuple(out)


def _turns(tag: str, name: str, turns: bool | None, *, can_start: bool, found: bool = False) -> Said:
    """turns: it does on a whole machine; False: only under a suspect; None: never as things stand.

    found: nobody knows how the machine came to stand as it does, so that it may do either, and "should" would be a guess.
    """
    if found and (turns or can_start):
        return f"{name} may TURN, or START by itself, as it was found.", f"{tag} can START"
    if turns and can_start:
        return f"{name} should TURN now, and can START if a bad joint makes.", f"{tag} can START"
    if turns:
        return f"{name} TURNS now.", f"{tag} TURNS"
    if can_start:
        return f"{name} can START if a bad joint makes or a part frees.", f"{tag} can START"
    return f"{name} may TURN now if a part is stuck or welded.", f"{tag} may TURN"


def _by_itself(suspect: Suspect) -> bool:
    """Whether it can come right with nobody meaning it: a joint, a contact, a mechanism; not a fuse or a reset."""
    return bool(suspect.edits) and all(e.does != "left" for e in suspect.edits)


def _with_meter(
    reasoner: Reasoner, readings: Sequence[Meter], situation: Situation, near: Sequence[Pin]
) -> tuple[list[v.Volts], tuple[Said, ...]]:
    """Volts with each meter laid in the network, and what laying it there moves.

    A 10 megohm meter takes at most 0.1 mA from 1000 V, less than anything reacts to, so only low-impedance readings are
    settled again, under every suspect, present and healed.
    """
    found: list[v.Volts] = []
    moves: dict[Said, None] = {}
    for reading in readings:
        if reading.mode == "low-impedance volts":
            some, words = _low_impedance(reasoner, reading, situation, tuple(near))
            found.append(some)
            moves |= dict.fromkeys(words)
    return found, tuple(moves)


def _low_impedance(
    reasoner: Reasoner, reading: Meter, situation: Situation, near: tuple[Pin, ...]
) -> tuple[v.Volts, tuple[Said, ...]]:
    machine = reasoner.machine
    key = ("safety meter", situation, reading, near)
    found = machine.net.scratch.get(key)
    if found is None:
        net = metered(machine.net, reading.mode, reading.red, reading.black)
        outcomes = [
            settle_many(net, [(s.edits, at) for s in machine.suspects]) for at in (situation, v.healed(situation))
        ]
        cols = v.columns_of([n for outs in outcomes for one in outs for o in one for n in o.networks])
        volts = v.between(machine, cols, (reading.red, reading.black), near)
        standing = reasoner.standings(situation)
        words: dict[str, Said] = {}
        for thing in movables(machine):
            plain = chance_of(standing, thing.moved)
            laid = [sum(o.weight for o in outs if thing.moved(o.states)) for outs in outcomes[0]]
            ways = [k for k, chance in enumerate(laid) if chance > plain[k] + BY_METER]
            if ways and thing.change in ("turns", "pulls in", "brake free"):
                does = {"turns": "START", "pulls in": "PULL IN", "brake free": "LIFT"}[thing.change]
                sure = len(machine.suspects) - 1 in ways
                words[thing.change] = _laid(reasoner, reading, thing.tag, does, sure=sure)
        if "turns" in words:
            words = {"turns": words["turns"]}
        found = machine.net.scratch[key] = (volts, tuple(words.values()))
    return cast("tuple[v.Volts, tuple[Said, ...]]", found)


def _laid(reasoner: Reasoner, reading: Meter, tag: str, does: str, *, sure: bool) -> Said:
    name, short = named(reasoner.machine, tag), f"this meter can {does} {tag}"
    if not sure:
        return (
            f"This meter (low impedance) by itself may {does} {name} if a part is bad: stand clear of it first.",
            short,
        )
    does = does.replace("PULL IN", "PULLS IN") if does == "PULL IN" else f"{does}S"
    return (
        f"This meter (low impedance) by itself {does} {name}: do not lay it across {reading.red} and {reading.black}; "
        "read each side to its return."
    ), short


# ----------------------------------------------------------------------------------------------------------- the words

NOTHING_NEW = "Nothing new since the last caution."


def place_danger(place: Place) -> str:
    """What can hurt at a place besides volts and what moves, as it is said before anybody is sent there; else empty."""
    return f"At {show(place.words or place.name)}: {show(place.danger)}." if place.danger else ""


def _facts(
    reasoner: Reasoner, readings: Sequence[Meter], situation: Situation, at_points: v.Volts, around: v.Volts,
    places: tuple[str, ...], loose: tuple[Pin, ...], moves: tuple[Said, ...], person: str, hands: int, *,
    locked: bool, clipped: bool,
) -> tuple[Said, ...]:  # fmt: skip
    circuit = reasoner.machine.circuit
    near = around if around.most <= at_points.most * NEWS_SHARE else at_points
    whole = _on_a_whole_machine(reasoner, readings, situation)
    # A number that nobody expects there has a reason; without it the next one is not believed either.
    why = f"{_ELSE}{whole.words}" if near.most > WRONG_SHARE * max(whole.most, 10.0) else ""
    if near is at_points and not why and not loose:
        why = _beside(reasoner, readings, situation, near)
    facts: list[Said] = [
        (f"{_call(near.level)}: up to {near.words} at the points{why}.", f"{near.words} at the points"),
        *moves,
    ]
    if locked:
        facts.append(
            (
                "Locked off is not dead: each of these counts as live until it has shown nothing.",
                "live until proved dead",
            )
        )
    if near is at_points and around.most > at_points.most:
        # Each place with what is in it: the lead that is parked at the panel brings no panel's volts into a button box.
        there = {p: v.place_volts(reasoner, situation, p) for p in places}
        most = max(one.most for one in there.values())
        high = [p for p in places if there[p].most * NEWS_SHARE >= most]
        where = " and ".join(show(circuit.places[p].words or p) for p in high)
        where += "".join(f", {there[p].words} at {show(circuit.places[p].words or p)}" for p in places if p not in high)
        worse = ORDER.index(around.level) > ORDER.index(near.level)
        call = f"{_call(around.level)} in" if worse else "In"
        facts.insert(
            0 if worse else len(facts), (f"{call} reach: up to {around.words} at {where}.", f"{around.words} in reach")
        )
    for place in (circuit.places[p] for p in places):
        if place.danger:
            facts.append((place_danger(place), show(place.danger)))
    if loose:
        facts.append((f"{_list(loose)}: tied to nothing here. Counts as live until proved dead.",
                      f"as live {_list(loose)}"))  # fmt: skip
    table = reasoner.table(situation)
    state = table.outcomes[table.healthy].state
    opened = [tag for tag in doings(reasoner.machine).disconnects if state[tag] == "off"]
    live = [p for one in live_parts(reasoner) if one.sure for p in one.pins] if opened else []
    if live:
        facts.append((f"STILL LIVE with {', '.join(opened)} off: {_list(live)}.", f"{_list(live)} still live"))
    if any(r.mode in NEEDS_DEAD for r in readings) and around.most > DEAD_VOLTS:
        facts.append(("Ohms only on a part proved dead; volts are still in reach.", "ohms only on what is proved dead"))
    keep = approach(around.ac, around.dc)
    if clipped:
        keep = f"{keep.partition(';')[0].rstrip('.')}: nothing enters, the leads are on."
    facts.append((keep, keep.partition(" from ")[0].partition(" (")[0].rstrip(".").lower()))
    habit = "One hand, black lead clipped." if around.level != "low" else "Probe tips apart."
    if clipped:
        habit = "Covers shut, hands out."
    facts.append(
        (f"CAT III 600 V meter. PPE per site assessment. {habit}", "CAT III 600 V meter, PPE per site assessment")
    )
    devices = circuit.devices.values()
    clamps = [r for r in readings if r.mode == "amps"]
    leads = {circuit.devices[p.device].place for r in readings if r.mode != "amps" for p in (r.red, r.black)}
    at_it = sorted({d.tag for d in devices if d.kind in ("motor", "brake") and d.place in leads})
    if clamps and not locked:
        # A clamp goes round a wire while it runs: of leads that are clipped on dead there are none.
        facts.append((
            "Clamp: round one insulated wire at a time, no lead clipped on; guard on, sleeves clear of what turns.",
            "clamp on insulation only",
        ))  # fmt: skip
    if at_it and not locked and not clipped and (moves or hands > 1):
        # Whoever reads there cannot stand clear of it: nothing of them but the clipped leads may be there.
        facts.append((
            f"{' and '.join(at_it)} can move where you read. Power on now? Lock off first, clip the leads on dead, hands out, "
            "guard on; then power, then the button.", "leads clipped on dead, hands out, guard on",
        ))  # fmt: skip
    if hands > 1:
        clear = "helper" if at_it else "both"
        facts.append(
            (
                f"Helper: agree on words first; {clear} clear of the drive before the button.",
                "helper clear of the drive",
            )
        )
    who = show(person).strip() or "You"
    if who.casefold() in SHARED:
        who = f"You (login {who})"
    limit = max(around.most * STOP_SHARE, DEAD_VOLTS)
    facts.append((f"{who}: only if qualified for this; site rules first.", ""))
    facts.append(
        (f"Over {limit:.0f} V, damage, heat, damp, a doubt: stop and call.", f"over {limit:.0f} V or in doubt stop")
    )
    return tuple(facts)


def _on_a_whole_machine(reasoner: Reasoner, readings: Sequence[Meter], situation: Situation) -> v.Volts:
    """Volts at the points and the other terminals of their devices where nothing is wrong."""
    machine, table = reasoner.machine, reasoner.table(situation)
    pins = tuple(dict.fromkeys(p for r in readings for p in (r.red, r.black)))
    near = tuple(p for tag in dict.fromkeys(p.device for p in pins) for p in v.pins_of(machine, tag))
    return v.between(machine, v.columns_of([table.outcomes[table.healthy].network]), pins, near)


def _beside(reasoner: Reasoner, readings: Sequence[Meter], situation: Situation, most: v.Volts) -> str:
    """``, KM1:A1 to KM1:1 beside it``: where the points alone have far less, what a tip that slips finds; empty otherwise."""
    machine, cols = reasoner.machine, v.columns(reasoner, situation)
    pins = tuple(dict.fromkeys(p for r in readings for p in (r.red, r.black)))
    if v.between(machine, cols, pins, pins).most * BESIDE_SHARE > most.most:
        return ""
    pairs = [(p, q) for p in pins for q in v.pins_of(machine, p.device) if q not in pins]
    p, q = max(pairs, key=lambda pair: v.between(machine, cols, pair[:1], pair[1:]).most)
    number = next((f" (wire {h.number})" for h in machine.circuit.hops if q in (h.a, h.b)), "")
    return f"{_BETWEEN}{p} and {q}{number} beside it"


def _folded(facts: Sequence[str]) -> tuple[str, ...]:
    return tuple(line for fact in facts for line in textwrap.wrap(fact, WIDTH))


def _call(level: Level) -> str:
    return {"low": "LOW VOLTS", "care": "CARE", "danger": "DANGER"}[level]


def _list(pins: Sequence[Pin]) -> str:
    return ", ".join(str(p) for p in pins)


def _point(reading: Meter) -> str:
    if reading.mode == "amps":
        return f"clamp on the wire from {reading.red} to {reading.black}"
    return f"{reading.red} to {reading.black}"


def _blacks_in(readings: Sequence[Meter]) -> tuple[Pin, ...]:
    """What the black lead lies on, one after the other."""
    return tuple(dict.fromkeys(r.black for r in readings))


def _points(machine: Machine, readings: Sequence[Meter]) -> str:
    """The points of a trip; a parked black lead is said once."""
    blacks = {r.black for r in readings}
    if all(r.mode == "amps" for r in readings):
        return f"clamp on {'; '.join(f'{r.red} to {r.black}' for r in readings)}"
    if len(readings) > len(blacks) > 1 and all(r.mode != "amps" for r in readings):
        reds = {
            black: dict.fromkeys(str(r.red) for r in readings if r.black == black) for black in _blacks_in(readings)
        }
        return "; ".join(f"{', '.join(some)} to {black}" for black, some in reds.items())
    if len(blacks) > 1 or any(r.mode == "amps" for r in readings):
        return "; ".join(dict.fromkeys(_point(r) for r in readings))
    devices, black = machine.circuit.devices, readings[0].black
    away = all(devices[r.red.device].place != devices[black.device].place for r in readings)
    # As the card has it: nobody takes the black lead to another place, where earth at hand is the same.
    at_hand = away and machine.net.node(black) in earthed_nodes(machine)
    return (
        f"{', '.join(dict.fromkeys(str(r.red) for r in readings))} to {f'earth there ({black})' if at_hand else black}"
    )


def _fresh(facts: tuple[str, ...], level: Level, before: Caution | None) -> tuple[bool, ...]:
    """Which facts the caution before did not have: all, where there was none or the class has risen since."""
    if before is None or ORDER.index(level) > ORDER.index(before.level):
        return (True,) * len(facts)
    return tuple(not any(_covers(old, fact) for old in before.facts) for fact in facts)


def _covers(old: str, fact: str) -> bool:
    """Whether a fact was said already: the same words, and no volts in it that have risen by more than a little."""
    # What it would be without the fault is the reason for a number, no news of its own.
    old, fact = (re.split(f"{_ELSE}|{_BETWEEN}", said)[0].rstrip(".") for said in (old, fact))
    if _VOLTS.sub("", old) != _VOLTS.sub("", fact):
        return False
    pairs = zip(_VOLTS.findall(old), _VOLTS.findall(fact), strict=True)
    return all(float(now) <= NEWS_SHARE * float(then) for then, now in pairs)


def _drawn(facts: Sequence[str], brief: Sequence[str], fresh: Sequence[bool]) -> tuple[str, ...]:
    new = [fact for fact, is_new in zip(facts, fresh, strict=True) if is_new]
    if all(fresh):
        first, *rest = new
    else:
        again = [short for short, is_new in zip(brief, fresh, strict=True) if short and not is_new]
        first, *rest = [f"NEW: {new[0]}", *new[1:]] if new else [NOTHING_NEW]
        rest += [f"As before: {', '.join(again)}."] if again else []
    top = [line.strip() for line in textwrap.wrap(first, WIDTH, initial_indent=" " * FIRST)]
    return (*top, *_folded(rest))
