"""History, the index and its anchors, as a person meets them; and a job that goes on whatever the index does."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from store.nights import ended, log, many, opened, put, repaired, whole

from troubleshoot.cli import index_aside, index_on_disk, machines_on_disk, meanwhile
from troubleshoot.cli.door import enter
from troubleshoot.cli.index_on_disk import Keeper, Kept
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import LogFile


@pytest.fixture
def plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(tmp_path / "i.sqlite"))
    (tmp_path / "plant").mkdir()
    return tmp_path / "plant"


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = enter(args)
    said = capsys.readouterr()
    return code, said.out, said.err


# ----------------------------------------------------------------------------------------------------------- history


def test_history_says_what_failed_how_it_showed_how_long_it_took_and_what_came_back(plant, capsys) -> None:
    for k in range(2):
        put(plant, "belt-7", log(*whole("conv dead since 2:50"), session=f"belt-7-{k}"))
    put(plant, "fan-9", log(opened("fan-9"), repaired(1, confirmed=False), ended(), session="fan-9-0"))
    code, out, err = run(capsys, "history", "belt-7")
    assert (code, err) == (0, "")
    assert "belt-7: 2 jobs from 2026-11-25 to 2026-11-25 (2 mended)." in out
    assert "Down for 35 min" in out
    assert "wire 12, K1:14 to FR1:95 2 " in out
    assert "wont-start 2 " in out
    assert "Again within 90 days" in out
    assert "wire 12 open between K1:14 and FR1:95, confirmed: mended, down 35 min" in out
    assert "fan-9" not in out
    code, out, _ = run(capsys, "history", "--json")
    found = json.loads(out)
    assert (code, found["jobs"], found["departures"]) == (0, 3, 2)
    assert [(f["machine"], f["times"]) for f in found["failed"]] == [("belt-7", 2), ("fan-9", 1)]
    assert found["newest"][0]["anchor"]


@pytest.mark.parametrize("ending", ["html", "csv", "json"])
def test_history_goes_into_a_file_too_and_says_which_departures_there_were(plant, capsys, tmp_path, ending) -> None:
    put(plant, "fan-9", log(opened("fan-9"), repaired(1, confirmed=False), ended(), session="fan-9-0"))
    _, out, _ = run(capsys, "history")
    assert "2 departures, told below" in out
    assert "departure: replace K1 13-14 without a confirming test" in out
    file = tmp_path / f"h.{ending}"
    assert run(capsys, "history", "fan-9", "-o", str(file))[0] == 0
    text = file.read_text(encoding="utf-8")
    assert "replace K1 13-14 without a confirming test" in text
    assert file.stat().st_mode & 0o777 == 0o600
    code, _, err = run(capsys, "history", "-o", str(file))
    assert (code, file.read_text(encoding="utf-8")) == (2, text), err
    assert run(capsys, "history", "-o", str(tmp_path / "h.txt"))[0] == 2


def test_history_longer_than_the_terminal_is_read_page_by_page(plant, capsys, monkeypatch) -> None:
    import click

    from troubleshoot.cli import history as cli

    for k in range(4):
        put(plant, "belt-7", log(*whole(), session=f"belt-7-{k}"))
    paged: list[str] = []
    monkeypatch.setattr(click, "echo_via_pager", paged.append)
    monkeypatch.setattr(cli.sys.stdout, "isatty", lambda: True, raising=False)
    for rows, pages in ((24, 1), (90, 0)):
        paged.clear()
        monkeypatch.setenv("LINES", str(rows))
        monkeypatch.setenv("COLUMNS", "80")
        _, out, _ = run(capsys, "history", "belt-7")
        assert len(paged) == pages
        assert "belt-7: 4 jobs" in (paged[0] if paged else out)


def test_history_in_ascii_has_nothing_else(plant, capsys) -> None:
    for machine, events in many(20):
        put(plant, machine, events)
    _, out, _ = run(capsys, "history", "--ascii")
    assert out.isascii()
    assert "#####" in out


def test_a_machine_without_a_job_has_no_history_and_an_unknown_one_is_named_with_the_nearest(plant, capsys) -> None:
    put(plant, "saw-3", log(*whole(machine="saw-3")))
    assert run(capsys, "history", "belt-7")[:2] == (0, "No job of belt-7 yet.\n")
    code, out, err = run(capsys, "history", "saw-4")
    assert (code, out) == (2, "")
    assert "nearest: saw-3" in err


def test_history_of_outside_text_is_shown_safely(plant, capsys) -> None:
    put(plant, "belt-7", log(opened("belt-7", "\x1b]0;x\x07 dead"), repaired(words="\x1b[31m\u202e"), ended()))
    _, out, _ = run(capsys, "history")
    assert "\x1b" not in out
    assert "\u202e" not in out


# ------------------------------------------------------------------------------------------------------------- index


def test_the_index_command_names_a_cut_log_and_one_that_is_gone(plant, capsys) -> None:
    events = log(*whole(), session="belt-7-0")
    put(plant, "belt-7", events)
    other = put(plant, "belt-7", log(*whole(), session="belt-7-1"))
    code, out, err = run(capsys, "index")
    assert (code, err) == (0, "")
    assert "2 logs, 2 anchored" in out
    put(plant, "belt-7", events[:7])
    other.unlink()
    for more in ((), ("--rebuild",)):
        code, out, _ = run(capsys, "index", *more)
        assert code == 1
        assert "belt-7/jobs/belt-7-0.jsonl: Line 8: event 16 was anchored, but the log ends with event 7" in out
        assert "belt-7/jobs/belt-7-1.jsonl: gone; it had 16 events when it was last seen" in out
    code, out, _ = run(capsys, "index", "--json")
    assert json.loads(out)["gone"] == {"belt-7/jobs/belt-7-1.jsonl": 16}


def test_log_verify_asks_the_index_how_far_the_log_had_got(plant, capsys, tmp_path) -> None:
    events = log(*whole())
    path = put(plant, "belt-7", events)
    code, out, _ = run(capsys, "log", "verify", str(path))
    assert code == 0
    assert "Not anchored" in out
    assert not (tmp_path / "i.sqlite").exists()
    run(capsys, "index")
    code, out, _ = run(capsys, "log", "verify", str(path))
    assert code == 0
    assert "Anchored up to event 16." in out
    put(plant, "belt-7", events[:12])
    code, out, _ = run(capsys, "log", "verify", str(path))
    assert code == 1
    assert "Line 13: event 16 was anchored, but the log ends with event 12: the end was cut off." in out
    moved = tmp_path / "copy.jsonl"
    moved.write_bytes(path.read_bytes())
    assert run(capsys, "log", "verify", str(moved))[0] == 1, "known by its session wherever it lies"
    code, out, _ = run(capsys, "log", "verify", str(path), "--no-index", "--json")
    assert (code, json.loads(out)["anchored_by"]) == (0, None)


def test_paths_says_where_the_index_is_and_no_password(plant, capsys, monkeypatch) -> None:
    monkeypatch.setenv("TROUBLESHOOT_INDEX", "postgresql://me:hunter2@db/plant")
    _, out, _ = run(capsys, "paths")
    assert "postgresql://me:***@db/plant" in out


# -------------------------------------------------------------------------------------------------- a machine's own past


def test_faults_counts_confirmed_repairs_of_this_machine_and_says_so(plant, capsys, monkeypatch) -> None:
    for k in range(3):
        put(plant, "belt-7", log(*whole(), session=f"belt-7-{k}"))
    run(capsys, "index")
    code, out, _ = run(capsys, "faults", "belt-7")
    assert code == 0
    assert "wire 12, K1:14 to FR1:95 confirmed here 3x]" in out
    wire = next(
        f for f in json.loads(run(capsys, "faults", "belt-7", "--json")[1]) if f["id"] == "12:K1:14>FR1:95 open"
    )
    assert 2 < wire["prior"] / wire["usual"] <= 5
    assert wire["confirmed"] == 3
    usual = next(
        f for f in json.loads(run(capsys, "faults", "belt-7", "--usual", "--json")[1]) if f["id"] == wire["id"]
    )
    assert usual["prior"] == wire["usual"]
    monkeypatch.setenv("TROUBLESHOOT_OWN_PAST", "no")
    assert "confirmed here" not in run(capsys, "faults", "belt-7")[1]


def test_a_job_starts_from_the_past_that_its_log_holds_also_when_the_index_has_moved_on(
    plant, capsys, monkeypatch
) -> None:
    monkeypatch.setattr(meanwhile, "PAST_WITHIN_S", 240)
    from troubleshoot.job.fitting import desk_of
    from troubleshoot.job.folding import fold

    put(plant, "three-wire", log(*whole(machine="three-wire"), session="three-wire-0"))
    run(capsys, "index")
    from troubleshoot.cli.index_on_disk import own_past
    from troubleshoot.cli.machines_on_disk import open_job_desk

    assert own_past("three-wire") == {"wire 12, K1:14 to FR1:95": 1}
    desk = open_job_desk("three-wire")
    assert desk.machine.past == {"wire 12, K1:14 to FR1:95": 1}
    first = log(("opened", {**opened("three-wire")[1], "past": {"F6": 2}}))
    state = fold(first)
    assert state.past == {"F6": 2}
    assert desk_of(desk, state).machine.past == {"F6": 2}
    assert desk_of(desk, fold(log(opened("three-wire")))).machine.past == {}


JOB = """
import sys
from troubleshoot.cli import meanwhile
from troubleshoot.cli.machines_on_disk import open_plant
meanwhile.PAST_WITHIN_S = 240.0
plant = open_plant()
found = plant.looking.found(240.0)
desk = plant.desk("three-wire")
done = plant.log("three-wire", "three-wire-9", True)
done.append("opened", {})
done._keeper.close(60.0)
assert not done._keeper.words, done._keeper.words
print(len(found.open_jobs), dict(desk.machine.past), [m for m in sys.modules if m.startswith("sqlalchemy")])
"""


@pytest.mark.parametrize("logs", [1, 101])
def test_a_job_knows_its_past_and_tells_the_index_and_never_holds_the_library_of_a_database(
    plant, capsys, logs: int
) -> None:
    put(plant, "three-wire", log(*whole(machine="three-wire"), session="three-wire-0"))
    for k in range(1, logs):
        put(plant, "belt-7", log(opened(), session=f"belt-7-{k}"))
    run(capsys, "index")
    done = subprocess.run([sys.executable, "-c", JOB], capture_output=True, text=True, check=False)
    assert done.stdout == f"{logs - 1} {{'wire 12, K1:14 to FR1:95': 1}} []\n", done.stderr
    index = index_on_disk.open_index(make=False)
    assert index is not None
    assert index.anchor("three-wire-9").n == 1


def test_where_no_process_can_be_started_the_past_is_asked_here(plant, capsys, monkeypatch) -> None:
    put(plant, "three-wire", log(*whole(machine="three-wire"), session="three-wire-0"))
    run(capsys, "index")
    monkeypatch.setattr(index_aside.sys, "executable", "/nowhere/python")
    assert index_on_disk.asking_own_past("three-wire")() == {"wire 12, K1:14 to FR1:95": 1}


# ---------------------------------------------------------------------------------- whatever happens, the job goes on


def kept(plant: Path) -> Kept:
    path = plant / "belt-7" / "jobs" / "belt-7-9.jsonl"
    found = open_log(path, session="belt-7-9", version="0", who="Ana")
    assert isinstance(found, LogFile)
    return Kept(found, Keeper(path))


def test_what_a_job_writes_is_in_the_index_when_it_is_closed(plant, monkeypatch) -> None:
    monkeypatch.setattr(Keeper.close, "__defaults__", (60.0,))  # however slow the machine is
    job = kept(plant)
    for kind, data in whole():
        job.append(kind, data)
    job.close()
    index = index_on_disk.open_index(make=False)
    assert index is not None
    assert [k.row.how for k in index.rows()] == ["mended"]
    assert index.anchor("belt-7-9").n == 16


@pytest.mark.parametrize("trouble", ["no database", "locked", "a folder", "away", "a bug"])
def test_no_answer_waits_for_an_index_that_cannot_be_used(plant, tmp_path, monkeypatch, trouble: str) -> None:
    monkeypatch.setattr(Keeper.close, "__defaults__", (60.0,))
    index_on_disk.LEFT_TO_SAY.clear()
    place = tmp_path / "i.sqlite"
    match trouble:
        case "no database":
            place.write_bytes(b"x" * 5000)
        case "locked":
            index_on_disk.open_index().close()
            link = sqlite3.connect(place, isolation_level=None)
            link.execute("BEGIN EXCLUSIVE")
        case "a folder":
            place.mkdir()
        case "away":
            monkeypatch.setenv("TROUBLESHOOT_INDEX", "postgresql://me@127.0.0.1:1/plant")
        case "a bug":
            monkeypatch.setattr(index_aside.sys, "executable", shutil.which("false"))
    job = kept(plant)
    for kind, data in whole():
        job.append(kind, data)
        assert job.events[-1].kind == kind
    job.close()
    (said,) = index_on_disk.LEFT_TO_SAY
    assert "The job is in its log, whole" in said
    assert "\n" not in said


@pytest.mark.parametrize("trouble", ["", "no database", "stale", "lost", "off", "locked"])
def test_open_jobs_are_right_whatever_the_index_is(plant, tmp_path, monkeypatch, capsys, trouble: str) -> None:
    monkeypatch.setattr(index_on_disk, "FEW", 3)
    place = tmp_path / "i.sqlite"
    for k in range(4):
        put(plant, "belt-7", log(*whole(), session=f"belt-7-{k}"))
    put(plant, "belt-7", log(opened(), session="belt-7-5"))
    closed_later = log(*whole(), session="belt-7-6")
    put(plant, "belt-7", closed_later[:4])
    assert {j.session for j in machines_on_disk.open_jobs()} == {"belt-7-5", "belt-7-6"}
    put(plant, "belt-7", closed_later)
    put(plant, "fan-9", log(opened("fan-9"), ended("waiting: part"), session="fan-9-1"))
    match trouble:
        case "":
            run(capsys, "index")
        case "no database":
            place.write_bytes(b"x" * 5000)
        case "lost":
            place.unlink()
        case "off":
            monkeypatch.setenv("TROUBLESHOOT_INDEX", "off")
        case "locked":
            link = sqlite3.connect(place, isolation_level=None)
            link.execute("BEGIN EXCLUSIVE")
    jobs, notices = machines_on_disk.look_for_open_jobs()
    assert {(j.machine, j.session) for j in jobs} == {("belt-7", "belt-7-5"), ("fan-9", "fan-9-1")}
    assert (
        next(j for j in jobs if j.machine == "fan-9").words == "fan-9, conv dead, begun 2026-11-25 03:10, waiting: part"
    )
    assert bool(notices) is (trouble in ("no database", "locked"))
    if trouble == "no database":
        assert list(tmp_path.glob("i.sqlite.damaged-1"))
        assert "made anew" in " ".join(notices)
