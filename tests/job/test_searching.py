"""Behind the greedy trip a better one is looked for, and put in its place while nobody has begun with it."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from job import nights

from troubleshoot.job.codec import get_step
from troubleshoot.job.desk import Desk
from troubleshoot.job.folding import fold
from troubleshoot.job.plant import Plant
from troubleshoot.job.rehearse import Bench, answer
from troubleshoot.job.searching import Searching, open_to_another
from troubleshoot.job.session import MISSED, Session
from troubleshoot.job.sheet import Pressed, Sheet, Typed
from troubleshoot.job.stage import stage_of
from troubleshoot.log.memory import MemoryLog
from troubleshoot.safety.proof import Proof

FAULT = "KM1 coil open"


@pytest.fixture(scope="module")
def led_by_the_engine() -> Desk:
    known = nights.desk()
    return Desk(known.machine, {})


class Never:
    """A proof run that is still being worked out: these jobs end before it."""

    def ready(self) -> bool:
        return False

    def take(self, content: str) -> Proof | None:
        return None

    def close(self) -> None:
        pass


class Job:
    """A careful person with one hidden fault up to its isolation; after every answer the session works on until it has nothing left."""

    def __init__(self, desk: Desk, fault: str, *, searches: bool = True) -> None:
        self.desk = desk
        self.log: MemoryLog = nights.memory_log()
        truth = next(s for s in desk.machine.suspects if s.id == fault)
        self.bench = Bench(desk, (truth,), random.Random(0))
        plant = Plant(
            {"belt-7": desk.machine.circuit}, (), lambda _: desk, lambda *_: self.log, "RT", searches=searches
        )
        self.session = Session(plant, machine="belt-7", complaint="dead")
        self.slices = 0
        self.ended = ""
        """The repair group that is to be mended."""

    def rest(self) -> None:
        while self.session.pump():
            self.slices += 1
            assert self.slices < 5_000

    def play(self) -> Iterator[None]:
        for _ in range(120):
            if self.session.sheet(80, 24).done:
                return
            self.rest()
            yield
            state, ui = self.session._state(), self.session._ui
            assert ui is not None
            stage = stage_of(self.desk, state)
            if stage.name not in ("stop", "people", "last", "search", "confirm", "tree"):
                self.ended = stage.group
                return
            self.session.give(answer(self.bench, state, stage, ui))
        pytest.fail("the job does not end")


def test_trips_are_replaced_before_anybody_begins_and_the_job_is_what_its_events_say(led_by_the_engine: Desk) -> None:
    job = Job(led_by_the_engine, FAULT)
    for _ in job.play():
        state = job.session._state()
        if state.accepted:
            assert open_to_another(job.desk, state) is None
        if job.log.events[-1].kind == "choose":
            before = len(job.log.events)
            job.rest()
            assert len(job.log.events) == before, "a searched trip is not searched again"
    assert job.ended == "KM1"
    assert fold(job.log.events).evidence == job.session._state().evidence
    searched = [e for e in job.log.events if e.kind == "choose"]
    assert searched
    assert all(e.data["searched"] for e in searched)
    for event in searched:
        # A trip like any other: live readings of one place, which its caution will be about.
        step = get_step(event.data["step"])
        assert step.source == "engine"
        assert 1 <= len(step.items) <= 3


def test_a_search_that_stops_half_way_changes_nothing(led_by_the_engine: Desk) -> None:
    job = Job(led_by_the_engine, FAULT, searches=False)
    for _ in job.play():
        state = job.session._state()
        if open_to_another(job.desk, state) is not None:
            half = Searching(job.desk, state)
            assert half.on()
            half.on()
            assert half.better is None
            assert job.log.events[-1].kind != "choose"
            return
    pytest.fail("the engine was never asked for a trip")


class Watched(Job):
    """As a job, and what was on the screen before the session worked on."""

    shown: Sheet

    def rest(self) -> None:
        self.shown = self.session.sheet(80, 24)
        super().rest()

    @classmethod
    def at_the_first_better_trip(cls, desk: Desk) -> Watched:
        job = cls(desk, FAULT)
        for _ in job.play():
            if job.log.events[-1].kind == "choose":
                assert job.shown.id != job.session.sheet(80, 24).id
                return job
        pytest.fail("no trip was replaced")


def test_a_key_about_the_trip_that_gave_way_is_not_taken_and_that_is_said_and_any_other_key_acts(
    led_by_the_engine: Desk,
) -> None:
    job = Watched.at_the_first_better_trip(led_by_the_engine)
    before = len(job.log.events)
    for said in (Pressed("c", job.shown.id, 900), Pressed("n", job.shown.id), Typed("120", job.shown.id)):
        job.session.give(said)
        assert len(job.log.events) == before
        assert MISSED in words_of(job.session.sheet(80, 24))
    for key, panel in (("w", "why"), ("e", "end")):
        job.session.give(Pressed(key, job.shown.id))
        sheet = job.session.sheet(80, 24)
        assert sheet.id.endswith(panel)
        assert MISSED not in words_of(sheet)
        job.session.give(Pressed("escape", sheet.id))
    now = job.session.sheet(80, 24)
    assert now.needs_caution
    job.session.give(Pressed("c", now.id, 900))
    assert not job.session.sheet(80, 24).needs_caution


def test_undo_takes_back_the_answer_before_the_better_trip_and_not_the_trip_alone(led_by_the_engine: Desk) -> None:
    job = Watched.at_the_first_better_trip(led_by_the_engine)
    before = job.session._state()
    answer_before, (better,) = before.undoable[-1], before.reckoned
    assert better == job.log.events[-1].n
    job.session.give(Pressed("u", job.shown.id))
    assert job.log.events[-1].kind == "retract"
    assert list(job.log.events[-1].data["of"]) == [answer_before, better]
    state = job.session._state()
    assert state.chosen is None
    assert state == fold(job.log.events)


def words_of(sheet: Sheet) -> str:
    return " ".join(" ".join(line.text for line in sheet.lines).split())


def test_taking_back_steps_over_what_the_program_reckoned_to_the_last_thing_a_person_said(
    led_by_the_engine: Desk,
) -> None:
    job = Job(led_by_the_engine, FAULT)
    for _ in job.play():
        if job.log.events[-1].kind != "choose":
            continue
        firm = ("opened", "caution", "retract")
        said = [e for e in job.log.events if e.kind not in firm and not e.data.get("searched")]
        for person in reversed(said[-2:]):
            job.rest()  # it reckons anew for where the job stands now, and that is stepped over too
            sheet = job.session.sheet(80, 24)
            job.session.give(Pressed("u", sheet.id))
            assert job.log.events[-1].kind == "retract"
            gone = [e for e in job.log.events if e.n in job.log.events[-1].data["of"]]
            assert gone[0] == person
            assert all(e.kind == "choose" and e.data["searched"] for e in gone[1:])
        return
    pytest.fail("no trip was put in the place of another")
