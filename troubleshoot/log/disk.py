"""The few calls to the operating system that a log is made of, so that a test can make each of them fail.

Every method raises OSError as the system does; nothing here is clever. POSIX only: locks are `flock`.
"""

from __future__ import annotations

import fcntl
import os
import stat
from typing import Protocol


class Disk(Protocol):
    """Files by descriptor, folders by path. Offsets and sizes in bytes."""

    def open(self, path: str, flags: int, mode: int) -> int: ...
    def close(self, fd: int) -> None: ...
    def lock(self, fd: int) -> None:
        """Take the file for this process until it ends or closes; BlockingIOError when somebody has it."""
        ...

    def regular_size(self, fd: int) -> int | None:
        """Size of an ordinary file; None for a folder, pipe or device."""
        ...

    def read(self, fd: int, length: int, offset: int) -> bytes: ...
    def write(self, fd: int, data: bytes) -> int:
        """One write; how many bytes went."""
        ...

    def fsync(self, fd: int) -> None: ...
    def truncate(self, fd: int, length: int) -> None: ...
    def chmod(self, fd: int, mode: int) -> None: ...
    def remove(self, path: str) -> None: ...
    def make_folder(self, path: str, mode: int) -> None: ...
    def fsync_folder(self, path: str) -> None:
        """Make the names in a folder last through a power cut."""
        ...


class RealDisk:
    """The operating system itself."""

    def open(self, path: str, flags: int, mode: int) -> int:
        return os.open(path, flags | os.O_CLOEXEC, mode)

    def close(self, fd: int) -> None:
        os.close(fd)

    def lock(self, fd: int) -> None:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def regular_size(self, fd: int) -> int | None:
        found = os.fstat(fd)
        return found.st_size if stat.S_ISREG(found.st_mode) else None

    def read(self, fd: int, length: int, offset: int) -> bytes:
        return os.pread(fd, length, offset)

    def write(self, fd: int, data: bytes) -> int:
        return os.write(fd, data)

    def fsync(self, fd: int) -> None:
        os.fsync(fd)

    def truncate(self, fd: int, length: int) -> None:
        os.ftruncate(fd, length)

    def chmod(self, fd: int, mode: int) -> None:
        os.fchmod(fd, mode)

    def remove(self, path: str) -> None:
        os.unlink(path)

    def make_folder(self, path: str, mode: int) -> None:
        os.mkdir(path, mode)
        os.chmod(path, mode)  # mkdir lets the umask take bits away, even the owner's own

    def fsync_folder(self, path: str) -> None:
        fd = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
