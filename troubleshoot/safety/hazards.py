"""What an act does besides what it is meant to: over every suspect, and on the machine with nothing wrong.

An act is a hand's (release, reset, close, restore power, refit a fuse) or nobody's (`heal`: a bad joint makes contact).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.machine import Machine
from troubleshoot.safety.doings import SEEING, Run, after, doings, mode_moves, process_moves, to_and_fro, turns_after
from troubleshoot.safety.motion import TURNS, chance_of, grown, movables, stayed
from troubleshoot.safety.naming import named
from troubleshoot.solve.settle import standing_many
from troubleshoot.text.showing import show

HazardKind = Literal["starts", "does not stop", "restarts", "brake free"]
LEAST: Final = 0.001
"""Chance below which something is not told before power goes on."""
_RANK: Final = {"does not stop": 2, "restarts": 3, "starts": 3, "brake free": 4}
_DOING: Final = {
    "close": "closing", "restore power": "power coming back", "reset": "resetting", "refit": "refitting",
    "release": "releasing", "press": "pressing", "pull": "pulling", "open": "opening", "trip": "a trip of", "put": "turning",
    "heal": "touching or tightening a bad part", "lose power": "losing power", "test": "testing",
}  # fmt: skip
_COUNTED: Final = 9
"""Other causes that are still counted: a hundred is no number that helps anybody who reads standing."""
_POSSIBLE: Final = 0.05
"""Least chance, given a suspect, at which it is named."""


@dataclass(frozen=True, slots=True)
class Hazard:
    """One thing an act may do."""

    words: str
    """One sentence."""
    chance: float
    """Over the belief given; 1 where it happens with nothing wrong."""
    suspects: tuple[str, ...]
    """Ids of the suspects under which it happens, likeliest first; with `healthy`, besides the whole machine."""
    kind: HazardKind
    healthy: bool
    """It happens on the machine with nothing wrong."""
    act: Act
    situation: Situation
    does: str
    """What happens, without whether it may or will: ``start M1 (belt motor)``."""


def hazards_of_act(reasoner: Reasoner, belief: Floats, situation: Situation, act: Act) -> tuple[Hazard, ...]:
    """What `act` may do when it is done in `situation`, worst first; nothing found, an empty tuple.

    belief: (suspects,) chances as from `Reasoner.belief`, or the prior. Pressing start on a whole machine starts it, which
    is no hazard; a reset, a release or returning power that does the same is one.
    """
    before, behind = reasoner.standings(situation), reasoner.standings(_then(situation, act))
    whole_one = before.whole
    found: list[Hazard] = []
    for thing in movables(reasoner.machine):
        rise = grown(before, behind, thing.moved)
        whole = bool(rise[whole_one] > 0)
        if thing.change == "turns":
            still = stayed(before, behind, thing.moved)
            if still[whole_one] == 0 and chance_of(before, thing.moved)[whole_one] > 0:
                # Whatever stops a whole machine is a stop, a mode switch turned back to where it usually is too.
                found += _hazard(reasoner, belief, still, situation, act, "does not stop", thing.tag, False)
            deliberate = act.verb == "press" and whole and not _is_stop(reasoner, act)
            if not deliberate:
                kind: HazardKind = "restarts" if _ran(reasoner, situation, thing.tag) else "starts"
                found += _hazard(reasoner, belief, rise, situation, act, kind, thing.tag, whole)
        elif thing.change == "brake free":
            found += _hazard(reasoner, belief, rise, situation, act, "brake free", thing.tag, whole)
    return tuple(sorted(found, key=lambda h: (not h.healthy, -h.chance)))


def before_power(reasoner: Reasoner, belief: Floats) -> tuple[Hazard, ...]:
    """What to know before power is put on: everything that may then start, not stop, restart or let the load go."""
    found: list[Hazard] = []
    acts = dangerous_acts(reasoner)
    prepare_acts(reasoner, acts)
    for situation, act in acts:
        found += hazards_of_act(reasoner, belief, situation, act)
    merged: dict[tuple[str, str], Hazard] = {}
    for hazard in found:
        merged.setdefault((hazard.kind, hazard.words), hazard)
    return tuple(sorted(merged.values(), key=lambda h: (not h.healthy, -h.chance)))


def in_short(reasoner: Reasoner, belief: Floats, hazards: Iterable[Hazard]) -> tuple[str, ...]:
    """The same hazards for a page that is read standing: acts of one effect together, putting power on first.

    Leaves out what is not sure and less likely than `LEAST`. One sentence a line, at most six for one motor and its brake.
    """
    groups: dict[tuple[int, str], list[Hazard]] = {}
    for hazard in hazards:
        if not hazard.healthy and hazard.chance < LEAST:
            continue
        at_once = hazard.act.verb in ("close", "restore power") and hazard.kind != "brake free"
        rank = 0 if at_once else 1 if hazard.healthy else _RANK[hazard.kind]
        groups.setdefault((rank, hazard.does), []).append(hazard)
    return tuple(_together(reasoner, belief, group) for _, group in sorted(groups.items(), key=lambda pair: pair[0][0]))


def _together(reasoner: Reasoner, belief: Floats, group: list[Hazard]) -> str:
    first = group[0]
    verbs: dict[str, list[str]] = {}
    for hazard in group:
        device = verbs.setdefault(_DOING.get(hazard.act.verb, hazard.act.verb), [])
        device += [hazard.act.device] if hazard.act.device and hazard.act.device not in device else []
    acts = either([f"{verb} {either(tags)}".strip() for verb, tags in verbs.items()])
    can = "may not" if first.kind == "does not stop" else "WILL" if first.healthy else "can"
    if first.healthy:
        ran = all(h.situation.acts for h in group)
        return f"{_capital(acts)} {can} {first.does}{' if it ran before' if ran else ''}, with nothing wrong."
    suspects = {s.id: k for k, s in enumerate(reasoner.machine.suspects)}
    # Equally likely ones in the order of the machine: what a person accepts must read the same every time.
    ways = sorted({i for h in group for i in h.suspects}, key=lambda i: (-float(belief[suspects[i]]), suspects[i]))
    causes = either([show(reasoner.machine.suspects[suspects[i]].words) for i in ways[:2]])
    left = len(ways) - 2
    more = ", or any of many others" if left > _COUNTED else others(left)
    return f"{_capital(acts)} {can} {first.does}, if {causes}{more}."


def others(count: int) -> str:
    """How a list of causes goes on: nothing, ``, or 1 other fault``, ``, or 7 other faults``."""
    return f", or {count} other fault{'s' if count > 1 else ''}" if count > 0 else ""


def either(words: list[str], joined: str = "or") -> str:
    """``a, b or c``."""
    *most, last = words or [""]
    return f"{', '.join(most)} {joined} {last}" if most else last


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def dangerous_acts(reasoner: Reasoner) -> tuple[tuple[Situation, Act], ...]:
    """The acts worth asking about, from the machine's roles: power back, release, reset, stop, and healing."""
    has, machine = doings(reasoner.machine), reasoner.machine
    out: list[tuple[Situation, Act]] = [(after(Act("open", tag)), Act("close", tag)) for tag in has.disconnects]
    runs = has.runs or (Run(has.running()),)
    for run in runs:
        out += _while_running(machine, run)
    for act in (*(to_and_fro(machine, tag)[0] for tag in has.stops), *process_moves(machine)):
        # A stop that starts what stands still, and a process that starts it with nobody there.
        if turns_after(machine, (*has.ready(), act)):
            out.append((after(*has.ready()), act))
    for act in mode_moves(machine, has):
        out.append((after(act), Act("put", act.device, machine.net.initial[act.device])))
        out.append((after(), act))
    out += [(situation, Act("heal")) for situation in (after(), *(after(*run.acts) for run in runs))]
    return tuple(dict.fromkeys(out))


def _while_running(machine: Machine, run: Run) -> Iterable[tuple[Situation, Act]]:
    """What stops it; and what must not start it again, the button that was held let go before."""
    has = doings(machine)
    acts, let_go = run.acts, run.let_go
    for tag in has.disconnects:
        yield after(*acts, Act("open", tag), *let_go), Act("close", tag)
        yield after(*acts), Act("open", tag)
    yield after(*acts, Act("lose power"), *let_go), Act("restore power")
    for release in let_go:
        yield after(*acts), release
    for tag in has.overloads:
        yield after(*acts, Act("trip", tag), *let_go), Act("reset", tag)
        yield after(*acts), Act("trip", tag)
    for tag in (*has.emergency_stops, *has.stops):
        stop, free = to_and_fro(machine, tag)
        yield after(*acts, stop, *let_go), free
        yield after(*acts), stop
        if tag in has.emergency_stops:
            # A monitored reset acts when it is let go, an automatic one when it is pressed.
            pressed = after(*acts, stop, *let_go, free)
            for act in has.ready():
                yield pressed, act
                pressed = after(*pressed.acts, act)
    # What the process stops must stay stopped when it goes on; a switch counts as a stop where there is no button.
    for act in (*process_moves(machine), *(() if has.stops else mode_moves(machine, has))):
        if act not in acts and turns_after(machine, (*acts, act)) < run.turns:
            yield after(*acts), act
            if act.device not in has.modes:
                yield after(*acts, act, *let_go), Act("put", act.device, machine.net.initial[act.device])
    for tag, device in machine.circuit.devices.items():
        if device.kind == "fuse":
            yield Situation("rest", (*acts, *let_go), frozenset({(tag, "blown")})), Act("refit", tag)


def _is_stop(reasoner: Reasoner, act: Act) -> bool:
    has = doings(reasoner.machine)
    return act.device in (*has.stops, *has.emergency_stops)


def prepare_acts(reasoner: Reasoner, acts: Iterable[tuple[Situation, Act]], also: Iterable[Situation] = ()) -> None:
    """Settle what stands before and after each act, and in further situations, all side by side."""
    pairs = [(situation, _then(situation, act)) for situation, act in acts]
    reasoner.prepare_standings([*(one for pair in pairs for one in pair), *also])


def _then(situation: Situation, act: Act) -> Situation:
    return Situation(situation.origin, (*situation.acts, act), situation.hold)


def _ran(reasoner: Reasoner, situation: Situation, motor: str) -> bool:
    """Whether the whole machine turned this motor at some moment of the situation."""
    prefixes = [
        ((), Situation(situation.origin, situation.acts[:k], situation.hold)) for k in range(len(situation.acts) + 1)
    ]
    found = standing_many(reasoner.machine.net, prefixes)
    return any(standing.states[0][motor] in TURNS for several in found for standing in several)


def _hazard(
    reasoner: Reasoner, belief: Floats, given: Floats, situation: Situation, act: Act, kind: HazardKind, tag: str,
    whole: bool,
) -> Iterable[Hazard]:  # fmt: skip
    suspects = reasoner.machine.suspects
    ways = [k for k in np.argsort(-belief * given, kind="stable") if given[k] >= _POSSIBLE and k != len(suspects) - 1]
    if not ways and not whole:
        return ()
    chance = 1.0 if whole else float((belief[:-1] * given[:-1]).sum())
    name = named(reasoner.machine, tag)
    bare = {
        "starts": f"start {name}",
        "restarts": f"start {name}",
        "does not stop": f"stop {name}",
        "brake free": f"leave {name} lifted with nothing driving: the load can run",
    }[kind]
    does = f"may not {bare}" if kind == "does not stop" else f"can {bare}{' again' if kind == 'restarts' else ''}"
    sure = does.replace("can ", "WILL ", 1) if whole else does
    when = _when(situation)
    if whole:
        cause = "with nothing wrong"
    else:
        cause = "if " + " or ".join(show(suspects[k].words) for k in ways[:2])
        if len(ways) > 2:
            cause += f", and in {len(ways) - 2} more case{'s' if len(ways) > 3 else ''}"
    words = f"{_act_words(reasoner.machine, act)}{when} {sure}, {cause}."
    return (Hazard(words, chance, tuple(suspects[k].id for k in ways), kind, whole, act, situation, bare),)


def _when(situation: Situation) -> str:
    out = [f"{tag} {value}" for tag, value in sorted(situation.hold)]
    out += [str(a) for a in situation.acts]
    return f" (after: {', '.join(out)})" if out else ""


def _act_words(machine: Machine, act: Act) -> str:
    if act.verb == "heal":
        return "Touching or tightening what is bad"
    if act.verb == "put" and machine.circuit.devices[act.device].kind in SEEING:
        return f"{named(machine, act.device)} coming to {act.value}"
    text = str(act)
    return text[0].upper() + text[1:]
