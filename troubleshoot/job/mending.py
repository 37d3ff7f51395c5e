"""From the open disconnect to power on: what an input does while it is isolated, mended, put back and powered."""

from __future__ import annotations

from typing import Final

from troubleshoot.evidence.words import AskBack, Asked, read_typed
from troubleshoot.faults.suspects import UNSEEN
from troubleshoot.job.amending import watches
from troubleshoot.job.codec import put_item, put_step, put_understood
from troubleshoot.job.decided import DRAWN_MS, Decided, Ui, as_given
from troubleshoot.job.desk import Desk
from troubleshoot.job.draw_amending import WATCHED, can_be_watched
from troubleshoot.job.handing import put_back
from troubleshoot.job.readings import odd_of
from troubleshoot.job.seeing import seen_by_hand
from troubleshoot.job.sheet import Input, Pressed, Refusal, Typed
from troubleshoot.job.shorts import short_test
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import State
from troubleshoot.safety.isolation import PROVED_ON, IsolationStep, judge
from troubleshoot.text.showing import show

ALL_NOTHING: Final = ("all 0", "all nothing", "all dead")
"""What answers a whole card of a dead test: every row was tested and showed nothing."""


def isolate_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    assert stage.isolation is not None
    step = next(s for s in stage.isolation.steps if s.id == stage.next)
    if step.ask == "done":
        return _done_given(state, step, said)
    if isinstance(said, Pressed):
        if said.key == "p" and step.id.startswith("prove"):
            # The usual point may itself be dead by the fault; a tester is as well proved on another source.
            event = {
                "step": step.id,
                "words": step.words,
                "said": f"{PROVED_ON} a proving unit or another live point",
                "proves": True,
            }
            return Decided((("isolation", event),))
        return None
    # Gloves on: one word for a card on which every row was tested and none showed anything. The rows stay on the screen.
    every = not any(step.expects) and " ".join(said.text.casefold().split()) in ALL_NOTHING
    text = " ".join("0" for _ in step.readings) if every else said.text
    read = read_typed(text, asked=tuple(Asked("V", None, False, True) for _ in step.readings))
    if isinstance(read, AskBack):
        return Refusal(read.words)
    if read.missing:
        word = "" if any(step.expects) else f" Every row tested and nothing on any: {ALL_NOTHING[0]}."
        return Refusal(
            f"All {len(step.readings)} readings, please: each conductor to earth and between.{word} {read.echo}"
        )
    proving = step.id.startswith("prove")
    if proving and (odd := odd_of(desk, state, step.readings, desk.at_rest, read.answers)) is not None:
        return odd
    values = [a.most for a in read.answers]
    judged = judge(step, values)
    data = {
        "step": step.id, "words": step.words, "said": said.text, "readings": [put_item(m) for m in step.readings],
        "understood": [put_understood(a.understood) for a in read.answers if a.understood is not None],
    }  # fmt: skip
    if not judged.ok:
        # It is in the record, and not only on the screen: volts where none should be, or a tester that does not see them.
        again = " The dead test begins again. A slip of the key: u." if step.id.startswith("prove after") else ""
        return Decided((("failed", {**data, "why": judged.words}),), Ui(echo=f"{judged.words}{again}"))
    return Decided((("isolation", {**data, "proves": proving}),), Ui(echo=f"Understood: {read.echo}"))


STAYS_ON: Final = "k"
"""Key that says of somebody else's lock that it stays on."""
NOT_PROVED: Final = "d"
"""Key that says that there is nothing to prove the tester on."""


def _done_given(state: State, step: IsolationStep, said: Input) -> Decided | Refusal | None:
    """A step without a reading."""
    if not isinstance(said, Pressed):
        return None
    event: dict[str, object] = {"step": step.id, "words": step.words, "said": "done"}
    proving = step.id.startswith("prove")
    if said.key == NOT_PROVED and proving:
        cannot = {"words": step.words, "reason": "meter", "targets": [step.id]}
        echo = "Not proved: nothing counts as dead, hands out of it. How does it end, or who brings one?"
        return Decided((("cannot", cannot),), Ui("end", echo))
    if said.key == STAYS_ON and step.lock_of:
        return Decided((("isolation", {**event, "said": f"the lock of {step.lock_of} stays on"}),))
    if said.key != "y":
        return None
    if step.lock_of:
        event |= {"lock off": step.lock_of}
    if step.blocks:
        event |= {"blocks": step.blocks}
    if proving:
        event |= {"said": f"{PROVED_ON} a proving unit, or on a battery or source that was known live", "proves": True}
    return Decided((("isolation", event),))


_LEAST_CAUSE: Final = 3
"""Letters below which what was typed is a slip of a key and no cause: "jam", "fan" are words, "y" and "ok" are not."""


def repair_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    assert stage.suspect is not None
    act, item = stage.suspect.repair
    cause = act.startswith("find the cause")
    note = said.text if isinstance(said, Typed) else ""
    if isinstance(said, Pressed):
        if said.key == WATCHED and item.endswith(UNSEEN) and can_be_watched(state):
            done = watches(state)
            return Decided(done.events, Ui(echo=done.echo))
        if said.key != "y":
            return None
        if cause:
            return Refusal("What was the cause? Type it, or: cause not found")
    elif cause and sum(c.isalpha() for c in note) < _LEAST_CAUSE:
        return Refusal(f"{show(note)!r} says no cause. Type it in a word or two, or: cause not found")
    elif cause and "not found" in note.casefold() and (test := short_test(desk, state, item)) is not None:
        echo = "No new fuse into a short: first its feed is tested dead, in ohms. Then say again what the cause was."
        return Decided((("choose", {"source": state.source, "step": put_step(test)}),), Ui(echo=echo))
    event = {
        "group": stage.group, "suspect": stage.suspect.id, "act": act, "item": item, "note": note,
        "chance": round(stage.chance, 4),
        "confirmed": state.confirmed.get(stage.group, False) or bool(seen_by_hand(desk, state, stage.suspect)), "words": stage.suspect.words,
        "broken": stage.suspect.broken,
    }  # fmt: skip
    if told := list(desk.act_hazards(state, stage.suspect)):
        event["told"] = told
    return Decided((("repaired", event),))


def power_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if not isinstance(said, Pressed) or said.key != "c":
        return None
    if said.drawn_ms < DRAWN_MS:
        return Refusal("Read what can happen first.")
    event = {"on": True, "told": list(desk.before_power(state)), "by": state.who, "drawn_ms": said.drawn_ms}
    return Decided((("power", event),))


def putback_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if not isinstance(said, Pressed):
        return None
    return as_given(put_back(desk, state, said.key))
