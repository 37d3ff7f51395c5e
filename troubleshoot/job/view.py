"""What the screen shows of a job, as a value. Pure: the same state gives the same sheet.

Lines are wrapped to the width; at 80 columns a sheet holds at most 21 lines where the caution allows it, and the caution
is never cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from troubleshoot.evidence.seen import Meter
from troubleshoot.job.agreeing import TAKE_BACK, not_confirmed
from troubleshoot.job.clipping import draw_clip, draw_unclip
from troubleshoot.job.decide import TAKEN_BACK
from troubleshoot.job.decided import Ui, question_of, sheet_id
from troubleshoot.job.desk import Desk
from troubleshoot.job.draw_ending import draw_ended, draw_handback, draw_proof, draw_stuck
from troubleshoot.job.draw_looks import draw_last, draw_list, draw_people, draw_program
from troubleshoot.job.draw_mending import draw_isolate, draw_power, draw_repair
from troubleshoot.job.draw_readings import draw_measure
from troubleshoot.job.due import caution_of
from troubleshoot.job.facts import after_repair
from troubleshoot.job.handing import draw_putting_back, draw_taken, draw_waiting
from troubleshoot.job.keys import KEYS
from troubleshoot.job.lists import list_situation
from troubleshoot.job.naming import black_words
from troubleshoot.job.page import BACK, Drawn, E, U, X, draw_left, tree_key
from troubleshoot.job.panels import PANELS
from troubleshoot.job.pen import Pen
from troubleshoot.job.resetting import draw_reset
from troubleshoot.job.sheet import Entry, Role, Sheet
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.stopping import draw_stop, draw_tried
from troubleshoot.job.watching import draw_watch, draw_watched
from troubleshoot.log.standing import OPEN_ENDS
from troubleshoot.safety.caution import Caution
from troubleshoot.text.showing import show

DOING: Final[Mapping[str, str]] = {
    "stop": "STOP IT", "search": "finding", "confirm": "confirming", "isolate": "making safe", "repair": "mending", "putback": "putting back", "reset": "resetting", "clip": "clipping on", "unclip": "taking leads off", "power": "before power",
    "watch": "watching", "watched": "watched", "proof": "proving", "handback": "handing back", "stuck": "stuck", "ended": "ended",
}  # fmt: skip
"""What the job is at, for the title."""


def view(desk: Desk, state: State, ui: Ui, width: int, saved: int, *, spare: int = 0) -> Sheet:
    """The sheet of a job as it stands. saved: number of the newest event on disk; spare: columns a rung leaves free."""
    stage = stage_of(desk, state)
    pen = Pen(width, spare)
    waiting = caution_of(desk, state, stage)
    unread = waiting is not None and state.accepted != waiting[1]
    # No panel covers the sheet: the reason stands beside the caution, it never takes its place.
    panel = PANELS.get(ui.panel.partition(" ")[0])
    beside = panel is None
    if waiting is not None and beside:
        _draw_caution(pen, waiting[0], unread)
    if panel is None and stage.name not in ("ended", "handed") and (against := not_confirmed(desk, state)):
        pen.put(f"{against} {TAKE_BACK}", Role.TASK, indent="  ")
    if state.power_doubted and beside and stage.name not in ("ended", "handed"):
        off = " and ".join(desk.machine.disconnects) or "the disconnect"
        pen.put(
            f"Only words were taken back: {off} stands as it stands. Look, and take it for ON until you have.",
            Role.DANGER,
        )
    entry, keys = (
        panel(pen, desk, state, stage, ui) if panel is not None else _body(pen, desk, state, stage, ui, unread)
    )
    if ui.panel == "why":
        keys = (*keys, replace(BACK, shown=False))
    if unread and beside:
        keys = (KEYS["caution"].live, *keys)
        keys = tuple(k for k in keys if k.key not in ("enter",))
        entry = Entry("Read the caution, then press c; typing opens after it", locked=True)
    if ui.echo:
        pen.put(ui.echo + (_marks_stand(state, stage) if ui.echo == TAKEN_BACK else ""), Role.ECHO, indent="  ")
    return Sheet(
        sheet_id(state, ui), title(desk, state, stage, width - len(f" saved {saved}")), tuple(pen.lines), keys, entry, saved,
        needs_caution=(unread and beside) or stage.name == "power", done=stage.name == "ended",
        question=question_of(state, ui),
    )  # fmt: skip


def _marks_stand(state: State, stage: Stage) -> str:
    """An answer was taken back, and what was marked for it stands in its rows: Enter alone would say it once more."""
    if stage.step is None and stage.check is None:
        return ""
    step_id, _ = list_situation(stage)
    marks = [f"{item} {shown}" for (step, item), shown in state.marks.items() if step == step_id]
    return f" What you marked still stands: {', '.join(marks)}. Press its key to change it." if marks else ""


def title(desk: Desk, state: State, stage: Stage, width: int) -> str:
    """Machine, what the job is at, power, doors, parked lead: always visible. What finds no room is left out whole."""
    parts = [
        desk.machine.name.upper(),
        *([_doing(state, stage)] if stage.name in DOING else []),
        _power_words(desk, state),
    ]
    items = (
        stage.step.items if stage.step is not None else tuple(i for i, _ in stage.check.expects) if stage.check else ()
    )
    meters = [i for i in items if isinstance(i, Meter)] if stage.name not in ("isolate", "reset") else []
    if meters:
        place = desk.machine.circuit.places[desk.machine.circuit.devices[meters[0].red.device].place]
        parts.append(f"{place.name} {'OPEN' if place.door and (state.clip is None or not state.power) else ''}".strip())
        if len({m.black for m in meters}) == 1:
            parts.append(f"black lead: {black_words(desk, meters[0])}")
    while len("  ".join([*parts, *([state.who] if state.who else [])])) > width and len(parts) > 3:
        parts.pop()
    if state.who and len("  ".join([*parts, state.who])) <= width:
        parts.append(state.who)
    return "  ".join(parts)


def _doing(state: State, stage: Stage) -> str:
    """What waits has not ended."""
    return "put off" if stage.name == "ended" and state.ended.startswith(OPEN_ENDS) else DOING[stage.name]


def _power_words(desk: Desk, state: State) -> str:
    """``locked`` is said only once the person's own lock is on every disconnect."""
    if state.power:
        return "power ON"
    if state.power_doubted:
        return "power ON or OFF: LOOK"
    locked = desk.machine.disconnects and all(f"lock {tag}" in state.isolation for tag in desk.machine.disconnects)
    if locked or "upstream" in state.isolation:
        return "power OFF, locked"
    theirs = " and ".join(show(who) for who in state.their_locks)
    return f"power OFF, lock of {theirs}, NOT yours" if theirs else "power OFF, NOT locked"


def _draw_caution(pen: Pen, caution: Caution, unread: bool) -> None:
    if not unread:
        # Accepted: one line stays, so that the danger is in sight at every reading.
        moves = [short for full, short in zip(caution.facts, caution.brief, strict=True) if full in caution.moves]
        level = f"{caution.level.upper()}: {caution.volts:.0f} V in reach"
        pen.put(f"CAUTION read. {', '.join((level, *moves))}.", Role.CAUTION)
        return
    for k, text in enumerate(caution.shown):
        pen.put(f"CAUTION  {text}" if k == 0 else text, Role.DANGER if k == 0 else Role.CAUTION, indent="  ")


def _body(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui, unread: bool) -> Drawn:
    match stage.name:
        case "stop":
            return None, draw_stop(pen, desk, state)
        case "tried":
            return None, (*draw_tried(pen, desk, state), U, E)
        case "waiting":
            entry, keys = draw_waiting(pen, desk, state, stage)
            return entry, (*keys, X, *tree_key(state), U, E)
        case "handed":
            return draw_taken(pen, desk, state)
        case "people":
            return draw_people(pen, desk, state)
        case "last":
            return draw_last(pen, state)
        case "search" | "confirm":
            assert stage.step is not None
            if stage.step.kind in ("look", "lights"):
                drawn = draw_list(pen, desk, state, stage)
            else:
                drawn = draw_measure(pen, desk, state, stage, unread=unread)
            if not unread:
                for text in after_repair(desk, state):
                    pen.put(text, Role.ECHO, indent="  ")
            if ui.panel == "why":
                pen.put(f"Why: {stage.step.why}", Role.NOTE, indent="     ")
            drawn = draw_program(pen, desk, state, stage, ui, drawn, unread=unread)
            draw_left(pen, desk, state)
            return drawn
        case "isolate":
            return draw_isolate(pen, desk, state, stage)
        case "repair":
            return draw_repair(pen, desk, state, stage)
        case "clip":
            return draw_clip(pen, desk, state)
        case "unclip":
            return draw_unclip(pen, desk, state)
        case "putback":
            return None, (*draw_putting_back(pen, desk, state), U, E)
        case "reset":
            return draw_reset(pen, desk, state, stage.next)
        case "power":
            return draw_power(pen, desk, state)
        case "proof":
            return draw_proof(pen, desk, state, stage)
        case "handback":
            return draw_handback(pen, desk, state)
        case "stuck":
            return draw_stuck(pen, desk, state)
        case "watch":
            entry, keys = draw_watch(pen, desk, state)
            return entry, (*keys, X, *tree_key(state), U, E)
        case "watched":
            entry, keys = draw_watched(pen, desk, state)
            return entry, (*keys, U, E)
        case "ended":
            return draw_ended(pen, desk, state)


__all__ = ["view"]
