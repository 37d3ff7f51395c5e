"""Laws of a job under anybody's hands: random keys, random words, stale sheets, leaving and coming back."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from job import nights
from job.warned import trespasses

from troubleshoot.job.codec import put_situation
from troubleshoot.job.decide import decide
from troubleshoot.job.decided import Decided, Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.folding import fold
from troubleshoot.job.rehearse import answer
from troubleshoot.job.sheet import Pressed, Refusal, Role, Sheet, Typed
from troubleshoot.job.stage import stage_of
from troubleshoot.job.state import State
from troubleshoot.job.view import view
from troubleshoot.log.opening import open_log
from troubleshoot.log.standing import retracted
from troubleshoot.log.verify import read_events
from troubleshoot.log.writer import LogFile

RUNS = int(os.environ.get("TROUBLESHOOT_RUNS", "200"))
"""Jobs played; more with TROUBLESHOOT_RUNS=100000, hours."""
WORDS = st.one_of(
    st.sampled_from([
        "0", "120", "0 0 120", "120 120 0", "nothing", "right right right", "low", "60ish drifting", "OL", "unsteady",
        "??", "12O V", "24", "0.2", "120 then 0", "K1:14 NB:1 120", "K1:14 NB:1", "K1:99 NB:1 4", "NB:1 NB:1 0",
        "KM1:A1 KM1:A2 OL", "cause not found", "Ben", "0 0 0", "0 0 0 0", "0 0 0 0 0 0 0 0", "jam", "-", "", "wire 12 lifted at K1:14", "JS",
    ]),
    st.text(max_size=30),
)  # fmt: skip
FAULTS = (
    "12:K1:14>FR1:95 open",
    "F4 open",
    "KM1 coil open",
    "ES1 left in",
    "K1 coil open",
    "M1 winding V open",
    "K1 13-14 welded",
)


class Job(RuleBasedStateMachine):
    """One job on one shared desk; what is written goes into a log in memory, and at the end into a real one."""

    def __init__(self) -> None:
        super().__init__()
        self.desk: Desk = nights.desk()
        self.log = nights.memory_log()
        self.ui = Ui()
        self.stale: Sheet | None = None
        self.before: tuple[object, ...] = ()
        self.drawn: tuple[int, Ui] | None = None

    @initialize(fault=st.sampled_from(FAULTS), complaint=st.sampled_from(["wont-start", "wont-hold", "wont-stop"]))
    def begin(self, fault: str, complaint: str) -> None:
        self.bench = nights.bench(fault)
        self.log.append("opened", {
            "who": "Ana", "machine": "belt-7", "complaint": complaint, "said": "conv dead",
            "shows": put_situation(self.desk.shows(complaint)),
        })  # fmt: skip

    @property
    def state(self) -> State:
        return fold(self.log.events)

    def sheet(self, width: int = 80) -> Sheet:
        return view(self.desk, self.state, self.ui, width, len(self.log.events))

    def give(self, said: Pressed | Typed) -> None:
        self.stale = self.sheet()
        match decide(self.desk, self.state, self.ui, said):
            case Refusal(words):
                assert words.strip(), "a refusal without words"
                self.ui = Ui(self.ui.panel, words)
            case Decided(events, ui):
                for kind, data in events:
                    self.log.append(kind, data)
                    if kind == "repaired":
                        self.bench.mend(str(data["group"]))
                self.ui = ui

    # ------------------------------------------------------------------------------------------------ what people do

    @rule(times=st.integers(1, 8))
    def answers_with_care(self, times: int) -> None:
        for _ in range(times):
            stage = stage_of(self.desk, self.state)
            if stage.name in ("ended", "stuck", "waiting", "handed"):
                return
            self.ui = Ui()
            self.give(answer(self.bench, self.state, stage, self.ui))

    @rule(data=st.data(), drawn_ms=st.sampled_from([0, 299, 300, 2000]))
    def presses_a_key_that_is_there(self, data: st.DataObject, drawn_ms: int) -> None:
        sheet = self.sheet()
        keys = sorted({key.key for key in sheet.keys} | {line.key for line in sheet.lines if line.key})
        if not keys:
            return
        self.give(Pressed(data.draw(st.sampled_from(keys)), sheet.id, drawn_ms))

    @rule(key=st.sampled_from([*"abcdefghijklmnopqrstuvwxyz0123456789?", "enter", "escape", "", "f1"]))
    def presses_any_key(self, key: str) -> None:
        self.give(Pressed(key, self.sheet().id, 2000))

    @rule(text=WORDS)
    def types(self, text: str) -> None:
        self.give(Typed(text, self.sheet().id))

    @precondition(lambda self: self.stale is not None)
    @rule(key=st.sampled_from("cyu1"), text=st.sampled_from(["", "0 0 120"]))
    def answers_a_sheet_that_is_gone(self, key: str, text: str) -> None:
        assert self.stale is not None
        if self.stale.id == self.sheet().id:
            return
        said = Typed(text, self.stale.id) if text else Pressed(key, self.stale.id, 2000)
        assert decide(self.desk, self.state, self.ui, said) is None

    @rule()
    def leaves_and_comes_back(self) -> None:
        before = self.state
        self.ui = Ui()
        was = self.sheet()
        stage = stage_of(self.desk, before)
        self.log.append("resumed", {"who": "Ana", "circuit": "", "changed": False})
        after = self.sheet()
        lapsed = self.state.cannot != before.cannot or self.state.ended != before.ended
        if stage.name not in ("isolate", "repair", "confirm", "power", "handed") and not lapsed:
            # Apart from the caution and the dead state, which are asked again, it is the same sheet.
            assert [ln.text for ln in _asked(was)] == [ln.text for ln in _asked(after)]
        assert self.state.accepted == ""
        assert not self.state.isolation
        assert not self.state.tester_proved

    @rule()
    def takes_back(self) -> None:
        state = self.state
        self.ui = Ui()
        count = len(self.log.events)
        self.give(Pressed("u", self.sheet().id, 2000))
        if not state.undoable:
            # On the first page only the complaint itself can be taken otherwise: that is asked, nothing is written.
            first = stage_of(self.desk, state).name in ("stop", "people")
            assert self.ui.panel == "symptom" if first else self.ui.echo == "There is nothing to take back."
            assert len(self.log.events) == count
            return
        last = state.undoable[-1]
        assert self.log.events[-1].data["of"] == (last, *state.reckoned)
        now = self.state
        # As if it had never been said, but for the number of the newest event and the caution, which is asked again.
        without = fold([e for e in self.log.events[:-1] if e.n != last and e.n not in retracted(self.log.events[:-1])])
        assert (now.evidence, now.repaired, now.power, now.undoable) == (
            without.evidence, without.repaired, without.power, without.undoable
        )  # fmt: skip
        # Words are taken back, not volts: what may have had its power is proved dead anew.
        powered = next(e for e in self.log.events if e.n == last).kind == "power"
        assert now.isolation == ({} if powered else without.isolation)
        assert now.accepted == ""

    # ------------------------------------------------------------------------------------------- what is always true

    @invariant()
    def the_log_only_grows(self) -> None:
        events = self.log.events
        assert events[: len(self.before)] == self.before
        assert [event.n for event in events] == list(range(1, len(events) + 1))
        self.before = events

    @invariant()
    def belief_is_a_whole(self) -> None:
        if not self.log.events:
            return
        belief = self.desk.belief(self.state)
        assert belief.min() >= 0
        assert belief.sum() == pytest.approx(1, abs=1e-9)

    @invariant()
    def every_sheet_can_be_drawn_and_fits(self) -> None:
        if not self.log.events or self.drawn == (len(self.log.events), self.ui):
            return
        self.drawn = (len(self.log.events), self.ui)
        for width in (60, 80, 120):
            sheet = self.sheet(width)
            assert sheet.lines
            assert all(len(line.text) <= width for line in sheet.lines), width
            assert all("\n" not in line.text and "\x1b" not in line.text for line in sheet.lines)
            assert sheet.keys or sheet.entry
            assert all(len(key.label) <= 14 for key in sheet.keys)
            if sheet.needs_caution:
                assert sheet.lines[0].role in (Role.CAUTION, Role.DANGER)
                assert sheet.entry is None or sheet.entry.locked
                assert "c" in {key.key for key in sheet.keys}

    @invariant()
    def no_live_reading_without_its_caution(self) -> None:
        if self.log.events:
            assert trespasses(self.desk, self.log.events) == []

    def teardown(self) -> None:
        if not self.log.events:
            return
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "job.jsonl"
            log = open_log(path, session="night", version="0.1.0", who="Ana")
            assert isinstance(log, LogFile)
            for event in self.log.events:
                log.append(event.kind, event.data)
            log.close()
            events, verdict = read_events(path)
        assert verdict.whole
        assert fold(events) == self.state


def _asked(sheet: Sheet) -> list[object]:
    roles = (Role.CAUTION, Role.DANGER, Role.ECHO, Role.RUNG)
    # The rung and the look-ahead give way to an unread caution and come back after it.
    return [line for line in sheet.lines if line.role not in roles and line.role is not Role.NOTE]


Job.TestCase.settings = settings(
    max_examples=RUNS, stateful_step_count=8, deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)  # fmt: skip
TestJob = Job.TestCase
