"""The pages of a lesson: what is said before it, and the task that is asked. Pure."""

from __future__ import annotations

from typing import Final

from troubleshoot.job.desk import Desk
from troubleshoot.job.keys import KEYS
from troubleshoot.job.naming import device_words
from troubleshoot.job.pen import Pen
from troubleshoot.job.rung import rung_lines
from troubleshoot.job.sheet import Entry, LiveKey, Role, Sheet
from troubleshoot.practice.bench_sheet import BENCH, UNDO
from troubleshoot.practice.exercise import BY_NUMBER, Exercise
from troubleshoot.practice.frame import BEGIN, HOW
from troubleshoot.practice.predicting import SKIP
from troubleshoot.practice.sitting import Sitting
from troubleshoot.practice.tasks import Lesson, Task, why
from troubleshoot.solve.meters import RANGES

DONE: Final = LiveKey("y", "done", "this step is done, by you, on the panel")


def title_of(exercise: Exercise) -> str:
    """The head of every page of a lesson."""
    level = BY_NUMBER[exercise.level]
    return f"PRACTICE  {exercise.machine.upper()}  lesson {level.number}: {level.name}"


def intro(exercise: Exercise, desk: Desk, lesson: Lesson, *, id: str, width: int, saved: int) -> Sheet:
    """What is said before the first task."""
    level = BY_NUMBER[exercise.level]
    pen = Pen(width)
    pen.put(exercise.title or f"Lesson {level.number}: {level.words}.", Role.TASK)
    pen.put("")
    pen.put(
        f"{desk.machine.circuit.title}, {len(lesson.tasks)} task{'' if len(lesson.tasks) == 1 else 's'}. Everybody is clear of it.",
        Role.NOTE,
    )
    for words in (*lesson.teaches, *HOW):
        pen.put(words, Role.NOTE)
    pen.put("")
    pen.put("Enter  begin", Role.ROW)
    return Sheet(id, title_of(exercise), tuple(pen.lines), (BEGIN,), None, saved)


def asked(sitting: Sitting, exercise: Exercise, desk: Desk, *, id: str, width: int, saved: int, undo: bool) -> Sheet:
    """The task. undo: something can be taken back."""
    task, pen = sitting.task, Pen(width)
    title = f"{title_of(exercise)}  {sitting.at + 1} of {len(sitting.lesson.tasks)}"
    first = task.predict and not sitting.said_first
    caution = None if first else sitting.caution()
    if caution is not None and not sitting.accepted:
        for k, text in enumerate(caution.shown):
            pen.put(f"CAUTION  {text}" if k == 0 else text, Role.DANGER if k == 0 else Role.CAUTION, indent="  ")
    pen.put(task.words, Role.TASK)
    # Of a whole rung the drawing says enough.
    for k, m in enumerate(task.meters if task.kind != "where" else (), 1):
        mode = f", {RANGES[m.mode].words}" if task.mode_said else ""
        pen.put(f"{k}  {m.red} to {m.black}  {device_words(desk, m)}{mode}", Role.ROW, indent="   ")
    if task.kind in ("read", "where"):
        for line in _drawing(desk, task, pen.width):
            pen.fixed(line)
    if task.kind == "where":
        pen.put(f"Its points: {', '.join(map(str, task.path[:-1]))}. Black on {task.path[-1]}.", Role.ROW, indent="  ")
    if sitting.said_first and sitting.predicted:
        pen.put(f"You said {sitting.predicted[0][1]}; a good machine has {sitting.predicted[0][3]}.", Role.NOTE)
        pen.put(why(desk, task), Role.NOTE)
    back = (UNDO,) if undo else ()
    keys: tuple[LiveKey, ...] = (BENCH, *back)
    # The dot acts at once; a letter may begin any answer: "unsteady" is no undo, "zero" no "don't know".
    entry: Entry | None = Entry("Type your answer", example=_example(task))
    if first:
        entry = Entry("First say it: what should be there", example="a number, or: nothing")
        keys = (BENCH, SKIP, *back)
    elif caution is not None and not sitting.accepted:
        keys = (KEYS["caution"].live, BENCH, *back)
        entry = Entry("Read the caution, then press c; typing opens after it", locked=True)
    elif task.step is not None and task.step.ask == "done":
        pen.put("y  done on the panel, by me", Role.ROW, key="y")
        entry, keys = None, (DONE, BENCH, *back)
    if sitting.echo:
        pen.put(sitting.echo, Role.ECHO)
    locked = caution is not None and not sitting.accepted
    return Sheet(id, title[: width - 10], tuple(pen.lines), keys, entry, saved, needs_caution=locked)


def _drawing(desk: Desk, task: Task, width: int) -> tuple[str, ...]:
    """The rung of the task's points as it lies in its situation; at rest most lie on none: then as it runs."""
    drawn = rung_lines(desk, task.meters, task.situation.situation, width)
    return drawn or rung_lines(desk, task.meters, desk.shows("wont-start").situation, width)


def _example(task: Task) -> str:
    """How an answer is typed, with points of this machine."""
    if task.kind == "where":
        return f"{task.path[0]} {task.path[1]}"
    return {"fed": "yes", "live": "X1:1"}.get(task.kind, "what the meter shows")
