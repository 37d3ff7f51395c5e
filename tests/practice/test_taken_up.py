"""The battery dies in the middle of an exercise: it is gone on with where it was, and nothing is done twice or forgotten.
And whatever was done or answered last can be taken back, as in a job."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest
from practice.desks import desk, hidden
from practice.learner import Learner
from practice.trainee import Trainee

from troubleshoot.job.sheet import Pressed, Typed
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import LogFile
from troubleshoot.practice.again import CHANGED, NO_POWER, OTHERWISE, STARTS_NOTHING, left_half_way
from troubleshoot.practice.course import Course
from troubleshoot.practice.exercise import Nothing, choose
from troubleshoot.practice.session import Practice


def log_at(path: Path) -> LogFile:
    log = open_log(path, session="" if path.exists() else path.stem, version="0.1.0", who="RT")
    assert isinstance(log, LogFile), log
    assert not log.read_only
    return log


def stands(practice: Practice | Course) -> tuple[object, ...]:
    """Everything of a panel that hands, eyes and a meter can tell."""
    panel, record = (
        (practice._sitting.panel, practice._sitting.record)
        if isinstance(practice, Course)
        else (practice._panel, practice._record)
    )
    return (
        panel.situation, panel.held, panel.locks, panel.covers_off, panel.red, panel.black, panel.setting, panel.proved,
        panel.looked, panel.faults, panel._done, tuple(record.metered), record.proving_unit, record.stop_pressed, record.tried,
    )  # fmt: skip


class Dying(Trainee):
    """A trainee whose battery dies every few answers."""

    deaths = 0

    def __init__(self, exercise: object, path: Path, at_counts: tuple[int, ...] = ()) -> None:
        self.exercise, self.path, self.at_counts, self.count = exercise, path, at_counts, 0
        self.died: set[str] = set()
        super().__init__(Practice(exercise, desk(), log_at(path), "RT"))  # type: ignore[arg-type]

    def step(self) -> None:
        super().step()
        self.count += 1
        # Not among the steps of making safe: whoever comes back begins those anew, as in a job.
        proof = not self.over and self.practice._stage().name == "proof" and "proof" not in self.died
        if not self.over and (proof or self.count in self.at_counts):
            self.died |= {self.practice._stage().name}
            self.dies()

    def dies(self) -> None:
        self.deaths += 1
        before, predicted = stands(self.practice), self.practice._predictions.said
        self.practice._log.close()
        log = log_at(self.path)
        left = left_half_way(str(self.path), log.events, "")
        assert left is not None
        assert left.exercise == self.exercise, "what is hidden, and how the meter was left, is in the log, packed"
        self.practice = Practice(left.exercise, desk(), log, "RT")
        assert self.practice._page == "question"
        assert "Taken up again where it was" in self.text or self.sheet.needs_caution
        assert stands(self.practice) == before
        assert self.practice._predictions.said == predicted


def test_an_exercise_that_dies_again_and_again_is_found_all_the_same(tmp_path: Path) -> None:
    t = Dying(hidden("three-wire", "F2 open"), tmp_path / "p.jsonl", (4, 9))
    t.play()
    debrief = t.practice._debrief
    assert debrief is not None
    assert debrief.result.found, debrief.sections
    assert debrief.result.unsafe == ""
    assert t.deaths == 3
    assert "proof" in t.died
    t.practice.close()
    assert left_half_way("x", log_at(t.path).events, "") is None, "it is over"


class DyingLearner(Learner):
    """The same in a lesson."""

    def __init__(self, level: int, path: Path, every: int) -> None:
        super().__init__(desk(), level)
        self.exercise = choose(desk(), level, 0)
        self.path, self.every, self.count = path, every, 0
        self.practice = self.course = Course(self.exercise, desk(), lambda: log_at(path), "RT")  # type: ignore[assignment]

    def step(self) -> None:
        super().step()
        self.count += 1
        if self.count % self.every == 0 and not self.over:
            before = (
                stands(self.course),
                self.course._sitting.at,
                self.course._sitting.said_first,
                self.course._sitting.predicted,
            )
            scores = [row[1:] for row in self.course._sitting.scores]
            self.course.close()
            left = left_half_way(str(self.path), (log := log_at(self.path)).events, "")
            assert left is not None
            self.practice = self.course = Course(left.exercise, desk(), lambda: log, "RT")  # type: ignore[assignment]
            assert (
                stands(self.course),
                self.course._sitting.at,
                self.course._sitting.said_first,
                self.course._sitting.predicted,
            ) == before
            assert [row[1:] for row in self.course._sitting.scores] == scores


@pytest.mark.parametrize("level", [2, 3, 5])
def test_a_lesson_that_dies_again_and_again_is_passed_all_the_same(level: int, tmp_path: Path) -> None:
    learner = DyingLearner(level, tmp_path / "p.jsonl", 3)
    learner.play()
    debrief = learner.course._debrief
    assert debrief is not None
    assert debrief.result.passed, debrief.sections


def test_what_is_hidden_stands_nowhere_in_plain_text_before_the_end(tmp_path: Path) -> None:
    t = Dying(hidden("three-wire", "KM1 coil open"), tmp_path / "p.jsonl")
    for _ in range(8):
        t.step()
    t.practice.close()
    assert b"KM1 coil open" not in t.path.read_bytes()


def test_another_description_or_another_outcome_is_not_gone_on_with(tmp_path: Path) -> None:
    t = Dying(hidden("three-wire", "F2 open"), tmp_path / "p.jsonl")
    for _ in range(6):
        t.step()
    t.practice.close()
    with pytest.raises(Nothing, match=CHANGED[:30]), closing(log_at(t.path)) as log:
        Practice(hidden("latched-jog", "KM1 coil open"), desk("latched-jog"), log, "RT")
    other = Trainee(Practice(t.exercise, desk(), log_at(tmp_path / "o.jsonl"), "RT"))  # type: ignore[arg-type]
    other.press("enter")
    other.at_panel("knob ac", "prove")
    other.practice.close()
    with pytest.raises(Nothing, match=OTHERWISE[:30]):  # another seed, so the display stood otherwise
        Practice(hidden("three-wire", "F2 open", seed=2), desk(), log_at(tmp_path / "o.jsonl"), "RT")


# ------------------------------------------------------------------------------------------------------------ undo


def begun(tmp_path: Path) -> Trainee:
    t = Trainee(Practice(hidden("three-wire", "F2 open"), desk(), log_at(tmp_path / "u.jsonl"), "RT"))
    t.press("enter")
    t.press(".")
    return t


def test_at_the_panel_the_last_thing_is_taken_back_and_the_one_before_it(tmp_path: Path) -> None:
    t = begun(tmp_path)
    assert "u" not in {k.key for k in t.sheet.keys}, "nothing was done yet"
    before = stands(t.practice)
    t.type("knob dc")
    one = stands(t.practice)
    t.type("open panel")
    assert stands(t.practice) not in (before, one)
    t.press("u")
    assert "Taken back: open panel." in t.text
    assert stands(t.practice) == one
    t.press("u")
    assert stands(t.practice) == before
    assert "u" not in {k.key for k in t.sheet.keys}
    kinds = [e.kind for e in t.practice._log.events]
    assert kinds.count("hand") == kinds.count("undone") == 2, "the log keeps both"


def test_an_undo_puts_no_power_back_and_starts_nothing(tmp_path: Path) -> None:
    t = begun(tmp_path)
    t.type("open Q1")
    assert t.practice._panel.dead
    t.press("u")
    assert NO_POWER in " ".join(t.text.split())
    assert t.practice._panel.dead
    runs = Trainee(Practice(hidden("three-wire", "KM1 13-14 open"), desk(), log_at(tmp_path / "r.jsonl"), "RT"))
    runs.press("enter")
    for _ in range(3):
        if not runs.practice._now().people_clear:
            runs.press("y")
    runs.press(".")
    runs.type("press S1")
    assert runs.practice._panel.motors() == ("M1",)
    runs.type("release S1")
    assert runs.practice._panel.motors() == ()
    runs.press("u")
    assert STARTS_NOTHING in " ".join(runs.text.split())
    assert runs.practice._panel.motors() == ()


def test_what_was_expected_is_taken_back_and_the_first_word_counts(tmp_path: Path) -> None:
    t = Trainee(Practice(hidden("three-wire", "F2 open"), desk(), log_at(tmp_path / "u.jsonl"), "RT"))
    for _ in range(60):
        if t.page != "intro" and t.practice._asks_first():
            break
        t.step()
    t.step()
    first = [e for e in t.practice._log.events if e.kind == "predicted"]
    assert len(first) == 1
    assert not t.practice._asks_first()
    t.press("u")
    assert t.practice._asks_first()
    assert "the debrief counts what you said first" in " ".join(t.text.split())
    t.step()
    from troubleshoot.practice.debrief import _predicted

    counted = _predicted(t.practice._log.events)
    assert counted == _predicted(first)


def test_in_a_lesson_an_answer_is_taken_back_and_what_was_answered_first_counts(tmp_path: Path) -> None:
    learner = Learner(desk(), 4)
    learner.press("enter")
    course = learner.course
    while course._sitting.at == 0:
        if course.sheet(80, 24).needs_caution or (course._sitting.task.predict and not course._sitting.said_first):
            learner.step()
        else:
            learner.type("777")
            break
    assert course._sitting.at == 1
    assert not course._sitting.scores[0][2]
    learner.press("u")
    assert course._sitting.at == 0
    assert course._sitting.scores == []
    assert "Taken back: 777." in learner.text
    assert learner.sheet.needs_caution, "it is read again"
    while course._sitting.at == 0:
        learner.step()
    assert not course._sitting.scores[0][2]
    assert "right the second time" in course._sitting.scores[0][3]
    learner.play()


def test_a_cut_at_any_event_is_gone_on_with(tmp_path: Path) -> None:
    whole = tmp_path / "w.jsonl"
    t = Trainee(Practice(hidden("three-wire", "F2 open"), desk(), log_at(whole), "RT"))
    for _ in range(12):
        t.step()
    t.press(".")
    t.type("open panel")
    t.press("u")
    t.practice.close()
    lines = whole.read_bytes().splitlines(keepends=True)
    for k in range(1, len(lines) + 1, 3):
        cut = tmp_path / f"cut-{k}.jsonl"
        cut.write_bytes(b"".join(lines[:k]))
        again = Practice(hidden("three-wire", "F2 open"), desk(), log_at(cut), "RT")
        sheet = again.sheet(80, 24)
        assert all(len(line.text) <= 80 for line in sheet.lines)
        again.give(Pressed(".", sheet.id, 400))
        again.give(Typed("knob dc", again.sheet(80, 24).id))
        again.close()


def test_an_exercise_computes_ahead_by_the_same_work_as_a_job_and_takes_the_proof_run_from_elsewhere() -> None:
    from practice.desks import desk, hidden
    from practice.trainee import begin

    its = desk()
    proof = its.proof
    its.__dict__.pop("proof")
    asked: list[tuple[str, bool]] = []

    class Elsewhere:
        def ready(self) -> bool:
            return True

        def take(self, content: str) -> object:
            assert content == its.machine.content
            return proof

        def close(self) -> None:
            asked.append(("closed", False))

    def ahead(machine: str, new: bool) -> Elsewhere:
        asked.append((machine, new))
        return Elsewhere()

    practice = begin(hidden("three-wire", "F2 open"), its, ahead=ahead)
    assert asked == [("three-wire", False)]
    for _ in range(2000):
        if not practice.pump():
            break
    assert its.proof is proof
    practice.close()
    assert asked == [("three-wire", False)], "it was taken: there is nobody to wait for"
