"""What a person calls up beside a page: reasons, endings, other tests, rungs, what is wired otherwise."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Meter
from troubleshoot.job import agreeing, draw_amending, supply
from troubleshoot.job.against import lights_taken, pages
from troubleshoot.job.clipping import draw_which
from troubleshoot.job.decide import ENDINGS, MORE, places_of
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.facts import said_words, taken_back_alone
from troubleshoot.job.handing import draw_able, draw_over, draw_part, draw_runs, draw_taken, draw_temporary, draw_typed
from troubleshoot.job.page import BACK, Drawn, L, U
from troubleshoot.job.pen import Pen
from troubleshoot.job.reasons import REASON_ROWS
from troubleshoot.job.sheet import LiveKey, Role
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import State
from troubleshoot.job.stopping import draw_symptoms
from troubleshoot.job.watching import FAILS, draw_watch
from troubleshoot.text.showing import show


def _cant_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    pen.put("Can't do that? Say why; it is as good an answer as any.", Role.TASK)
    for key, reason in REASON_ROWS.items():
        pen.put(f"{key}  {reason.words}", Role.ROW, key=key)
    return None, (*(LiveKey(k, r.name, r.words, shown=False) for k, r in REASON_ROWS.items()), BACK)


def _back_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    odd = taken_back_alone(desk, state)
    pen.put("Take back which answer? The log keeps both.", Role.TASK)
    pen.put("1  the last one (u once more)", Role.ROW, key="1")
    keys = [LiveKey("1", "the last", "takes back the last answer", shown=False)]
    if odd is not None:
        back = len(state.undoable) - state.undoable.index(odd.event)
        words = f"the one that stands against all the rest, {back} answers back: {show(said_words(odd))}"
        pen.put(f"2  {words}", Role.ROW, key="2", indent="   ")
        keys.append(LiveKey("2", "that one", f"takes back {words}", shown=False))
        pen.put("All that was answered on that page goes with it, and is asked again.", Role.NOTE)
    return None, (*keys, U, BACK)


def _permit_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    place = desk.machine.circuit.places[places_of(desk, stage)[0]]
    pen.put("A permit or another trade: for what?", Role.TASK)
    pen.put(f"1  for all of {show(place.words or place.name)}: nothing there is asked again", Role.ROW, key="1")
    pen.put("2  for these points only", Role.ROW, key="2")
    keys = (LiveKey("1", "all of it", "nothing there is asked again", shown=False),
            LiveKey("2", "these points", "these points alone are left out", shown=False))  # fmt: skip
    return None, (*keys, BACK)


def _check_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    """Which part of a check cannot be done: without the whole of it, what goes on from it cannot be done either."""
    check = stage.check
    assert check is not None
    pen.put("Not its readings, or not the check at all?", Role.TASK)
    pen.put(
        "1  not the readings: what is seen without a meter is still asked, and it stays not proved",
        Role.ROW,
        key="1",
        indent="   ",
    )
    before, after = (desk.proof.undone(out) for out in (state.out, {*state.out, check.id}))
    lost = [c for c in desk.proof.checks if c.id in after and c.id not in before and c.id != check.id]
    more = f", nor the {len(lost)} that need it" if lost else ""
    pen.put(f"2  not the check at all{more}", Role.ROW, key="2", indent="   ")
    if stops := [c for c in (check, *lost) if c.stops]:
        pen.put("With 2 these stops are not proved:", Role.DANGER)
        for one in stops:
            pen.put(f"- {one.words}", Role.DANGER, indent="  ")
    return None, (LiveKey("1", "readings", "its readings alone are left out", shown=False),
                  LiveKey("2", "all of it", "the check is left out, and what needs it", shown=False), BACK)  # fmt: skip


def _end_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    pen.put("End the job without a proof? Not every job ends mended.", Role.TASK)
    for key, (_, words) in ENDINGS.items():
        pen.put(f"{key}  {words}", Role.ROW, key=key)
    pen.put("Or go on with it:", Role.TASK)
    for key, (_, words) in MORE.items():
        pen.put(f"{key}  {words}", Role.ROW, key=key)
    phase: tuple[LiveKey, ...] = ()
    if state.complaint in told.COMES_AND_GOES:
        now = (
            "it runs now: what is read from here on is of a machine that works"
            if state.phase == "failing"
            else ("it fails now: what is read from here on is of the failed machine")
        )
        pen.put(f"{FAILS}  {now}", Role.ROW, key=FAILS)
        phase = (LiveKey(FAILS, "now", now, shown=False),)
    if state.temporary:
        pen.put(f"Still temporary: {', '.join(show(t.what) for t in state.temporary)}", Role.DANGER, indent="  ")
    return None, (*(LiveKey(k, r[:14], w, shown=False) for k, (r, w) in (ENDINGS | MORE).items()), *phase, BACK)


def _over_panel(draw: Callable[[Pen, Desk, State], Drawn]) -> Callable[[Pen, Desk, State, Stage, Ui], Drawn]:
    return lambda pen, desk, state, stage, ui: draw(pen, desk, state)


def _other_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    trips = desk.trips(state)
    pen.put(
        "Other tests, best first. The tree keeps your place." if trips else "No other test tells anything more.",
        Role.TASK,
    )
    for k, step in enumerate(trips, 1):
        points = ", ".join(
            str(m.red) if len({x.black for x in step.items if isinstance(x, Meter)}) == 1 else f"{m.red}-{m.black}"
            for m in step.items
            if isinstance(m, Meter)
        )
        pen.put(f"{k}  {step.words}: {points}", Role.ROW, key=str(k), indent="   ")
        pen.put(f"   {step.why} About {round(step.cost / 60, 1):g} min.", Role.NOTE, indent="   ")
        for text in step.ahead[:2]:
            pen.put(f"   {text}", Role.NOTE, indent="     ")
    return None, (*(LiveKey(str(k), "take it", s.words, shown=False) for k, s in enumerate(trips, 1)), BACK)


def _amend_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    lines, entry, keys = draw_amending.panel(desk, state, stage, ui.panel.partition(" ")[2])
    for text, role, key in lines:
        pen.put(text, role, key=key, indent="   ")
    return entry, keys


def _supply_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    lines, keys = supply.panel(desk, state, ui.panel.partition(" ")[2])
    for text, role, key in lines:
        pen.put(text, role, key=key, indent="   ")
    return None, (*keys, U) if state.undoable else keys


def _rung_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    taken = lights_taken(desk, state)
    drawn = pages(desk, taken, pen.width) if taken is not None else ()
    if not drawn:
        pen.put("No output of the program is a plain rung.", Role.TASK)
        return None, (BACK,)
    number = int(ui.panel.partition(" ")[2] or 0) % len(drawn)
    page = drawn[number]
    pen.put(f"Rung of {page.title}:", Role.TASK)
    for line in page.lines:
        pen.fixed(line)
    for text in page.says:
        pen.put(text, Role.NOTE, indent="  ")
    pen.put("= has power, - has none; each contact says how it stands; ? has no light.", Role.NOTE)
    more = (
        (replace(L, label=f"rung {number + 1} of {len(drawn)}", does="shows the next page"),) if len(drawn) > 1 else ()
    )
    return None, (*more, BACK)


def _watch_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    entry, keys = draw_watch(pen, desk, state)
    return entry, (*keys, BACK)


PANELS: Final[Mapping[str, Callable[[Pen, Desk, State, Stage, Ui], Drawn]]] = {
    "clip": lambda pen, desk, state, stage, ui: draw_which(pen, desk, state, stage), "cant": _cant_panel, "back": _back_panel, "permit": _permit_panel, "check": _check_panel, "end": _end_panel, "other": _other_panel, "rung": _rung_panel, "amend": _amend_panel, "supply": _supply_panel, "over": _over_panel(draw_over),
    "temporary": _over_panel(draw_temporary), "typed": _over_panel(draw_typed), "able": _over_panel(draw_able), "symptom": _over_panel(draw_symptoms), "part": _over_panel(draw_part),
    "watch": _watch_panel, "taken": _over_panel(lambda pen, desk, state: draw_taken(pen, desk, state, naming=True)), "runs": _over_panel(draw_runs), agreeing.PANEL: _over_panel(agreeing.draw_disagrees),
}  # fmt: skip
