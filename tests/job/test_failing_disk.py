"""A whole job on a disk that fills up or fails, and a job that was left alone: what the person at the screen gets."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from job import nights
from log.faulty_disks import FullDisk

from troubleshoot.job.plant import Plant
from troubleshoot.job.rehearse import answer
from troubleshoot.job.session import Session
from troubleshoot.job.sheet import Pressed, Role, Sheet, Typed
from troubleshoot.job.state import LONG_MS
from troubleshoot.log.clock import SetClock
from troubleshoot.log.disk import Disk, RealDisk
from troubleshoot.log.event import Event
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.opening import CannotOpen, continue_log, open_log
from troubleshoot.log.verify import verify
from troubleshoot.log.writer import Log

FAULT = "12:K1:14>FR1:95 open"


class FailsOnce(RealDisk):
    """Takes so many syncs more; then one fails, and after it all return as if nothing had been, as Linux does."""

    def __init__(self, syncs: int) -> None:
        self.left = syncs

    def fsync(self, fd: int) -> None:
        self.left -= 1
        if self.left == -1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        super().fsync(fd)


def sentence(found: Log | CannotOpen) -> Log:
    if isinstance(found, CannotOpen):
        raise OSError(found.words)
    return found


class OnDisk(nights.Night):
    """A night whose record lies on `disk`."""

    def __init__(self, folder: Path, disk: Disk) -> None:
        self._disk = disk
        super().__init__(FAULT, folder=folder)

    def _open(self) -> Log:
        assert self._folder is not None
        return sentence(
            open_log(self._folder / "night.jsonl", session="night", version="0.1.0", who="Ana", disk=self._disk)
        )

    def _plant(self, *jobs: object) -> Plant:
        def elsewhere(events: tuple[Event, ...], folder: str, machine: str, session: str) -> Log:
            if not Path(folder).is_dir():
                raise OSError(f"{folder} is not a folder here.")
            self.log = sentence(continue_log(events, Path(folder) / "night.jsonl", version="0.1.0", who="Ana"))
            return self.log

        return Plant(nights.circuits(), (), nights.desk, lambda *_: self.log, "Ana", (), elsewhere=elsewhere)

    def begin(self) -> None:
        self.session.give(Typed("belt 7 dead", self.sheet().id))

    def said_next(self) -> Pressed | Typed:
        """What a careful person says now."""
        assert self.session._ui is not None
        return answer(self.bench, self.state, self.stage, self.session._ui)


def shown(sheet: Sheet) -> tuple[object, ...]:
    return sheet.id, sheet.lines, sheet.saved


@pytest.mark.parametrize("space", [0, 40], ids=["full", "full within the line"])
def test_a_disk_that_is_full_at_every_answer_costs_none_of_them(tmp_path: Path, space: int) -> None:
    disk = FullDisk(0)
    night = OnDisk(tmp_path, disk)
    with pytest.raises(OSError, match="NOT saved: the disk is full"):
        night.begin()
    night.log = night._open()
    disk.space = 10_000
    night.begin()
    answers = 0
    while not night.sheet().done:
        said, before = night.said_next(), shown(night.sheet())
        disk.space = space
        with pytest.raises(OSError, match=r"NOT saved: the disk is full\. Make space, then answer again\.") as told:
            night.session.give(said)
        assert told.value.strerror is None
        assert shown(night.sheet()) == before
        disk.space = 10_000
        night._give(said)
        assert night.sheet().saved == len(night.log.events) == verify(tmp_path / "night.jsonl").events
        answers += 1
    assert answers > 15
    assert night.state.ended == "mended"


@pytest.mark.parametrize("after", [1, 2, 5, 9, 14, 20])
def test_a_disk_that_fails_at_an_answer_is_left_for_another_folder(tmp_path: Path, after: int) -> None:
    old, stick = tmp_path / "old", tmp_path / "stick"
    old.mkdir()
    stick.mkdir()
    night = OnDisk(old, FailsOnce(after))
    night.begin()
    said: Pressed | Typed | None = None
    while (sheet := night.sheet()).title != "BELT-7  NOT SAVED":
        assert not sheet.done
        said, saved = night.said_next(), sheet.saved
        night._give(said)
    assert isinstance(said, Pressed | Typed)
    assert sheet.saved == saved == verify(old / "night.jsonl").events, "nothing was called saved after the failure"
    assert any("the disk failed" in line.text for line in sheet.lines if line.role is Role.DANGER)
    assert (said.text if isinstance(said, Typed) else said.key) in " ".join(line.text for line in sheet.lines)

    night.session.give(said)  # the old answer is no folder's name, and its sheet is gone
    night.session.give(Typed(str(tmp_path / "nowhere"), sheet.id))
    assert "not a folder here" in night.text
    night.session.give(Typed(str(stick), night.sheet().id))
    assert night.kinds[-1] == "moved"
    assert (stick / "night.jsonl").read_bytes().startswith((old / "night.jsonl").read_bytes())
    while not night.sheet().done:
        night.careful()
    assert night.state.ended == "mended"
    assert verify(stick / "night.jsonl").events == len(night.log.events)


def test_a_record_that_cannot_be_made_leaves_the_front_page_as_it_was(tmp_path: Path) -> None:
    taken = True

    def log(machine: str, session: str, new: bool) -> Log:
        if taken:
            raise OSError("The log cannot be opened for writing: Read-only file system.")
        return nights.memory_log()

    session = Session(Plant(nights.circuits(), (), nights.desk, log, "Ana"))
    before = session.sheet(80, 24)
    with pytest.raises(OSError, match="Read-only"):
        session.give(Typed("belt 7 dead", before.id))
    assert session.sheet(80, 24) == before
    taken = False
    session.give(Typed("belt 7 dead", before.id))
    assert session.sheet(80, 24).title.startswith("BELT-7")


# ------------------------------------------------------------------------------------------------------ the long stop


class Watched(nights.Night):
    """A night whose clock the test winds."""

    def _open(self) -> Log:
        log = nights.memory_log()
        clock = log._next._clock
        assert isinstance(clock, SetClock)
        self.pass_time: Callable[[int], None] = clock.pass_time
        return log

    def begin(self) -> Watched:
        self.session.give(Typed("belt 7 dead", self.sheet().id))
        return self


def last_event(night: nights.Night) -> Event:
    assert isinstance(night.log, MemoryLog)
    return night.log.events[-1]


def test_what_was_proved_dead_nine_hours_ago_is_proved_anew() -> None:
    night = Watched(FAULT).begin()
    night.careful_until("isolate")
    while not night.state.tested:
        night.careful()
    done, events = dict(night.state.isolation), len(night.log.events)
    night.pass_time(9 * 3_600_000)
    assert night.session.pump()  # no key is needed: the screen that comes back says so by itself
    assert len(night.log.events) == events + 1
    assert last_event(night).data["idle_ms"] == 9 * 3_600_000
    assert "Nothing was said for 9 h 0 min: people, cautions and isolation are asked again." in night.text
    assert done
    assert not night.state.isolation
    assert not night.state.tested
    assert night.stage.name == "people"
    while night.sheet().done is False:
        night.careful()
    assert night.state.ended == "mended"


def test_an_answer_after_a_long_stop_is_not_taken_for_the_question_before_it() -> None:
    night = Watched(FAULT).begin()
    night.careful_until("search")
    said, events = answer(night.bench, night.state, night.stage, night.session._ui), len(night.log.events)  # type: ignore[arg-type]
    night.pass_time(LONG_MS)
    night.session.give(said)
    assert night.kinds[events:] == ["resumed"]
    assert night.stage.name == "people"


def test_a_caution_read_before_the_meal_is_read_again_after_it() -> None:
    night = Watched(FAULT).begin()
    while "caution" not in night.kinds:
        night.careful()
    assert not night.sheet().needs_caution
    night.pass_time(LONG_MS)
    night.session.pump()
    night.press("y")
    assert night.sheet().needs_caution


def test_two_hours_with_the_screwdriver_are_no_interruption_but_a_night_is() -> None:
    night = Watched(FAULT).begin()
    night.careful_until("repair")
    night.pass_time(2 * 3_600_000)
    night.session.pump()
    assert night.stage.name == "repair"
    night.pass_time(3 * 3_600_000)
    night.session.pump()
    assert night.stage.name == "people"


def test_a_short_silence_and_a_job_that_has_ended_ask_nothing() -> None:
    night = Watched(FAULT).begin()
    night.careful_until("search")
    night.pass_time(LONG_MS - 1)
    events = len(night.log.events)
    night.session.pump()
    night.careful_until("ended")
    ended = len(night.log.events)
    night.pass_time(9 * 3_600_000)
    night.session.pump()
    assert ended > events
    assert len(night.log.events) == ended
