"""A machine that moves when it must not: it is stopped before anything is asked, then people say which stop failed.

Nobody is asked to try a stop again for evidence. What was tried counts as what the operator remembers.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from troubleshoot.circuit.model import Situation
from troubleshoot.evidence.seen import Look, Meter
from troubleshoot.job.codec import put_item, put_situation
from troubleshoot.job.desk import Desk
from troubleshoot.job.keys import KEYS
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Input, LiveKey, Pressed, Refusal, Role
from troubleshoot.job.state import FAILED, State
from troubleshoot.safety.doings import UNBIDDEN, Channel, turns_after
from troubleshoot.safety.naming import named
from troubleshoot.safety.proof import ProofCheck
from troubleshoot.text.showing import show

STOP_KEYS: Final = {
    "y": ("it stopped", "yes, it stopped; the disconnect is open"),
    "b": ("stood before", "it stood before that; the disconnect is open now"),
}
STILL_RUNS: Final = "m"
NOT_RUNNING: Final = LiveKey("d", "not running", "it is not running at all: something else is wrong with it")
NOT_TRIED, STOPPED = "not tried", "stopped it"
TRIED_KEYS: Final = "123456789"

Events = tuple[tuple[str, Mapping[str, Any]], ...]


def disconnects(desk: Desk) -> str:
    """The disconnects of the machine in words."""
    return " and ".join(named(desk.machine, tag) for tag in desk.machine.own_disconnects) or "the disconnect"


def stop_told(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """The answer to "did it stop?"."""
    if not isinstance(said, Pressed):
        return None
    if said.key in STOP_KEYS:
        return (("stopped", {"how": STOP_KEYS[said.key][0], "disconnects": list(desk.machine.own_disconnects)}),)
    if said.key == STILL_RUNS:
        return (("stopped", {"how": "", "disconnects": list(desk.machine.own_disconnects)}),)
    return None


def draw_stop(pen: Pen, desk: Desk, state: State) -> tuple[LiveKey, ...]:
    """One line first, nothing before it."""
    pen.put(f"OPEN {disconnects(desk)} NOW. Did it stop?", Role.DANGER)
    pen.put("")
    for key, (_, words) in STOP_KEYS.items():
        pen.put(f"{key}  {words}", Role.ROW, key=key)
    pen.put(f"{STILL_RUNS}  no, it still runs", Role.ROW, key=STILL_RUNS)
    if not state.runs_wild:
        pen.put(f"{NOT_RUNNING.key}  {NOT_RUNNING.does}", Role.ROW, key=NOT_RUNNING.key)
    pen.put("")
    if state.runs_wild:
        which = " and ".join(named(desk.machine, tag) for tag in dict.fromkeys(state.runs_wild))
        pen.put(
            f"You saw {which} move when it must stand. No button is to be relied on. A slip of the key: u.", Role.NOTE
        )
    if state.runs_on:
        pen.put(
            "It still runs with the disconnect open: its feed must go. Whoever may switch it opens the supply ahead "
            "of it, now. Everybody stays clear; nobody reaches in, nothing is put in its way.", Role.DANGER, indent="  ",
        )  # fmt: skip
    else:
        pen.put("Hands and clothes away from it. Everything else can wait.", Role.CAUTION)
    pen.put("Site rules, local codes and your own licence come before anything said here.", Role.NOTE)
    return (
        *(LiveKey(key, how, words) for key, (how, words) in STOP_KEYS.items()),
        LiveKey(STILL_RUNS, "still runs", "it runs with the disconnect open"),
        *(() if state.runs_wild else (NOT_RUNNING,)), KEYS["undo"].live,
    )  # fmt: skip


def unbidden(desk: Desk, at: Situation, *, drives: bool) -> str:
    """Name of the complaint of a machine that did not stand in this state, where a whole one does.

    drives: something drove it; else it is its brake that did not hold.
    """
    known, acts = desk.machine.circuit.complaints, at.acts
    stopping = bool(acts) and bool(turns_after(desk.machine, acts[:-1]))
    if not drives:
        first = "brake-slips"
    elif stopping:
        first = "jog-latches" if acts[-1].verb == "release" and "jog-latches" in known else "wont-stop"
    else:
        first = "starts-itself"
    return next((name for name in (first, "wont-stop", *sorted(UNBIDDEN)) if name in known), first)


def distrusted(desk: Desk, state: State) -> tuple[str, ...]:
    """Tags of the stops on which no step may lean: after one has failed, all that no check has proved since."""
    if state.complaint not in UNBIDDEN:
        return ()
    passed = (c for c in desk.proof.checks if c.channel and state.proof.get(c.id)) if state.proof else ()
    proved = {c.situation.situation.acts[-1].device for c in passed}
    return tuple(c.tag for c in desk.channels if c.tag not in proved)


def moving(desk: Desk, state: State, check: ProofCheck | None) -> tuple[str, ...]:
    """Tags of what was marked in a check of the proof run as moving where it must stand: motors, and brakes whose load runs on."""
    if check is None:
        return ()
    motors = {m.var for m in desk.machine.net.motors}
    found: list[str] = []
    for item, _ in check.expects:
        if isinstance(item, Meter) or (mark := state.marks.get((check.id, item.name))) is None:
            continue
        sign, must = desk.machine.net.signs[item.name], desk.shown(item, check.situation)
        if mark == must:
            continue
        if sign.var in motors and must == sign.shows["still"]:
            found.append(sign.var)
        elif sign.kind == "stop":
            found.append(sign.needs.var if sign.needs is not None else sign.var)
    return tuple(found)


def draw_moving(pen: Pen, desk: Desk, state: State, check: ProofCheck) -> None:
    """What stands above everything else, caution and readings too, once something moves in a check that must stand."""
    if tags := moving(desk, state, check):
        which = " and ".join(named(desk.machine, tag) for tag in dict.fromkeys(tags))
        pen.put(
            f"{which} MOVES? OPEN {disconnects(desk)} NOW. Then Enter. Read nothing, try nothing again.", Role.DANGER
        )


SYMPTOM_KEYS: Final = "123456789abdfghijk"


def symptoms(desk: Desk, state: State) -> dict[str, str]:
    """Key to the other symptoms of this machine, those of a machine that stands first."""
    names = [c for c in desk.machine.circuit.complaints if c != state.complaint]
    return dict(zip(SYMPTOM_KEYS, sorted(names, key=lambda c: c in UNBIDDEN), strict=False))


def draw_symptoms(pen: Pen, desk: Desk, state: State) -> tuple[None, tuple[LiveKey, ...]]:
    """What is wrong after all, where the first words were taken otherwise."""
    pen.put(f'"{state.said}": what is it then?', Role.TASK)
    complaints = desk.machine.circuit.complaints
    rows = symptoms(desk, state)
    for key, name in rows.items():
        pen.put(f"{key}  {show(complaints[name].words[0])}", Role.ROW, key=key, indent="   ")
    keys = (
        LiveKey(k, complaints[n].words[0][:14], f"it is: {complaints[n].words[0]}", shown=False)
        for k, n in rows.items()
    )
    return None, (*keys, KEYS["back"].live)


def symptom_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """Another symptom for the same job."""
    name = symptoms(desk, state).get(said.key) if isinstance(said, Pressed) else None
    if name is None:
        return None
    words = desk.machine.circuit.complaints[name].words[0]
    return (("complaint", {"complaint": name, "words": words, "shows": put_situation(desk.shows(name))}),)


def tried(state: State, channel: Channel, stops: tuple[str, ...]) -> str:
    """What stands in the row of a channel: what was marked, or what the complaint itself says."""
    usual = FAILED if stops == (channel.tag,) else NOT_TRIED
    return state.marks.get(("tried", channel.tag), usual)


def tried_told(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """A row of the list of stops, or the end of the list."""
    if not isinstance(said, Pressed):
        return None
    rows = desk.channels
    if said.key == "enter":
        items = []
        for channel in rows:
            value = tried(state, channel, desk.stops)
            sign = next(s for s in desk.machine.net.signs.values() if s.var == channel.motor)
            shown = sign.shows["still" if value == STOPPED else channel.runs]
            items.append([
                channel.tag, value, put_item(Look(sign.name)), shown if value != NOT_TRIED else "", put_situation(channel.at),
            ])  # fmt: skip
        return (("tried", {"items": items}),)
    place = TRIED_KEYS.find(said.key)
    if not 0 <= place < len(rows):
        return None
    values = (NOT_TRIED, STOPPED, FAILED)
    now = tried(state, rows[place], desk.stops)
    following = values[(values.index(now) + 1) % len(values)]
    return (("mark", {"step": "tried", "item": rows[place].tag, "shown": following}),)


def draw_tried(pen: Pen, desk: Desk, state: State) -> tuple[LiveKey, ...]:
    """Which stop failed, as people remember it."""
    pen.put("Ask whoever was there: which stop was tried, and did it stop it?", Role.TASK)
    pen.put("Do NOT run it again to find out. Press the number to change a row, then Enter.", Role.TASK)
    devices = desk.machine.circuit.devices
    wide = max((len(f"{c.tag} {show(devices[c.tag].words)}") for c in desk.channels), default=0)
    keys = []
    for key, channel in zip(TRIED_KEYS, desk.channels, strict=False):
        name = f"{channel.tag} {show(devices[channel.tag].words)}"
        marked = ("tried", channel.tag) in state.marks
        value = tried(state, channel, desk.stops)
        pen.fixed(f"{key}  {name:<{wide}}  {value}{'  <- you' if marked else ''}", Role.ROW, key)
        keys.append(LiveKey(key, channel.tag, f"{name}: not tried, stopped it, did not stop it", shown=False))
    pen.put("")
    pen.put("Stop fails and the emergency stop works: look before the contactor. Both fail: the contactor.", Role.NOTE)
    return (KEYS["as shown"].live, *keys)
