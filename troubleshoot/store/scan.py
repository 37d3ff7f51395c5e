"""Logs on the disk as the index sees them: which there are, which changed, and what each comes to. Only reads."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote_from_bytes, unquote_to_bytes

from troubleshoot.log.verify import glimpse
from troubleshoot.store.row import JobRow
from troubleshoot.store.summary import READ, summarise
from troubleshoot.store.written import Gatherer, Raw, Written, raw

ENDING: Final = ".jsonl"


@dataclass(frozen=True, slots=True)
class Stamp:
    """What shows that a file was written to since: logs only grow."""

    size: int
    mtime_ns: int
    ctime_ns: int
    """Changes with every change of the file, and no tool sets it back: an edited log whose old time was put back shows."""


@dataclass(frozen=True, slots=True)
class Anchor:
    """Number and hash of an event as they were once seen."""

    session: str
    n: int
    hash: str


@dataclass(frozen=True, slots=True)
class Glance:
    """A log as it was read."""

    file: str
    """Below the plant folder; `key_of`."""
    stamp: Stamp
    row: JobRow | None
    """None where there is no job in it."""
    trouble: str
    """What is wrong with the log, one sentence; empty where it is whole and as anchored."""
    session: str
    events: int
    head: str
    written: Written | None
    """What was written back; None where a table of many jobs has to read the log itself, for something is wrong or odd
    with it."""


def stamp_of(stat: os.stat_result) -> Stamp:
    """The stamp of a file."""
    return Stamp(stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns)


def key_of(plant: Path, path: Path) -> str:
    """The name of a log below its plant folder, reversible whatever bytes it holds: ``belt-7/jobs/belt-7-5f0e.jsonl``."""
    return quote_from_bytes(os.fsencode(os.fspath(path)[len(os.fspath(plant)) + 1 :]), safe="/ ,;=+@()")


def path_of(plant: Path, file: str) -> Path:
    """The log that `key_of` named."""
    return plant / os.fsdecode(unquote_to_bytes(file))


def logs_of(plant: Path, machine: str = "") -> dict[str, tuple[Path, Stamp]]:
    """Every log of a plant, or of one machine of it, by its key. A folder that cannot be read has none."""
    found: dict[str, tuple[Path, Stamp]] = {}
    folders = [plant / machine] if machine else [Path(one.path) for one in _inside(plant) if one.is_dir()]
    for folder in folders:
        for entry in _inside(folder / "jobs"):
            if entry.name.endswith(ENDING) and entry.is_file(follow_symlinks=False):
                try:
                    stat = entry.stat(follow_symlinks=False)
                except OSError:  # gone in between
                    continue
                path = Path(entry.path)
                found[key_of(plant, path)] = path, stamp_of(stat)
    return found


def _inside(folder: Path) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return list(entries)
    except OSError:
        return []


def glance(file: str, path: Path, stamp: Stamp, anchor: Anchor | None = None) -> Glance:
    """Read and verify one log and put it in a row. stamp: from before the reading, so that what is added meanwhile counts as
    a change; anchor: what was last seen of this log. Never raises for what the file holds or is."""
    events: list[Raw] = []
    gatherer = Gatherer()
    gather = gatherer.take
    newest: dict[str, Any] = {}

    def keep(found: dict[str, Any]) -> None:
        nonlocal newest
        newest = found
        gather(found)
        kind = found["kind"]
        if kind in READ:
            events.append(Raw(found["n"], kind, found["at"], found["elapsed_ms"], found, found["hash"]))

    verdict = glimpse(path, keep, head=(anchor.n, anchor.hash) if anchor else None)
    # Where a log does not agree with its anchor, the events before that are still what it says by itself.
    if newest and newest["kind"] not in READ:
        events.append(raw(newest))  # when, and how far it got, the newest event says whatever it is
    if events and events[-1].n > verdict.events:  # the disk failed in between
        events = [e for e in events if e.n <= verdict.events]
    row = summarise(events)
    trouble = verdict.sentences[0] if verdict.bad else ""
    head = verdict.head or (0, "")
    odd = row is None or trouble or verdict.torn or verdict.newer is not None or verdict.redacted
    return Glance(file, stamp, row, trouble, verdict.session, head[0], head[1], None if odd else gatherer.done())
