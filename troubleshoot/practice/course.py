"""One lesson of the course: a task, the panel, the next task. A runner, with the same panel page as a whole job."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.evidence.words import AskBack, Asked, read_typed
from troubleshoot.job.codec import put_item, put_situation
from troubleshoot.job.decided import DRAWN_MS
from troubleshoot.job.desk import Desk
from troubleshoot.job.keys import KEYS
from troubleshoot.job.naming import device_words, should_be
from troubleshoot.job.pen import Pen
from troubleshoot.job.rung import rung_lines
from troubleshoot.job.sheet import Entry, Input, LiveKey, Pressed, Role, Sheet, Typed
from troubleshoot.job.state import State
from troubleshoot.log.writer import Log, NotSaved
from troubleshoot.practice import judging
from troubleshoot.practice.again import alike, fits, moves_back
from troubleshoot.practice.bench import FIRST_SAY, lays_leads, typed, words_of
from troubleshoot.practice.bench_sheet import BENCH, TYPING, UNDO, bench_sheet
from troubleshoot.practice.debrief import Debrief
from troubleshoot.practice.exercise import BY_NUMBER, Exercise, meter_as_left
from troubleshoot.practice.judging import Judged, LessonGuard, Score
from troubleshoot.practice.pages import paged
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.predicting import SKIP
from troubleshoot.practice.sealed import write_exercise
from troubleshoot.practice.session import BEGIN, HOW, LEAVING, TAKEN_UP, Kept
from troubleshoot.practice.tasks import Task, lesson, why
from troubleshoot.practice.unsafe import (
    Record,
    Stopped,
    isolation_claimed,
)
from troubleshoot.safety.caution import Caution
from troubleshoot.safety.isolation import judge
from troubleshoot.solve.meters import RANGES, unit_of

DONE: Final = LiveKey("y", "done", "this step is done, by you, on the panel")


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
        self._page, self._turn, self._echo, self._busy = "intro", 0, "", ""
        self._inputs: list[tuple[str, Input]] = []
        """What was done and answered since the beginning, and stands, with the page on which it was."""
        self._typing = False
        self._first: dict[int, bool] = {}
        """How each task was answered the first time; what is taken back was told by then."""
        self._expected: dict[int, bool] = {}
        """The same of what was said to be there."""
        self._came: list[tuple[str, Mapping[str, Any]]] | None = None
        """While it is played back: what would be written, which is not written again."""
        self._debrief: Debrief | None = None
        self._anew()
        if self._log.events:
            self._take_up()

    def _anew(self) -> None:
        """The lesson before its first task."""
        exercise = self._exercise
        self._panel = Panel(self._desk, self._lesson.faults, exercise.seed, setting=exercise.setting, fresh=False)
        self._record = Record()
        self._at = 0
        self._predicted: list[list[Any]] = []
        self._said_first = self._accepted = False
        self._scores: list[Score] = []
        self._unset()

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
        self._accepted = False  # a caution counts for those who have just read it
        self._page, self._echo = "task", TAKEN_UP

    # ----------------------------------------------------------------------------------------------------- the runner

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        return replace(self._sheet(width), leaving=LEAVING)

    def _sheet(self, width: int) -> Sheet:
        saved = self._saved()
        if self._page == "debrief":
            assert self._debrief is not None
            return paged(self._debrief.sections, self._turn, title=self._title(), width=width, saved=saved)
        if self._page == "intro":
            return self._intro(width)
        if self._page == "panel":
            task = self._task
            card = task.meters if task.mode_said else tuple(replace(m, mode="ac+dc volts") for m in task.meters)
            return bench_sheet(
                self._panel, id=self._id(), task=task.words, card=card[:8], compare=(), echo=self._echo, width=width,
                saved=saved, modes=task.mode_said, typing=self._typing, undo=bool(self._inputs),
            )  # fmt: skip
        return self._asked(width)

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
                self._page, self._echo = ("task" if self._page == "panel" else "panel"), ""
            elif isinstance(said, Pressed) and said.key == TYPING and self._page == "panel":
                self._typing = not self._typing
            else:
                self._take(said)
        finally:
            self._busy = ""

    def _take(self, said: Input) -> None:
        """What is done at the panel, or answered: written first, so that it can be done once more."""
        if self._page == "panel" and isinstance(said, Pressed) and said.key != UNDO.key:
            does = words_of(self._panel, said.key, self._task.meters[:8])
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
        page, before = self._page, self._marks()
        self._put(said)
        if self._marks() != before:
            self._inputs.append((page, said))

    def _marks(self) -> tuple[object, ...]:
        """Changes with everything that is done or answered."""
        panel = self._panel
        return (
            self._at, self._said_first, self._accepted, len(self._scores), panel.acts, panel.locks, panel.covers_off,
            panel.red, panel.black, panel.setting, panel.looked, panel.proved, self._record.proving_unit, self._page,
        )  # fmt: skip

    def _put(self, said: Input) -> None:
        if self._page == "panel":
            if isinstance(said, Typed):
                self._at_the_panel(said.text)
        else:
            self._answer(said)

    def _take_back(self) -> None:
        """The lesson as it was before the last thing that was done or answered."""
        if not self._inputs:
            self._echo = "There is nothing to take back."
            return
        page, panel, (where, last) = self._page, self._panel, self._inputs[-1]
        inputs = self._inputs[:-1]
        self._play(inputs)
        if no := moves_back(panel, self._panel):
            self._play([*inputs, (where, last)])
            self._page, self._echo = page, no
            return
        self._write("undone", {"of": 0})
        self._page = page
        if where != "panel":
            # Its caution is on that page, and is read again there; what a hand did at the panel changes nothing of it.
            self._page, self._accepted = "task", False
        words = last.text if isinstance(last, Typed) else {"c": "the caution", "y": "done"}.get(last.key, "don't know")
        self._echo = f"Taken back: {words}." + ("" if where == "panel" else " What you said first counts.")

    def _play(self, inputs: list[tuple[str, Input]]) -> None:
        """From the beginning, without writing it again."""
        came, self._came = self._came, []
        try:
            self._anew()
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

    @property
    def _task(self) -> Task:
        return self._lesson.tasks[self._at]

    def _saved(self) -> int:
        head = self._log.head
        return head[0] if head and self._log.recorded else 0

    def _id(self) -> str:
        return f"{self._page} {self._at} {self._turn}"

    def _title(self) -> str:
        level = BY_NUMBER[self._exercise.level]
        return f"PRACTICE  {self._exercise.machine.upper()}  lesson {level.number}: {level.name}"

    def _intro(self, width: int) -> Sheet:
        level = BY_NUMBER[self._exercise.level]
        pen = Pen(width)
        pen.put(self._exercise.title or f"Lesson {level.number}: {level.words}.", Role.TASK)
        pen.put("")
        pen.put(
            f"{self._desk.machine.circuit.title}, {len(self._lesson.tasks)} tasks. Everybody is clear of it.", Role.NOTE
        )
        for words in (*self._lesson.teaches, *HOW):
            pen.put(words, Role.NOTE)
        pen.put("")
        pen.put("Enter  begin", Role.ROW)
        return Sheet(self._id(), self._title(), tuple(pen.lines), (BEGIN,), None, self._saved())

    def _caution(self) -> Caution | None:
        """What is to be read before this task's readings; None where there is none or nothing is metered."""
        task = self._task
        if not task.meters or task.kind in ("fed",):
            return None
        named = self._desk.at_rest if task.step is not None else task.situation
        caution = self._desk.caution(task.meters, named, State(who=self._who))
        # The panel is the trainee's: where its motors turn although the task has them still, that is said first.
        circuit, should = self._desk.machine.circuit, "\n".join(caution.shown)
        moving = [m for m in self._panel.motors() if f"{m} TURNS" not in should and "should TURN now" not in should]
        if not moving:
            return caution
        turns = tuple(f"{m} ({circuit.devices[m].words}) TURNS as the panel stands now." for m in moving)
        said = tuple(x for x in caution.shown if not any(x.startswith(f"{m} ") and "may TURN" in x for m in moving))
        shown = (said[0], *turns, *said[1:])
        return replace(caution, shown=shown, digest=hashlib.sha256("\n".join(shown).encode()).hexdigest())

    def _asked(self, width: int) -> Sheet:
        task, pen = self._task, Pen(width)
        title = f"{self._title()}  {self._at + 1} of {len(self._lesson.tasks)}"
        first = task.predict and not self._said_first
        caution = None if first else self._caution()
        if caution is not None and not self._accepted:
            for k, text in enumerate(caution.shown):
                pen.put(f"CAUTION  {text}" if k == 0 else text, Role.DANGER if k == 0 else Role.CAUTION, indent="  ")
        pen.put(task.words, Role.TASK)
        # Of a whole rung the drawing says enough.
        for k, m in enumerate(task.meters if task.kind != "where" else (), 1):
            mode = f", {RANGES[m.mode].words}" if task.mode_said else ""
            pen.put(f"{k}  {m.red} to {m.black}  {device_words(self._desk, m)}{mode}", Role.ROW, indent="   ")
        if task.kind in ("read", "where"):
            for line in self._drawing(task, pen.width):
                pen.fixed(line)
        if task.kind == "where":
            pen.put(
                f"Its points: {', '.join(map(str, task.path[:-1]))}. Black on {task.path[-1]}.", Role.ROW, indent="  "
            )
        if self._said_first and self._predicted:
            pen.put(f"You said {self._predicted[0][1]}; a good machine has {self._predicted[0][3]}.", Role.NOTE)
            pen.put(why(self._desk, task), Role.NOTE)
        undo = (UNDO,) if self._inputs else ()
        keys: tuple[LiveKey, ...] = (BENCH, *undo)
        # The dot acts at once; a letter may begin any answer: "unsteady" is no undo, "zero" no "don't know".
        entry: Entry | None = Entry("Type your answer", example=_example(task), at_once=(BENCH.key,))
        if first:
            entry = Entry("First say it: what should be there", example="a number, or: nothing", at_once=(BENCH.key,))
            keys = (BENCH, SKIP, *undo)
        elif caution is not None and not self._accepted:
            keys = (KEYS["caution"].live, BENCH, *undo)
            entry = Entry("Read the caution, then press c; typing opens after it", locked=True)
        elif task.step is not None and task.step.ask == "done":
            pen.put("y  done on the panel, by me", Role.ROW, key="y")
            entry, keys = None, (DONE, BENCH, *undo)
        if self._echo:
            pen.put(self._echo, Role.ECHO)
        locked = caution is not None and not self._accepted
        return Sheet(
            self._id(), title[: width - 10], tuple(pen.lines), keys, entry, self._saved(), needs_caution=locked
        )

    def _drawing(self, task: Task, width: int) -> tuple[str, ...]:
        """The rung of the task's points as it lies in its situation; at rest most lie on none: then as it runs."""
        drawn = rung_lines(self._desk, task.meters, task.situation.situation, width)
        return drawn or rung_lines(self._desk, task.meters, self._desk.shows("wont-start").situation, width)

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

    def _unset(self) -> None:
        """Somebody had the meter in hand before this task."""
        if self._at < len(self._lesson.tasks) and self._task.unset:
            dice = random.Random(f"{self._exercise.seed} left {self._at}")
            self._panel.setting = meter_as_left(dice)
            self._panel.red = self._panel.black = self._panel.last = None

    def _at_the_panel(self, words: str) -> None:
        task = self._task
        guard = LessonGuard(self._accepted or self._caution() is None, task.meters)
        if task.predict and not self._said_first and lays_leads(words, len(task.meters[:8]), key=False):
            self._echo = FIRST_SAY
            return
        did = typed(self._panel, words, guard, self._record)
        for kind, data in did.events:
            self._write(kind, data)
        self._echo = did.echo
        if did.stopped is not None:
            self._end(did.stopped)

    def _answer(self, said: Input) -> None:
        task = self._task
        if task.predict and not self._said_first:
            if isinstance(said, Typed):
                self._predict(task, said.text)
            elif said.key == SKIP.key:
                self._skip(task)
            return
        caution = self._caution()
        if caution is not None and not self._accepted:
            if isinstance(said, Pressed) and said.key == "c":
                if said.drawn_ms < DRAWN_MS:
                    self._echo = "Read the caution first."
                    return
                self._write("caution", {
                    "key": caution.digest, "digest": caution.digest, "text": list(caution.shown), "level": caution.level,
                    "readings": [put_item(m) for m in task.meters], "situation": put_situation(task.situation),
                    "by": self._who, "drawn_ms": said.drawn_ms,
                })  # fmt: skip
                self._accepted, self._echo = True, ""
            return
        if task.step is not None:
            self._step(task, said)
        elif isinstance(said, Typed):
            {"read": self._read, "where": self._where, "fed": self._fed, "live": self._live}[task.kind](task, said.text)

    def _predict(self, task: Task, text: str) -> None:
        meter = task.meters[0]
        understood = self._understood(meter, text, "A number, or: nothing.")
        if understood is None:
            return
        small = isinstance(understood, Interval) and abs(understood.middle) < 1
        right = understood not in (Word.RIGHT, Word.COULDNT) and self._desk.as_it_should(
            meter, task.situation, Word.NOTHING if small else understood
        )
        should = should_be(self._desk, meter, task.situation)
        right = self._expected.setdefault(self._at, right) and right
        self._predicted = [[put_item(meter), text, text, should, right]]
        self._write("predicted", {"step": task.words, "items": self._predicted})
        self._said_first, self._echo = True, ""

    def _understood(self, meter: Meter, text: str, nothing: str) -> Interval | Word | None:
        """What was typed for one reading; None where it is asked back, with `nothing` where there is no answer in it."""
        read = read_typed(text, asked=(Asked(unit_of(meter.mode), None, False, meter.mode != "dc volts"),))
        understood = None if isinstance(read, AskBack) else read.answers[0].understood
        if understood is None:
            self._echo = read.words if isinstance(read, AskBack) else nothing
        return understood

    def _skip(self, task: Task) -> None:
        """Nothing was expected: it counts as not right, and the lesson goes on."""
        meter = task.meters[0]
        should = should_be(self._desk, meter, task.situation)
        self._expected.setdefault(self._at, False)
        self._predicted = [[put_item(meter), "don't know", "", should, False]]
        self._write("predicted", {"step": task.words, "items": self._predicted})
        self._said_first, self._echo = True, ""

    def _read(self, task: Task, text: str) -> None:
        meter = task.meters[0]
        understood = self._understood(meter, text, "A number, or a word: nothing, unsteady, OL.")
        if understood is None:
            return
        taken = self._record.of(meter)
        if task.mode_said and taken is not None and taken.setting.mode != meter.mode:
            self._echo = (
                f"Your meter was on {RANGES[taken.setting.mode].words}; this one is read on {RANGES[meter.mode].words}. "
                "Turn the knob and read again."
            )
            return
        if taken is not None and " mV" in taken.shown.text and judging.thousandfold(taken, understood):
            self._echo = (
                f"You left out milli: the display stands at {taken.shown.text}. Type it with its unit, or in volts."
            )
            return
        wrong = judging.reading_wrong(self._panel, meter, taken, understood)
        predicted = bool(self._predicted[0][4]) if self._predicted else True
        words = wrong or (
            "" if predicted else f"{self._predicted[0][1]} was expected, {self._predicted[0][3]} is right"
        )
        self._score(task, f"{meter.red} to {meter.black}", text, not wrong and predicted, words)

    def _judge(self, task: Task, judged: Judged | str) -> None:
        """Count an answer, or ask back."""
        if isinstance(judged, str):
            self._echo = judged
        else:
            self._score(task, judged.what, judged.said, judged.right, judged.words)

    def _where(self, task: Task, text: str) -> None:
        self._judge(task, judging.where(self._desk, task, text, len(self._record.metered)))

    def _fed(self, task: Task, text: str) -> None:
        self._judge(task, judging.fed(task, text))

    def _live(self, task: Task, text: str) -> None:
        self._judge(task, judging.live(self._desk, text))

    def _step(self, task: Task, said: Input) -> None:
        step = task.step
        assert step is not None
        data: dict[str, Any] = {"step": step.id, "words": step.words, "said": "done"}
        if step.ask == "reading":
            if not isinstance(said, Typed):
                return
            read = read_typed(said.text, asked=tuple(Asked("V", None, False, True) for _ in step.readings))
            if isinstance(read, AskBack):
                self._echo = read.words
                return
            values = [a.most for a in read.answers]
            judged = judge(step, values)
            if not judged.ok:
                self._echo = judged.words
                return
            data |= {
                "said": said.text, "readings": [put_item(m) for m in step.readings],
                "understood": [[v, v, "V"] for v in values if v is not None],
            }  # fmt: skip
        elif not (isinstance(said, Pressed) and said.key == "y"):
            return
        self._write("isolation", data)
        if wrong := isolation_claimed(self._panel, self._record, data):
            self._end(wrong)
            return
        self._score(task, step.id, str(data["said"]), True, "")

    def _score(self, task: Task, what: str, said: str, right: bool, words: str) -> None:
        if not self._first.setdefault(self._at, right) and right:
            right, words = False, "right the second time; what was answered first counts"
        self._write("task", {"words": task.words, "what": what, "said": said, "right": right, "note": words})
        self._scores.append((task, f'{what}: "{said}"', right, words))
        self._echo = ("Right." if right else "Not so.") + (f" {words[:1].upper()}{words[1:]}." if words else "")
        before = task
        self._at += 1
        self._predicted, self._said_first = [], False
        if self._at == len(self._lesson.tasks):
            self._at -= 1
            self._end(None)
            return
        if task.kind != "where":
            # One caution counts for one card; the same card in the same state keeps it.
            same = self._task.kind == "fed" or (before.step is not None and self._caution() is None)
            self._accepted = same
        self._unset()

    def _end(self, stopped: Stopped | None) -> None:
        if stopped is not None:
            self._write("unsafe", {"rule": stopped.rule, "why": stopped.why})
        self._debrief = judging.told(self._exercise, self._lesson, self._scores, len(self._record.metered), stopped)
        result = self._debrief.result
        self._write("debrief", {
            "faults": [s.id for s in self._lesson.faults], "named": [], "found": result.found, "unsafe": result.unsafe,
            "readings": result.readings, "expert": 0, "predicted": [result.predicted_right, result.predicted],
        })  # fmt: skip
        self._debrief = self._debrief.and_then(self._kept.done(result))
        self._page, self._turn = "debrief", 0


def _example(task: Task) -> str:
    return {"where": "K1:14 FR1:95", "fed": "yes", "live": "X1:1"}.get(task.kind, "what the meter shows")


__all__ = ["Course"]
