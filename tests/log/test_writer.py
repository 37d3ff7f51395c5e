"""What is called saved is on the disk, and what is not on the disk is called NOT saved."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from log.faulty_disks import CountingDisk, CutDisk, FailingDisk, FullDisk, PowerCut
from log.logs import JOB, NIGHT, clock, job, lines, opened

from troubleshoot.log.disk import RealDisk
from troubleshoot.log.event import LONGEST_LINE, Event, genesis, line_of, make_event
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.opening import CannotOpen, continue_log, open_log
from troubleshoot.log.verify import read_events, verify
from troubleshoot.log.writer import LogFile, NotSaved

WHOLE = b"".join(lines(job()))
as_root = pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")


def write_job(log, count=10):
    """Append the first events of the job; what each append said."""
    return [log.append(kind, data) for kind, data in JOB[:count]]


@pytest.fixture
def path(tmp_path) -> Path:
    return tmp_path / "belt-7" / "jobs" / "2026-11-25.jsonl"


def refused(path, **others) -> str:
    """The words of a log that cannot be opened."""
    log = open_log(path, **{"session": "belt-7 night", "version": "0.1.0", "who": "JS", "clock": clock(), **others})
    assert isinstance(log, CannotOpen), log
    return log.words


# ------------------------------------------------------------------------------------------------------ the good day


def test_each_event_is_on_the_disk_when_append_returns(path):
    log = opened(path)
    for n, (kind, data) in enumerate(JOB, start=1):
        event = log.append(kind, data)
        assert isinstance(event, Event)
        assert log.head == (n, event.hash)
        assert read_events(path)[0] == log.events
        assert log.events[-1] == event


def test_a_log_is_taken_up_where_it_was_left(path):
    with_break = opened(path)
    write_job(with_break, 4)
    with_break.close()
    again = opened(path, version="0.2.0")
    assert [event.kind for event in again.events] == ["opened", "told", "face", "caution"]
    again.append(*JOB[4])
    assert again.head[0] == 5
    again.close()
    verdict = verify(path, head=again.head)
    assert verdict.whole
    assert verdict.version == "0.1.0"  # of the program that began it


def test_one_write_and_one_sync_an_event_and_the_sync_is_last(path):
    disk = CountingDisk()
    log = opened(path, disk=disk)
    for kind, data in JOB:
        before = len(disk.calls)
        log.append(kind, data)
        assert [call for call in disk.calls[before:] if call != "size"] == ["write", "fsync"]


def test_the_name_of_the_file_is_synced_before_anything_is_called_saved(path):
    disk = CountingDisk()
    log = opened(path, disk=disk)
    assert disk.calls.count("fsync_folder") == 3  # two new folders and the file
    log.append(*JOB[0])
    assert disk.calls.count("fsync_folder") == 3


def test_a_log_without_a_disk_makes_the_same_events(path):
    on_disk, in_memory = opened(path), MemoryLog(session="belt-7 night", version="0.1.0", who="RT", clock=clock())
    assert write_job(on_disk) == write_job(in_memory)
    assert on_disk.events == in_memory.events
    assert on_disk.head == in_memory.head == (in_memory.verdict.events, in_memory.events[-1].hash)
    assert (on_disk.recorded, in_memory.recorded) == (True, False)
    on_disk.close()
    in_memory.close()


def test_a_closed_log_takes_nothing(path):
    log = opened(path)
    write_job(log, 2)
    log.close()
    log.close()
    assert log.append(*JOB[2]) == NotSaved("NOT saved: the log is closed.", again=False)
    assert verify(path).events == 2


def test_data_that_no_log_can_hold_leaves_the_log_as_it_was(path):
    log = opened(path)
    write_job(log, 2)
    with pytest.raises(ValueError, match="NaN"):
        log.append("reading", {"volts": float("nan")})
    too_long = log.append("note", {"text": "x" * LONGEST_LINE})
    assert isinstance(too_long, NotSaved)
    assert isinstance(log.append(*JOB[2]), Event)
    assert verify(path).events == 3


def test_event_1_cannot_contradict_the_session(path):
    with pytest.raises(ValueError, match="session"):
        opened(path).append("opened", {"session": "another"})


# ------------------------------------------------------------------------------------------------------- who may open


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077, 0o777])
def test_nobody_else_can_read_it_whatever_the_umask(path, umask):
    before = os.umask(umask)
    try:
        log = opened(path)
        write_job(log, 3)
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert {stat.S_IMODE(folder.stat().st_mode) for folder in (path.parent, path.parent.parent)} == {0o700}
    assert {stat.S_IMODE(file.stat().st_mode) for file in path.parent.iterdir()} == {0o600}


def test_a_log_that_came_open_to_all_is_taken_from_them_but_a_shared_folder_is_left_alone(tmp_path):
    path = tmp_path / "job.jsonl"
    path.write_bytes(WHOLE)
    path.chmod(0o666)
    tmp_path.chmod(0o775)
    opened(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o775


def test_on_a_drive_without_permissions_it_works_and_says_so(path):
    class Stick(RealDisk):
        def chmod(self, fd, mode):
            raise PermissionError(errno.EPERM, "Operation not permitted")

    log = opened(path, disk=Stick())
    assert "cannot keep the log private" in log.notices[0]
    assert isinstance(log.append(*JOB[0]), Event)


def test_the_second_is_told_who_has_it_and_since_when(path):
    first = opened(path)
    words = refused(path)
    assert words == (f"The log {path.name} is already open: RT has it since 25 Nov 03:10 (process {os.getpid()}).")
    assert isinstance(first.append(*JOB[0]), Event)
    first.close()
    opened(path).close()


@pytest.mark.parametrize("left", [b"", b"[", b"[" * 4096, b"null", b'{"who":"\x1b[2J","pid":1,"since":"\xe2\x80\xae"}'])
def test_whatever_stands_in_the_file_that_says_who_the_lock_holds(path, left):
    log = opened(path)
    Path(f"{path}.open").write_bytes(left)
    words = refused(path)
    assert words.isprintable()
    assert "already open" in words
    log.close()


def test_a_reader_is_never_kept_out(path):
    log = opened(path)
    write_job(log, 3)
    assert read_events(path)[0] == log.events


def test_the_lock_is_gone_with_its_process(path):
    code = (
        "import os, sys; from log.logs import opened; from pathlib import Path\n"
        "log = opened(Path(sys.argv[1])); log.append('opened', {}); print('has it', flush=True); sys.stdin.read()"
    )
    roots = os.pathsep.join(sys.path)
    with subprocess.Popen(
        [sys.executable, "-c", code, str(path)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": roots},
    ) as child:  # fmt: skip
        assert child.stdout.readline() == b"has it\n"
        assert f"process {child.pid}" in refused(path)
        child.kill()
        child.wait()
    log = opened(path)
    assert isinstance(log.append(*JOB[1]), Event)
    assert verify(path).events == 2


def test_a_log_of_another_session_is_not_added_to(path):
    with opened(path, session="belt-9 day") as log:
        log.append("opened", {})
    assert "of session belt-9 day, not of belt-7 night" in refused(path)
    assert opened(path, session="").events[0].data["session"] == "belt-9 day"


def test_a_new_log_needs_the_name_of_its_session(path):
    assert "needs the name of its session" in refused(path, session="")


@pytest.mark.parametrize("make", [os.mkfifo, os.mkdir, lambda path: os.symlink("/dev/null", path)])
def test_what_is_not_an_ordinary_file_is_refused(tmp_path, make):
    make(tmp_path / "job.jsonl")
    assert refused(tmp_path / "job.jsonl").endswith(".")


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES, errno.ENOSPC, errno.ENAMETOOLONG])
def test_a_folder_that_takes_nothing_is_one_sentence(path, code):
    class NoFolder(RealDisk):
        def open(self, path, flags, mode):
            raise OSError(code, os.strerror(code))

    words = refused(path, disk=NoFolder())
    assert words == f"The log {path.name} cannot be opened for writing: {os.strerror(code)}."


@as_root
def test_a_read_only_folder_is_one_sentence(tmp_path):
    tmp_path.chmod(0o500)
    try:
        assert "Permission denied" in refused(tmp_path / "a" / "job.jsonl")
        assert "Permission denied" in refused(tmp_path / "job.jsonl")
    finally:
        tmp_path.chmod(0o700)


@pytest.mark.parametrize(
    "name",
    [
        "-rf",
        "--head",
        "two\nlines",
        "\x1b]0;x\x07",
        "\u202egnp.evas",
        "\udcff\udc80 not text",
        "a" * 235,
        " ",
        "NUL",
        "é",
    ],
)
def test_odd_file_names_work_and_are_shown_harmless(tmp_path, name):
    path = tmp_path / name
    log = opened(path)
    log.append("opened", {"file": name})
    assert refused(path).isprintable()
    log.close()
    path.write_bytes(path.read_bytes() + b"torn")
    log = opened(path)
    assert isinstance(log.append(*JOB[1]), Event)
    assert "".join(log.notices).isprintable()
    assert log.events[0].data["file"] == name
    assert verify(path).events == 2


def test_a_name_with_a_nul_is_refused(tmp_path):
    assert refused(f"{tmp_path}/a\0b").isprintable()


# --------------------------------------------------------------------------------------- a log that was damaged before


def test_a_log_that_does_not_verify_can_be_read_but_takes_nothing(path):
    path.parent.mkdir(parents=True)
    path.write_bytes(WHOLE.replace(b"press S1", b"press S2"))
    before = path.read_bytes()
    log = opened(path)
    assert log.read_only
    assert (log.verdict.bad.line, len(log.events)) == (5, 4)
    said = log.append(*JOB[0])
    assert isinstance(said, NotSaved)
    assert "Line 5: edited" in said.words
    assert not said.again
    assert path.read_bytes() == before
    assert opened(path).read_only  # and it holds no lock


def test_a_log_begun_by_a_newer_program_is_read_and_left_as_it_is(path):
    data = {"format": 2, "session": "belt-7 night", "version": "7.0"}
    line = line_of(make_event(1, "opened", job()[0].at, 0, data, genesis("belt-7 night", "7.0")))
    path.parent.mkdir(parents=True)
    path.write_bytes(line)
    log = opened(path)
    assert (log.read_only, log.verdict.newer, len(log.events)) == (True, 2, 1)
    assert "newer program" in log.append(*JOB[0]).words
    assert path.read_bytes() == line


@pytest.mark.parametrize(
    "tail",
    [b'{"at":"2026', b"\0", b"\0" * 5000, b'{"at":' + b"\0" * 600, lines(job())[9][:-1]],
    ids=["part of a line", "a NUL", "NULs", "part and NULs", "no line end"],
)
def test_a_torn_tail_is_put_aside_before_the_next_event_and_not_sooner(tmp_path, tail):
    path = tmp_path / "job.jsonl"
    kept = b"".join(lines(job())[:9])
    path.write_bytes(kept + tail)
    log = opened(path)
    assert "torn" in log.notices[0]
    assert path.read_bytes() == kept + tail
    log.append(*JOB[9])
    assert path.read_bytes().startswith(kept + b'{"at"')
    assert Path(f"{path}.torn-1").read_bytes() == tail
    assert "job.jsonl.torn-1" in log.notices[1]
    assert verify(path, head=log.head).anchored == 10
    log.close()
    path.write_bytes(path.read_bytes() + b"again")
    opened(path).append("note", {})
    assert Path(f"{path}.torn-2").read_bytes() == b"again"
    assert Path(f"{path}.torn-1").read_bytes() == tail


def test_at_every_cut_the_log_goes_on_with_the_earlier_events(tmp_path):
    path = tmp_path / "job.jsonl"
    for cut in range(0, len(WHOLE), 7):
        path.write_bytes(WHOLE[:cut])
        log = opened(path)
        complete = WHOLE[:cut].count(b"\n")
        assert log.events == job()[:complete]
        assert isinstance(log.append("note", {"cut": cut}), Event)
        log.close()
        assert verify(path, head=log.head).anchored == complete + 1


def test_something_else_that_writes_into_an_open_log_is_noticed(path):
    log = opened(path)
    write_job(log, 2)
    with path.open("ab") as other:
        other.write(b"x")
    said = log.append(*JOB[2])
    assert isinstance(said, NotSaved)
    assert "something else has changed" in said.words
    assert log.append(*JOB[2]) == said


# ------------------------------------------------------------------------------------------------------- the full disk


@pytest.mark.parametrize("late", [False, True], ids=["at the write", "at the sync"])
def test_full_at_any_byte_nothing_is_lost_and_it_goes_on_in_place(tmp_path, late):
    in_memory = MemoryLog(session="belt-7 night", version="0.1.0", who="RT", clock=clock())
    write_job(in_memory, 3)
    first = b"".join(lines(in_memory.events))
    for space in range(0, len(first), 3):
        path = tmp_path / f"{space}.jsonl"
        disk = FullDisk(space, late=late)
        log = opened(path, disk=disk)
        fitted = first[:space].count(b"\n")
        for said in write_job(log, fitted):
            assert isinstance(said, Event)
        for _ in range(3):
            said = log.append(*JOB[fitted])
            assert said == NotSaved("NOT saved: the disk is full. Make space, then answer again.", again=True)
            assert path.read_bytes() == b"".join(line_of(event) for event in log.events)
        disk.space = 10_000
        assert isinstance(log.append(*JOB[fitted]), Event)
        log.close()
        assert verify(path, head=log.head).anchored == fitted + 1


def test_full_when_the_torn_line_has_to_be_put_aside(tmp_path):
    path = tmp_path / "job.jsonl"
    path.write_bytes(WHOLE + b"a torn line")
    disk = FullDisk(4)
    log = opened(path, disk=disk)
    for _ in range(2):
        assert isinstance(log.append("note", {}), NotSaved)
        assert path.read_bytes() == WHOLE + b"a torn line"
        assert not Path(f"{path}.torn-1").exists()
        disk.space = 4
    disk.space = 10_000
    assert isinstance(log.append("note", {}), Event)
    assert Path(f"{path}.torn-1").read_bytes() == b"a torn line"
    assert not Path(f"{path}.torn-2").exists()


def test_a_torn_line_in_a_folder_that_takes_no_files_waits_until_it_does(tmp_path):
    path = tmp_path / "job.jsonl"
    path.write_bytes(WHOLE + b"torn")
    disk = RealDisk()
    log = opened(path, disk=disk)
    healthy = disk.open

    def not_allowed(*_):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    disk.open = not_allowed
    said = log.append("note", {})
    assert said == NotSaved("NOT saved: Permission denied. Answer again when that is mended.", again=True)
    assert path.read_bytes() == WHOLE + b"torn"
    disk.open = healthy
    assert isinstance(log.append("note", {}), Event)


# ----------------------------------------------------------------------------------------------------- the failing disk


def calls_of_a_job(tmp_path: Path, start: bytes) -> int:
    path = tmp_path / "count" / "job.jsonl"
    path.parent.mkdir()
    if start:
        path.write_bytes(start)
    disk = CountingDisk()
    write_job(opened(path, disk=disk), 4)
    return len(disk.calls)


@pytest.mark.parametrize("start", [b"", WHOLE + b"torn"], ids=["new log", "torn log"])
@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC, errno.EROFS, errno.ENODEV])
@pytest.mark.parametrize("for_ever", [False, True])
def test_whichever_call_fails_nothing_is_called_saved_that_is_not(tmp_path, start, code, for_ever):
    calls = calls_of_a_job(tmp_path, start)
    assert calls > 15
    for at in range(1, calls + 1):
        path = tmp_path / f"{at}" / "job.jsonl"
        path.parent.mkdir()
        if start:
            path.write_bytes(start)
        disk = FailingDisk(at, code, for_ever=for_ever)
        log = open_log(path, session="belt-7 night", version="0.1.0", who="RT", clock=clock(), disk=disk)
        saved = 10 if start else 0
        if isinstance(log, LogFile):
            for kind, data in JOB[:4]:
                said = log.append(kind, data)
                if isinstance(said, Event):
                    saved = said.n
                    assert log.head == (said.n, said.hash)
            log.close()
        else:
            assert log.words.isprintable()
        again = opened(path)
        assert len(again.events) >= saved, (at, disk.failed)
        assert not again.read_only
        assert isinstance(again.append("note", {}), Event)
        again.close()


@pytest.mark.parametrize("which", ["write", "fsync"])
def test_after_a_disk_error_nothing_is_acknowledged_again_on_that_file(path, which):
    disk = CountingDisk()
    log = opened(path, disk=disk)
    write_job(log, 2)
    healthy = getattr(disk, which)

    def failing(*_):
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    setattr(disk, which, failing)
    said = log.append(*JOB[2])
    setattr(disk, which, healthy)  # Linux reports a lost page once; the next sync succeeds and means nothing
    calls = len(disk.calls)
    assert isinstance(said, NotSaved)
    assert not said.again
    assert "choose another folder" in said.words
    for kind, data in JOB[2:]:
        assert log.append(kind, data) == said
    assert len(disk.calls) == calls
    assert log.head[0] == 2
    assert verify(path).events == 2


def test_the_session_goes_on_in_another_folder(path, tmp_path):
    log = opened(path)
    write_job(log, 5)
    log.close()
    elsewhere = tmp_path / "stick" / "job.jsonl"
    other = continue_log(log.events, elsewhere, version="0.1.0", who="RT", clock=clock())
    assert isinstance(other, LogFile)
    assert elsewhere.read_bytes() == path.read_bytes()
    other.append(*JOB[5])
    assert verify(elsewhere, head=log.head).anchored == 5
    assert verify(elsewhere).events == 6
    again = continue_log(log.events, elsewhere, version="0.1.0", who="RT", clock=clock())
    assert isinstance(again, CannotOpen)
    assert verify(elsewhere).events == 6


@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC])
def test_going_on_elsewhere_leaves_no_half_log(path, tmp_path, code):
    log = opened(path)
    write_job(log, 5)
    (tmp_path / "stick").mkdir()
    for at in range(1, 5):  # open, lock, write, sync
        elsewhere = tmp_path / "stick" / f"{at}.jsonl"
        other = continue_log(log.events, elsewhere, version="0", who="RT", clock=clock(), disk=FailingDisk(at, code))
        assert isinstance(other, CannotOpen)
        assert not elsewhere.exists()


# -------------------------------------------------------------------------------------------------------- the power cut


@pytest.mark.parametrize("lost", ["all", "half", "read as NULs", "first sector", "names", "nothing"])
@pytest.mark.parametrize("start", [b"", WHOLE + b"torn"], ids=["new log", "torn log"])
def test_after_a_power_cut_at_any_call_all_that_was_called_saved_is_there(tmp_path, lost, start):
    calls = calls_of_a_job(tmp_path, start)
    for at in range(1, calls + 2):
        folder = tmp_path / f"{at}"
        folder.mkdir()
        path = folder / "job.jsonl"
        disk = CutDisk(at)
        if start:
            path.write_bytes(start)
            disk.names.add(str(path))
            disk.bytes[path.stat().st_ino] = start
        said: list[Event | NotSaved] = []
        try:
            log = opened(path, disk=disk)
            for kind, data in JOB[:4]:
                said.append(log.append(kind, data))
        except PowerCut:
            pass
        disk.go_dark()
        disk.after_the_cut(folder, lost)
        if start:
            aside = Path(f"{path}.torn-1")
            assert path.read_bytes().startswith(WHOLE + b"torn") or aside.read_bytes() == b"torn"
        again = opened(path)
        assert not again.read_only, (at, disk.calls[-1], again.verdict)
        saved = said[-1].n if said else 10 if start else 0
        assert saved <= len(again.events) <= saved + 1
        assert set(said) <= set(again.events)
        assert isinstance(again.append("note", {}), Event)
        again.close()
        assert verify(path, head=again.head).anchored


# ------------------------------------------------------------------------------------------------------------ the clock


def test_a_clock_that_was_set_back_is_an_event(path):
    time = clock()
    log = opened(path, clock=time)
    log.append(*JOB[0])
    time.pass_time(60_000)
    time.set_wall(time.wall() - timedelta(minutes=61))
    event = log.append(*JOB[1])
    assert [e.kind for e in log.events] == ["opened", "clock", "told"]
    moved = log.events[1]
    assert dict(moved.data) == {
        "step_ms": -61 * 60_000, "was": "2026-11-25T03:10:22.480+01:00", "now": "2026-11-25T02:10:22.480+01:00"
    }  # fmt: skip
    assert (event.n, event.elapsed_ms) == (3, 60_000)
    log.append(*JOB[2])
    assert len(log.events) == 4  # said once
    assert verify(path).whole


def test_a_clock_set_back_by_less_than_went_by_is_noticed_too(path):
    time = clock()
    log = opened(path, clock=time)
    log.append(*JOB[0])
    time.pass_time(2 * 3_600_000)
    time.set_wall(time.wall() - timedelta(minutes=61))
    log.append(*JOB[1])
    assert log.events[1].data["step_ms"] == -61 * 60_000


@pytest.mark.parametrize("drift_ms", [-999, -1, 0, 1, 5000])
def test_a_clock_that_is_corrected_gently_is_no_news(path, drift_ms):
    time = clock()
    log = opened(path, clock=time)
    log.append(*JOB[0])
    time.pass_time(3_600_000)
    time.set_wall(time.wall() + timedelta(milliseconds=drift_ms))
    log.append(*JOB[1])
    assert [e.kind for e in log.events] == ["opened", "told"]


def test_summer_time_ends_and_nothing_has_happened(path):
    from zoneinfo import ZoneInfo

    time = clock()
    zone = ZoneInfo("Europe/Berlin")  # the hour from 2 to 3 comes twice on 25 October 2026
    time.set_wall(NIGHT.replace(month=10, day=25, hour=0, minute=50).astimezone(zone))
    log = opened(path, clock=time)
    for _ in range(4):
        log.append("note", {})
        time.set_wall((time.wall().astimezone(NIGHT.tzinfo) + timedelta(hours=1)).astimezone(zone))
        time._running_ms += 3_600_000
    assert [e.kind for e in log.events] == ["note"] * 4
    assert {e.at[-6:] for e in log.events} == {"+02:00", "+01:00"}


@pytest.mark.parametrize("year", [1970, 2026, 2099, 9998])
def test_time_never_runs_backwards_in_a_log_whatever_the_clock_says(path, year):
    time = clock()
    log = opened(path, clock=time)
    log.append(*JOB[0])
    time.set_wall(NIGHT.replace(year=year))
    log.append(*JOB[1])
    log.close()
    time.set_wall(NIGHT)
    again = opened(path, clock=time)
    again.append(*JOB[2])
    events = again.events
    assert [e.n for e in events] == list(range(1, len(events) + 1))
    assert all(a.elapsed_ms <= b.elapsed_ms for a, b in pairwise(events))
    steps = [e.data["step_ms"] for e in events if e.kind == "clock"]
    assert len(steps) == (year != 2026)
    assert all(step < 0 for step in steps)


def test_the_night_between_two_shifts_counts_as_time(path):
    """Else "proved dead a minute ago" would be said of the day before."""
    log = opened(path)
    log.append(*JOB[0])
    log.close()
    later = clock()
    later.set_wall(NIGHT + timedelta(hours=9))
    event = opened(path, clock=later).append(*JOB[1])
    assert event.elapsed_ms == 9 * 3_600_000


def test_the_system_clock_goes_on_and_knows_its_offset():
    from troubleshoot.log.clock import SystemClock

    time = SystemClock()
    assert time.wall().utcoffset() is not None
    assert time.running_ms() <= time.running_ms()
