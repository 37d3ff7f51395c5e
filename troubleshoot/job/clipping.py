"""A live reading with no hand near: leads clipped on while it is locked off and dead, then power, the reading, and off dead.

For a reading where a button is held, where what turns is beside the points, or where one person is alone. One meter has two
leads, so one reading at a time; a further one is another isolation. Common practice, no published source; that conductors
are worked on dead before anything is put on them: NFPA 70E 110.1 and EN 50110-1 (both from memory). Pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.codec import put_step
from troubleshoot.job.decided import Decided, Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.keys import KEYS
from troubleshoot.job.naming import METER_ON, black_words, red_words
from troubleshoot.job.page import Drawn, E, N, U
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Input, LiveKey, Pressed, Role
from troubleshoot.job.stage import Stage, on_dead_parts
from troubleshoot.job.state import Clip, State

CLIP: Final = KEYS["clip"]
_VOLTS: Final = ("ac volts", "dc volts", "low-impedance volts")
_ROWS: Final = "123456789"


def can_clip(desk: Desk, state: State, stage: Stage) -> tuple[Meter, ...]:
    """The readings of a card for which leads can be clipped on dead; none where it is not live, or nothing can be locked off.

    Not at what stays live with every disconnect open: nothing is ever clipped on there.
    """
    step = stage.step
    if stage.name != "search" or step is None or step.kind != "measure" or state.clip is not None or not state.power:
        return ()
    if not desk.machine.own_disconnects or on_dead_parts(desk, step.items, step.situation):
        return ()
    meters = [i for i in step.items if isinstance(i, Meter) and i.mode in _VOLTS]
    return tuple(m for m in meters if not {m.red, m.black} & desk.live_when_dead)


def clip_key(desk: Desk, state: State, stage: Stage) -> tuple[LiveKey, ...]:
    """Its key, in the key row where something is held or moves meanwhile; otherwise in the help."""
    if stage.step is None or not can_clip(desk, state, stage):
        return ()
    at = stage.step.situation
    return (replace(CLIP.live, shown=at.hands > 1 or bool(at.situation.acts)),)


def clip_asked(desk: Desk, state: State, stage: Stage) -> Decided | None:
    """What the key does on a card: at once where there is one reading, else it asks which."""
    meters = can_clip(desk, state, stage)
    if not meters or stage.step is None:
        return None
    return _begun(stage.step, meters[0]) if len(meters) == 1 else Decided((), Ui("clip"))


def clip_chosen(desk: Desk, state: State, stage: Stage, key: str) -> Decided | None:
    """What a key of the panel does that asks which reading."""
    meters = can_clip(desk, state, stage)
    place = _ROWS.find(key)
    return _begun(stage.step, meters[place]) if stage.step is not None and 0 <= place < len(meters) else None


def _begun(step: Step, meter: Meter) -> Decided:
    # Of the look-ahead of several readings nothing is left true of one.
    one = replace(
        step, id=f"{step.id}, {meter.red} clipped", items=(meter,), ahead=step.ahead if len(step.items) == 1 else (),
        words=f"Clip the leads on {meter.red} and {meter.black}",
    )  # fmt: skip
    return Decided((("clip", {"do": "begin", "step": put_step(one)}),))


def draw_which(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    """Which reading of a card the leads are clipped on for."""
    meters = can_clip(desk, state, stage)
    pen.put("Which reading? Two leads are one reading; each further one is locked off for again.", Role.TASK)
    for key, meter in zip(_ROWS, meters, strict=False):
        pen.put(f"{key}  {red_words(desk, meter, meters)} to {black_words(desk, meter)}", Role.ROW, key=key)
    pen.put(
        "Lock off, prove dead, clip on, cover shut, power on, read; then locked off and dead again, leads off.",
        Role.NOTE,
    )
    keys = (LiveKey(k, "this one", f"{m.red} to {m.black}", shown=False) for k, m in zip(_ROWS, meters, strict=False))
    return None, (*keys, KEYS["back"].live)


def on_words(desk: Desk, clip: Clip) -> str:
    """What hangs in the circuit, for the list of what is temporary."""
    meter = _meter(clip)
    return f"both meter leads clipped on, {meter.red} and {black_words(desk, meter)}"


def _meter(clip: Clip) -> Meter:
    return next(i for i in clip.step.items if isinstance(i, Meter))


def draw_clip(pen: Pen, desk: Desk, state: State) -> Drawn:
    """Locked off and dead: the leads go on."""
    assert state.clip is not None
    meter = _meter(state.clip)
    pen.put("Locked off and proved dead. Clip the leads on now.", Role.TASK)
    pen.put(f"{METER_ON[meter.mode]} Set it now, and it stays so.", Role.TASK)
    pen.put(f"Black on {black_words(desk, meter)}, red on {meter.red}.", Role.TASK)
    pen.put(
        "Insulated clips that grip by themselves, each rated for the volts to come; nothing bare beside them.",
        Role.NOTE,
    )
    pen.put("Lead the leads out so that the door or cover shuts, away from what turns.", Role.NOTE)
    pen.put("Hang the meter where it is read from outside. Cover on, door shut, guard on.", Role.NOTE)
    pen.put("Will it not shut on them? Then not this way: n.", Role.CAUTION)
    pen.put("y  done: both hold, all is shut, hands out", Role.ROW, key="y")
    return None, (LiveKey("y", "clipped on", "both leads hold and everything is shut"), N, U, E)


def draw_unclip(pen: Pen, desk: Desk, state: State) -> Drawn:
    """Locked off and dead again: the leads come off."""
    assert state.clip is not None
    meter = _meter(state.clip)
    pen.put("Locked off and proved dead again. Take both leads off.", Role.TASK)
    pen.put(f"Red from {meter.red}, black from {black_words(desk, meter)}.", Role.TASK)
    pen.put("y  done: both are off", Role.ROW, key="y")
    return None, (LiveKey("y", "leads off", "both leads are off"), U, E)


def clip_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | None:
    """What a key does while leads go on or come off."""
    if state.clip is None or not isinstance(said, Pressed) or said.key != "y":
        return None
    data: Mapping[str, Any] = {
        "do": "on" if stage.name == "clip" else "off", "what": on_words(desk, state.clip), "by": state.who,
    }  # fmt: skip
    return Decided((("clip", data),))


__all__ = [
    "CLIP",
    "can_clip",
    "clip_asked",
    "clip_chosen",
    "clip_given",
    "clip_key",
    "draw_clip",
    "draw_unclip",
    "draw_which",
]
