"""What outlives a shift: temporary things, what could not be done and for how long, handing over to the next person.

Panels over a job's sheet; each is reached from `e`. Pure: what to write, and what to draw.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from troubleshoot.evidence.seen import Meter
from troubleshoot.faults.suspects import OUTSIDE
from troubleshoot.job.desk import Desk
from troubleshoot.job.keys import KEYS
from troubleshoot.job.naming import act_words, group_words, part_words, should_be
from troubleshoot.job.pen import Pen
from troubleshoot.job.reasons import REASONS, Reason, why_words
from troubleshoot.job.sheet import Entry, Input, LiveKey, Pressed, Refusal, Role, Typed
from troubleshoot.job.stage import Stage, needs_isolation, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.temporary import holds
from troubleshoot.solve.meters import RANGES
from troubleshoot.text.showing import show

Events = tuple[tuple[str, Mapping[str, Any]], ...]
Drawn = tuple[Entry | None, tuple[LiveKey, ...]]

KINDS_OF_TEMPORARY: Final = {
    "a": "wire lifted", "b": "value forced", "d": "fuse out", "f": "sensor or switch pushed aside",
    "g": "cover or guard off", "h": "meter or leads left on", "i": "motor leads off", "j": "jumper on",
}  # fmt: skip
"""One tap each; where it is can be typed instead: "wire 12 lifted at K1:14"."""
OTHER: Final = "k"
BACK: Final = KEYS["back"].live
NEXT: Final = {
    "people": "get everybody clear", "isolate": "make it safe", "repair": "mend what was found", "power": "power back on",
    "handback": "hand it back", "putback": "put back what is temporary", "reset": "reset what has tripped, once it has cooled", "stuck": "nothing known explains it all",
}  # fmt: skip
"""What comes next where no step has words of its own."""
_DIGITS: Final = "123456789"
_LEAST: Final = 3
"""Letters below which what was typed is a slip of a key."""


# ----------------------------------------------------------------------------------------------------- temporary things


def temporary_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """A thing left temporary, or one put back."""
    if isinstance(said, Typed):
        if sum(c.isalpha() for c in said.text) < _LEAST:
            return Refusal(f"{show(said.text)!r} says nothing of what is temporary. Type it: wire 12 lifted at K1:14")
        return (("temporary", {"what": said.text.strip(), "by": state.who}),)
    if said.key in KINDS_OF_TEMPORARY:
        return (("temporary", {"what": KINDS_OF_TEMPORARY[said.key], "by": state.who}),)
    return put_back(desk, state, said.key)


def put_back(desk: Desk, state: State, key: str) -> Events | None:
    """Putting back the thing in this row; None where there is no such row.

    What is in the circuit is put back behind a finished isolation only: where there is none, that is what comes next.
    """
    place = _DIGITS.find(key)
    if not 0 <= place < len(state.temporary):
        return None
    thing = state.temporary[place]
    data = {"of": thing.n, "what": thing.what, "by": state.who}
    if (
        needs_isolation([thing])
        and stage_of(desk, replace(state, handed=(), ended="", putting=thing.n)).name != "putback"
    ):
        return (("putting back", data),)
    # What was proved was proved of another machine: one with a wire off, or a value forced.
    return (("put back", {**data, "again": holds(thing.what) != "hand-back"}),)


def draw_temporary(pen: Pen, desk: Desk, state: State) -> Drawn:
    """The ledger: what is temporary now, and one tap for what is new."""
    pen.put("Temporary things. What is in the circuit goes back before power, all of it before hand-back.", Role.TASK)
    keys = draw_ledger(pen, desk, state)
    if not state.temporary:
        pen.put("   nothing is noted", Role.NOTE)
    pen.put("New:", Role.TASK)
    for key, words in KINDS_OF_TEMPORARY.items():
        pen.put(f"{key}  {words}", Role.ROW, key=key)
        keys.append(LiveKey(key, words[:14], f"notes: {words}", shown=False))
    pen.put(f"{OTHER}  something else, or with its place: type it", Role.ROW, key=OTHER)
    return None, (*keys, LiveKey(OTHER, "type it", "what is temporary, and where, in your words"), BACK)


def draw_typed(pen: Pen, desk: Desk, state: State) -> Drawn:
    """The same in words."""
    pen.put("What is temporary, and where? It must be put back before the machine is handed back.", Role.TASK)
    return Entry("What, and where", example="wire 12 lifted at K1:14"), (BACK,)


def draw_putting_back(pen: Pen, desk: Desk, state: State) -> tuple[LiveKey, ...]:
    """What has to be undone before power, or the proof run, is offered."""
    before = "power comes back on" if not state.power or needs_isolation(state.temporary) else "the proof run goes on"
    pen.put(f"Put back first, before {before}:", Role.DANGER)
    pen.put("A machine with this as it is proves nothing. Press the number of each when it is done.", Role.TASK)
    keys = draw_ledger(pen, desk, state)
    if any(holds(t.what) != "hand-back" for t in state.temporary) and state.proof:
        pen.put("The proof run then begins again from its first check.", Role.NOTE)
    return tuple(keys)


def draw_ledger(pen: Pen, desk: Desk, state: State) -> list[LiveKey]:
    """Open rows of the ledger, each with the key that says it is put back, below what that may start with power on."""
    keys = []
    if state.power and any(holds(t.what) == "proof" and not needs_isolation([t]) for t in state.temporary):
        for text in desk.let_go_hazards:
            pen.put(text, Role.DANGER, indent="  ")
    for key, thing in zip(_DIGITS, state.temporary, strict=False):
        pen.put(f"{key}  {show(thing.what)} ({show(thing.by)}): put back", Role.ROW, key=key, indent="   ")
        keys.append(LiveKey(key, "put back", f"{show(thing.what)} is put back", shown=False))
    return keys


# ------------------------------------------------------------------------------------------------------ what can be now


def able_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """Something that could not be done can be done now."""
    if not isinstance(said, Pressed):
        return None
    place = _DIGITS.find(said.key)
    liftable = state.liftable
    if not 0 <= place < len(liftable):
        return None
    return (("can", {"of": liftable[place].n, "words": liftable[place].words, "by": state.who}),)


def draw_able(pen: Pen, desk: Desk, state: State) -> Drawn:
    """What could not be done, why and for how long."""
    pen.put("What could not be done. Press its number when it can be done now.", Role.TASK)
    keys = []
    for key, one in zip(_DIGITS, state.liftable, strict=False):
        pen.put(
            f"{key}  {show(one.words)}: {why_words(one.reason)}, {REASONS[one.reason].lasts}",
            Role.ROW,
            key=key,
            indent="   ",
        )
        keys.append(LiveKey(key, "can now", f"can be done now: {show(one.words)}", shown=False))
    if not state.liftable:
        pen.put("   nothing", Role.NOTE)
    for one in (c for c in state.cannot if c not in state.liftable):
        pen.put(f"   {show(one.words)}: refused as unsafe, a good decision", Role.NOTE, indent="   ")
    return None, (*keys, BACK)


# ------------------------------------------------------------------------------------------------------------ hand over


def over_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """Who takes over, and what was promised: kept with the page as it was shown."""
    if not isinstance(said, Typed):
        return None
    if sum(c.isalpha() for c in said.text) < 2:  # initials are enough
        return Refusal("Who takes it over? A name or initials, then what was promised to whom, if anything.")
    return (("handover", {"to": said.text.strip(), "by": state.who, "page": handover_page(desk, state)}),)


def draw_over(pen: Pen, desk: Desk, state: State) -> Drawn:
    """One page, sixty seconds to read."""
    for line in handover_page(desk, state):
        pen.put(line, Role.DANGER if line.startswith(("TEMPORARY", "NOT")) else Role.ROW, indent="   ")
    return Entry("To whom; and what was promised to whom", example="JS; belt runs by 07:00, told shift lead"), (BACK,)


def taken_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """The next person takes it up under their own name."""
    if not isinstance(said, Typed):
        return None
    name = said.text.strip()
    if sum(c.isalpha() for c in name) < 2:
        return Refusal("Your own name or initials, please.")
    return (("resumed", {"who": name, "circuit": desk.machine.content, "changed": False}),)


TAKE_UP: Final = LiveKey("y", "take it up", "you have read it and take it up: then your own name")


def draw_taken(pen: Pen, desk: Desk, state: State, *, naming: bool = False) -> Drawn:
    """The page as it was handed over, and the new name."""
    for line in state.handed:
        pen.put(line, Role.DANGER if line.startswith(("TEMPORARY", "NOT")) else Role.ROW, indent="   ")
    pen.put(f"Handed over to: {show(state.handed_to)}", Role.TASK, indent="   ")
    pen.put("Nothing that was proved dead carries over: your own lock, your own tester, all of it again.", Role.CAUTION)
    if naming:
        return Entry("Your name or initials: you take it up", example="JS"), (BACK,)
    # Nothing is typed into before it is asked for: who only reads leaves with one key.
    pen.put(f"{TAKE_UP.key}  {TAKE_UP.does}", Role.ROW, key=TAKE_UP.key)
    return None, (TAKE_UP,)


def locks_on(desk: Desk, state: State) -> dict[str, list[str]]:
    """Whose lock hangs on what, in the order in which they were hung."""
    found = {who: sorted(tags) for who, tags in state.their_locks.items()}
    own = [tag for tag in desk.machine.disconnects if f"lock {tag}" in state.isolation]
    return found | ({state.who: own} if own else {})


def handover_page(desk: Desk, state: State) -> list[str]:
    """What the next shift must know, most dangerous first. At most some fifteen lines."""
    circuit = desk.machine.circuit
    workers = ", ".join(show(who) for who in state.workers or (state.who,) if who) or "nobody named"
    out = [f'{circuit.title}: "{show(state.said)}". Worked on by {workers}.']
    locks = locks_on(desk, state)
    if state.power:
        out.append("State: power ON.")
    elif locks:
        hang = "; ".join(f"lock of {show(who)} on {', '.join(tags)}" for who, tags in locks.items())
        out.append(f"State: power OFF; {hang}. Yours goes on first, then theirs comes off.")
    else:
        out.append("NOT locked: power is off, no lock is noted.")
    held = [f"TEMPORARY: {show(t.what)} (by {show(t.by)})" for t in state.temporary]
    held += [f"TEMPORARY: {what} is blocked or secured (by {show(who)})" for what, who in state.blocks.items()]
    out += held or ["Temporary: nothing is noted."]
    out += [f"Waited for: {show(words.removeprefix('waiting: '))}" for words in state.waits[-2:]]
    for data in state.repairs:
        note = f" ({show(data['note'])})" if data["note"] else ""
        sure = "confirmed" if data["confirmed"] else "not confirmed"
        out.append(f"Changed: {show(data['words'])}, {sure}: {act_words(data['act'], data['item'])}{note}")
    for group, agrees in state.confirmed.items():
        if agrees:
            out.append(f"Found, NOT mended: {group_words(desk, group)}, confirmed by its own test.")
    if not state.repairs:
        out.append("Changed: nothing yet.")
    if state.repairs:
        passed = [c.words for c in desk.proof.checks if state.proof.get(c.id)]
        missing = [c.words for c in desk.proof.checks if not state.proof.get(c.id)]
        out.append(f"Proved: {len(passed)} of {len(desk.proof.checks)} checks since the last repair.")
        if missing:
            out.append(
                f"NOT proved: {'; '.join(w.rstrip('.') for w in missing[:3])}{' ...' if len(missing) > 3 else ''}"
            )
    else:
        belief = desk.belief(state)
        left = [(group_words(desk, g), p) for g, p in desk.reasoner.groups(belief) if p > 0.005]
        some = ", ".join(words for words, _ in left[:4])
        out.append(f"Left: {len(left)}: {some}{', ...' if len(left) > 4 else ''}")
    stage = stage_of(desk, replace(state, handed=()))
    doing = stage.check.words if stage.check is not None else ""
    if stage.step is not None:
        points = [str(i.red) for i in stage.step.items if isinstance(i, Meter)]
        doing = stage.step.words.rstrip(".") + (f": {', '.join(points)}" if points else "")
    if stage.name == "isolate" and stage.isolation is not None:
        steps = stage.isolation.steps
        at = next(k for k, s in enumerate(steps) if s.id == stage.next)
        out.append(f"NOT proved dead: step {at + 1} of {len(steps)} is due, all of it again for whoever comes: "
                   f"{steps[at].words}")  # fmt: skip
        if any(s.id.startswith("dead") for s in steps[:at]):
            out.append("NOT proved: the tester was not proved again after the dead test, so its readings do not count.")
        out.append(f"Next: make it safe{f', then: {doing}' if doing else ''}")
    elif doing or stage.name in NEXT:
        out.append(f"Next: {doing or NEXT[stage.name]}")
    for one in state.cannot[-3:]:
        out.append(f"Could not be done: {show(one.words)} ({why_words(one.reason)})")
    return out


# -------------------------------------------------------------------------------------------------------------- waiting


def waits_for(state: State) -> Reason:
    """What the job waits for: the first reason that somebody or some hour can take away."""
    given = {c.reason for c in state.cannot}
    return next(reason for reason in REASONS.values() if reason.waits and reason.name in given)


def wanted(desk: Desk, stage: Stage) -> list[list[str]]:
    """The readings that are wanted once it can be done: where, how it must stand, and what should be there."""
    rows = []
    for step in stage.wanted:
        for item in step.items:
            if isinstance(item, Meter):
                should = should_be(desk, item, step.situation)
                rows.append(
                    [f"{item.red} to {item.black}", f"{RANGES[item.mode].words}, {step.situation.words}", should]
                )
    return rows


def draw_waiting(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    """The exact list for whoever may: it is kept in the record."""
    what = waits_for(state).waits_for
    pen.put(f"What is left needs {what}. Wanted then, all of it:", Role.TASK)
    for k, (where, how_it_stands, should) in enumerate(wanted(desk, stage), 1):
        pen.put(f"{k}. {where}: should be {should} ({how_it_stands})", Role.ROW, indent="   ")
    way = [f"{show(one.words)}, {why_words(one.reason)}" for one in state.liftable]
    more = f"; and {len(way) - 1} more" if len(way) > 1 else ""
    pen.put(f"In the way: {way[0]}{more}", Role.NOTE, indent="   ")
    pen.put(f"y  wait for {what}; the list is kept", Role.ROW, key="y")
    pen.put("Can it be done now after all? e, then 9", Role.NOTE)
    return None, (LiveKey("y", "wait", f"ends this part of the job: waiting for {what}"),)


# ----------------------------------------------------------------------------------------------------------- a part


def part_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """Which part, and when it comes."""
    if not isinstance(said, Typed):
        return None
    if sum(c.isalpha() for c in said.text) < _LEAST:
        return Refusal("Which part, and when is it here?")
    event = {
        "how": "waiting: part", "note": said.text.strip(), "part": _part(desk, state), "temporary": [t.what for t in state.temporary],
    }  # fmt: skip
    return (("ended", event),)


def draw_part(pen: Pen, desk: Desk, state: State) -> Drawn:
    """The part that everything points to, with its ratings, to be asked for in the stores."""
    pen.put("Waiting for a part. Write down which, and when it comes.", Role.TASK)
    part = _part(desk, state)
    if part:
        pen.put(f"Most likely: {part}", Role.ROW, indent="   ")
        pen.put("Read the coil volts and the rating on the old part as well.", Role.NOTE)
    if state.temporary:
        pen.put(f"Still temporary: {', '.join(show(t.what) for t in state.temporary)}", Role.DANGER, indent="   ")
    return Entry("Which part, and when", example="relay 24 V DC 4-pole, stores open at 06:00"), (BACK,)


def runs_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """It runs and nothing was mended: what is to be watched, kept with what was not ruled out."""
    if not isinstance(said, Typed):
        return None
    if sum(c.isalpha() for c in said.text) < _LEAST:
        return Refusal("What is to be watched, by whom, and until when?")
    left = [group_words(desk, g) for g, p in desk.reasoner.groups(desk.belief(state)) if p > 0.005 and g != OUTSIDE]
    more = f" and {len(left) - 3} more" if len(left) > 3 else ""
    note = f"{said.text.strip()}; not ruled out: {', '.join(left[:3])}{more}" if left else said.text.strip()
    return (("ended", {"how": "watching", "note": note, "temporary": [t.what for t in state.temporary]}),)


def draw_runs(pen: Pen, desk: Desk, state: State) -> Drawn:
    """A machine that runs again with nothing found is left to somebody: to whom, and with what to look at."""
    pen.put("It runs and nothing is mended. What is to be watched, by whom, and until when?", Role.TASK)
    pen.put("What was not ruled out is kept with it. It stays open for whoever reads the week.", Role.NOTE)
    if state.temporary:
        pen.put(f"Still temporary: {', '.join(show(t.what) for t in state.temporary)}", Role.DANGER, indent="   ")
    return Entry("What to watch", example="amps of M1 each shift, Kim, until Friday"), (BACK,)


def _part(desk: Desk, state: State) -> str:
    group = next((g for g, _ in desk.reasoner.groups(desk.belief(state)) if g != OUTSIDE), "")
    tag = group.split(" ")[0]
    return part_words(desk, tag) if tag in desk.machine.circuit.devices else ""
