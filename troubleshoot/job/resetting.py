"""What has tripped is cooled and reset, as a step of its own, before anything is asked that needs the machine to run.

A tripped overload relay or breaker was seen, and the next reading wants it running: somebody resets it either way, and unless
it is asked nobody knows how often, after what, or whether people stood clear.
"""

from __future__ import annotations

from typing import Any, Final

from troubleshoot.circuit.model import NamedSituation, Situation
from troubleshoot.evidence.seen import Look
from troubleshoot.job.decided import DRAWN_MS, Decided, Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.page import Drawn, E, U, X
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Input, LiveKey, Pressed, Refusal, Role
from troubleshoot.job.state import State
from troubleshoot.safety.doings import by_role
from troubleshoot.safety.motion import TURNS
from troubleshoot.safety.naming import named
from troubleshoot.solve.settle import standing_many

MOST: Final = 2
"""Resets of one device in one job: each start into whatever tripped it heats the motor again. Common practice, no published
source; a maker's page says how many starts an hour its motor stands."""
_TRIPS: Final = ("overload", "breaker")
RESET, NOT_RESET = LiveKey("y", "reset", "it has cooled, was reset once, and stays in"), LiveKey(
    "d", "not reset", "it does not stay in, or is not to be reset: nothing is asked that needs it to run"
)  # fmt: skip


def tripped(desk: Desk, state: State) -> tuple[str, ...]:
    """Overload relays and breakers that were last seen tripped, by nobody's test, and not reset since."""
    machine = desk.machine
    reset = dict(state.resets)
    out: list[str] = []
    for sign in machine.net.signs.values():
        shows = sign.shows.get("tripped")
        device = machine.circuit.devices.get(sign.var)
        if shows is None or device is None or device.kind not in _TRIPS:
            continue
        seen = [
            s
            for s in state.evidence
            if s.what == Look(sign.name) and s.epoch == state.epoch and all(a.device != sign.var for a in s.at.acts)
        ]
        if seen and seen[-1].understood == shows and seen[-1].event > reset.get(sign.var, 0):
            out.append(sign.var)
    return tuple(out)


def due_reset(desk: Desk, state: State, at: NamedSituation) -> str:
    """Tag of what has to be reset before the machine can do what this situation asks of it; empty where nothing has."""
    return next((tag for tag in tripped(desk, state) if holds_off(desk, tag, at.situation)), "")


def holds_off(desk: Desk, tag: str, situation: Situation) -> bool:
    """Whether a motor turns in this situation on a whole machine, and not while this has tripped."""
    if not situation.acts or any(a.device == tag for a in situation.acts):
        return False
    held = Situation(situation.origin, situation.acts, situation.hold | {(tag, "tripped")})
    usual, without = (
        {
            m.var
            for m in desk.machine.net.motors
            for one in found
            for states in one.states
            if states[m.var] in TURNS
        }
        for found in standing_many(desk.machine.net, [((), situation), ((), held)])
    )  # fmt: skip
    return bool(usual - without)


def _hazards(desk: Desk, state: State, tag: str) -> tuple[str, ...]:
    left = (s for s in desk.machine.suspects if not s.broken)
    suspect = next((s for s in left if any((e.slot, e.value) == (tag, "tripped") for e in s.edits)), None)
    return desk.act_hazards(state, suspect) if suspect is not None else ()


def often(state: State, tag: str) -> int:
    """How often it was reset in this job."""
    return sum(one == tag for one, _ in state.resets)


def draw_reset(pen: Pen, desk: Desk, state: State, tag: str) -> Drawn:
    """The page between a trip that was seen and a reading that needs the machine to run."""
    overload = desk.machine.circuit.devices[tag].kind == "overload"
    pen.put(f"{named(desk.machine, tag)} has tripped, and the next step needs the machine to run.", Role.TASK)
    pen.put("First why: a jam, a load too heavy, a brake that is set, heat, smell. A reset is no repair.", Role.TASK)
    if often(state, tag) >= MOST:
        pen.put(
            f"It was reset {MOST} times in this job and has tripped again. NOT once more: what makes the current is found "
            "with the machine off.", Role.DANGER, indent="  ",
        )  # fmt: skip
        pen.put("d  go on without running it", Role.ROW, key="d")
        return None, (NOT_RESET, X, U, E)
    pen.put("CAUTION  Before it is reset:", Role.DANGER)
    for text in _hazards(desk, state, tag):
        pen.put(f"- {text}", Role.DANGER, indent="  ")
    cool = "Let it cool, some minutes: hot it does not latch. " if overload else "Off first, then on. "
    pen.put(f"{cool}Reset it once; not again and again: each try heats the motor.", Role.NOTE)
    pen.put(f"y  {'cooled, ' if overload else ''}reset once, and it stays in", Role.ROW, key="y")
    pen.put("d  it does not stay in, or is not to be reset: go on without running it", Role.ROW, key="d")
    return None, (RESET, NOT_RESET, X, U, E)


def reset_given(desk: Desk, state: State, tag: str, at: NamedSituation, said: Input) -> Decided | Refusal | None:
    """What an input does there."""
    if not isinstance(said, Pressed):
        return None
    if said.key == RESET.key and often(state, tag) < MOST:
        if said.drawn_ms < DRAWN_MS:
            return Refusal("Read first what may start by it.")
        event: dict[str, Any] = {
            "tag": tag, "by": state.who, "told": list(_hazards(desk, state, tag)), "drawn_ms": said.drawn_ms,
            "times": often(state, tag) + 1,
        }  # fmt: skip
        return Decided((("reset", event),))
    if said.key != NOT_RESET.key:
        return None
    every = {**by_role(desk.machine), **desk.machine.circuit.situations}
    names = [name for name, one in every.items() if holds_off(desk, tag, one.situation)]
    event = {
        "words": f"run it: {tag} is not reset",
        "reason": "unsafe",
        "targets": list(dict.fromkeys((at.name, *names))),
    }
    return Decided((("cannot", event),), Ui(echo="Nothing is asked that needs it to run."))
