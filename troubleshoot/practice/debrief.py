"""Afterwards: the trainee's own moves, what each could still have told, and the expert's way through the same exercise.

Safety first, then whether the first repair was the right one, then readings. No clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.codec import get_item
from troubleshoot.job.desk import Desk
from troubleshoot.job.fitting import desk_of, fitting
from troubleshoot.job.folding import fold
from troubleshoot.job.naming import group_words
from troubleshoot.job.rehearse import rehearse
from troubleshoot.job.sheet import Role
from troubleshoot.job.state import State
from troubleshoot.log.standing import Happened, retracted
from troubleshoot.practice.exercise import Exercise
from troubleshoot.practice.kinds import OWN
from troubleshoot.practice.pages import Section
from troubleshoot.practice.unsafe import Stopped

COUNTED: Final = 0.005
"""Chance from which a repair counts as left, as on the job's page."""
TOLD_LITTLE: Final = 1.15
"""A reading that leaves more than one in so many of the repairs told little of them."""
MOST: Final = 12
"""Lines of one section: a debrief is read standing."""


@dataclass(frozen=True, slots=True)
class Result:
    """How it went, for progress."""

    machine: str
    level: int
    seed: int
    unsafe: str
    """Rule that was broken; empty where none was."""
    found: bool
    """The first thing mended was what was hidden."""
    named: tuple[str, ...] = ()
    readings: int = 0
    expert: int = 0
    """Readings of the expert."""
    predicted_right: int = 0
    predicted: int = 0
    unproved: int = 0
    """Proof checks that were not made, or were called good while the panel showed something else."""
    weak: tuple[str, ...] = ()
    """What went wrong, in the words of `progress.WEAK`."""

    @property
    def passed(self) -> bool:
        """Safe, right the first time, and truly proved."""
        return not self.unsafe and self.found and not self.unproved


@dataclass(frozen=True, slots=True)
class Debrief:
    """The pages, and what they come to."""

    sections: tuple[Section, ...]
    result: Result

    def and_then(self, words: str) -> Debrief:
        """With what to practise next."""
        return replace(self, sections=(*self.sections, Section("Next", (words,)))) if words else self


@dataclass(frozen=True, slots=True)
class _Move:
    """One answer and what it did to what was left."""

    words: str
    before: float
    after: float
    best: float
    best_words: str
    said: tuple[str, ...] = ()
    back: bool = False
    """It was taken back later."""


def debrief(exercise: Exercise, desk: Desk, events: Sequence[Happened], stopped: Stopped | None) -> Debrief:
    """What is told at the end. desk: of the machine as it is described; it plays the expert, which takes seconds."""
    gone = retracted([e for e in events if e.kind not in OWN])
    kept = [e for e in events if e.n not in gone]
    hidden = exercise.suspects(desk)
    groups = {s.group for s in hidden}
    named = tuple(str(e.data["group"]) for e in kept if e.kind == "repaired")
    found = bool(named) and named[0] in groups
    moves = _moves(desk, events, OWN, gone)
    misread = _misread([*_standing_answers(events, gone)])
    right, total, wrong = _predicted(kept)
    expert, expert_readings = _expert(exercise, desk)
    readings = sum(len(e.data["items"]) for e in kept if e.kind == "reading") - (1 if exercise.note else 0)
    kept = [e for e in kept if e.kind != "answered"] + _standing_answers(events, gone)
    proof = _proof(exercise, desk, kept) if found else _Proof(0, 0, 0)
    weak = _weak(stopped, found, named, moves, misread, right, total)
    result = Result(
        exercise.machine, exercise.level, exercise.seed, stopped.rule if stopped else "", found, named, readings,
        expert_readings, right, total, proof.missing + proof.untrue if found else 0, weak,
    )  # fmt: skip
    sections = (
        _safety(stopped, kept, proof, len(misread)),
        _found(exercise, desk, hidden, named, found, kept),
        *([Section("What you typed, beside what stood there", tuple(misread[:MOST]), Role.ROW)] if misread else []),
        _readings(moves),
        *(
            [Section(f"What you expected: {right} of {total} as a good machine has it", tuple(wrong[:6]))]
            if total
            else []
        ),
        expert,
    )
    return Debrief(sections, result)


def _standing_answers(events: Sequence[Happened], gone: frozenset[int]) -> list[Happened]:
    """What was answered, without what was taken back: it is written right behind the answer that it is about."""
    out: list[Happened] = []
    about = 0
    for event in events:
        if event.kind == "answered" and about not in gone:
            out.append(event)
        elif event.kind not in OWN:
            about = event.n
    return out


# -------------------------------------------------------------------------------------------------------------- safety


@dataclass(frozen=True, slots=True)
class _Proof:
    """The proof run as it was made."""

    made: int
    total: int
    untrue: int
    """Checks called good while the panel showed something else, or no meter was laid."""

    @property
    def missing(self) -> int:
        return self.total - self.made


def _proof(exercise: Exercise, desk: Desk, events: Sequence[Happened]) -> _Proof:
    """Checks made since the last repair, those that could not be made taken out."""
    state = _state(desk, [e for e in events if e.kind not in OWN])
    checks = [c for c in desk_of(desk, state).proof.checks if c.id not in state.out]
    last = max((e.n for e in events if e.kind == "repaired"), default=0)
    untrue = sum(
        any(row[3] for row in e.data["items"])
        for e in events
        if e.kind == "answered" and e.data["of"] == "proved" and e.n > last
    )
    return _Proof(sum(c.id in state.proof for c in checks), len(checks), untrue)


def _safety(stopped: Stopped | None, events: Sequence[Happened], proof: _Proof, false: int) -> Section:
    if stopped is not None:
        return Section(
            f"Stopped for safety: {stopped.rule}", (stopped.why, "Nothing else counts before this."), Role.ROW
        )
    read = sum(e.kind == "caution" for e in events)
    dead = sum(e.kind == "isolation" and str(e.data["step"]).startswith("dead") for e in events)
    if proof.missing or proof.untrue:
        lines = [f"{false} of your answers false, as listed below."] if false else []
        lines.append("A repair that is not proved is handed back as a risk: whoever starts it next finds out.")
        return Section(
            f"{proof.made - proof.untrue} of {proof.total} proof checks made and true", tuple(lines), Role.ROW
        )
    if false:
        return Section(
            f"No unsafe act; {false} of your answers false", (f"Cautions read before their readings: {read}.",)
        )
    return Section(
        "Safe all the way", (f"Cautions read before their readings: {read}. Dead tests made and true: {dead}.",)
    )


def _found(
    exercise: Exercise, desk: Desk, hidden: Sequence[Any], named: Sequence[str], found: bool, events: Sequence[Happened]
) -> Section:
    lines = [f"Hidden: {s.words}; to mend it: {s.repair[0]} {s.repair[1]}." for s in hidden]
    if exercise.note is not None:
        lines.append(
            f"The note of {exercise.note.by} was wrong: {exercise.note.meter.red} to {exercise.note.meter.black} never had "
            f"{exercise.note.said} V."
        )
    if exercise.worked_on:
        lines.append("The machine was not wired as it is described: v on the question says what is there instead.")
    if exercise.comes_and_goes:
        lines.append("It came and went: a good reading proves nothing of what is not there at that moment.")
    if not named:
        lines.append("You mended nothing.")
    else:
        said = ", then ".join(group_words(desk, g) for g in named)
        lines.append(f"You mended {said}.")
        notes = [str(e.data.get("note", "")) for e in events if e.kind == "repaired"]
        lines += [f'As the cause you wrote: "{note}".' for note in notes if note]
    heading = "Right the first time" if found else "Not named first" if named else "Not found"
    return Section(heading, tuple(lines), Role.ROW)


# ------------------------------------------------------------------------------------------------------------ readings


def left(desk: Desk, belief: Floats) -> float:
    """How many repairs are left, counted as the job's own page counts them."""
    return float(sum(p > COUNTED for _, p in desk.reasoner.groups(belief)))


def _moves(desk: Desk, events: Sequence[Happened], own: frozenset[str], gone: frozenset[int]) -> list[_Move]:
    """Every answer of the search that told something, or could have."""
    out: list[_Move] = []
    job: list[Happened] = []
    number = 0
    for k, event in enumerate(events):
        if event.kind in own:
            continue
        job.append(event)
        if event.kind not in ("reading", "looked"):
            continue
        before, after = _state(desk, job[:-1]), _state(desk, job)
        if len(after.evidence) <= len(before.evidence) or before.proving:
            continue
        number += 1
        its = desk_of(desk, after)
        trips = desk_of(desk, before).trips(before) if event.kind == "reading" and not event.data["group"] else []
        was, now = left(its, desk_of(desk, before).belief(before)), left(its, its.belief(after))
        best = was / 2 ** trips[0].bits if trips else was
        points = ", ".join(_point(i) for i in trips[0].items) if trips else ""
        said = next((e for e in events[k + 1 : k + 3] if e.kind == "answered"), None)
        wrong = tuple(str(row[3]) for row in said.data["items"] if row[3]) if said else ()
        out.append(_Move(f"{number}  {_said(event)}", was, now, best, points, wrong, event.n in gone))
    return out


def _state(desk: Desk, events: Sequence[Happened]) -> State:
    state = fold(events)
    return fitting(desk_of(desk, state), state)


def _said(event: Happened) -> str:
    if event.kind == "looked":
        marked = [f"{item[1]} {shown}" for item, shown, by in event.data["items"] if by]
        more = ", ..." if len(marked) > 4 else ""
        return f"You looked: {', '.join(marked[:4]) + more if marked else 'all as it should be'}"
    points = ", ".join(_point(get_item(raw)) for raw, _, _ in event.data["items"])
    return f'{points}: "{event.data["said"]}"'


def _point(item: object) -> str:
    return f"{item.red} to {item.black}" if isinstance(item, Meter) else str(item)


def _readings(moves: Sequence[_Move]) -> Section:
    lines = []
    for move in moves[-MOST:]:
        left = (
            f"{move.before:.0f} left before it, {move.after:.0f} after"
            if move.before >= 1.5
            else "one was left before it"
        )
        text = f"{move.words}: {left}."
        if move.back:
            lines.append(f"{text} Taken back.")
            continue
        if move.after > move.before:
            text += " It spoke against what was likeliest, so more came back."
        elif move.before >= 1.5 and round(move.before) == round(move.after):
            text += " It could not tell them apart."
        elif move.before >= 1.5 and move.before / move.after < TOLD_LITTLE:
            text += " It told little."
        # What was measured is not held against itself: it was the best there was, and came out less lucky.
        if move.best_words and move.best_words not in move.words and move.best * 1.3 < move.after:
            text += f" {move.best_words} could have left about {max(1.0, move.best):.0f}."
        lines.append(text)
    return Section("Your moves, and how many repairs each left", tuple(lines) or ("You took no reading.",))


def _misread(events: Sequence[Happened]) -> list[str]:
    out: list[str] = []
    for event in events:
        if event.kind != "answered":
            continue
        for raw, said, shown, wrong in event.data["items"]:
            if not wrong:
                continue
            what = _point(get_item(raw)) if raw[0] == "meter" else str(raw[1])
            if wrong == "never taken":
                out.append(f'{what}: you typed "{said}" and laid no meter there.')
            elif wrong == "seen otherwise":
                out.append(f'{what}: you said "{said}"; it showed {shown}.')
            elif wrong == "misread":
                out.append(f'{what}: you typed "{said}"; the display stood at {shown}.')
            else:
                out.append(f'{what}: you typed "{said}" off {shown}; {wrong}.')
    return out


def _predicted(events: Sequence[Happened]) -> tuple[int, int, list[str]]:
    right = total = 0
    wrong: list[str] = []
    seen: set[object] = set()
    for event in events:
        # What was taken back and said anew had been shown by then: the first word counts.
        if event.kind != "predicted" or (key := event.data.get("key", event.n)) in seen:
            continue
        seen.add(key)
        for raw, said, _, should, is_right in event.data["items"]:
            total += 1
            right += bool(is_right)
            if not is_right:
                what = _point(get_item(raw)) if raw[0] == "meter" else str(raw[1])
                wrong.append(f'{what}: you said "{said}", a good machine has {should}.')
    return right, total, wrong


# ----------------------------------------------------------------------------------------------------------- the expert


def _expert(exercise: Exercise, desk: Desk) -> tuple[Section, int]:
    hidden = exercise.suspects(desk)
    true = exercise.true_desk(desk)
    try:
        played = rehearse(true, exercise.complaint, hidden[0], seed=exercise.seed, also=hidden[1:])
    except AssertionError as lost:
        # A careful person can be at a loss with two faults at once; then there is no way to show.
        return Section("The expert's way", (f"The expert got no further either: {lost}.",)), 0
    steps = [s for s in played.steps if s.words]
    every = [s for s in steps if s.expected or s.seen != "done"]
    search = every[:MOST]
    # What the rehearsal notes as its cause is nothing that anybody found out.
    told = [(s.words.rstrip(".:"), s.seen if "rehears" not in s.seen else "") for s in search]
    lines = [f"{k}  {words}: {seen}" if seen else f"{k}  {words}" for k, (words, seen) in enumerate(told, 1)]
    if len(every) > MOST:
        lines.append(f"and {len(every) - MOST} more, to the end of the proof run")
    asked = [e for e in played.events if e.kind == "reading"]
    readings = sum(len(e.data["items"]) for e in asked)
    tail = f"{len(asked)} trips, {readings} readings; named {group_words(true, played.named) if played.named else 'nothing'}."
    return Section("The expert's way through the same exercise", (*lines, tail)), readings


# -------------------------------------------------------------------------------------------------------------- weak spots


def _weak(
    stopped: Stopped | None, found: bool, named: Sequence[str], moves: Sequence[_Move], misread: Sequence[str], right: int,
    total: int,
) -> tuple[str, ...]:  # fmt: skip
    out: list[str] = []
    if stopped is not None:
        dead = ("dead", "proved", "locked", "open", "tried", "ohms")
        out.append("isolation" if any(word in stopped.rule for word in dead) else "cautions")
    if any("laid no meter" in m or "display stood" in m or "the meter was set" in m for m in misread):
        out.append("meter")
    if total >= 4 and right < 0.6 * total:
        out.append("predicting")
    told = [m for m in moves if m.before >= 1.5 and not m.back]
    if len([m for m in told if m.before / m.after < TOLD_LITTLE]) >= 3:
        out.append("halving")
    if named and not found:
        out.append("replacing unproved")
    return tuple(out)


__all__ = ["Debrief", "Result", "debrief"]
