"""Pages that end a job: the proof run, handing back, nothing explains it, what happened in a few lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from troubleshoot.evidence.seen import Meter
from troubleshoot.evidence.unbalance import MUCH_AMPS
from troubleshoot.job import draw_amending, keeping, rotation
from troubleshoot.job.beginnings import READING, reading_or_point
from troubleshoot.job.desk import Desk
from troubleshoot.job.draw_looks import draw_door, draw_rows, row_keys
from troubleshoot.job.draw_readings import draw_points, example_of
from troubleshoot.job.facts import contradictions
from troubleshoot.job.handing import draw_ledger
from troubleshoot.job.lists import listed
from troubleshoot.job.naming import act_words, in_sorts
from troubleshoot.job.page import ENTER, Drawn, E, N, U, X, draw_left, tree_key
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, LiveKey, Role
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import State
from troubleshoot.job.stopping import draw_moving, moving
from troubleshoot.job.watching import draw_watching
from troubleshoot.log.standing import OPEN_ENDS
from troubleshoot.text.showing import show

_FEW: Final = 12
"""Faults shown by one check alone that are still worth a line: of a hundred, two names say nothing."""


def draw_proof(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    check = stage.check
    assert check is not None
    draw_moving(pen, desk, state, check)
    number = desk.proof.number(check.id)
    pen.put(f"Proof run, {number} of {len(desk.proof.checks)}: {check.words}", Role.TASK, indent="  ")
    meters = [i for i, _ in check.expects if isinstance(i, Meter)]
    if not meters:  # with readings, their caution stands above and says more
        draw_door(pen, desk, state, stage)
    if check.situation.situation.acts and not meters:
        pen.put("It runs, or may start, in this check. Everybody clear of it first.", Role.CAUTION)
    for tag in rotation.doubted(desk, state, check):
        pen.put(f"What feeds {tag} was worked on. Let it turn for a moment only, the load safe either way: is that the right way?",
                Role.CAUTION)  # fmt: skip
    # Letters that do something else on every screen are no keys of rows: said, where they would be the next ones.
    key = ("letter (not c, e)" if len(listed(stage)) > 2 else "letter") if meters else "number"
    pen.put(f"You must see this. Not so? Press its {key}; again for the next:", Role.NOTE)
    draw_rows(pen, desk, state, stage, listed(stage))
    if meters and not moving(desk, state, check):  # what moves when it must stand is not metered
        draw_points(pen, desk, meters, check.situation)
    whole = desk.proof.checks[number - 1]
    if whole.readings and not meters:
        pen.put("Without its readings: what is seen is noted, the check stays not proved.", Role.NOTE)
    shown_before = {s for c in desk.proof.checks[: number - 1] for s in c.proves}
    news = [s for s in desk.machine.suspects if s.id in check.proves and s.id not in shown_before]
    if 0 < len(news) <= _FEW and check is whole:
        more = f", {len(news) - 2} more" if len(news) > 2 else ""
        pen.put(f"Only seen here: {', '.join(s.words for s in news[:2])}{more}.", Role.NOTE, indent="  ")
    keys = (N, U, E, *row_keys(stage))
    if moving(desk, state, check):
        return None, (ENTER, *keys)
    if not meters:
        pen.put("All exactly so: Enter.", Role.NOTE)
        return None, (ENTER, *keys)
    example = " ".join(example_of(desk, m, check.situation) for m in meters)
    return Entry("Type what the meter shows, in this order", example=example, begins=READING), keys


def draw_handback(pen: Pen, desk: Desk, state: State) -> Drawn:
    proved = desk.all_proved(state)
    pen.put("Proved. Ready to hand back." if proved and not state.temporary else "The proof run is through.", Role.TASK)
    stops = desk.stops_left(state)
    if stops:
        pen.put(f"NOT PROVED: that these stop it ({len(stops)}):", Role.DANGER)
        for text in stops:
            pen.put(f"- {text}", Role.DANGER, indent="  ")
    for percent in state.uneven.values():
        pen.put(
            f"NOT PASSED: the motor's currents are {percent:.0f} % uneven, over {MUCH_AMPS:.0f} %. Say so to whoever takes "
            "it: line volts, joints, contacts, winding.", Role.DANGER, indent="  ",
        )  # fmt: skip
    for text in summary(desk, state):
        pen.put(text, Role.ROW, indent="  ")
    _not_proved(pen, desk.left_out(state), desk.proof.not_proved)
    pen.put("Show the operator. Say what is not proved.", Role.NOTE)
    if state.temporary:
        pen.put("NOT to be handed back: still temporary. Put each back, then press its number.", Role.DANGER)
        return None, (*draw_ledger(pen, desk, state), U, E)
    unproved = desk.unproved_stops(state)
    if unproved:
        pen.put("NOT to be handed back. A stop had failed, and these are not proved each by itself:", Role.DANGER)
        for text in unproved:
            pen.put(f"- {text}", Role.DANGER, indent="  ")
        pen.put("u takes back what could not be done; e ends the job another way: made safe, waiting.", Role.TASK)
        return None, (U, E)
    six: tuple[LiveKey, ...] = ()
    if keeping.offered(desk, state):
        minutes = max(1, round(keeping.seconds(desk) / 60))
        pen.put(f"b  good readings for next time: it runs once more, live, about {minutes} min", Role.ROW, key="b")
        six = (keeping.KEY,)
    if desk.stop_failed(state):
        pen.put("A stop had failed: a second person signs here. Type their name.", Role.DANGER)
        return Entry("Second name"), (*six, U, E)
    words = "hand it back" if proved else "hand it back, told what is not proved"
    if stops:
        words = "hand it back, told that these stops are not proved"
    pen.put(f"y  {words}", Role.ROW, key="y")
    return None, (LiveKey("y", "hand back", "ends the job as mended"), *six, U, E)


def _not_proved(pen: Pen, left_out: Sequence[str], unseen: Sequence[str]) -> None:
    """What was left out, each by name; what no check can show in a few words, for its names are dozens and say nothing to an
    operator: the record has them."""
    if left_out:
        pen.put(f"NOT PROVED, left out ({len(left_out)}): {'; '.join(left_out)}.", Role.TASK, indent="  ")
    if unseen:
        pen.put(
            f"NOT PROVED by this run ({len(unseen)}, by name in the record): {in_sorts(unseen)}.",
            Role.TASK,
            indent="  ",
        )


def summary(desk: Desk, state: State) -> list[str]:
    """What happened, in a few lines."""
    out = [f'Complaint: "{state.said}"']
    for data in state.repairs:
        seen = any(s.id == data["suspect"] and not s.broken for s in desk.machine.suspects)
        how = "confirmed" if data["confirmed"] else "seen" if seen else "not confirmed"
        note = f" ({data['note']})" if data["note"] else ""
        out.append(f"Found: {data['words']}, {how}. Done: {act_words(data['act'], data['item'])}{note}.")
    passed = sum(state.proof.values())
    out.append(f"Proof: {passed} of {len(desk.proof.checks)} checks passed. Trips to the panel: {state.trips}.")
    return out


def draw_stuck(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put("Nothing I know explains all of this.", Role.TASK)
    for text in contradictions(desk, state):
        pen.put(text, Role.NOTE, indent="  ")
    pen.put(
        "Likely: a reading at another point than meant, a drawing that is wrong, or a fault outside what is described.",
        Role.NOTE,
    )
    draw_left(pen, desk, state)
    pen.put(
        "u takes the last answer back; x shows other tests; v says what is wired otherwise; or two points: K1:14 NB:1",
        Role.TASK,
    )
    entry = Entry("Two points, or two points and a reading", example="K1:14 NB:1 120", begins=reading_or_point(desk))
    return entry, (
        X,
        *tree_key(state),
        replace(draw_amending.NOT_SO, shown=True),
        U,
        E,
    )


def draw_ended(pen: Pen, desk: Desk, state: State) -> Drawn:
    waits = state.ended.startswith(OPEN_ENDS)
    pen.put(f"Put off, not over: {state.ended}." if waits else f"This job has ended: {state.ended}.", Role.TASK)
    for text in summary(desk, state):
        pen.put(text, Role.ROW, indent="  ")
    for thing in state.temporary:
        pen.put(f"STILL TEMPORARY: {show(thing.what)}", Role.DANGER, indent="  ")
    for where, how, should in state.wanted:
        pen.put(f"Wanted: {where}, should be {should} ({how})", Role.ROW, indent="  ")
    draw_watching(pen, desk, state)
    if waits:
        pen.put("Leave with q. It stands on the first page until it goes on from here.", Role.NOTE)
    if state.ended == "mended":
        _not_proved(pen, desk.left_out(state), desk.proof.not_proved)
    for note in state.notes:
        if note:
            pen.put(note, Role.NOTE)
    return None, (LiveKey("u", "undo", "takes the ending back"),)
