"""What happens seldom to a log: a clock that ran before, a folder made by somebody quicker, a disk that fails while it is closed."""

from __future__ import annotations

import errno
import os
import time as system_time
from pathlib import Path

import pytest
from log.logs import JOB, clock, job, lines, opened

from troubleshoot.log import holder
from troubleshoot.log.clock import SystemClock
from troubleshoot.log.disk import RealDisk
from troubleshoot.log.event import DEEPEST, LONGEST_LINE, Event, line_of, make_event
from troubleshoot.log.line import TOO_LONG, parse
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.opening import CannotOpen, continue_log, open_log
from troubleshoot.log.redaction import redact, vouching
from troubleshoot.log.verify import Wrong, glimpse, verify
from troubleshoot.log.writer import NotSaved

AT = "2026-11-25T03:10:22.480+01:00"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "jobs" / "a.jsonl"


# ------------------------------------------------------------------------------------------------------------- time


@pytest.mark.parametrize("ran_before_ms", [0, 7_000_000])
def test_time_goes_on_from_the_newest_event_however_long_the_computer_has_run(path, ran_before_ms):
    first = opened(path)
    first.append(*JOB[0])
    first.close()
    later = clock()
    later.pass_time(ran_before_ms)
    later.set_wall(clock().wall())
    later.set_wall(first.events[0].when.replace(hour=4))  # 50 minutes on by the wall, and nobody ran
    log = open_log(path, session="", version="0.1.0", who="RT", clock=later)
    gone_ms = (later.wall() - first.events[0].when).total_seconds() * 1000
    assert log.idle_ms == gone_ms
    later.pass_time(5_000)
    assert log.idle_ms == gone_ms + 5_000
    assert log.append(*JOB[1]).elapsed_ms == gone_ms + 5_000
    assert log.idle_ms == 0


def test_before_the_first_event_no_time_has_gone_by(path):
    time = clock()
    log, kept = opened(path, clock=time), MemoryLog(session="s", version="1", who="RT", clock=time)
    time.pass_time(9_000)
    assert (log.idle_ms, kept.idle_ms, kept.notices) == (0, 0, ())
    assert log.path == str(path)


def test_where_no_clock_goes_on_in_sleep_the_ordinary_one_is_taken(monkeypatch):
    monkeypatch.delattr(system_time, "CLOCK_BOOTTIME", raising=False)
    assert abs(SystemClock().running_ms() - system_time.monotonic() * 1000) < 60_000


# ------------------------------------------------------------------------------------------------------------ events


def test_an_event_has_a_kind():
    with pytest.raises(ValueError, match="needs a kind"):
        make_event(1, "", AT, 0, {}, "")


def test_maps_are_nested_as_deep_as_lists_and_no_deeper():
    data: dict[str, object] = {}
    for _ in range(DEEPEST - 1):
        data = {"a": data}
    make_event(1, "k", AT, 0, data, "")
    with pytest.raises(ValueError, match="nested deeper"):
        make_event(1, "k", AT, 0, {"a": data}, "")


def test_two_keys_that_json_cannot_tell_apart_are_refused():
    with pytest.raises(ValueError, match="two keys are the same"):
        make_event(1, "k", AT, 0, {"\ud83d\ude00": 1, "\U0001f600": 2}, "")


def test_a_line_of_a_mebibyte_is_no_event():
    assert parse(b" " * LONGEST_LINE) is TOO_LONG
    assert parse(b" " * (LONGEST_LINE - 1)) is not TOO_LONG


# --------------------------------------------------------------------------------------------------------- verifying


def found(path: Path, *rows: bytes) -> tuple[int, Wrong, str]:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"".join(rows))
    bad = verify(path).bad
    assert bad is not None
    return bad.line, bad.what, bad.words


def test_a_name_that_no_file_can_have_is_one_sentence():
    verdict = verify("a\0b")
    assert verdict.bad is not None
    assert (verdict.bad.line, verdict.bad.what) == (0, Wrong.UNREADABLE)


def test_a_disk_that_fails_while_it_is_read_is_one_sentence(path, monkeypatch):
    opened(path).append(*JOB[0])

    def fails(*_: object) -> bytes:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(RealDisk, "read", fails)
    verdict = verify(path)
    assert verdict.bad is not None
    assert verdict.bad.words == "a.jsonl cannot be read: Input/output error"


def test_a_first_event_that_does_not_follow_from_its_session_is_spliced(path):
    data = {"session": "s", "version": "1", "format": 1}
    said = found(path, line_of(make_event(1, "opened", AT, 0, data, "0" * 64)))
    assert said == (1, Wrong.SPLICED, "spliced: it is not the beginning of session s")


def test_a_line_that_follows_and_has_another_number_is_edited(path):
    events = job()[:2]
    odd = make_event(5, "told", AT, 9_000, {}, events[-1].hash)
    assert found(path, *lines((*events, odd))) == (
        3,
        Wrong.EDITED,
        "edited: it says it is event 5 where event 3 has to be",
    )


@pytest.mark.parametrize(("left", "says"), [(4, "event 3 is missing"), (6, "events 3 to 5 are missing")])
def test_what_was_cut_out_is_said_by_its_numbers(path, left, says):
    events = job()
    said = found(path, *lines((*events[:2], *events[left - 1 :])))
    assert said == (3, Wrong.CUT, f"cut: {says} before it")


def test_in_a_log_with_names_taken_out_lines_out_of_order_are_found_too(path):
    events = job()[:5]
    changed, _ = redact(events, ["RT"], notes=False, dice=bytes)
    assert sorted(changed) == [1, 4]
    vouch = make_event(6, "redacted", AT, 10_000, vouching(changed, "x"), events[-1].hash)
    rows = [changed.get(e.n, line_of(e)) for e in (*events, vouch)]
    swapped = [*rows[:2], rows[3], rows[2], *rows[4:]]
    assert found(path, *swapped)[:2] == (3, Wrong.REORDERED)


def test_each_good_event_is_handed_over_as_it_stands_on_the_disk(path):
    log = opened(path)
    for kind, data in JOB[:3]:
        log.append(kind, data)
    seen: list[object] = []
    assert glimpse(path, seen.append, head=log.head).anchored == 3
    assert seen == [event.plain() for event in log.events]


# ------------------------------------------------------------------------------------------------ opening and closing


def test_a_folder_that_another_copy_made_in_between_is_used(path):
    class Quicker(RealDisk):
        def make_folder(self, path: str, mode: int) -> None:
            os.mkdir(path, mode)
            raise FileExistsError(errno.EEXIST, "File exists", path)

    assert isinstance(opened(path, disk=Quicker()).append(*JOB[0]), Event)


def test_a_disk_that_fails_at_closing_loses_nothing(path):
    class FailsLast(RealDisk):
        def close(self, fd: int) -> None:
            super().close(fd)
            raise OSError(errno.EIO, "Input/output error")

    log = opened(path, disk=FailsLast())
    log.append(*JOB[0])
    log.close()
    log.close()
    assert verify(path, head=log.head).anchored == 1


def test_a_full_disk_that_then_fails_takes_nothing_more(path):
    class FullThenBroken(RealDisk):
        full = False

        def write(self, fd: int, data: bytes) -> int:
            if self.full:
                raise OSError(errno.ENOSPC, "No space left on device")
            return super().write(fd, data)

        def truncate(self, fd: int, length: int) -> None:
            raise OSError(errno.EIO, "Input/output error")

    disk = FullThenBroken()
    log = opened(path, disk=disk)
    log.append(*JOB[0])
    disk.full = True
    said = log.append(*JOB[1])
    assert isinstance(said, NotSaved)
    assert not said.again
    disk.full = False
    assert isinstance(log.append(*JOB[1]), NotSaved)
    assert len(log.events) == 1


def test_a_new_file_that_took_only_a_part_is_no_log(path):
    class TakesAPart(RealDisk):
        def write(self, fd: int, data: bytes) -> int:
            return super().write(fd, data[:100])

    found = continue_log(job(), path, version="0.1.0", who="RT", clock=clock(), disk=TakesAPart())
    assert isinstance(found, CannotOpen)
    assert "No space left" in found.words
    assert not path.exists()


# -------------------------------------------------------------------------------------------------- who has it open


def second(path: Path) -> str:
    log = open_log(path, session="", version="0.1.0", who="JS", clock=clock())
    assert isinstance(log, CannotOpen)
    return log.words


def test_where_nobody_can_say_who_has_it_the_log_works_all_the_same(path):
    path.parent.mkdir()
    Path(f"{path}.open").mkdir()  # in the way of the file that would say so
    log = opened(path)
    assert isinstance(log.append(*JOB[0]), Event)
    assert second(path).endswith("is already open: another copy of this program has it.")
    log.close()
    assert Path(f"{path}.open").is_dir()


def test_a_word_about_who_has_it_that_cannot_be_kept_private_is_not_written(path, monkeypatch):
    def fails(*_: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    path.parent.mkdir()
    monkeypatch.setattr(holder.os, "fchmod", fails)
    holder.say_holder(str(path), "RT", clock())
    assert Path(f"{path}.open").read_bytes() == b""
    assert holder.held_by(str(path)) == "another copy of this program has it"


def test_the_word_about_who_has_it_may_be_gone(path):
    log = opened(path)
    log.append(*JOB[0])
    os.unlink(f"{path}.open")
    assert second(path).endswith("another copy of this program has it.")
    log.close()
    assert not Path(f"{path}.open").exists()
