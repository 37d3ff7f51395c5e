"""What a whole job in practice adds to the job's own pages: the page before it, and the question in a line for the panel. Pure."""

from __future__ import annotations

from troubleshoot.evidence.seen import Meter
from troubleshoot.job.desk import Desk
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Role, Sheet
from troubleshoot.job.stage import Stage
from troubleshoot.practice.exercise import BY_NUMBER, WORKED_ON, Exercise
from troubleshoot.practice.frame import BEGIN, HOW


def intro(exercise: Exercise, desk: Desk, *, id: str, width: int, saved: int) -> Sheet:
    """What is said before it: the complaint, what was told, how it goes."""
    circuit = desk.machine.circuit
    level = BY_NUMBER[exercise.level]
    pen = Pen(width)
    pen.put(exercise.title or f"Practice {level.number}: {level.words}.", Role.TASK)
    pen.put("")
    pen.put(f'{circuit.title}: "{exercise.said}"', Role.TASK)
    if exercise.worked_on:
        pen.put(WORKED_ON, Role.NOTE)
    if exercise.note is not None:
        pen.put(f"{exercise.note.by} left a reading in the record: {note_words(exercise)}.", Role.NOTE)
    pen.put("")
    for words in HOW:
        pen.put(words, Role.NOTE)
    pen.put("")
    pen.put("Enter  begin", Role.ROW)
    return Sheet(
        id, f"PRACTICE  {exercise.machine.upper()}  seed {exercise.seed}", tuple(pen.lines), (BEGIN,), None,
        saved,
    )  # fmt: skip


def task_of(stage: Stage) -> str:
    """What the question asks, in a line, for the panel's page."""
    if stage.check is not None:
        return f"Proof: {stage.check.words}"
    if stage.name == "isolate" and stage.isolation is not None:
        return next(s.words for s in stage.isolation.steps if s.id == stage.next)
    if stage.name == "reset":
        return f"Asked: let {stage.next} cool (wait 300), then reset it once; nothing is metered yet."
    if stage.step is not None:
        words = stage.step.situation.words
        return f"Asked: {words[:1].upper()}{words[1:]}."
    if stage.name == "power":
        return "Asked: read what can happen, then power back on: leads off, cover on, lock off, disconnect."
    return ""


def card_of(stage: Stage) -> tuple[Meter, ...]:
    """The pairs of points that are asked for now."""
    if stage.name == "reset":
        return ()
    if stage.name == "isolate" and stage.isolation is not None:
        return next(s for s in stage.isolation.steps if s.id == stage.next).readings
    items = [i for i, _ in stage.check.expects] if stage.check is not None else stage.step.items if stage.step else ()
    return tuple(i for i in items if isinstance(i, Meter))


def note_words(exercise: Exercise) -> str:
    """The reading that a colleague left in the record."""
    assert exercise.note is not None
    meter = exercise.note.meter
    return f"{meter.red} to {meter.black} {exercise.note.said} V"
