"""One lesson of the course: a task, the panel, the next task. A runner, with the same panel page as a whole job.

It keeps what was done and answered, so that the lesson can be gone on with and the last of it be taken back: whatever stands is
then done once more from the beginning (`Sitting`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from troubleshoot.job.desk import Desk
from troubleshoot.job.sheet import Input, Pressed, Sheet, Typed
from troubleshoot.log.writer import Log, NotSaved
from troubleshoot.practice import judging
from troubleshoot.practice.again import alike, fits, moves_back
from troubleshoot.practice.bench import CARD_KEYS, words_of
from troubleshoot.practice.bench_sheet import BENCH, TYPING, UNDO, bench_sheet
from troubleshoot.practice.debrief import Debrief
from troubleshoot.practice.exercise import Exercise
from troubleshoot.practice.frame import LEAVING, TAKEN_UP_LESSON, Kept
from troubleshoot.practice.lesson_pages import asked, intro, title_of
from troubleshoot.practice.pages import paged
from troubleshoot.practice.sealed import write_exercise
from troubleshoot.practice.sitting import FirstAnswers, Sitting
from troubleshoot.practice.tasks import lesson
from troubleshoot.practice.unsafe import Stopped


class Course:
    """Implements `job.runner.Runner` for one lesson."""

    def __init__(
        self, exercise: Exercise, desk: Desk, log: Callable[[], Log], who: str, *, kept: Kept | None = None
    ) -> None:
        """desk: of the machine; log: opened once it is known that there is a lesson. Raises `exercise.Nothing` where it has nothing for this lesson."""
        self._exercise, self._desk, self._who = exercise, desk, who
        self._lesson = lesson(desk, exercise.level, exercise.seed)
        self._log = log()
        self._kept = kept or Kept()
        self._page, self._turn, self._busy = "intro", 0, ""
        self._inputs: list[tuple[str, Input]] = []
        """What was done and answered since the beginning, and stands, with the page on which it was."""
        self._typing = False
        self._first = FirstAnswers()
        self._came: list[tuple[str, Mapping[str, Any]]] | None = None
        """While it is played back: what would be written, which is not written again."""
        self._debrief: Debrief | None = None
        self._sitting = self._anew()
        if self._log.events:
            self._take_up()

    def _anew(self) -> Sitting:
        """The lesson before its first task."""
        return Sitting(self._exercise, self._desk, self._lesson, self._who, self._first, self._write, self._end)

    def _take_up(self) -> None:
        """As it was left: whatever was done is done once more. Raises `Nothing` where it does not come out the same."""
        events = self._log.events
        fits(events, self._desk.machine.content)
        for k, event in enumerate(events):
            if event.kind != "input":
                continue
            self._page = str(event.data["page"])
            text, key, drawn_ms = (event.data.get(name) for name in ("text", "key", "drawn_ms"))
            said = Typed(str(text), "") if text is not None else Pressed(str(key), "", int(str(drawn_ms)))
            came = self._came = []
            try:
                self._taken(said)
            finally:
                self._came = None
            alike(came, events[k + 1 :])
            if self._debrief is not None:  # the battery died at the very end
                for kind, data in came:
                    self._write(kind, data)
                return
        self._write("resumed", {"who": self._who, "idle_ms": self._log.idle_ms})
        self._sitting.accepted = False  # a caution counts for those who have just read it
        self._page, self._sitting.echo = "task", TAKEN_UP_LESSON

    # ----------------------------------------------------------------------------------------------------- the runner

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        return replace(self._sheet(width), leaving=LEAVING)

    def _sheet(self, width: int) -> Sheet:
        saved, sitting = self._saved(), self._sitting
        if self._page == "debrief":
            assert self._debrief is not None
            return paged(self._debrief.sections, self._turn, title=title_of(self._exercise), width=width, saved=saved)
        if self._page == "intro":
            return intro(self._exercise, self._desk, self._lesson, id=self._id(), width=width, saved=saved)
        if self._page == "panel":
            task = sitting.task
            card = task.meters if task.mode_said else tuple(replace(m, mode="ac+dc volts") for m in task.meters)
            return bench_sheet(
                sitting.panel, id=self._id(), task=task.words, card=card[: len(CARD_KEYS)], compare=(), echo=sitting.echo, width=width,
                saved=saved, modes=task.mode_said, typing=self._typing, undo=bool(self._inputs),
            )  # fmt: skip
        return asked(
            sitting, self._exercise, self._desk, id=self._id(), width=width, saved=saved, undo=bool(self._inputs)
        )

    def give(self, said: Input) -> None:
        """See `Runner.give`."""
        self._busy = "working it out"
        try:
            if self._page == "debrief":
                if (
                    isinstance(said, Pressed)
                    and said.key in ("enter", "escape")
                    and said.sheet == f"debrief {self._turn}"
                ):
                    self._turn += 1 if said.key == "enter" else -1
                return
            if said.sheet != self._id():
                return
            self._turn += 1
            if self._page == "intro":
                self._begin(said)
            elif isinstance(said, Pressed) and said.key == BENCH.key:
                self._page, self._sitting.echo = ("task" if self._page == "panel" else "panel"), ""
            elif isinstance(said, Pressed) and said.key == TYPING and self._page == "panel":
                self._typing = not self._typing
            else:
                self._take(said)
        finally:
            self._busy = ""

    def _take(self, said: Input) -> None:
        """What is done at the panel, or answered: written first, so that it can be done once more."""
        if self._page == "panel" and isinstance(said, Pressed) and said.key != UNDO.key:
            does = words_of(self._sitting.panel, said.key, self._sitting.task.meters[: len(CARD_KEYS)])
            if not does:
                return
            said = Typed(does, said.sheet)
        what = {"text": said.text} if isinstance(said, Typed) else {"key": said.key, "drawn_ms": said.drawn_ms}
        self._write("input", {"page": self._page, **what})
        self._taken(said)

    def _taken(self, said: Input) -> None:
        if isinstance(said, Pressed) and said.key == UNDO.key:
            self._take_back()
            return
        page, before = self._page, self._sitting.marks()
        self._put(said)
        if self._sitting.marks() != before or self._page != page:
            self._inputs.append((page, said))

    def _put(self, said: Input) -> None:
        if self._page == "panel":
            if isinstance(said, Typed):
                self._sitting.at_the_panel(said.text)
        else:
            self._sitting.answer(said)

    def _take_back(self) -> None:
        """The lesson as it was before the last thing that was done or answered."""
        if not self._inputs:
            self._sitting.echo = "There is nothing to take back."
            return
        page, panel, (where, last) = self._page, self._sitting.panel, self._inputs[-1]
        inputs = self._inputs[:-1]
        self._play(inputs)
        if no := moves_back(panel, self._sitting.panel):
            self._play([*inputs, (where, last)])
            self._page, self._sitting.echo = page, no
            return
        self._write("undone", {"of": 0})
        self._page = page
        if where != "panel":
            # Its caution is on that page, and is read again there; what a hand did at the panel changes nothing of it.
            self._page, self._sitting.accepted = "task", False
        words = last.text if isinstance(last, Typed) else {"c": "the caution", "y": "done"}.get(last.key, "don't know")
        self._sitting.echo = f"Taken back: {words}." + ("" if where == "panel" else " What you said first counts.")

    def _play(self, inputs: list[tuple[str, Input]]) -> None:
        """From the beginning, without writing it again."""
        came, self._came = self._came, []
        try:
            self._sitting = self._anew()
            for page, said in inputs:
                self._page = page
                self._put(said)
            self._inputs = inputs
        finally:
            self._came = came

    def busy(self) -> str:
        """See `Runner.busy`."""
        return self._busy

    def pump(self) -> bool:
        """See `Runner.pump`."""
        return False

    def close(self) -> None:
        """See `Runner.close`."""
        self._log.close()

    # ------------------------------------------------------------------------------------------------------- the pages

    def _saved(self) -> int:
        head = self._log.head
        return head[0] if head and self._log.recorded else 0

    def _id(self) -> str:
        return f"{self._page} {self._sitting.at} {self._turn}"

    # ---------------------------------------------------------------------------------------------------- what is said

    def _write(self, kind: str, data: Mapping[str, Any]) -> None:
        if self._came is not None:
            self._came.append((kind, data))
            return
        done = self._log.append(kind, data)
        if isinstance(done, NotSaved):
            raise OSError(done.words)

    def _begin(self, said: Input) -> None:
        if not (isinstance(said, Pressed) and said.key == "enter"):
            return
        self._write("practice", {
            "machine": self._exercise.machine, "circuit": self._desk.machine.content, "level": self._exercise.level,
            "seed": self._exercise.seed, "title": self._exercise.title, "sealed": write_exercise(self._exercise),
        })  # fmt: skip
        self._page = "task"

    def _end(self, stopped: Stopped | None) -> None:
        sitting = self._sitting
        if stopped is not None:
            self._write("unsafe", {"rule": stopped.rule, "why": stopped.why})
        self._debrief = judging.told(
            self._exercise, self._desk, self._lesson, sitting.scores, len(sitting.record.metered), stopped
        )
        result = self._debrief.result
        self._write("debrief", {
            "faults": [s.id for s in self._lesson.faults], "named": [], "found": result.found, "unsafe": result.unsafe,
            "readings": result.readings, "expert": 0, "predicted": [result.predicted_right, result.predicted],
        })  # fmt: skip
        self._debrief = self._debrief.and_then(self._kept.done(result))
        self._page, self._turn = "debrief", 0


__all__ = ["Course"]
