"""A lesson as it stands: the task, the panel, what was said before measuring, what was answered and how that was judged.

Whoever holds it writes what it says down, and makes it anew from what was done to go back.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from troubleshoot.circuit.model import Act, Pin
from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.evidence.words import AskBack, Asked, read_typed
from troubleshoot.job.codec import put_item, put_situation
from troubleshoot.job.decided import DRAWN_MS
from troubleshoot.job.desk import Desk
from troubleshoot.job.naming import should_be
from troubleshoot.job.sheet import Input, Pressed, Typed
from troubleshoot.job.state import State
from troubleshoot.practice import judging
from troubleshoot.practice.bench import CARD_KEYS, FIRST_SAY, lays_leads, typed
from troubleshoot.practice.exercise import Exercise, meter_as_left
from troubleshoot.practice.judging import Judged, LessonGuard, Score
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.predicting import SKIP
from troubleshoot.practice.tasks import Lesson, Task
from troubleshoot.practice.unsafe import Record, Stopped, isolation_claimed
from troubleshoot.safety.caution import Caution
from troubleshoot.safety.isolation import judge
from troubleshoot.solve.meters import RANGES, unit_of


@dataclass
class FirstAnswers:
    """How each task was answered the first time, by its place; what is taken back was told by then."""

    tasks: dict[int, bool] = field(default_factory=dict)
    expected: dict[int, bool] = field(default_factory=dict)
    """The same of what was said to be there."""


class Sitting:
    """One lesson from its first task on."""

    def __init__(
        self, exercise: Exercise, desk: Desk, lesson: Lesson, who: str, first: FirstAnswers,
        write: Callable[[str, Mapping[str, Any]], None], end: Callable[[Stopped | None], None],
    ) -> None:  # fmt: skip
        """first: outlives what is taken back; write: (kind, data) of an event, on the disk before it returns; end: the lesson is over,
        or was stopped."""
        self._exercise, self._desk, self._who = exercise, desk, who
        self._first, self._write, self._end = first, write, end
        self.lesson = lesson
        self.panel = Panel(desk, lesson.faults, exercise.seed, setting=exercise.setting, fresh=False)
        self.record = Record()
        self.at = 0
        """Which task."""
        self.predicted: list[list[Any]] = []
        """What was said to be there: [item, said, said, what should be, right]."""
        self.said_first = False
        self.accepted = False
        """The caution of this task was read."""
        self.scores: list[Score] = []
        self.echo = ""
        """What is said to the last key or line."""
        self._laid: tuple[frozenset[Pin], tuple[Act, ...]] = frozenset(), ()
        """Where the leads lay when a card whose caution was read was answered, and what had been done to the panel by then."""
        self._unset()

    @property
    def task(self) -> Task:
        """What is asked now."""
        return self.lesson.tasks[self.at]

    def marks(self) -> tuple[object, ...]:
        """Changes with everything that is done or answered."""
        panel = self.panel
        return (
            self.at, self.said_first, self.accepted, len(self.scores), panel.acts, panel.locks, panel.covers_off,
            panel.red, panel.black, panel.setting, panel.looked, panel.proved, self.record.proving_unit,
        )  # fmt: skip

    def caution(self) -> Caution | None:
        """What is to be read before this task's readings; None where there is none or nothing is metered."""
        task = self.task
        if not task.meters or task.kind in ("fed",):
            return None
        named = self._desk.at_rest if task.step is not None else task.situation
        caution = self._desk.caution(task.meters, named, State(who=self._who))
        # The panel is the trainee's: where its motors turn although the task has them still, that is said first.
        circuit, should = self._desk.machine.circuit, "\n".join(caution.shown)
        moving = [m for m in self.panel.motors() if f"{m} TURNS" not in should and "should TURN now" not in should]
        if not moving:
            return caution
        turns = tuple(f"{m} ({circuit.devices[m].words}) TURNS as the panel stands now." for m in moving)
        said = tuple(x for x in caution.shown if not any(x.startswith(f"{m} ") and "may TURN" in x for m in moving))
        shown = (said[0], *turns, *said[1:])
        return replace(caution, shown=shown, digest=hashlib.sha256("\n".join(shown).encode()).hexdigest())

    def _unset(self) -> None:
        """Somebody had the meter in hand before this task."""
        if self.at < len(self.lesson.tasks) and self.task.unset:
            dice = random.Random(f"{self._exercise.seed} left {self.at}")
            self.panel.setting = meter_as_left(dice)
            self.panel.red = self.panel.black = self.panel.last = None

    def at_the_panel(self, words: str) -> None:
        """What hands do, typed or by a key."""
        task = self.task
        on = frozenset(p for p in (self.panel.red, self.panel.black) if p is not None)
        laid = self._laid[0] if self._laid == (on, self.panel.acts) else frozenset()
        guard = LessonGuard(self.accepted or self.caution() is None, task.meters, laid)
        if task.predict and not self.said_first and lays_leads(words, min(len(task.meters), len(CARD_KEYS)), key=False):
            self.echo = FIRST_SAY
            return
        did = typed(self.panel, words, guard, self.record)
        for kind, data in did.events:
            self._write(kind, data)
        self.echo = did.echo
        if did.stopped is not None:
            self._end(did.stopped)

    def answer(self, said: Input) -> None:
        """What is said on the page of the question."""
        task = self.task
        if task.predict and not self.said_first:
            if isinstance(said, Typed):
                self._predict(task, said.text)
            elif said.key == SKIP.key:
                self._skip(task)
            return
        caution = self.caution()
        if caution is not None and not self.accepted:
            if isinstance(said, Pressed) and said.key == "c":
                if said.drawn_ms < DRAWN_MS:
                    self.echo = "Read the caution first."
                    return
                self._write("caution", {
                    "key": caution.digest, "digest": caution.digest, "text": list(caution.shown), "level": caution.level,
                    "readings": [put_item(m) for m in task.meters], "situation": put_situation(task.situation),
                    "by": self._who, "drawn_ms": said.drawn_ms,
                })  # fmt: skip
                self.accepted, self.echo = True, ""
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
        right = self._first.expected.setdefault(self.at, right) and right
        self.predicted = [[put_item(meter), text, text, should, right]]
        self._write("predicted", {"step": task.words, "items": self.predicted})
        self.said_first, self.echo = True, ""

    def _understood(self, meter: Meter, text: str, nothing: str) -> Interval | Word | None:
        """What was typed for one reading; None where it is asked back, with `nothing` where there is no answer in it."""
        read = read_typed(text, asked=(Asked(unit_of(meter.mode), None, False, meter.mode != "dc volts"),))
        understood = None if isinstance(read, AskBack) else read.answers[0].understood
        if understood is None:
            self.echo = read.words if isinstance(read, AskBack) else nothing
        return understood

    def _skip(self, task: Task) -> None:
        """Nothing was expected: it counts as not right, and the lesson goes on."""
        meter = task.meters[0]
        should = should_be(self._desk, meter, task.situation)
        self._first.expected.setdefault(self.at, False)
        self.predicted = [[put_item(meter), "don't know", "", should, False]]
        self._write("predicted", {"step": task.words, "items": self.predicted})
        self.said_first, self.echo = True, ""

    def _read(self, task: Task, text: str) -> None:
        meter = task.meters[0]
        understood = self._understood(meter, text, "A number, or a word: nothing, unsteady, OL.")
        if understood is None:
            return
        taken = self.record.of(meter)
        if task.mode_said and taken is not None and taken.setting.mode != meter.mode:
            self.echo = (
                f"Your meter was on {RANGES[taken.setting.mode].words}; this one is read on {RANGES[meter.mode].words}. "
                "Turn the knob and read again."
            )
            return
        if (
            taken is not None
            and not self.lesson.faults
            and (otherwise := judging.not_as_asked(self._desk, taken, task.situation))
        ):
            self.echo = f"{otherwise}. Put it so, read again, then type it."
            return
        if taken is not None and " mV" in taken.shown.text and judging.thousandfold(taken, understood):
            self.echo = (
                f"You left out milli: the display stands at {taken.shown.text}. Type it with its unit, or in volts."
            )
            return
        wrong = judging.reading_wrong(self.panel, meter, taken, understood)
        predicted = bool(self.predicted[0][4]) if self.predicted else True
        words = wrong or ("" if predicted else f"you expected {self.predicted[0][1]}; {self.predicted[0][3]} is right")
        self._score(task, f"{meter.red} to {meter.black}", text, not wrong and predicted, words)

    def _judge(self, task: Task, judged: Judged | str) -> None:
        """Count an answer, or ask back."""
        if isinstance(judged, str):
            self.echo = judged
        else:
            self._score(task, judged.what, judged.said, judged.right, judged.words)

    def _where(self, task: Task, text: str) -> None:
        self._judge(task, judging.where(self._desk, task, text, len(self.record.metered)))

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
                self.echo = read.words
                return
            values = [a.most for a in read.answers]
            judged = judge(step, values)
            if not judged.ok:
                self.echo = judged.words
                return
            data |= {
                "said": said.text, "readings": [put_item(m) for m in step.readings],
                "understood": [[v, v, "V"] for v in values if v is not None],
            }  # fmt: skip
        elif not (isinstance(said, Pressed) and said.key == "y"):
            return
        self._write("isolation", data)
        if wrong := isolation_claimed(self.panel, self.record, data):
            self._end(wrong)
            return
        done, shows = judging.step_on_panel(self.panel, self.record, step)
        self._score(task, step.id, str(data["said"]), done, shows)

    def _score(self, task: Task, what: str, said: str, right: bool, words: str) -> None:
        if not self._first.tasks.setdefault(self.at, right) and right:
            right, words = False, "right the second time; what was answered first counts"
        self._write("task", {"words": task.words, "what": what, "said": said, "right": right, "note": words})
        self.scores.append((task, f'{what}: "{said}"', right, words))
        self.echo = ("Right." if right else "Not so.") + (f" {words[:1].upper()}{words[1:]}." if words else "")
        before = task
        if self.accepted and self.panel.red is not None and self.panel.black is not None:
            self._laid = frozenset((self.panel.red, self.panel.black)), self.panel.acts
        self.at += 1
        self.predicted, self.said_first = [], False
        if self.at == len(self.lesson.tasks):
            self.at -= 1
            self._end(None)
            return
        if task.kind != "where":
            # One caution counts for one card; the same card in the same state keeps it.
            same = self.task.kind == "fed" or (before.step is not None and self.caution() is None)
            self.accepted = same
        self._unset()
