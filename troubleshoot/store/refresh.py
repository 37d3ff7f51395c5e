"""Making an index agree with the logs: only what changed is read, unless all of it is wanted."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from troubleshoot.log.verify import session_of
from troubleshoot.store.index import Index
from troubleshoot.store.scan import Glance, Stamp, glance, logs_of, path_of, stamp_of
from troubleshoot.store.tables import plain

_SLICE: Final = 20
"""Logs that are read before somebody else gets a turn."""
_PART: Final = 2000
"""Logs that are put in together: what is lost when a rebuilding is cut short."""


@dataclass(frozen=True, slots=True)
class Stale:
    """What of a plant the index does not know, or not as it is now."""

    changed: dict[str, tuple[Path, Stamp]]
    gone: tuple[str, ...]
    logs: int
    """How many there are."""


@dataclass(frozen=True, slots=True)
class Refreshed:
    """What a refreshing did."""

    logs: int
    read: int
    events: int
    gone: int


def stale(index: Index, plant: Path) -> Stale:
    """Compare sizes and times. Raises IndexTrouble."""
    there, known = logs_of(plant), index.stamps()
    changed = {file: found for file, found in there.items() if known.get(file) != found[1]}
    return Stale(changed, tuple(sorted(known.keys() - there.keys())), len(there))


def refresh(
    index: Index, plant: Path, *, everything: bool = False, told: Callable[[int, int], object] | None = None
) -> Refreshed:
    """Read every log that changed (or everything), with what was anchored of it. Raises IndexTrouble.

    told: is called with how many logs are read and how many are to be.
    """
    work = refreshing(index, plant, everything=everything)
    while True:
        try:
            done, of = next(work)
        except StopIteration as end:
            result: Refreshed = end.value
            return result
        if told is not None:
            told(done, of)


def refreshing(index: Index, plant: Path, *, everything: bool = False) -> Generator[tuple[int, int], None, Refreshed]:
    """The same in short slices: after each, how many logs are read and how many are to be."""
    if everything:
        index.empty()
    to_do = stale(index, plant)
    anchors = index.anchors() if to_do.changed else {}
    by_session = {anchor.session: anchor for anchor in anchors.values()}
    files = sorted(to_do.changed)
    events = 0
    for begin in range(0, len(files), _PART):
        read: list[Glance] = []
        for file in files[begin : begin + _PART]:
            path, stamp = to_do.changed[file]
            # A copy or a log of another name is held to what was seen of its session: a short copy is no new log.
            anchor = anchors.get(file) or (by_session.get(plain(session_of(path))) if by_session else None)
            read.append(glance(file, path, stamp, anchor))
            events += read[-1].events
            if len(read) % _SLICE == 0:
                yield begin + len(read), len(files)
        index.put(read)
    if to_do.gone:
        index.put([], to_do.gone)
    return Refreshed(to_do.logs, len(files), events, len(to_do.gone))


def refresh_one(index: Index, plant: Path, file: str) -> Glance | None:
    """The same for one log; None where it is not there. Raises IndexTrouble."""
    found = logs_of_one(plant, file)
    if found is None:
        index.put([], [file])
        return None
    path, stamp = found
    seen = glance(file, path, stamp, index.anchor(session_of(path), file))
    index.put([seen])
    return seen


def logs_of_one(plant: Path, file: str) -> tuple[Path, Stamp] | None:
    """A log of a plant by its key."""
    path = path_of(plant, file)
    try:
        stat = path.lstat()
    except OSError:
        return None
    return path, stamp_of(stat)
