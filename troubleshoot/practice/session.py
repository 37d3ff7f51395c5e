"""One exercise with a hidden fault: the job's own pages, the panel behind them, and the debrief. A runner.

The job is the real one: `decide` and `view`, unchanged. Beside its events the log keeps what was done on the panel and what
the display truly showed, so that what was typed can be held against it. What is hidden is written at the end, never before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final, Protocol

from troubleshoot.job.ahead import Ahead
from troubleshoot.job.aliases import as_printed, as_typed, get_alias, names
from troubleshoot.job.clipping import CLIP
from troubleshoot.job.codec import put_item, put_situation
from troubleshoot.job.decide import decide
from troubleshoot.job.decided import Decided, Ui, sheet_id
from troubleshoot.job.desk import Desk
from troubleshoot.job.fitting import desk_of, fitting
from troubleshoot.job.folding import fold
from troubleshoot.job.lists import listed
from troubleshoot.job.page import E
from troubleshoot.job.plant import ProofAhead
from troubleshoot.job.sheet import Input, Pressed, Refusal, Role, Sheet, Typed
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.view import DOING, view
from troubleshoot.log.event import Event
from troubleshoot.log.writer import Log, NotSaved
from troubleshoot.practice import predicting
from troubleshoot.practice.again import done_again, fits, moves_back, undone
from troubleshoot.practice.answered import answered
from troubleshoot.practice.bench import FIRST_SAY, lays_leads, typed, words_of
from troubleshoot.practice.bench_sheet import BENCH, TYPING, UNDO, bench_sheet, header
from troubleshoot.practice.debrief import Debrief, debrief
from troubleshoot.practice.exercise import BY_NUMBER, Exercise
from troubleshoot.practice.frame import LEAVING, TAKEN_UP, Kept
from troubleshoot.practice.job_pages import card_of, intro, task_of
from troubleshoot.practice.kinds import OWN
from troubleshoot.practice.pages import paged
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.predictions import AskedBack, Predictions
from troubleshoot.practice.sealed import write_exercise
from troubleshoot.practice.unsafe import JobGuard, Record, Stopped, claimed

UNSAID: Final = "Taken back. What is right was shown already, so the debrief counts what you said first."


class Job(Protocol):
    """What `folded` needs of an exercise's log."""

    @property
    def events(self) -> tuple[Event, ...]: ...


def folded(log: Job) -> State:
    """The job's state: its own events alone."""
    return fold([e for e in log.events if e.kind not in OWN])


class Practice:
    """Implements `job.runner.Runner` for an exercise that is a whole job."""

    def __init__(
        self, exercise: Exercise, desk: Desk, log: Log, who: str, *, kept: Kept | None = None,
        ahead: Callable[[str, bool], ProofAhead] | None = None,
    ) -> None:  # fmt: skip
        """desk: of the machine as it is described; log: with events in it the exercise is gone on with; ahead: works out its
        proof run elsewhere, meanwhile. Raises `Nothing` where the log cannot be gone on with."""
        self._exercise, self._desk, self._log, self._who = exercise, desk, log, who
        self._panel, self._record = self._fresh(), Record()
        self._kept = kept or Kept()
        self._page = "intro"
        self._ui = Ui()
        self._echo = ""
        self._predictions = Predictions(self._write)
        self._typing = False
        self._turn = 0
        self._busy = ""
        self._debrief: Debrief | None = None
        self._next = ""
        self._state: tuple[int, State] | None = None
        self._standing: tuple[int, Stage] | None = None
        self._drawn: tuple[object, Sheet] | None = None
        self._ahead = Ahead()
        self._ahead.plan(
            desk, exercise.complaint, (lambda: ahead(exercise.machine, False)) if ahead is not None else None
        )
        if log.events:
            self._take_up()

    def _fresh(self) -> Panel:
        exercise = self._exercise
        return Panel(
            exercise.true_desk(self._desk), exercise.suspects(self._desk), exercise.seed, exercise.comes_and_goes,
            exercise.setting,
        )  # fmt: skip

    def _take_up(self) -> None:
        """Everything as it was left."""
        events = self._log.events
        fits(events, self._desk.machine.content)
        gone = undone(events)
        self._record = done_again(self._panel, events, gone, held=True)
        self._predictions.take_up(events, gone)
        if not any(e.kind == "opened" for e in events):
            self._open()  # the battery died in the middle of beginning
        self._write("resumed", {
            "who": self._who, "circuit": self._desk.machine.content, "changed": False, "idle_ms": self._log.idle_ms,
        })  # fmt: skip
        self._page, self._ui, self._echo = "question", Ui(echo=TAKEN_UP), TAKEN_UP

    # ----------------------------------------------------------------------------------------------------- the runner

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        return replace(self._sheet(width), leaving=LEAVING)

    def _sheet(self, width: int) -> Sheet:
        if self._page == "intro":
            return intro(self._exercise, self._desk, id=self._id(), width=width, saved=self._saved())
        if self._page == "debrief":
            assert self._debrief is not None
            return paged(
                self._debrief.sections, self._turn, title=self._title("DEBRIEF"), width=width, saved=self._saved()
            )
        if self._page == "panel":
            stage = self._stage()
            return bench_sheet(
                self._panel, id=self._id(), task=task_of(stage), card=card_of(stage), compare=listed(stage),
                echo=self._echo, width=width, saved=self._saved(), typing=self._typing, undo=self._last_hand() is not None,
            )  # fmt: skip
        key = (len(self._log.events), self._turn, self._ui, self._saved(), width)
        if self._drawn is None or self._drawn[0] != key:
            self._drawn = (key, self._question(width))
        return self._drawn[1]

    def give(self, said: Input) -> None:
        """See `Runner.give`."""
        self._busy = "working it out"
        try:
            if self._page == "intro":
                if said.sheet == self._id() and isinstance(said, Pressed) and said.key == "enter":
                    self._begin()
            elif self._page == "debrief":
                if (
                    isinstance(said, Pressed)
                    and said.key in ("enter", "escape")
                    and said.sheet == f"debrief {self._turn}"
                ):
                    self._turn += 1 if said.key == "enter" else -1
            elif isinstance(said, Pressed) and said.key == BENCH.key:
                self._page, self._echo = ("question" if self._page == "panel" else "panel"), ""
                self._turn += 1
            elif self._page == "panel":
                self._at_the_panel(said)
            elif self._asks_first():
                self._predict(said)
            else:
                self._job(said)
        finally:
            self._busy = ""

    def busy(self) -> str:
        """See `Runner.busy`."""
        return self._busy

    def pump(self) -> bool:
        """See `Runner.pump`."""
        if self._page in ("question", "panel") and self._ahead.waits_for_repair is not None:
            self._ahead.proof_of(self._desk, self._stage().name)
        return self._ahead.step()

    def close(self) -> None:
        """See `Runner.close`."""
        self._ahead.close()
        self._log.close()

    # ------------------------------------------------------------------------------------------------------- the pages

    def _saved(self) -> int:
        head = self._log.head
        return head[0] if head and self._log.recorded else 0

    def _id(self) -> str:
        return f"{self._page} {len(self._log.events)} {self._turn}"

    def _title(self, words: str) -> str:
        level = BY_NUMBER[self._exercise.level]
        return f"PRACTICE  {self._exercise.machine.upper()}  {words}  {level.name}"

    def _now(self) -> State:
        events = self._log.events
        if self._state is None or self._state[0] != len(events):
            state = folded(self._log)
            self._state = (len(events), fitting(desk_of(self._desk, state), state))
        return self._state[1]

    def _fitting(self) -> Desk:
        """The desk that fits what was told and amended."""
        return desk_of(self._desk, self._now())

    def _stage(self) -> Stage:
        count = len(self._log.events)
        if self._standing is None or self._standing[0] != count:
            self._standing = (count, stage_of(self._fitting(), self._now()))
        return self._standing[1]

    def _asks_first(self) -> bool:
        return not self._ui.panel and self._predictions.due(self._stage(), self._now())

    def _question(self, width: int) -> Sheet:
        state, stage, desk = self._now(), self._stage(), self._fitting()
        if self._asks_first():
            sheet = predicting.sheet_of(
                desk, state, stage, self._predictions.guess(desk, stage), self._predictions.first(desk, stage), id=self._id(), echo=self._echo, width=width, saved=self._saved(),
                undo=bool(state.undoable),
            )  # fmt: skip
        else:
            sheet = view(desk, state, self._ui, width, self._saved())
            sheet = as_printed(sheet, names([get_alias(a) for a in state.aliases]), width)
            sheet = replace(sheet, keys=tuple(k for k in sheet.keys if k.key != CLIP.usual or k.does != CLIP.does))
        lines = sheet.lines
        if not self._predictions.said:
            lines = tuple(line for line in lines if line.role is not Role.LEFT)
        # Power, covers, locks and leads are as the panel has them, not as the job believes.
        doing = [DOING[stage.name]] if stage.name in DOING else []
        parts = ["PRACTICE", self._desk.machine.name.upper(), *doing]
        title = header(self._panel, parts, width - len(f" saved {self._saved()}"))
        if not self._asks_first() and self._said_last() is not None and all(k.key != UNDO.key for k in sheet.keys):
            sheet = replace(sheet, keys=(*sheet.keys, UNDO))
        keys = sheet.keys if sheet.done or sheet.needs_caution else (*sheet.keys[:1], BENCH, *sheet.keys[1:])
        return Sheet(
            sheet.id, title, lines, (*keys, *((BENCH,) if sheet.needs_caution else ())), sheet.entry, sheet.saved,
            sheet.needs_caution, False, sheet.frame,
        )  # fmt: skip

    # ---------------------------------------------------------------------------------------------------- what is said

    def _begin(self) -> None:
        exercise = self._exercise
        self._write("practice", {
            "machine": exercise.machine, "circuit": self._desk.machine.content, "level": exercise.level,
            "seed": exercise.seed, "title": exercise.title, "sealed": write_exercise(exercise),
        })  # fmt: skip
        self._open()
        self._page = "question"
        self._turn += 1

    def _open(self) -> None:
        exercise = self._exercise
        shows = self._desk.shows(exercise.complaint)
        self._write("opened", {
            "machine": exercise.machine, "circuit": self._desk.machine.content, "who": self._who,
            "complaint": exercise.complaint, "said": exercise.said, "shows": put_situation(shows),
        })  # fmt: skip
        if exercise.note is not None:
            meter, said = exercise.note.meter, float(exercise.note.said)
            self._write("reading", {
                "step": "unasked", "group": "", "agrees": False, "situation": put_situation(shows), "said": exercise.note.said,
                "items": [[put_item(meter), exercise.note.said, [said - 0.5, said + 0.5, "V"]]], "source": "unasked",
                "shown": False, "cost": 0.0,
            })  # fmt: skip

    def _write(self, kind: str, data: Mapping[str, Any]) -> None:
        done = self._log.append(kind, data)
        if isinstance(done, NotSaved):
            raise OSError(done.words)

    def _at_the_panel(self, said: Input) -> None:
        if said.sheet != self._id():
            return
        stage = self._stage()
        guard = JobGuard(self._fitting(), self._now(), self._record)
        if isinstance(said, Pressed) and said.key == TYPING:
            self._typing = not self._typing
            self._turn += 1
            return
        words, key = (said.text, False) if isinstance(said, Typed) else (said.key, True)
        if card_of(stage) and self._asks_first() and lays_leads(words, len(card_of(stage)), key=key):
            self._echo = FIRST_SAY
            self._turn += 1
            return
        if key and said.key == UNDO.key:  # type: ignore[union-attr]
            self._turn += 1
            self._echo = self._hand_back()
            return
        does = words_of(self._panel, words, card_of(stage)) if key else words
        if not does:
            return
        did = typed(self._panel, does, guard, self._record)
        if did.events:
            self._write("hand", {"words": does})
        for kind, data in did.events:
            self._write(kind, data)
        self._echo = did.echo
        self._turn += 1
        if did.stopped is not None:
            self._end(did.stopped)

    def _last_hand(self) -> Event | None:
        gone = undone(self._log.events)
        return next((e for e in reversed(self._log.events) if e.kind == "hand" and e.n not in gone), None)

    def _hand_back(self) -> str:
        """The panel as it was before the last thing that hands did; says so, or why not."""
        last, events = self._last_hand(), self._log.events
        if last is None:
            return "There is nothing to take back."
        before = self._fresh()
        record = done_again(before, events, undone(events) | {last.n})
        if no := moves_back(self._panel, before):
            return no
        self._write("undone", {"of": last.n})
        self._panel, self._record = before, record
        return f"Taken back: {last.data['words']}."

    def _predict(self, said: Input) -> None:
        if said.sheet != self._id():
            return
        state, stage, desk = self._now(), self._stage(), self._fitting()
        self._turn += 1
        if isinstance(said, Pressed) and said.key == UNDO.key:
            self._job(Pressed(UNDO.key, sheet_id(state, self._ui), said.drawn_ms))
            self._echo = self._ui.echo
            return
        if isinstance(said, Pressed) and said.key == E.key:
            self._job(Pressed(E.key, sheet_id(state, self._ui), said.drawn_ms))
            return
        match self._predictions.give(said, desk, stage, state):
            case AskedBack(words):
                self._echo = words
            case str() as words:
                self._echo = ""
                self._ui = Ui(self._ui.panel, f"You said: {words}")
            case None:
                pass

    def _said_last(self) -> Event | None:
        """What was said to be there, where that is the last thing that was answered."""
        return None if self._ui.panel else self._predictions.last(self._log.events, self._stage(), self._now())

    def _unsay(self, last: Event) -> None:
        self._predictions.unsay(last)
        self._turn += 1
        self._ui, self._echo = Ui(), UNSAID

    def _job(self, said: Input) -> None:
        desk, state = self._fitting(), self._now()
        undo = isinstance(said, Pressed) and said.key == UNDO.key and said.sheet == sheet_id(state, self._ui)
        if undo and (last := self._said_last()) is not None:
            self._unsay(last)
            return
        if isinstance(said, Typed):
            said = Typed(as_typed(said.text, names([get_alias(a) for a in state.aliases])), said.sheet)
        decided = decide(desk, state, self._ui, said)
        match decided:
            case None:
                return
            case Refusal(words):
                self._ui = Ui(self._ui.panel, words)
            case Decided(events, ui):
                if words := self._not_done(events):
                    self._ui = Ui(self._ui.panel, words)
                    return
                self._happens(events, ui)

    def _not_done(self, events: tuple[tuple[str, Mapping[str, Any]], ...]) -> str:
        """What still stands wrong on the panel although it is called put right: a hand sets it, never a line of text."""
        if any(kind == "clip" for kind, _ in events):
            return "Not on this panel: here the leads come off before power is put on."
        ids = {str(data["suspect"]) for kind, data in events if kind == "repaired"}
        cpus = {cpu.var for cpu in self._panel.desk.machine.net.cpus}
        for suspect in self._panel.desk.machine.suspects:
            if suspect.id in ids and not suspect.broken:
                for edit in suspect.edits:
                    by_hand = edit.does == "left" or edit.slot in cpus
                    if by_hand and self._panel.position(edit.slot) == edit.value:
                        return f"On the panel {edit.slot} still stands {edit.value}: put it right there first (.)."
        for kind, data in events:
            if kind == "reset" and self._panel.position(str(data["tag"])) == "tripped":
                return f"On the panel {data['tag']} still stands tripped: let it cool and reset it there first (.)."
        return ""

    def _happens(self, events: tuple[tuple[str, Mapping[str, Any]], ...], ui: Ui) -> None:
        wrong = claimed(self._panel, self._record, events)
        for kind, data in events:
            self._write(kind, data)
            if items := answered(self._panel, self._record, kind, data):
                self._write("answered", {"of": kind, "items": items})
            if kind == "repaired":
                self._panel.mend(str(data["group"]))
        self._ui = ui
        self._predictions.forget_guess()
        if wrong is not None:
            self._end(wrong)
        elif any(kind == "ended" for kind, _ in events):
            self._end(None)

    def _end(self, stopped: Stopped | None) -> None:
        """The exercise is over: what was hidden is told, and every move beside the expert's."""
        if stopped is not None:
            self._write("unsafe", {"rule": stopped.rule, "why": stopped.why})
        self._busy = "playing the expert's way through the same exercise"
        self._debrief = debrief(self._exercise, self._desk, self._log.events, stopped)
        result = self._debrief.result
        self._write("debrief", {
            "faults": list(self._exercise.faults), "named": list(result.named), "found": result.found,
            "unsafe": result.unsafe, "readings": result.readings, "expert": result.expert,
            "predicted": [result.predicted_right, result.predicted],
        })  # fmt: skip
        told = self._kept.done(result)
        self._debrief = self._debrief.and_then(told)
        self._page, self._turn = "debrief", 0


__all__ = ["OWN", "Practice", "folded"]
