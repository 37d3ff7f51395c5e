"""What putting a controller's program right may move: taking off a force, or loading the copy, which stops the controller.

Settled for the machine as it stands and in every position that its roles, floats and switches can have: what stops while the
controller is loaded, what the right program does as soon as it runs, and what the wrong one held back until somebody presses.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from troubleshoot.circuit.model import Act
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.faults.suspects import Suspect
from troubleshoot.safety.doings import after, doings, mode_moves, process_moves
from troubleshoot.safety.hazards import either, hazards_of_act, others
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


def putting_right(reasoner: Reasoner, suspect: Suspect) -> tuple[str, ...]:
    """What may move when the program is put right and who must stand clear, worst first; empty for any other suspect.

    suspect: of the controller's program: a change, or a forced point. One sentence a line, at most six for one motor.
    """
    if not any(e.does == "program" for e in suspect.edits) or not reasoner.machine.net.cpus:
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
    return (*out, _clear_of(reasoner, moving, forced=forced))


def _seen(reasoner: Reasoner, edits: tuple[Edit, ...], cpus: tuple[str, ...], *, forced: bool) -> list[_Seen]:
    positions = _positions(reasoner)
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
    return list({position.acts: position for position in out}.values())


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


def _clear_of(reasoner: Reasoner, tags: Iterable[str], *, forced: bool) -> str:
    """Who must stand clear of what, and whose work it is."""
    devices, places = reasoner.machine.circuit.devices, reasoner.machine.circuit.places
    whose = f"Only whoever may {'force points of' if forced else 'load'} this controller; site rules first."
    motors = [m.var for m in reasoner.machine.net.motors if m.var in tags] or [
        m.var for m in reasoner.machine.net.motors
    ]
    if not motors:
        return whose
    where = dict.fromkeys(show(places[devices[tag].place].words) for tag in motors if devices[tag].place in places)
    at = f" at {either(list(where), 'and')}" if any(where) else ""
    names = either([named(reasoner.machine, tag) for tag in motors], "and")
    hands = "" if forced else ", hands off its buttons while it loads"
    return f"Everybody clear of {names} and what it drives{at}, helper too{hands}; disconnect open where the site asks it. {whose}"
