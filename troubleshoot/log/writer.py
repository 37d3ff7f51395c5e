"""A log on a disk: an event is on it for good before `append` returns, or the person is told that it is not."""

from __future__ import annotations

import errno
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

from troubleshoot.log.disk import Disk
from troubleshoot.log.event import LONGEST_LINE, Event, line_of
from troubleshoot.log.holder import unsay_holder
from troubleshoot.log.next import Next
from troubleshoot.log.privacy import PRIVATE_FILE, make_private
from troubleshoot.log.verify import Verdict
from troubleshoot.text.showing import show


@dataclass(frozen=True, slots=True)
class NotSaved:
    """The event is not in the log. What was answered stays with the caller."""

    words: str
    """One sentence for the person."""
    again: bool
    """Whether trying again on this log can succeed (space may return); otherwise another folder is needed."""


class Log(Protocol):
    """What a job needs of a log, with a disk or without (`MemoryLog`)."""

    @property
    def recorded(self) -> bool:
        """False: nothing is kept, and every screen has to say NOT RECORDED."""
        ...

    @property
    def events(self) -> tuple[Event, ...]: ...
    @property
    def head(self) -> tuple[int, str] | None:
        """Number and hash of the newest event; the number is what a screen shows as saved."""
        ...

    @property
    def idle_ms(self) -> int:
        """Milliseconds since the newest event, by the clock that goes on while the machine sleeps."""
        ...

    @property
    def verdict(self) -> Verdict:
        """What was found when it was opened."""
        ...

    @property
    def notices(self) -> tuple[str, ...]:
        """What the person should hear about this log, one sentence each."""
        ...

    def append(self, kind: str, data: Mapping[str, Any]) -> Event | NotSaved: ...
    def close(self) -> None: ...


class LogFile:
    """A log that is open. Made by `open_log`; holds the lock on the file until it is closed or the process ends."""

    recorded = True

    def __init__(
        self,
        path: str,
        fd: int,
        disk: Disk,
        events: list[Event],
        verdict: Verdict,
        following: Next,
        size: int,
        notices: list[str],
    ) -> None:
        self._path = path
        self._name = show(Path(path).name)
        self._fd: int | None = fd
        self._disk = disk
        self._events = events
        self._as_tuple: tuple[Event, ...] | None = None
        self._verdict = verdict
        self._next = following
        self._size = size
        """Bytes of the events that are on the disk for good."""
        self._notices = notices
        self._torn = verdict.torn
        """A torn tail that is still in the file."""
        self._trimmed = True
        """Whether the file ends where `_size` says, as far as we did anything to it."""
        self._dead: str | None = self._why_read_only()

    @property
    def path(self) -> str:
        return self._path

    @property
    def read_only(self) -> bool:
        return self._why_read_only() is not None

    @property
    def events(self) -> tuple[Event, ...]:
        if self._as_tuple is None:
            self._as_tuple = tuple(self._events)
        return self._as_tuple

    @property
    def head(self) -> tuple[int, str] | None:
        return (self._events[-1].n, self._events[-1].hash) if self._events else None

    @property
    def idle_ms(self) -> int:
        return self._next.idle_ms()

    @property
    def verdict(self) -> Verdict:
        return self._verdict

    @property
    def notices(self) -> tuple[str, ...]:
        return tuple(self._notices)

    def append(self, kind: str, data: Mapping[str, Any]) -> Event | NotSaved:
        """Put one event on the disk: written in one piece and synced when this returns it.

        A `clock` event goes before it when the wall clock was set back. Raises TypeError or ValueError for data that no
        log can hold (see `make_event`).
        """
        if self._dead:
            return NotSaved(self._dead, again=False)
        for event in self._next.events(kind, data):
            line = line_of(event)
            if len(line) > LONGEST_LINE:
                return NotSaved(f"NOT saved: it is longer than a log can hold ({LONGEST_LINE} bytes).", again=False)
            if problem := self._put(line):
                return problem
            self._next.is_kept(event)
            self._events.append(event)
            self._as_tuple = None
        return self._events[-1]

    def __enter__(self) -> LogFile:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give up the lock. Everything appended is on the disk already."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
            self._dead = self._dead or "NOT saved: the log is closed."
            if not self.read_only:
                unsay_holder(self._path)
            try:
                self._disk.close(fd)
            except OSError:  # nothing waits to be written
                return

    def _why_read_only(self) -> str | None:
        if self._verdict.bad:
            return f"NOT saved: the log {self._name} does not verify and is not added to. {self._verdict.sentences[0]}"
        if self._verdict.newer is not None:
            return f"NOT saved: the log {self._name} was begun by a newer program and is only read here."
        return None

    def _put(self, line: bytes) -> NotSaved | None:
        """Write and sync one line, or leave the file as it was and say why not."""
        assert self._fd is not None
        try:
            if problem := self._ready():
                return problem
            self._trimmed = False
            written = self._disk.write(self._fd, line)
            if written != len(line):
                raise OSError(errno.ENOSPC, "no space for the whole line")
            self._disk.fsync(self._fd)
        except OSError as error:
            if error.errno in _NOT_ALLOWED and self._trimmed:  # nothing of this line was written
                return NotSaved(f"NOT saved: {reason_of(error)}. Answer again when that is mended.", again=True)
            if error.errno not in _NO_SPACE:
                return self._die(error)
            # Everything before this line was synced by itself, so cutting the line off again puts the file back to
            # where it was, also when it was the sync that found no space.
            try:
                if not self._trimmed:
                    self._disk.truncate(self._fd, self._size)
                    self._disk.fsync(self._fd)
                    self._trimmed = True
            except OSError as worse:
                if worse.errno not in _NO_SPACE:
                    return self._die(worse)
            return NotSaved("NOT saved: the disk is full. Make space, then answer again.", again=True)
        self._size += len(line)
        self._trimmed = True
        return None

    def _ready(self) -> NotSaved | None:
        """Make the file end where the last good event ends. Raises OSError."""
        assert self._fd is not None
        if self._torn:
            self._keep_torn(self._torn.offset, self._torn.length)
            self._disk.truncate(self._fd, self._size)
            self._disk.fsync(self._fd)
            self._torn = None
        if not self._trimmed:
            self._disk.truncate(self._fd, self._size)
            self._trimmed = True
        if self._disk.regular_size(self._fd) != self._size:
            self._dead = f"NOT saved: something else has changed the log {self._name} while it was open."
            return NotSaved(self._dead, again=False)
        return None

    def _keep_torn(self, offset: int, length: int) -> None:
        """Copy the torn bytes into a file beside the log, once."""
        assert self._fd is not None
        number = 1
        while True:
            beside = f"{self._path}.torn-{number}"
            try:
                fd = self._disk.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, PRIVATE_FILE)
                break
            except FileExistsError:
                number += 1
        try:
            make_private(fd, self._disk)
            while length:
                piece = self._disk.read(self._fd, min(length, LONGEST_LINE), offset)
                if not piece:
                    raise OSError(errno.EIO, "the torn line cannot be read back")
                if self._disk.write(fd, piece) != len(piece):
                    raise OSError(errno.ENOSPC, "no space for the torn line")
                offset, length = offset + len(piece), length - len(piece)
            self._disk.fsync(fd)
        except OSError:
            # A part of it would look like all of it; the next try begins anew.
            self._disk.remove(beside)
            raise
        finally:
            self._disk.close(fd)
        self._disk.fsync_folder(str(Path(self._path).absolute().parent))
        self._notices.append(f"The torn line was put aside in {show(Path(beside).name)}.")

    def _die(self, error: OSError) -> NotSaved:
        """After such an error nothing the system says about this descriptor can be believed: no event is ever
        acknowledged on it again, not even when the next sync returns, for Linux reports a lost page only once."""
        assert self._fd is not None
        if not self._trimmed:
            # Only so that a later reader is less likely to meet an event that was called not saved.
            with suppress(OSError):
                self._disk.truncate(self._fd, self._size)
        self._dead = (
            f"NOT saved: the disk failed ({reason_of(error)}). Nothing more goes to this log; choose another folder."
        )
        return NotSaved(self._dead, again=False)


_NOT_ALLOWED: Final = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})
_NO_SPACE: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def reason_of(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
