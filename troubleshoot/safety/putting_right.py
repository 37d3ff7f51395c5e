"""What putting right may move with power on: a head released, a controller set to run, a force taken off, a copy loaded.

Settled for the machine as it stands and in every position that its roles, floats and switches can have: what stops while a
controller is loaded, what starts as soon as it is right, and what the wrong one held back until somebody presses.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.faults.suspects import Suspect
from troubleshoot.safety.doings import after, doings, mode_moves, process_moves
from troubleshoot.safety.hazards import either, hazards_of_act, others, prepare_acts
from troubleshoot.safety.motion import Movable, movables
from troubleshoot.safety.naming import named
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import Outcome, settle_many
from troubleshoot.text.showing import show

_HEAL: Final = Act("heal")
_MOST_POSITIONS: Final = 3
"""Positions named in one sentence."""


@dataclass(frozen=True, slots=True)
class _Position:
    """How the machine stands when it is put right."""

    words: str
    """Empty: as it stands, nobody at it."""
    acts: tuple[Act, ...]
    pressed: bool = False
    """Somebody holds a start button."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """What a position comes to: with what is wrong, while the controller is stopped, put right; and put right beforehand."""

    position: _Position
    wrong: tuple[Outcome, ...]
    stopped: tuple[Outcome, ...]
    right: tuple[Outcome, ...]
    whole: tuple[Outcome, ...]


NOTHING_KNOWN: Final = "Nothing is known that starts by it; stand clear all the same."
POWER_OFF: Final = "Power is off: nothing moves by it now. What starts with the power is told before that goes back on."
_DOING: Final = {
    "release": "Releasing", "reset": "Resetting", "find the cause, then reset": "Resetting", "switch on": "Closing",
    "plug in": "Plugging in", "take off": "Taking off", "let go": "Letting go",
}  # fmt: skip
"""What putting a condition right is called while it is done; another act by its own words."""
_DRIVEN: Final = ("contactor", "relay", "brake", "motor")
"""Kinds that are named, by a word in their kind, where a controller set to run may move them."""
_MOST_DRIVEN: Final = 8


def putting_right(reasoner: Reasoner, suspect: Suspect) -> tuple[str, ...]:
    """What may move when this is put right with power on, and who must stand clear, worst first.

    suspect: of the controller's program (a change, a forced point), or a condition: what was left as it should not be. Empty for
    what is broken: that is mended with power off, and `before_power` comes after it. One sentence a line, at most six for one
    motor.
    """
    if not any(e.does == "program" for e in suspect.edits):
        return () if suspect.broken else _condition_right(reasoner, suspect)
    if not reasoner.machine.net.cpus:
        return ()
    forced = any(e.does == "program" and e.value == "forced" for e in suspect.edits)
    cpus = tuple(cpu.var for cpu in reasoner.machine.net.cpus)
    seen = _seen(reasoner, suspect.edits, cpus, forced=forced)
    doing = "Taking off the force" if forced else f"{' and '.join(cpus)} back in run with the copy"
    out: list[str] = []
    moving: set[str] = set()
    for thing in movables(reasoner.machine):
        if thing.change in ("turns", "brake free"):
            said = list(_of_one(reasoner, thing, seen, doing, cpus, forced=forced))
            moving |= {thing.tag} if said else set()
            out += said
    if not forced:
        told = list(_with_another_fault(reasoner, cpus, doing))
        moving |= {tag for tag, _ in told}
        out += [words for _, words in told]
    out.sort(key=lambda words: " WILL " not in words)
    whose = f"Only whoever may {'force points of' if forced else 'load'} this controller; site rules first."
    hands = "" if forced else ", hands off its buttons while it loads"
    return (*out, _clear_of(reasoner, moving, whose, hands))


def _condition_right(reasoner: Reasoner, suspect: Suspect) -> tuple[str, ...]:
    """The same of a condition: with it, without it, in every position; then with one fault more that nobody has tested for."""
    act, item = suspect.repair
    doing = _doing(reasoner, act, item)
    cpus = tuple(c.var for c in reasoner.machine.net.cpus if any(e.slot == c.var for e in suspect.edits))
    seen = _seen(reasoner, suspect.edits, (), forced=True, positions=_tried_positions(reasoner))
    moving: set[str] = set()
    out: list[str] = []
    for thing in movables(reasoner.machine):
        if thing.change in ("turns", "brake free"):
            said = list(_of_one(reasoner, thing, seen, doing, (), forced=True))
            moving |= {thing.tag} if said else set()
            # What it does at once with a button pressed, that button does from then on: said once.
            out += said[:1] if said and " at once with " in said[0] else said
    out.sort(key=lambda words: " WILL " not in words)
    for tag, words in _condition_with_another_fault(reasoner, suspect, doing):
        moving.add(tag)
        out.append(words)
    if cpus:
        driven, motors = _driven(reasoner, cpus)
        moving |= set(motors)
        if driven:
            out.insert(0, f"{doing}: its outputs may come on at once. It drives {driven}; the machine may start.")
    if not moving:
        return (NOTHING_KNOWN,)
    whose = "Only whoever may set this controller to run; site rules first." if cpus else "Site rules first."
    return (*out, _clear_of(reasoner, moving, whose, isolable=not cpus and act != "switch on"))


def letting_go(reasoner: Reasoner) -> tuple[str, ...]:
    """What a force that is taken off, or a sensor or switch that is let go, may start: whatever runs on this machine.

    Which point or sensor it is stands in nobody's words but those of whoever noted it, so every motor is named. Empty where
    nothing runs.
    """
    motors = tuple(dict.fromkeys(motor for run in doings(reasoner.machine).runs for motor, _ in run.turns))
    if not motors:
        return ()
    names = either([named(reasoner.machine, tag) for tag in motors])
    return (
        f"With power on, letting go what is forced or pushed aside can start {names} at once.",
        _clear_of(reasoner, motors, "Site rules first."),
    )


def _doing(reasoner: Reasoner, act: str, item: str) -> str:
    """What is done, at the beginning of a sentence: ``Releasing ES1``, ``Setting A1 to run``, ``S1 put in auto``."""
    if act == "set to run":
        return f"Setting {item} to run"
    if act == "see to the process":
        return f"{named(reasoner.machine, item)} coming to {reasoner.machine.net.initial[item]}"
    return f"{_DOING[act]} {item}" if act in _DOING else f"{item} {act}"


def _tried_positions(reasoner: Reasoner) -> list[_Position]:
    """The positions, with a run that the condition may have kept from running said by what was pressed for it."""
    has = doings(reasoner.machine)
    runs = {run.acts: run for run in has.runs if not run.let_go}
    pressed = {acts: either(list(dict.fromkeys(a.device for a in acts if a.verb == "press" and a.device not in has.resets)), "and")
               for acts in runs}  # fmt: skip
    return [
        replace(p, words=f"once {pressed[p.acts]} has been pressed") if pressed.get(p.acts) else p
        for p in _positions(reasoner)
    ]


def _driven(reasoner: Reasoner, cpus: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    """What stands otherwise with the controller in run and stopped, in any position, in words; and which of it are motors."""
    machine, stop = reasoner.machine, tuple(Act("put", tag, "stopped") for tag in cpus)
    positions = _positions(reasoner)
    found = settle_many(machine.net, [((), after(*acts)) for p in positions for acts in ((*p.acts, *stop), p.acts)])
    moved: dict[str, None] = {}
    for stopped, runs in zip(found[::2], found[1::2], strict=True):
        for tag, device in machine.circuit.devices.items():
            if any(word in device.kind for word in _DRIVEN):
                before, then = ({s.get(tag) for o in outcomes for s in o.states} for outcomes in (stopped, runs))
                moved |= {tag: None} if before != then else {}
    motors = tuple(m.var for m in machine.net.motors if m.var in moved)
    tags = [*motors, *(tag for tag in moved if tag not in motors)]
    return either([named(machine, tag) for tag in tags[:_MOST_DRIVEN]], "and") if tags else "", motors


def _condition_with_another_fault(reasoner: Reasoner, suspect: Suspect, doing: str) -> Iterable[tuple[str, str]]:
    """What starts as the condition is put right where something else is wrong too, in every position."""
    machine = reasoner.machine
    cpus = {c.var for c in machine.net.cpus}
    asked: list[tuple[_Position, Situation, Act]] = []
    for edit in suspect.edits:
        left = edit.does == "left" and edit.slot in machine.net.initial
        if not left and edit.slot not in cpus:
            continue
        usual = machine.net.initial[edit.slot] if left else "running"
        act, wrong = Act("put", edit.slot, usual), Act("put", edit.slot, str(edit.value))
        hold = frozenset({(edit.slot, str(edit.value))}) if left else frozenset[tuple[str, str]]()
        # A safety circuit may have been reset before; a process or a mode switch may be what is put right.
        at_rest = _Position("", doings(machine).ready())
        positions = [at_rest, *(p for p in _tried_positions(reasoner) if p.acts and p.acts[0].device != edit.slot)]
        asked += [(p, Situation("rest", p.acts if left else (*p.acts, wrong), hold), act) for p in positions]
    prepare_acts(reasoner, [(situation, act) for _, situation, act in asked])
    ways: dict[str, dict[str, dict[str, None]]] = {}
    for position, situation, act in asked:
        for hazard in hazards_of_act(reasoner, reasoner.prior, situation, act):
            if hazard.kind == "does not stop" or hazard.healthy:
                continue  # what it does with nothing wrong was said of every position
            at = "" if position.words.startswith("once ") else position.words
            ways.setdefault(hazard.does, {}).setdefault(at, {}).update(dict.fromkeys(hazard.suspects))
    by_id = {s.id: s for s in machine.suspects if s.id != suspect.id}
    for does, at_of in ways.items():
        at = "" if "" in at_of else next(iter(at_of))
        others_of = sorted((by_id[i] for i in at_of[at] if i in by_id), key=lambda s: -s.prior)
        if others_of:
            causes = f"{' or '.join(show(s.words) for s in others_of[:2])}{others(len(others_of) - 2)}"
            tag = next((t.tag for t in movables(machine) if t.tag in does.split()), "")
            yield tag, f"{doing} can {does}{f', {at},' if at else ','} if besides {causes}."


def _seen(
    reasoner: Reasoner, edits: tuple[Edit, ...], cpus: tuple[str, ...], *, forced: bool,
    positions: Sequence[_Position] = (),
) -> list[_Seen]:  # fmt: skip
    positions = positions or _positions(reasoner)
    stop = tuple(Act("put", tag, "stopped") for tag in cpus)
    run = tuple(Act("put", tag, "running") for tag in cpus)
    cases: list[tuple[tuple[Edit, ...], tuple[Act, ...]]] = []
    for position in positions:
        during = () if forced else stop
        ending = (edits, (*position.acts, _HEAL)) if forced else ((), (*position.acts, *stop, *run))
        cases += [(edits, position.acts), (edits, (*position.acts, *during)), ending, ((), position.acts)]
    found = settle_many(reasoner.machine.net, [(edits, after(*acts)) for edits, acts in cases])
    return [_Seen(position, *found[4 * k : 4 * k + 4]) for k, position in enumerate(positions)]


def _positions(reasoner: Reasoner) -> list[_Position]:
    machine = reasoner.machine
    has = doings(machine)
    moves = (*process_moves(machine), *mode_moves(machine, has))
    out = [_Position("", ()), *(_Position(f"with {act.device} in {act.value}", (act,)) for act in moves)]
    for tag in has.starts:
        out.append(_Position(f"with {tag} pressed", has.started(tag), pressed=True))
    out += [_Position("if it runs", run.acts) for run in has.runs]
    return list({position.acts: position for position in reversed(out)}.values())[::-1]


def _of_one(
    reasoner: Reasoner, thing: Movable, seen: Sequence[_Seen], doing: str, cpus: Sequence[str], *, forced: bool
) -> Iterable[str]:
    def moves(outcomes: Sequence[Outcome]) -> bool:
        return any(thing.moved(o.states) for o in outcomes)

    name = named(reasoner.machine, thing.tag)
    does = f"start {name}" if thing.change == "turns" else f"leave {name} lifted with nothing driving: the load can run"
    starts = [s for s in seen if moves(s.right) and not moves(s.stopped)]
    if starts:
        yield f"{doing} WILL {does}{_at_once(s.position for s in starts)}."
    if thing.change != "turns":
        free = [s.position for s in seen if moves(s.stopped) and not moves(s.wrong)]
        if free:
            yield f"{' and '.join(cpus)} stopped for loading WILL {does}{_at_once(free)}."
        return
    held_back = [s.position for s in seen if s.position.pressed and moves(s.whole) and not moves(s.wrong)]
    if held_back:
        buttons = either([p.words.removeprefix("with ").removesuffix(" pressed") for p in held_back])
        yield f"From then on {buttons} WILL start {name}, which it did not before."
    stops = [s for s in seen if moves(s.wrong) and not moves(s.right if forced else s.stopped)]
    goes_on = [s for s in seen if not forced and moves(s.wrong) and moves(s.stopped)]
    if stops:
        cause = f"{doing} stops" if forced else f"Loading stops {' and '.join(cpus)}, and so"
        yield f"{cause} {name}, if it runs."
    if goes_on:
        yield f"{name} goes on running while {' and '.join(cpus)} is stopped for loading: stop it first."


def _with_another_fault(reasoner: Reasoner, cpus: Sequence[str], doing: str) -> Iterable[tuple[str, str]]:
    """What starts as the controller goes to run where something else is wrong too, which nobody has tested for."""
    suspects = reasoner.machine.suspects
    belief = reasoner.belief(())
    for k, one in enumerate(suspects):
        if one.sort == "program":
            belief[k] = 0
    held = after(*(Act("put", tag, "stopped") for tag in cpus))
    words = {s.id: show(s.words) for s in suspects}
    for hazard in hazards_of_act(reasoner, belief, held, Act("put", cpus[0], "running")):
        other = [i for i in hazard.suspects if belief[[s.id for s in suspects].index(i)] > 0]
        if not hazard.healthy and other and hazard.kind != "does not stop":
            causes = f"{' or '.join(words[i] for i in other[:2])}{others(len(other) - 2)}"
            tag = next((t.tag for t in movables(reasoner.machine) if t.tag in hazard.does.split()), "")
            yield tag, f"{doing} can {hazard.does}, if besides {causes}."


def _at_once(positions: Iterable[_Position]) -> str:
    words = [p.words for p in positions]
    if "" in words:
        return " at once"
    more = others(len(words) - _MOST_POSITIONS).replace("fault", "position")
    return f" at once {either(words[:_MOST_POSITIONS])}{more}"


def _clear_of(reasoner: Reasoner, tags: Iterable[str], whose: str, hands: str = "", *, isolable: bool = True) -> str:
    """Who must stand clear of what, and whose work it is. isolable: it can be done with the disconnect open."""
    devices, places = reasoner.machine.circuit.devices, reasoner.machine.circuit.places
    motors = [m.var for m in reasoner.machine.net.motors if m.var in tags] or [
        m.var for m in reasoner.machine.net.motors
    ]
    if not motors:
        return whose
    where = dict.fromkeys(show(places[devices[tag].place].words) for tag in motors if devices[tag].place in places)
    at = f" at {either(list(where), 'and')}" if any(where) else ""
    names = either([named(reasoner.machine, tag) for tag in motors], "and")
    off = "; disconnect open where the site asks it" if isolable else ""
    return f"Everybody clear of {names} and what it drives{at}, helper too{hands}{off}. {whose}"
