"""A hundred times the program is killed at a random moment of a job: what was shown as saved is there, and it goes on."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import time
from pathlib import Path

import pytest
from job import nights

from troubleshoot.job.desk import Desk
from troubleshoot.job.plant import OpenJob, Plant
from troubleshoot.job.rehearse import Bench, answer, rehearse
from troubleshoot.job.session import Session
from troubleshoot.job.stage import stage_of
from troubleshoot.log.opening import CannotOpen, open_log
from troubleshoot.log.verify import read_events, verify

KILLS = 100 if os.environ.get("TROUBLESHOOT_TESTS") == "all" else 40
SHEETS = 25
"""About as many as a whole job shows: a kill beyond the last one falls on the finished job."""
FAULT = "12:K1:14>FR1:95 open"


@pytest.fixture(scope="module")
def desk() -> Desk:
    desk = nights.desk()
    truth = next(s for s in desk.machine.suspects if s.id == FAULT)
    rehearse(desk, "wont-start", truth)  # every table that the job needs is computed once, before the children are born
    return desk


def plant(desk: Desk, folder: Path) -> Plant:
    def log(machine: str, session: str, new: bool):  # type: ignore[no-untyped-def]
        found = open_log(folder / f"{session}.jsonl", session=session if new else "", version="0", who="RT")
        if isinstance(found, CannotOpen):
            raise OSError(found.words)
        return found

    jobs = tuple(OpenJob("belt-7", p.stem, p.stem) for p in folder.glob("*.jsonl"))
    return Plant({"belt-7": desk.machine.circuit}, jobs, lambda _: desk, log, "RT")


def drive(desk: Desk, folder: Path, told: int, pause_s: float) -> None:
    """A careful person's job from the complaint to hand-back, telling through `told` what each sheet shows as saved."""
    truth = next(s for s in desk.machine.suspects if s.id == FAULT)
    bench = Bench(desk, (truth,), random.Random(0))
    session = Session(plant(desk, folder), machine="belt-7", complaint="dead")
    while True:
        sheet = session.sheet(80, 24)
        os.write(told, f"{sheet.saved}\n".encode())
        if sheet.done:
            time.sleep(60)
        state, ui = session._state(), session._ui
        assert ui is not None
        stage = stage_of(desk, state)
        if stage.name == "repair":
            bench.mend(stage.group)
        session.give(answer(bench, state, stage, ui))
        time.sleep(pause_s)


def killed_once(desk: Desk, folder: Path, sheets: int, after_s: float) -> int:
    """Start a job in a child, kill it so long after it showed that many sheets; the newest number shown as saved.

    By what was shown, not by the clock: on a busy machine every kill would fall on the first page.
    """
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException):
            os.close(reads)
            drive(desk, folder, writes, 0.0)
        os._exit(1)
    os.close(writes)
    shown = b""
    while shown.count(b"\n") < sheets and (piece := os.read(reads, 65536)):
        shown += piece
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while piece := os.read(reads, 65536):
        shown += piece
    os.close(reads)
    whole = [line for line in shown.split(b"\n")[:-1] if line]
    return int(whole[-1]) if whole else 0


def test_kills_at_any_moment_lose_nothing_that_was_shown_as_saved(desk: Desk, tmp_path: Path) -> None:
    dice = random.Random(20261125)
    lengths = []
    for k in range(KILLS):
        folder = tmp_path / str(k)
        folder.mkdir()
        shown = killed_once(desk, folder, dice.randint(0, SHEETS), dice.uniform(0, 0.03))
        logs = list(folder.glob("*.jsonl"))
        if not logs:
            assert shown == 0
            continue
        events, verdict = read_events(logs[0])
        assert verdict.whole or verdict.bad is None, verdict.sentences
        assert len(events) >= shown
        if not events:
            continue
        lengths.append(len(events))
        again = Session(plant(desk, folder), resume=logs[0].stem)
        sheet = again.sheet(80, 24)
        assert sheet.saved == len(events)  # who has only looked so far has written nothing
        assert sheet.lines
        again.close()
        assert verify(logs[0]).whole
    # The kills fell all over the job, not only on its first page.
    assert len(lengths) > KILLS // 2
    assert max(lengths) - min(lengths) > 10
