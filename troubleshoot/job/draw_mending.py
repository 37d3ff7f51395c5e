"""Pages from the open disconnect to power on: isolation and the dead test, the repair, what to know before power."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from troubleshoot.faults.suspects import UNSEEN
from troubleshoot.job import draw_amending
from troubleshoot.job.beginnings import READING
from troubleshoot.job.desk import Desk
from troubleshoot.job.doors import place_dangers
from troubleshoot.job.keys import KEYS
from troubleshoot.job.mending import ALL_NOTHING, NOT_PROVED, STAYS_ON
from troubleshoot.job.naming import METER_ON, UNITS, act_words, black_words, part_words, red_words
from troubleshoot.job.page import Drawn, E, U, capital
from troubleshoot.job.pen import Pen
from troubleshoot.job.seeing import seen_by_hand
from troubleshoot.job.sheet import Entry, LiveKey, Role
from troubleshoot.job.stage import Stage, is_isolated
from troubleshoot.job.state import State
from troubleshoot.machine.amending import chain_of
from troubleshoot.safety.isolation import IsolationStep
from troubleshoot.text.showing import show

ROOM_FOR_DONE: Final = 12
"""Lines above the card of a dead test up to which the step before it is still named."""


def draw_isolate(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    plan = stage.isolation
    assert plan is not None
    done = [s for s in plan.steps if is_isolated(state, s)]
    step = next(s for s in plan.steps if s.id == stage.next)
    what = f"Mend {stage.group}" if stage.group else "Put back what is temporary"
    what = stage.step.words if stage.step is not None else what
    pen.put(f"{what.rstrip('.')}: make it safe first.", Role.TASK)
    for text in (*plan.stays_live[:2], *(("; ".join(plan.stays_live[2:]),) if len(plan.stays_live) > 2 else ())):
        pen.put(f"STAYS LIVE: {text}", Role.CAUTION, indent="  ")
    pen.put(_where_in(plan.steps, step, state), Role.NOTE)
    # A step with readings has a caution and a card; what was done before has less room there.
    # Where a caution of many lines stands above, what was done before has no room.
    for s in done[-3:] if step.ask == "done" else done[-1:] if len(pen.lines) < ROOM_FOR_DONE else ():
        said = state.isolation.get(s.id, "done")
        words = s.words if said in ("done", "") or s.readings else f"{capital(s.id)}: {said}."
        pen.put(f"done  {words}", Role.NOTE, indent="      ")
    pen.put(f"now   {step.words}", Role.TASK, indent="      ")
    if step.ask == "done":
        other = _instead(pen, step)
        for s in [s for s in plan.steps if not is_isolated(state, s) and s.id != step.id][:3]:
            pen.put(f"then  {s.words}", Role.NOTE, indent="      ")
        return None, (LiveKey("y", "done", "this step is done, by you, now"), *other, U, E)
    _dead_card(pen, desk, step)
    other = ()
    if step.id.startswith("prove"):
        pen.put("p  that point is dead: proved on a proving unit or another live point", Role.ROW, key="p")
        other = (KEYS["proving unit"].live,)
    if not any(step.expects) and len(step.expects) > 1:
        return Entry(
            f"Type all {len(step.expects)}, in this order; or, each tested", example=ALL_NOTHING[0], begins=READING
        ), (U, E)
    example = " ".join("0" if v == 0 else f"{abs(v):.0f}" for v in step.expects)
    return Entry("Type what the tester shows, in this order", example=example, begins=READING), (*other, U, E)


def _where_in(steps: Sequence[IsolationStep], step: IsolationStep, state: State) -> str:
    """How far it is: among all steps, or among the tests alone where it is locked off already and further points are due."""
    tests = [s for s in steps if s.id.startswith(("dead", "prove after"))]
    others = any(s for s in state.tested if all(s not in t.readings for t in tests))
    if step in tests and others:
        return f"Locked off already. For these points: test {tests.index(step) + 1} of {len(tests)}."
    return f"Step {steps.index(step) + 1} of {len(steps)}."


def _instead(pen: Pen, step: IsolationStep) -> tuple[LiveKey, ...]:
    """The rows of a step without a reading, and the keys besides the first."""
    if step.lock_of:
        pen.put(f"y     {show(step.lock_of)} took it off, just now", Role.ROW, key="y")
        words = f"it stays on: {show(step.lock_of)} works here too, or is not here. Asked for before power"
        pen.put(f"{STAYS_ON}     {words}", Role.ROW, key=STAYS_ON, indent="      ")
        return (LiveKey(STAYS_ON, "stays on", words),)
    if step.id.startswith("prove"):
        pen.put("y     proved: on a proving unit, or on a battery or source known live just now", Role.ROW, key="y")
        pen.put(f"{NOT_PROVED}     there is nothing to prove it on: not proved", Role.ROW, key=NOT_PROVED)
        return (LiveKey(NOT_PROVED, "not proved", "nothing is there to prove the tester on: nothing counts as dead"),)
    pen.put("y     done, by me, just now", Role.ROW, key="y")
    return ()


def _dead_card(pen: Pen, desk: Desk, step: IsolationStep) -> None:
    """The points of a dead test or of proving the tester; many of them stand in two columns."""
    modes = {m.mode for m in step.readings}
    live = [abs(v) for v in step.expects if v]
    must = f"must show about {live[0]:.0f} V" if live else "must each show nothing"
    meter = METER_ON[step.readings[0].mode] if len(modes) == 1 else "Meter as each row says."
    pen.put(f"{meter} These {must}:" if len(step.readings) > 1 else f"{meter} This {must}:", Role.TASK)
    rows = [
        f"{k}  {red_words(desk, m, step.readings)} to {black_words(desk, m)}{f', {UNITS[m.mode]}' if len(modes) > 1 else ''}"
        for k, m in enumerate(step.readings, 1)
    ]
    half = -(-len(rows) // 2) if len(rows) > 4 else len(rows)
    wide = max(map(len, rows)) + 6
    for left, right in itertools.zip_longest(rows[:half], rows[half:], fillvalue=""):
        pen.put(f"{left:<{wide}}{right}".rstrip(), Role.ROW)


_NAMED: Final = 3
"""Repairs that are named beside the one that leads."""


def draw_repair(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    suspect = stage.suspect
    assert suspect is not None
    act, item = suspect.repair
    pen.put(f"Found: {suspect.words}.", Role.TASK)
    by_hand = seen_by_hand(desk, state, suspect)
    pen.put((
        f"Confirmed, locked off: {by_hand}." if by_hand else
        f"{'Its own test agrees' if stage.beside else 'Confirmed by its own test'}." if state.confirmed.get(stage.group) else
        "Nobody has seen that program; of all that is described here, it is what is left." if item.endswith(UNSEEN) else
        "Seen with your own eyes." if not suspect.broken else
        "Its own test did not agree; what is left of it shows in no test." if stage.group in state.confirmed else
        f"{_likely(stage.chance).capitalize()}. No test of its own confirms it; what was read is all there is."
    ), Role.NOTE)  # fmt: skip
    if stage.beside:
        more = f"; and {len(stage.beside) - _NAMED} more" if len(stage.beside) > _NAMED else ""
        pen.put(
            f"Not ruled out by what was read: {show('; '.join(stage.beside[:_NAMED]))}{more}.", Role.TASK, indent="  "
        )
    pen.put("")
    for text in place_dangers(desk, (*(p.device for p in desk.points_of(stage.group)), *item.split(" "))):
        pen.put(text, Role.CAUTION, indent="  ")
    told = () if item.endswith(UNSEEN) else desk.act_hazards(state, suspect)
    if told:
        pen.put("CAUTION  Before it is done:", Role.DANGER)
        for text in told:
            pen.put(f"- {text}", Role.DANGER, indent="  ")
    pen.put(f"Do: {act_words(act, item)}.", Role.TASK)
    tag = next((w for w in item.split(" ") if w in desk.machine.circuit.devices), "")
    looked_into: tuple[LiveKey, ...] = ()
    if tag and chain_of(desk.machine.circuit.devices[tag]):
        # Nothing to be had from the stores: first it is opened up, by halves.
        pen.put("v  look inside: follow its wire numbers to a terminal about half way", Role.ROW, key="v")
        tag, looked_into = "", (replace(draw_amending.NOT_SO, label="look inside", shown=True),)
    if item.endswith(UNSEEN):
        if watched := draw_amending.can_be_watched(state):
            plc = desk.machine.circuit.roles.get("plc", (item,))[0]
            (contactor, *_) = (*desk.machine.circuit.roles.get("contactor", ()), "the contactor")
            pen.put(f"Look from outside, or in the drawing: is there a block on {contactor} whose wires go to an input of {plc}, "
                    "or an input light that changes as it pulls in? Then the program waits for that input.", Role.TASK)  # fmt: skip
            pen.put(
                f"{draw_amending.WATCHED}  yes: an input watches {contactor}; it is described, and read next",
                Role.ROW,
                key=draw_amending.WATCHED,
                indent="   ",
            )
        pen.put("It may wait for something else that is not described here: v says how it is wired.",
                Role.ROW, key="v", indent="  ")  # fmt: skip
        looked_into = (
            *(
                (LiveKey(draw_amending.WATCHED, "it is watched", "an input of the controller watches the contactor"),)
                if watched
                else ()
            ),
            replace(draw_amending.NOT_SO, label="not so", shown=True),
        )
    if suspect.broken and tag:
        pen.put(f"Part: {part_words(desk, tag)}", Role.ROW, indent="      ")
    upstream = [str(p) for p in desk.points_of(stage.group) if p in desk.live_when_dead] if suspect.broken else []
    if upstream:
        pen.put(
            f"{', '.join(upstream)} STAYS LIVE with the disconnect open. This repair is for whoever may isolate "
            "upstream, behind their own isolation. Not for you, not now.", Role.DANGER, indent="  ",
        )  # fmt: skip
    if suspect.broken:
        mechanical = suspect.sort == "mechanical" and all(e.does in ("stuck", "threshold") for e in suspect.edits)
        ends = "" if mechanical else " Both ends of the wire: tight, ferrule good, no strand out."
        pen.put(f"One change at a time.{ends}", Role.NOTE)
        if mechanical:
            pen.put(
                "Load blocked, hands out of the way of a spring. What is worn is measured again when it is set.",
                Role.NOTE,
            )
        elif tag:
            pen.put("Check the rating printed on the new part. Keep the old part and tag it.", Role.NOTE)
    elif not item.endswith(UNSEEN):
        pen.put("First ask why it was so. Somebody may have had a reason.", Role.NOTE)
    if act.startswith("find the cause"):
        pen.put("This is never the end of it. Type the cause you found, or: cause not found", Role.TASK)
        return Entry("Cause", example="jam at the tail pulley"), (U, E)
    pen.put("y  done, then Enter; or type what you found, then Enter", Role.ROW, key="y")
    return Entry("Done, or a note with it", example="terminal was loose", digits_act=len(looked_into) > 1), (
        LiveKey("y", "done", "it is mended"),
        *looked_into,
        U,
        E,
    )


def _likely(p: float) -> str:
    return "likely" if p >= 0.5 else "possible" if p >= 0.1 else "unlikely"


def draw_power(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put("CAUTION  Before power goes back on:", Role.DANGER)
    starting, left = desk.starting(state)
    for who, tags in state.their_locks.items():
        pen.put(
            f"LOCK OF {show(who)} on {', '.join(sorted(tags))}: only {show(who)} takes it off. Not here: no power; the "
            "site's rule for a lock left behind.", Role.DANGER, indent="  ",
        )  # fmt: skip
    for thing in state.temporary:
        pen.put(f"Still temporary: {show(thing.what)}.", Role.DANGER, indent="  ")
    if starting:
        off = any("motor" in t.what.casefold() for t in state.temporary)
        first = (
            f"Mended. Of {left} others not ruled out, {starting} start it the moment power is back. "
            if state.proving
            else f"{starting} of the {left} faults still likely start it the moment power is back. "
        )
        pen.put(
            first + (
                "The motor leads are off: keep them so until it stands still with power on." if off else
                "Motor leads off by an electrician (note: e, 8, i), or guarded and all clear."
            ), Role.DANGER, indent="  ",
        )  # fmt: skip
    hazards = desk.before_power(state)
    for text in hazards:
        pen.put(f"- {text}", Role.CAUTION, indent="  ")
    if not hazards:
        pen.put("- nothing is known that starts by itself; stand clear all the same", Role.CAUTION)
    for what, who in state.blocks.items():
        pen.put(f"- {what}: block out (by {show(who)}), hands clear as it moves", Role.CAUTION, indent="  ")
    pen.put("Tools, leads, covers counted; people told, clear; own lock last; stand aside.", Role.CAUTION)
    close = " and ".join(tag for tag in desk.machine.disconnects if tag in state.opened) or "what was opened"
    pen.put(f"c  AFTER all this is read and {close} is closed: power is back on", Role.ROW, key="c")
    return None, (LiveKey("c", "power is on", f"you have read it, {close} is closed and power is back on"), U, E)
