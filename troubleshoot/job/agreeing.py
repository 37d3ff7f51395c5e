"""Whether a confirming test agrees with what it was asked for, and the line that says so where it does not. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.confirm import read_as
from troubleshoot.evidence.seen import Meter, Seen, Word
from troubleshoot.job.codec import get_item, get_situation, get_understood
from troubleshoot.job.decided import Decided
from troubleshoot.job.desk import Desk
from troubleshoot.job.folding import then
from troubleshoot.job.naming import UNITS, should_be
from troubleshoot.job.page import Drawn, U
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import LiveKey, Role
from troubleshoot.job.stage import AGREED, stage_of
from troubleshoot.job.state import State
from troubleshoot.text.showing import show

TAKE_BACK: Final = "Read or typed wrongly? u takes it back."
PANEL: Final = "disagrees"
GO_ON: Final = LiveKey("y", "it reads so", "it was read so: the search goes on, and power comes back for it")


@dataclass(frozen=True, slots=True)
class Now:
    """An event as it would be, before it is written."""

    n: int
    kind: str
    data: Mapping[str, Any]


def judged(desk: Desk, state: State, found: Decided) -> Decided:
    """A confirming test with ``agrees`` as it is: it does not read as a whole machine, and the repair it is of is no less
    likely for it, or likely enough to be done. Where it is not and power would come back next, that is said first."""
    if len(found.events) != 1 or found.events[0][0] != "reading" or not found.events[0][1]["group"]:
        return found
    data = dict(found.events[0][1])
    if data["agrees"]:
        after = then(state, Now(state.last + 1, "reading", data))
        was, now = (dict(desk.reasoner.groups(desk.belief(s))).get(data["group"], 0.0) for s in (state, after))
        data["agrees"] = bool(now >= min(AGREED, was))
    ui = found.ui
    if not data["agrees"] and stage_of(desk, then(state, Now(state.last + 1, "reading", data))).name == "power":
        ui = replace(ui, panel=PANEL)
    return replace(found, events=(("reading", data),), ui=ui)


def draw_disagrees(pen: Pen, desk: Desk, state: State) -> Drawn:
    """Before power comes back for the next reading: what did not agree, and the way back."""
    pen.put(not_confirmed(desk, state) or "Not confirmed.", Role.TASK, indent="  ")
    pen.put("u  read or typed wrongly: take it back; nothing was switched on", Role.ROW, key="u", indent="   ")
    pen.put("y  it reads so: the search goes on, and needs the power back", Role.ROW, key=GO_ON.key, indent="   ")
    return None, (GO_ON, U)


def confirming(desk: Desk, state: State, found: Decided) -> Decided:
    """A reading whose very points, in the very state, would be asked next to confirm it: nobody reads twice what was just read."""
    if len(found.events) != 1 or found.events[0][0] != "reading":
        return found
    data = found.events[0][1]
    after = then(state, Now(state.last + 1, "reading", data))
    stage = stage_of(desk, after)
    step = stage.step
    read = {get_item(item): get_understood(understood) for item, _, understood in data["items"]}
    if (
        step is None or step.kind != "confirm" or step.situation.situation != get_situation(data["situation"]).situation
        or not all(item in read and read[item] is not Word.COULDNT for item in step.items)
    ):  # fmt: skip
        return found
    agrees = any(
        isinstance(item, Meter) and not desk.as_it_should(item, step.situation, read[item]) for item in step.items
    )
    if not agrees:
        return found  # what says nothing for it is asked by itself
    return replace(found, events=(("reading", {**data, "group": step.group, "agrees": True}),))


def not_confirmed(desk: Desk, state: State) -> str:
    """What a confirming test that did not agree showed, beside what it would show; empty once something else was seen."""
    if state.unconfirmed is None or not state.evidence or state.evidence[-1].event != state.unconfirmed[1]:
        return ""
    group, event = state.unconfirmed
    every = enumerate((s for s in state.evidence if s.event == event), 1)
    rows = [(k, s) for k, s in every if isinstance(s.what, Meter) and s.understood is not Word.COULDNT]
    earlier = replace(state, evidence=tuple(s for s in state.evidence if s.event != event))
    suspect = desk.reasoner.likeliest(desk.belief(earlier), group)
    odd = desk.reasoner.misfits([s for _, s in rows], suspect, state.repaired)
    told = [_beside(desk, k, s, suspect.id) for k, s in rows if s in odd]
    if not told:
        return f"Not confirmed: what was read fits others better than {group}."
    return f"Not confirmed: {'; '.join(told)}."


def _beside(desk: Desk, row: int, seen: Seen, suspect: str) -> str:
    """``1 shows OL where faulty gives about 10 kohm, good under 1 ohm``."""
    meter = seen.what
    assert isinstance(meter, Meter)
    named = NamedSituation("", "", seen.at)
    bare = re.fullmatch(r"[\d.]+", seen.said)
    shows = f"{seen.said} {UNITS[meter.mode]}" if bare else "OL" if seen.understood is Word.OL else show(seen.said)
    table, predicted = desk.reasoner.table(seen.at), desk.reasoner.predict(meter, seen.at)
    index = next(k for k, s in enumerate(desk.machine.suspects) if s.id == suspect)
    mine = np.flatnonzero(table.owner == index)
    faulty = read_as(predicted, meter, int(mine[table.weight[mine].argmax()]))
    good = should_be(desk, meter, named)
    if faulty == good:
        return f"{row} shows {shows} where good and faulty give {good}"
    if desk.as_it_should(meter, named, seen.understood):
        return f"{row} shows {shows}, as good; faulty gives {faulty}"
    return f"{row} shows {shows} where faulty gives {faulty}, good {good}"
