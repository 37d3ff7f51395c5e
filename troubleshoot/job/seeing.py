"""What eye and hand tell of a suspect: what is looked at once more, what looks alike, and what a gauge showed. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from troubleshoot.diagnosis.step import Step, unseen
from troubleshoot.evidence.seen import Light, Look, Word
from troubleshoot.faults.suspects import UNSEEN, Suspect
from troubleshoot.job.desk import Desk
from troubleshoot.job.state import State

SEEN_ONCE: Final = 0.99
"""Chance from which a condition is put right on one sight of it. Below, one wrong look would do: at one look in twenty wrong,
a disconnect taken for open was put right in its stead in a tenth of the jobs with a lost phase."""
ALIKE: Final = 0.02
"""Chance from which what looks the same as a condition is named beside it: the cord that will not stay set."""
LOOK_S, LIGHTS_S, HELD_S, COMPARE_S = 60.0, 20.0, 45.0, 300.0
"""Seconds of a careful person for the walk screen and the module face. Common practice, no published source."""


def look_again(desk: Desk, state: State, suspect: Suspect, chance: float) -> Step | None:
    """A condition is put right only when it was seen to be so: otherwise that one thing is looked at by itself.

    Where it was seen once and is not near certain, it is looked at a second time.
    """
    slots = {e.slot: str(e.value) for e in suspect.edits if e.does in ("left", "stuck")}
    for sign in desk.machine.net.signs.values():
        if sign.var not in slots or sign.kind == "stop" or {sign.name, f"look again {sign.name}"} & state.out:
            continue
        if sign.kind == "compare" and suspect.repair[1].endswith(UNSEEN):
            continue  # there is nothing to compare with
        item: Light | Look = Light(sign.name) if sign.kind == "light" else Look(sign.name)
        where = desk.off if sign.hands else desk.as_found
        if unseen(item, where) in state.out:
            continue
        seen = [s for s in state.evidence if s.what == item and s.epoch == state.epoch]
        said = [s.understood.value if isinstance(s.understood, Word) else s.understood for s in seen]
        so = sign.shows.get(slots[sign.var])
        if len(seen) >= 3 or (so in said[-1:] and (chance >= SEEN_ONCE or said.count(so) > 1)):
            continue
        compared = sign.kind == "compare"
        how = (
            "Look, with your hands"
            if sign.hands
            else "Compare, without a meter"
            if compared
            else f"Look{' once more,' if said else ''} at this alone"
        )
        # The row shows what should be, so that nobody is led to see it as before; Enter alone would take that back.
        before = (
            f" You said: {said[-1]}. So again? Press its key."
            if said[-1:] != [desk.shown(item, where)] and said
            else ""
        )
        words = f"{how}: {sign.words}.{before}"
        return Step(
            "lights" if sign.kind == "light" else "look", f"look again {sign.name} {len(seen)}", (item,),
            where, words, f"Everything points to it: {suspect.words}.", cost=COMPARE_S if compared else LIGHTS_S,
        )  # fmt: skip
    return None


def look_first(desk: Desk, state: State, suspect: Suspect, chance: float) -> Step | None:
    """Before a part is metered as stuck, a glance at where it stands, if nobody looked since the last repair.

    On the meter a part that stays where it is and its contact that does not close are one and the same.
    """
    step = look_again(desk, state, suspect, chance) if suspect.broken and state.power else None
    if step is None or step.kind != "look" or step.cost > LIGHTS_S or step.situation is not desk.as_found:
        return None
    return None if any(s.what in step.items and s.epoch == state.epoch for s in state.evidence) else step


def looks_the_same(desk: Desk, suspect: Suspect, chances: Mapping[str, float]) -> tuple[str, ...]:
    """Repair groups that hold a device where the condition has it: only what it does once put right tells them apart."""
    stands = {(e.slot, e.value) for e in suspect.edits if e.does == "left"}
    stuck = (
        s for s in desk.machine.suspects if any(e.does == "stuck" and (e.slot, e.value) in stands for e in s.edits)
    )
    return tuple(g for g in dict.fromkeys(s.group for s in stuck) if chances[g] >= ALIKE)


def unread_lights(desk: Desk, state: State, suspect: Suspect) -> Step | None:
    """Before a program that nobody has seen is blamed: the lights that nobody has read yet, where the complaint shows and
    with Start held, where the contactor is in.
    """
    if not suspect.repair[1].endswith(UNSEEN):
        return None
    shows = desk.shows(state.complaint)
    for named in dict.fromkeys((shows.name, "start held")):
        at = desk.named(named, shows)
        read = {s.what for s in state.evidence if s.at == at.situation and s.epoch == state.epoch}
        items = tuple(i for i in desk.lights() if i not in read and i.name not in state.out)
        if items and f"lights unread {named}" not in state.out and at.name not in state.out:
            return Step(
                "lights", f"lights unread {named}", items, at, f"Read these lights too, {at.words}",
                "An input that is dark tells what the program waits for.", cost=LIGHTS_S,
            )  # fmt: skip
    return None


def by_hand(desk: Desk, suspect: Suspect) -> bool:
    """Whether a gauge or an open cover shows what is wrong: it is then seen so before anything is replaced."""
    return any(s.hands and e.slot == s.var for s in desk.machine.net.signs.values() for e in suspect.edits)


def at_the_drive(desk: Desk, suspect: Suspect) -> bool:
    """Whether putting it right has the hands at a motor, a brake or what they drive, or where only a gauge shows it."""
    devices = desk.machine.circuit.devices
    tags = (e.slot.partition(" ")[0] for e in suspect.edits)
    return suspect.broken or by_hand(desk, suspect) or any(
        tag in devices and devices[tag].kind in ("motor", "brake") for tag in tags
    )  # fmt: skip


def seen_by_hand(desk: Desk, state: State, suspect: Suspect) -> str:
    """What a gauge, an open cover or a hand showed of it since the last repair, in words; empty where nothing did."""
    slots = {e.slot: str(e.value) for e in suspect.edits if e.does in ("left", "stuck")}
    for sign in desk.machine.net.signs.values():
        if not sign.hands or sign.var not in slots:
            continue
        seen = [s for s in state.evidence if s.what == Look(sign.name) and s.epoch == state.epoch]
        if seen and seen[-1].understood == sign.shows.get(slots[sign.var]):
            return f"{sign.words}: {seen[-1].understood}"
    return ""
