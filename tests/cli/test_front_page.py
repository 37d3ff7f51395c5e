"""The front page is drawn, and a job begins, whatever the index takes its time over; open jobs are filled in when found."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from store.nights import log, opened, put, whole

from troubleshoot.cli import index_aside, index_on_disk, meanwhile
from troubleshoot.cli.machines_on_disk import open_job_desk, open_jobs_of, open_plant
from troubleshoot.cli.meanwhile import Meanwhile
from troubleshoot.job.session import Session
from troubleshoot.job.sheet import Pressed, Typed
from troubleshoot.store.index import Index

LONG_S = 240
"""So long a loaded machine may take before a test gives up."""


@pytest.fixture
def plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A plant with more logs than are read by themselves; one job is open."""
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(tmp_path / "i.sqlite"))
    monkeypatch.setattr(index_on_disk, "FEW", 3)
    # Where no other process can be started, the index is asked here: so it can be made slow, locked or broken.
    monkeypatch.setattr(index_aside.sys, "executable", "/nowhere/python")
    for k in range(4):
        put(tmp_path / "plant", "belt-7", log(*whole(), session=f"belt-7-{k}"))
    put(tmp_path / "plant", "belt-7", log(opened(), session="belt-7-open"))
    return tmp_path / "plant"


class Slow:
    """An index that does not answer before it is let."""

    def __init__(self) -> None:
        self.asked, self.let = threading.Event(), threading.Event()

    def __call__(self, *, make: bool = True) -> Index | None:
        self.asked.set()
        assert self.let.wait(LONG_S)
        return _OPEN(make=make)


_OPEN = index_on_disk.open_index


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> Iterator[Slow]:
    index = Slow()
    monkeypatch.setattr(index_on_disk, "open_index", index)
    yield index
    index.let.set()


def text(session: Session) -> str:
    return " ".join(" ".join(line.text for line in session.sheet(80, 24).lines).split())


def until(session: Session, done: Callable[[], bool]) -> None:
    for _ in range(LONG_S * 20):
        if done():
            return
        session.pump()
    raise AssertionError(text(session))


def test_the_front_page_is_there_before_the_index_is_asked_and_open_jobs_come_when_it_answers(
    plant: Path, slow: Slow
) -> None:
    session = Session(open_plant())
    assert not session.pump(), "nothing is looked for before the page is drawn"
    first = session.sheet(80, 24)
    assert not slow.asked.is_set()
    assert "Jobs left open are still being looked for" in text(session)
    assert "practise" in text(session)
    until(session, slow.asked.is_set)
    assert session.pump()
    assert "go on with" not in text(session)
    slow.let.set()
    until(session, lambda: "go on with: belt-7" in text(session))
    assert "still being looked for" not in text(session)
    assert session.sheet(80, 24).id == first.id, "what is being typed stays"
    session.give(Pressed("1", first.id, 2000))
    assert "BELT-7" in session.sheet(80, 24).title
    session.close()


def test_a_job_begins_and_is_answered_while_the_index_does_not_answer_at_all(
    plant: Path, slow: Slow, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(meanwhile, "PAST_WITHIN_S", 0.01)
    session = Session(open_plant())
    front = session.sheet(80, 24)
    until(session, slow.asked.is_set)
    session.give(Typed("belt 7 dead", front.id))
    sheet = session.sheet(80, 24)
    if "which machine" in sheet.title:
        session.give(Pressed("1", sheet.id, 2000))
        sheet = session.sheet(80, 24)
    before = sheet.saved
    assert before > 0
    session.give(Pressed(sheet.keys[0].key, sheet.id, 2000))
    assert session.sheet(80, 24).saved > before
    assert not slow.let.is_set()
    slow.let.set()
    session.close()


def test_after_a_while_the_screen_is_not_kept_awake_for_an_index_that_never_answers(plant: Path, slow: Slow) -> None:
    session = Session(open_plant())
    session.sheet(80, 24)
    session._looks = 3
    assert [session.pump() for _ in range(4)] == [True, True, True, False]
    slow.let.set()
    assert session._looking is not None
    assert session._looking.found(LONG_S) is not None
    assert "go on with: belt-7" in text(session), "the next sheet has them"


def test_a_locked_index_delays_no_page_and_the_open_jobs_come_from_the_logs(plant: Path, tmp_path: Path) -> None:
    index_on_disk.fresh_index()
    link = sqlite3.connect(tmp_path / "i.sqlite", isolation_level=None)
    link.execute("BEGIN EXCLUSIVE")
    session = Session(open_plant())
    assert "still being looked for" in text(session)
    until(session, lambda: "go on with: belt-7" in text(session))
    assert "The answer comes from the logs themselves." in session._page._plant.notices
    assert "cannot be used" in text(session)


def test_the_open_jobs_of_one_machine_are_read_from_its_own_logs_and_no_index_is_asked(plant: Path, slow: Slow) -> None:
    put(plant, "fan-9", log(opened("fan-9"), session="fan-9-open"))
    assert [j.session for j in open_jobs_of("belt-7")] == ["belt-7-open"]
    assert [j.session for j in open_jobs_of("fan-9")] == ["fan-9-open"]
    assert open_jobs_of("nobody") == ()
    assert not slow.asked.is_set()


def test_a_bug_while_looking_is_a_sentence_and_the_page_stays(plant: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(index_on_disk, "open_index", lambda *, make=True: 1 / 0)
    session = Session(open_plant())
    session.sheet(80, 24)
    until(session, lambda: "could not be looked for" in text(session))
    assert "practise" in text(session)


def test_a_past_that_is_late_is_left_out_and_one_that_is_there_counts(
    plant: Path, slow: Slow, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(plant, "three-wire", log(*whole(machine="three-wire"), session="three-wire-0"))
    monkeypatch.setattr(meanwhile, "PAST_WITHIN_S", 0.01)
    assert open_job_desk("three-wire").machine.past == {}
    slow.let.set()
    index_on_disk.fresh_index()
    monkeypatch.setattr(meanwhile, "PAST_WITHIN_S", LONG_S)
    assert open_job_desk("three-wire").machine.past == {"wire 12, K1:14 to FR1:95": 1}


def test_an_answer_on_its_way_is_worked_out_once_and_an_error_becomes_what_was_said_for_it() -> None:
    times = iter(range(1, 9))
    once = Meanwhile(lambda: next(times), lambda error: -1)
    assert [once.within(LONG_S), once.within(LONG_S)] == [1, 1]
    assert Meanwhile(lambda: 1 // 0, lambda error: -1).within(LONG_S) == -1
