"""Disks that fail on purpose, over the real one in a folder of the test."""

from __future__ import annotations

import errno
import os
from contextlib import suppress
from itertools import takewhile
from pathlib import Path

from troubleshoot.log.disk import RealDisk


class CountingDisk(RealDisk):
    """Numbers its calls from 1 and asks `on_call` before each; a subclass fails there."""

    def __init__(self) -> None:
        self.calls: list[str] = []

    def on_call(self, name: str) -> None:
        self.calls.append(name)

    def open(self, path, flags, mode):
        self.on_call("open")
        return super().open(path, flags, mode)

    def lock(self, fd):
        self.on_call("lock")
        super().lock(fd)

    def regular_size(self, fd):
        self.on_call("size")
        return super().regular_size(fd)

    def read(self, fd, length, offset):
        self.on_call("read")
        return super().read(fd, length, offset)

    def write(self, fd, data):
        self.on_call("write")
        return super().write(fd, data)

    def fsync(self, fd):
        self.on_call("fsync")
        super().fsync(fd)

    def truncate(self, fd, length):
        self.on_call("truncate")
        super().truncate(fd, length)

    def chmod(self, fd, mode):
        self.on_call("chmod")
        super().chmod(fd, mode)

    def remove(self, path):
        self.on_call("remove")
        super().remove(path)

    def make_folder(self, path, mode):
        self.on_call("make_folder")
        super().make_folder(path, mode)

    def fsync_folder(self, path):
        self.on_call("fsync_folder")
        super().fsync_folder(path)


class FailingDisk(CountingDisk):
    """The call with number `at` fails; it and, when `for_ever`, every later one of the same name."""

    def __init__(self, at: int, code: int = errno.EIO, *, for_ever: bool = False) -> None:
        super().__init__()
        self.at, self.code, self.for_ever, self.failed = at, code, for_ever, ""

    def on_call(self, name: str) -> None:
        super().on_call(name)
        if len(self.calls) == self.at:
            self.failed = name
        elif not (self.for_ever and name == self.failed):
            return
        raise OSError(self.code, os.strerror(self.code))


class FullDisk(CountingDisk):
    """Takes `space` bytes more; a write across the end is cut short, one at the end refused."""

    def __init__(self, space: int, *, late: bool = False) -> None:
        super().__init__()
        self.space, self.late, self.over = space, late, False

    def write(self, fd, data):
        self.on_call("write")
        if self.late:  # as on a network drive: the write is taken, the sync says there was no space
            self.over = len(data) > self.space
            self.space -= 0 if self.over else len(data)
            return os.write(fd, data)
        if self.space <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        went = os.write(fd, data[: self.space])
        self.space -= went
        return went

    def fsync(self, fd):
        self.on_call("fsync")
        if self.over:
            self.over = False
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(fd)

    def truncate(self, fd, length):
        self.on_call("truncate")
        self.space += os.fstat(fd).st_size - length if not self.late else 0
        os.ftruncate(fd, length)


class PowerCut(Exception):
    """The machine went dark."""


class CutDisk(CountingDisk):
    """Goes dark before call `at`, and knows what was on the platter then: names synced, bytes synced."""

    def __init__(self, at: int) -> None:
        super().__init__()
        self.at = at
        self.descriptors: dict[int, Path] = {}
        self.names: set[str] = set()
        self.bytes: dict[int, bytes] = {}

    def on_call(self, name: str) -> None:
        super().on_call(name)
        if len(self.calls) >= self.at:
            raise PowerCut

    def fsync(self, fd):
        super().fsync(fd)
        self.bytes[os.fstat(fd).st_ino] = self.descriptors[fd].read_bytes()

    def fsync_folder(self, path):
        super().fsync_folder(path)
        self.names |= {str(child) for child in Path(path).iterdir()}

    def open(self, path, flags, mode):
        fd = super().open(path, flags, mode)
        self.descriptors[fd] = Path(path)
        return fd

    def go_dark(self) -> None:
        """All processes are gone, and their locks with them."""
        for fd in self.descriptors:
            with suppress(OSError):
                os.close(fd)

    def after_the_cut(self, folder: Path, lost: str) -> None:
        """Make the files what they are when the power is back; `lost` says what became of unsynced bytes."""
        for file in folder.iterdir():
            inode, now = file.stat().st_ino, file.read_bytes()
            synced = self.bytes.get(inode, b"")
            if lost == "names" and str(file) not in self.names:
                file.unlink()
                continue
            if now == synced:
                continue
            # A cut back that was not synced may come back; then there is nothing to lose but what follows it.
            same = sum(takewhile(bool, (a == b for a, b in zip(now, synced, strict=False))))
            fresh = max(len(now), len(synced)) - same
            match lost:
                case "all" | "names":
                    left = synced
                case "half":
                    left = now[: same + fresh // 2]
                case "read as NULs":
                    left = now[:same] + bytes(len(now) - same)
                case "first sector":
                    edge = -(-(same + 1) // 512) * 512
                    left = now[:same] + bytes(min(len(now), edge) - same) + now[edge:]
                case "nothing":
                    left = now
            file.write_bytes(left)
