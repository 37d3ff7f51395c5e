"""Logs of exercises on this disk: a new one, and the one that was left half-way."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Final

from troubleshoot import __version__
from troubleshoot.cli.data import practice_folder
from troubleshoot.cli.say import complain
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.runner import Runner
    from troubleshoot.log.writer import Log
    from troubleshoot.practice.again import Left

NEWEST: Final = 20
"""Exercises that are looked at for one that was left: further back nobody remembers it."""
BIGGEST: Final = 4_000_000
"""Bytes of a log beyond which it is no exercise."""


def _logs() -> Path:
    return practice_folder() / "logs"


def new_log(machine: str) -> Log:
    """A log of its own, apart from the plant's jobs."""
    from troubleshoot.cli.machines_on_disk import who_works
    from troubleshoot.log.clock import SystemClock
    from troubleshoot.log.memory import MemoryLog
    from troubleshoot.log.opening import CannotOpen, open_log

    session = f"practice-{machine}-{secrets.token_hex(4)}"
    log = open_log(_logs() / f"{session}.jsonl", session=session, version=__version__, who=who_works())
    if isinstance(log, CannotOpen):
        # Nothing of a plant is lost by it: an exercise goes on without.
        complain(f"{log.words} This exercise is not kept.")
        return MemoryLog(session=session, version=__version__, who=who_works(), clock=SystemClock())
    return log


def left_exercise() -> Left | None:
    """The newest exercise that whoever is at the keys left half-way, that is not over and not open in another window."""
    from troubleshoot.cli.machines_on_disk import machine_files, ready_files, who_works
    from troubleshoot.log.holder import is_held
    from troubleshoot.log.verify import read_events
    from troubleshoot.practice.again import left_half_way

    stamped = []
    for path in _logs().glob("*.jsonl"):
        try:
            stat = path.lstat()
        except OSError:  # gone in between
            continue
        if stat.st_size <= BIGGEST:
            stamped.append((stat.st_mtime_ns, path))
    known = {*machine_files(), *ready_files()}
    for _, path in sorted(stamped, reverse=True)[:NEWEST]:
        if is_held(str(path)):  # in another window: the one before it is offered here
            continue
        events, verdict = read_events(path)
        if not verdict.whole or not events or events[0].data.get("who") != who_works():
            continue
        left = left_half_way(str(path), events, events[0].at)
        if left is not None and (left.exercise.machine in known or Path(left.exercise.machine).exists()):
            return left
    return None


def go_on(left: Left) -> Runner:
    """Go on with it. Raises `Nothing` where its log does not come out the same, OSError where it cannot be opened."""
    from troubleshoot.cli.machines_on_disk import open_desk, who_works
    from troubleshoot.cli.practice import played
    from troubleshoot.log.opening import CannotOpen, open_log
    from troubleshoot.practice.exercise import Nothing

    def again() -> Log:
        log = open_log(left.handle, session="", version=__version__, who=who_works())
        if isinstance(log, CannotOpen):
            raise Nothing(log.words)
        if log.read_only:
            log.close()
            raise Nothing(f"The record of {show(Path(left.handle).name)} is not whole: it cannot be gone on with.")
        opened.append(log)
        return log

    opened: list[Log] = []
    try:
        return played(left.exercise, open_desk(left.exercise.machine), again)
    except (Nothing, KeyError) as no:
        for log in opened:
            log.close()
        raise no if isinstance(no, Nothing) else Nothing("What it hid is not in that machine any more.") from no
