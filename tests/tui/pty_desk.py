"""A program behind a real pseudo-terminal: bytes in, bytes out, signals, exit code."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

SCRIPT = Path(__file__).with_name("scripted.py")
ROOT = Path(__file__).resolve().parents[2]


class PtyDesk:
    """`args` run behind a terminal of `size`; everything it wrote is in `out`."""

    def __init__(self, args: list[str], *, size: tuple[int, int] = (80, 24), **env: str) -> None:
        self.out = b""
        kept = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME", "LANG")}
        given = {"PYTHONPATH": str(ROOT), "LANG": "C.UTF-8", **kept, **env}
        self.pid, self._fd = pty.fork()
        if self.pid == 0:
            # As a login would have it: whoever started the tests in the background had these ignored.
            for number in (signal.SIGINT, signal.SIGHUP, signal.SIGQUIT):
                signal.signal(number, signal.SIG_DFL)
            os.execve(args[0], args, given)
        self.resize(*size)

    def resize(self, width: int, height: int) -> None:
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGWINCH)

    def read(self, for_s: float = 0.05) -> bytes:
        """What it wrote during this time, or until it ended."""
        fresh = b""
        end = time.monotonic() + for_s
        while (left := end - time.monotonic()) > 0:
            if select.select([self._fd], [], [], left)[0]:
                try:
                    chunk = os.read(self._fd, 65536)
                except OSError:
                    break
                if not chunk:
                    break
                fresh += chunk
        self.out += fresh
        return fresh

    def until(self, words: str, *, within_s: float = 60.0, since: int = 0) -> None:
        """Wait until `words` were written, after the first `since` bytes."""
        end = time.monotonic() + within_s
        while words.encode() not in self.out[since:]:
            if time.monotonic() > end:
                raise AssertionError(f"{words!r} was not written within {within_s} s: {self.out[-2000:]!r}")
            self.read(0.05)

    def type(self, keys: str) -> int:
        """Type; returns how much had been written before."""
        before = len(self.out)
        os.write(self._fd, keys.encode())
        return before

    def kill(self, number: int) -> None:
        os.kill(self.pid, number)

    def hang_up(self) -> None:
        """The window was closed, the line went dead."""
        os.close(self._fd)
        self._fd = -1

    def ended(self, *, within_s: float = 60.0) -> int:
        """Exit code, or minus the signal that killed it."""
        end = time.monotonic() + within_s
        while time.monotonic() < end:
            if self._fd >= 0:
                self.read(0.02)
            else:
                time.sleep(0.02)
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                return os.waitstatus_to_exitcode(status)
        raise AssertionError("it did not end")

    def close(self) -> None:
        with contextlib.suppress(ProcessLookupError, ChildProcessError):
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)
        if self._fd >= 0:
            os.close(self._fd)


@contextlib.contextmanager
def scripted(*args: str, size: tuple[int, int] = (80, 24), **env: str) -> Iterator[PtyDesk]:
    """The scripted job at a terminal."""
    desk = PtyDesk([sys.executable, str(SCRIPT), *args], size=size, **env)
    try:
        yield desk
    finally:
        desk.close()


_SEQUENCE = re.compile(rb"\x1b\[([0-9;:]*)m|\x1b\[[0-?]*[ -/]*[@-~]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[@-_]")


def painted(out: bytes) -> Iterator[tuple[str, str, str, bool]]:
    """Every piece of text with the foreground, background and reverse it was written in (`default` where none)."""
    fore, back, reverse = "default", "default", False
    place = 0
    for found in _SEQUENCE.finditer(out):
        if text := out[place : found.start()].decode("utf-8", "replace").strip():
            yield text, fore, back, reverse
        place = found.end()
        if found[1] is not None:
            fore, back, reverse = _styled(found[1].decode(), fore, back, reverse)


def _styled(codes: str, fore: str, back: str, reverse: bool) -> tuple[str, str, bool]:
    numbers = [int(part or 0) for part in re.split("[;:]", codes)]
    while numbers:
        n = numbers.pop(0)
        if n == 0:
            fore, back, reverse = "default", "default", False
        elif n in (38, 48):
            shade = tuple(numbers[: 2 if numbers[0] == 5 else 4])
            del numbers[: len(shade)]
            fore, back = (str(shade), back) if n == 38 else (fore, str(shade))
        elif 30 <= n <= 37 or 90 <= n <= 97:
            fore = str(n)
        elif 40 <= n <= 47 or 100 <= n <= 107:
            back = str(n - 10)
        elif n == 39:
            fore = "default"
        elif n == 49:
            back = "default"
        elif n in (7, 27):
            reverse = n == 7
    return fore, back, reverse
