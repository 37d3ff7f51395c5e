"""Opening a log to write it: made where there is none, refused with words where it is open elsewhere or cannot be used."""

from __future__ import annotations

import errno
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from troubleshoot.log.clock import Clock, SystemClock
from troubleshoot.log.disk import Disk, RealDisk
from troubleshoot.log.event import Event, line_of
from troubleshoot.log.holder import held_by, say_holder
from troubleshoot.log.next import Next
from troubleshoot.log.privacy import PRIVATE_FILE, PRIVATE_FOLDER, make_private
from troubleshoot.log.verify import scan
from troubleshoot.log.writer import LogFile, reason_of
from troubleshoot.text.showing import show


@dataclass(frozen=True, slots=True)
class CannotOpen:
    """There is no log to write; one sentence why."""

    words: str


def open_log(
    path: str | os.PathLike[str],
    *,
    session: str,
    version: str,
    who: str,
    clock: Clock | None = None,
    disk: Disk | None = None,
) -> LogFile | CannotOpen:
    """Open the log at `path` for writing and make it, with its folders, if it is not there.

    session: name of the session; for a log that exists it must agree with event 1, or be empty to take what is there.
    version: of this program. It goes into event 1 with `session` and `who`; later events do not repeat them.
    A log that does not verify, or that a newer program began, is opened too, but takes nothing: see `LogFile.verdict`.
    """
    clock, disk = clock or SystemClock(), disk or RealDisk()
    where, name = os.fspath(path), show(Path(path).name)
    notices: list[str] = []
    try:
        _make_folders(Path(where).absolute().parent, disk)
        fd, _ = _open_or_make(where, disk)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        return CannotOpen(f"The log {name} cannot be opened for writing: {reason_of(error)}.")
    try:
        if disk.regular_size(fd) is None:
            disk.close(fd)
            return CannotOpen(f"The log {name} is not an ordinary file.")
        disk.lock(fd)
        if not make_private(fd, disk):
            notices.append("This drive cannot keep the log private: others who use it can read it.")
        # Also for a file that was there: who made it may have been killed before this.
        disk.fsync_folder(str(Path(where).absolute().parent))
        events: list[Event] = []
        verdict = scan(disk, fd, events)
        size = verdict.torn.offset if verdict.torn else disk.regular_size(fd) or 0
    except BlockingIOError:
        disk.close(fd)
        return CannotOpen(f"The log {name} is already open: {held_by(where)}.")
    except OSError as error:
        disk.close(fd)
        return CannotOpen(f"The log {name} cannot be used: {reason_of(error)}.")
    if session and events and verdict.session != session:
        disk.close(fd)
        return CannotOpen(f"The log {name} is of session {show(verdict.session)}, not of {show(session)}.")
    if not session and not events and verdict.whole:
        disk.close(fd)
        return CannotOpen(f"The log {name} is empty, and a new one needs the name of its session.")
    notices += [s for s in verdict.sentences if verdict.torn and "torn" in s]
    first = events[0] if events else None
    following = Next(
        session=verdict.session if first else session,
        version=verdict.version if first else version,
        who=who,
        clock=clock,
        last=events[-1] if events else None,
    )
    log = LogFile(where, fd, disk, events, verdict, following, size, notices)
    if log.read_only:
        log.close()
    else:
        say_holder(where, who, clock)
    return log


def continue_log(
    events: Sequence[Event],
    path: str | os.PathLike[str],
    *,
    version: str,
    who: str,
    clock: Clock | None = None,
    disk: Disk | None = None,
) -> LogFile | CannotOpen:
    """Go on with a session in a new file, for when the disk under the first one failed (`NotSaved` without `again`).

    events: all that were acknowledged, from number 1. The new file is the same log, byte for byte, up to there.
    """
    disk = disk or RealDisk()
    where, name = os.fspath(path), show(Path(path).name)
    try:
        _make_folders(Path(where).absolute().parent, disk)
        fd, made = _open_or_make(where, disk)
    except (OSError, ValueError) as error:
        return CannotOpen(f"The log {name} cannot be opened for writing: {reason_of(error)}.")
    try:
        if not made:
            return CannotOpen(f"There is a file {name} already; the session needs a new one.")
        whole = b"".join(line_of(event) for event in events)
        disk.lock(fd)
        if disk.write(fd, whole) != len(whole):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        disk.fsync(fd)
    except OSError as error:
        with suppress(OSError):
            disk.remove(where)
        return CannotOpen(f"The log {name} cannot be used: {reason_of(error)}.")
    finally:
        disk.close(fd)
    session = str(events[0].data["session"]) if events else ""
    return open_log(path, session=session, version=version, who=who, clock=clock, disk=disk)


def _make_folders(folder: Path, disk: Disk) -> None:
    """The missing folders down to `folder`, private and lasting. Those that exist keep their mode: others own them."""
    missing = [f for f in (folder, *folder.parents) if not f.exists()]
    for made in reversed(missing):
        try:
            disk.make_folder(str(made), PRIVATE_FOLDER)
        except FileExistsError:  # another copy was quicker
            continue
        disk.fsync_folder(str(made.parent))


def _open_or_make(path: str, disk: Disk) -> tuple[int, bool]:
    # A link could lead anywhere, and a pipe without a reader would keep us waiting.
    flags = os.O_RDWR | os.O_APPEND | os.O_NOFOLLOW | os.O_NONBLOCK
    try:
        return disk.open(path, flags | os.O_CREAT | os.O_EXCL, PRIVATE_FILE), True
    except FileExistsError:
        return disk.open(path, flags, PRIVATE_FILE), False
