"""The screen at a real pseudo-terminal: first paint, a key to new text, memory; each beside a bare app of the same library."""

from __future__ import annotations

import os
import re
import select
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest
from tui.pty_desk import SCRIPT, PtyDesk

BARE = """
from textual.app import App
from textual.widgets import Static

class Bare(App):
    ENABLE_COMMAND_PALETTE = False
    def compose(self):
        yield Static("I have read this", markup=False)
    def on_key(self, event):
        self.query_one(Static).update("Esc goes back" if event.character == "?" else "I have read this")

Bare().run()
"""
TICK = os.sysconf("SC_CLK_TCK")


@contextmanager
def running(args: list[str], **env: str) -> Iterator[PtyDesk]:
    desk = PtyDesk([sys.executable, *args], TERM="xterm-256color", TEXTUAL_ANIMATIONS="none", **env)
    try:
        yield desk
    finally:
        desk.close()


def bare() -> list[str]:
    return ["-c", BARE]


def ours() -> list[str]:
    return [str(SCRIPT)]


def cpu_s(pid: int) -> float:
    """Seconds of processor that a process has had: a busy machine does not count."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICK


def until(desk: PtyDesk, words: bytes, since: int) -> None:
    """As `PtyDesk.until`, without its pauses."""
    end = time.monotonic() + 60
    while words not in desk.out[since:]:
        assert time.monotonic() < end, desk.out[-500:]
        if select.select([desk._fd], [], [], 1)[0]:
            desk.out += os.read(desk._fd, 65536)


def first_paint_s(args: list[str]) -> float:
    with running(args, SCRIPTED_AT="locked") as desk:
        until(desk, b"I have read this", 0)
        return cpu_s(desk.pid)


def test_the_first_paint_costs_at_most_a_third_more_than_that_of_a_bare_app() -> None:
    """Goal: 1.25 times, met with 1.1 to 1.2; the clock of a process ticks a hundredth. Of five each, the least."""
    times = {way.__name__: min(first_paint_s(way()) for _ in range(5)) for way in (bare, ours)}
    print(times, f"ratio {times['ours'] / times['bare']:.2f}")
    assert times["ours"] <= 1.34 * times["bare"]


def key_times(args: list[str], rounds: int = 60) -> list[float]:
    """Milliseconds from a key to the text that it brings, sorted."""
    with running(args, SCRIPTED_AT="locked") as desk:
        until(desk, b"I have read this", 0)
        desk.read(0.5)
        times = []
        for key, words in ((b"?", b"Esc goes back"), (b"q", b"I have read this")) * rounds:
            before, begun = len(desk.out), time.monotonic()
            os.write(desk._fd, key)
            until(desk, words, before)
            times.append((time.monotonic() - begun) * 1000)
            desk.read(0.03)
    return sorted(times)


def test_a_key_brings_new_text_within_a_few_times_a_bare_app() -> None:
    """Goal: 10 ms in the median and 25 ms at 99 %, on a machine that has nothing else to do; the ratio is what is held.

    The bare app changes one line, ours a whole screen.
    """
    found = {way.__name__: key_times(way()) for way in (bare, ours)}
    for name, times in found.items():
        print(f"{name}: p50 {times[len(times) // 2]:.1f} ms, p99 {times[int(len(times) * 0.99) - 1]:.1f} ms")
    assert found["ours"][0] <= 6 * found["bare"][0]


JOB = ["-m", "troubleshoot", "job", "belt-7", "--complaint", "dead"]
TO_AND_FRO = ((b"y", b"What did it do last"), (b"u", b"Is everybody clear"))
"""Two answers of a job: each is on disk before its sheet is drawn, each draws a whole sheet."""


class Beside(NamedTuple):
    """Milliseconds, one for each key in turns, and of processor for an answer."""

    job: list[float]
    bare: list[float]
    disk: list[float]
    """One line written and on disk, on the same disk by itself: an answer is there before its text is."""
    cpu_ms: float


def beside_a_bare_app(plant: Path, keys: int, *, settled: bool) -> Beside:
    """A job and a bare app, key by key.

    settled: begin once the machine's tables are there; otherwise at the first sheet, while they are computed.
    """
    job, echo, disk = list[float](), list[float](), list[float]()
    with (
        running(JOB, TROUBLESHOOT_PLANT=str(plant)) as desk,
        running(bare()) as other,
        (plant.parent / f"{plant.name} beside").open("ab", buffering=0) as line,
    ):
        until(other, b"I have read this", 0)
        until(desk, TO_AND_FRO[1][1], 0)
        if settled:
            quiet(desk)
        began = cpu_s(desk.pid)
        for k in range(keys):
            for at, times, (key, words) in (
                (desk, job, TO_AND_FRO[k % 2]),
                (other, echo, ((b"?", b"Esc goes back"), (b"q", b"I have read this"))[k % 2]),
            ):
                before, begun = len(at.out), time.monotonic()
                os.write(at._fd, key)
                until(at, words, before)
                times.append((time.monotonic() - begun) * 1000)
                at.read(0.37)  # the same key within 0.7 s is taken for one held down, and waits
            begun = time.monotonic()
            line.write(b"x" * 299 + b"\n")
            os.fsync(line.fileno())
            disk.append((time.monotonic() - begun) * 1000)
        return Beside(job, echo, disk, 1000 * (cpu_s(desk.pid) - began) / keys)


def test_an_answer_brings_the_next_sheet_within_a_few_times_a_bare_app(tmp_path: Path) -> None:
    """Goal: 10 ms in the median and 25 ms at 99 %, of over 200 answers, on a machine that has nothing else to do."""
    found = beside_a_bare_app(tmp_path / "plant", 240, settled=True)
    print(
        f"\nsettled: {said(found.job)}; bare {said(found.bare)}; disk {said(found.disk)}; processor {found.cpu_ms:.1f} ms"
    )
    assert found.cpu_ms < 60


def test_an_answer_while_the_tables_are_computed_waits_for_one_slice_at_most(tmp_path: Path) -> None:
    """The same, 16 answers at the beginning of each of 13 jobs."""
    job, echo, disk = list[float](), list[float](), list[float]()
    for k in range(13):
        more = beside_a_bare_app(tmp_path / str(k), 16, settled=False)
        job += more.job
        echo += more.bare
        disk += more.disk
    print(f"\ncomputing: {said(job)}; bare {said(echo)}; disk {said(disk)}")
    assert sorted(job)[len(job) // 2] < 30 * sorted(echo)[len(echo) // 2]


def said(times: list[float]) -> str:
    times = sorted(times)
    least, p50, p99 = times[0], times[len(times) // 2], times[int(len(times) * 0.99) - 1]
    return f"least {least:.1f}, p50 {p50:.1f}, p99 {p99:.1f} ms of {len(times)}"


def quiet(desk: PtyDesk) -> None:
    """Read until it does nothing more."""
    before = -1.0
    while cpu_s(desk.pid) - before > 0.05:
        before = cpu_s(desk.pid)
        desk.read(1.0)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="counted by proc(5)")
def test_a_job_with_its_machine_loaded_stays_below_130_megabytes(tmp_path: Path) -> None:
    """Goal: 64 MB. Screen library, arrays and parsers alone take 53."""
    with running(JOB, TROUBLESHOOT_PLANT=str(tmp_path)) as desk:
        until(desk, b"Is everybody clear", 0)
        quiet(desk)
        status = Path(f"/proc/{desk.pid}/status").read_text()
        now, most = (int(re.search(rf"{name}:\s+(\d+) kB", status)[1]) / 1024 for name in ("VmRSS", "VmHWM"))  # type: ignore[index]
    print(f"{now:.0f} MB, {most:.0f} at most")
    assert most <= 130
