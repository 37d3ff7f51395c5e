"""Which logs are meant, read back; and writing to one of them."""

from __future__ import annotations

import re
from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from troubleshoot import __version__
from troubleshoot.cli.data import plant_folder
from troubleshoot.cli.index_on_disk import anchor_of, freshening, gone_logs
from troubleshoot.cli.machines_on_disk import jobs_folder, machine_files, open_desk, who_works
from troubleshoot.cli.signers import keys_here
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.log.redaction import Texts
    from troubleshoot.log.writer import LogFile
    from troubleshoot.review.reading import InTable, ReadBack
    from troubleshoot.store.row import JobRow
    from troubleshoot.store.scan import Anchor
    from troubleshoot.store.written import Written

PLANT = "plant"
"""What stands for every log of the plant folder."""
_SLICE = 20
"""Logs that are looked at before somebody else gets a turn."""


def logs_of(words: Sequence[str]) -> list[Path]:
    """The files that are meant: a log, a folder of a machine, a machine by name, a log by name, or the whole plant.

    Raises click.UsageError with the nearest name.
    """
    found: dict[Path, None] = {}
    for word in words or (PLANT,):
        for path in _meant(word):
            found[path] = None
    return list(found)


def _meant(word: str) -> list[Path]:
    path = Path(word)
    if word == PLANT:  # a folder of that name is meant by ./plant
        return [*_in(plant_folder(), "*/jobs/*.jsonl"), *sorted(gone_logs())]
    if path.is_file():
        return [path]
    if path.is_dir():
        return _in(path, "*.jsonl") or _in(path, "jobs/*.jsonl") or _in(path, "*/jobs/*.jsonl")
    if re.fullmatch(r"[^/\\]+", word) and word not in (".", ".."):
        by_name = {log.stem: log for log in _in(plant_folder(), "*/jobs/*.jsonl")}
        if word in by_name:
            return [by_name[word]]
        if word in machine_files() or jobs_folder(word).is_dir():
            away = [path for path in sorted(gone_logs()) if path.parent == jobs_folder(word)]
            return [*_in(jobs_folder(word), "*.jsonl"), *away]
        near = nearest(word, [*by_name, *machine_files(), PLANT])
        raise click.UsageError(f"no log and no machine {show(word)!r}" + (f" (nearest: {near})" if near else ""))
    raise click.UsageError(f"{show(word)} is not there")


def _in(folder: Path, pattern: str) -> list[Path]:
    return sorted(folder.glob(pattern)) if folder.is_dir() else []


def since_of(text: str | None) -> datetime | None:
    """``2026-11-23`` or ``7 d`` as the moment from which jobs count. Raises click.UsageError."""
    if text is None:
        return None
    if days := re.fullmatch(r"\s*([0-9]{1,5})\s*d(ays?)?\s*", text):
        return datetime.now().astimezone() - timedelta(days=int(days[1]))
    try:
        return datetime.fromisoformat(text.strip()).astimezone()
    except ValueError:
        raise click.UsageError(
            f"{show(text)!r} is neither a day like 2026-11-23 nor a number of days like 7 d"
        ) from None


def read_one(path: Path, texts: Texts | None = None) -> ReadBack:
    """One log read back, as far as the index knows it: an anchor that it kept counts. Never fails for what the file holds."""
    from troubleshoot.log.verify import session_of

    # Where the index cannot be asked the log is simply not anchored, and its page says so.
    return _read(path, anchor_of(path, session_of(path))[0], texts)


def _read(path: Path, anchor: Anchor | None, texts: Texts | None = None) -> ReadBack:
    from troubleshoot.log.verify import gone_with, read_events
    from troubleshoot.review.reading import read_back

    if anchor is not None and not path.exists():
        return read_back(show(path.name), (), gone_with(anchor.session, anchor.n), keys_here())
    events, verdict = read_events(path, head=(anchor.n, anchor.hash) if anchor is not None else None, texts=texts)
    return read_back(show(path.name), events, verdict, keys_here())


def read_many(paths: Sequence[Path], since: datetime | None) -> tuple[list[tuple[Path, ReadBack]], tuple[JobRow, ...]]:
    """The jobs from a moment on, oldest first, each log read whole, with their files; and the rows of those before. What
    cannot be read stays in: a supervisor must see it."""
    return _parted([(path, read_one(path)) for path in paths], since)


@dataclass(frozen=True, slots=True)
class TableRead:
    """What the table of a review is made of."""

    shown: list[tuple[Path, InTable]]
    """The jobs from a moment on, oldest first."""
    earlier: tuple[JobRow, ...]
    """Rows of the jobs before."""
    notices: tuple[str, ...]
    """What the person must hear of the index."""


def table_of(paths: Sequence[Path], since: datetime | None) -> Generator[tuple[int, int], None, TableRead]:
    """The table over these logs, in short slices: after each, how many logs were looked at, of how many.

    A log that the index has read as it is now, whole and as anchored, is not read again; every other one is, and whole.
    """
    from troubleshoot.log.verify import session_of
    from troubleshoot.review.reading import in_table
    from troubleshoot.store.index import IndexTrouble
    from troubleshoot.store.scan import key_of
    from troubleshoot.store.tables import plain

    index, notices = yield from freshening()
    plant = plant_folder().absolute()
    known: Mapping[str, tuple[JobRow, Written]] = {}
    anchors: Mapping[str, Anchor] = {}
    try:
        known, anchors = index.table(), index.anchors()
    except IndexTrouble as trouble:
        notices = (*notices, f"{trouble}.")
    by_session = {anchor.session: anchor for anchor in anchors.values()}
    keys = keys_here()
    found: list[tuple[Path, InTable]] = []
    for done, path in enumerate(paths):
        there = path.absolute()
        file = key_of(plant, there) if there.is_relative_to(plant) else ""
        if (kept := known.get(file)) is not None and path.exists():
            one = in_table(show(path.name), *kept, keys)
        else:
            one = _read(path, anchors.get(file) or by_session.get(plain(session_of(path))))
        found.append((path, one))
        if done % _SLICE == 0:
            yield done, len(paths)
    return TableRead(*_parted(found, since), notices)


Read = TypeVar("Read", bound="InTable")


def _parted(
    found: list[tuple[Path, Read]], since: datetime | None
) -> tuple[list[tuple[Path, Read]], tuple[JobRow, ...]]:
    shown: list[tuple[Path, Read]] = []
    earlier: list[JobRow] = []
    for path, one in found:
        if one.row is not None and since is not None and datetime.fromisoformat(one.row.started) < since:
            earlier.append(one.row)
        else:
            shown.append((path, one))
    shown.sort(key=lambda pair: datetime.fromisoformat(pair[1].row.started).timestamp() if pair[1].row else 0.0)
    return shown, tuple(earlier)


def desk_of(machine: str) -> Desk | None:
    """Everything computed of a machine; None where it is not described here or does not read."""
    if machine not in machine_files():
        return None
    try:
        return open_desk(machine)
    except (click.exceptions.Exit, click.UsageError):
        return None  # its problems went to stderr


def write_back(path: Path, kind: str, data: Mapping[str, Any]) -> int:
    """Put an event at the end of a log; returns its number. Raises OSError with words where it cannot be."""
    from troubleshoot.log.writer import NotSaved

    with _opened(path) as log:
        done = log.append(kind, data)
    if isinstance(done, NotSaved):
        raise OSError(done.words)
    return done.n


def _opened(path: Path) -> LogFile:
    """A log to be written back to. Raises OSError where it does not verify or is not as the index last saw it: what was
    written behind a cut would make the shorter log look like the whole one."""
    from troubleshoot.log.opening import CannotOpen, open_log
    from troubleshoot.log.verify import session_of, verify

    # Where the index cannot be asked the log is simply not anchored, as its page says.
    anchor, _ = anchor_of(path, session_of(path))
    if anchor is not None and not (verdict := verify(path, head=(anchor.n, anchor.hash))).whole:
        raise OSError(f"Nothing is written to a log that does not hold. {verdict.sentences[0]}")
    log = open_log(path, session="", version=__version__, who=who_works())
    if isinstance(log, CannotOpen):
        raise OSError(log.words)
    return log


def countersign(path: Path, key_file: str, words: str, who: str = "") -> str:
    """Countersign a log with a key; the sentence to show. who: as whom somebody is at the keys, otherwise `who_works`. Raises
    OSError or ValueError with words."""
    from troubleshoot.cli.signers import open_key, other_key
    from troubleshoot.log.clock import SystemClock
    from troubleshoot.log.event import stamp
    from troubleshoot.log.writer import NotSaved
    from troubleshoot.review.signing import KIND, check, refusal, sign

    key = open_key(key_file)
    with _opened(path) as log:
        if log.read_only:
            raise OSError(f"Nothing is countersigned that does not verify. {log.verdict.sentences[0]}")
        if wrong := next((s.words for s in check(log.events, keys_here()) if s.wrong), ""):
            raise OSError(f"A countersignature in this log does not hold, so none is put beside it. {wrong}")
        if no := other_key(key):
            raise OSError(f"Nothing is signed with this key: {no}")
        if no := refusal(log.events, key.name, who or who_works()):
            raise OSError(no)
        assert log.head is not None
        data = sign(key, words, log.verdict.session, log.head, stamp(SystemClock().wall()))
        done = log.append(KIND, data)
    if isinstance(done, NotSaved):
        raise OSError(done.words)
    return f"Countersigned by {show(key.name)} up to event {data['head']}; it is event {done.n}."
