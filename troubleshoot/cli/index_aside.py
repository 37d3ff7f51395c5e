"""The index asked in a process of its own, so that no job holds the library of a database.

That library is 13 MB and 0.2 s of processor; a job asks for the machine's past when it begins and tells what it has written
now and then. ``python -m troubleshoot.cli.index_aside`` answers each JSON line on its stdin with one: ``{"past": MACHINE}``
with how often each repair group was confirmed, ``{"grown": PATH}`` with the words of what went wrong, or none, ``{"open": ""}``
with the jobs that are open. It ends when its stdin does, so it never outlives whoever started it.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

PATIENCE_S: Final = 30.0
"""How long an answer may take before the process is given up: the index itself gives a database two seconds, the rest is a busy
machine."""


class Aside:
    """A process that holds the index, working already; nothing here raises because of it."""

    def __init__(self) -> None:
        self._child: subprocess.Popen[bytes] | None = None
        with contextlib.suppress(OSError):
            # A session of its own: Ctrl-C and Ctrl-Z are meant for the screen.
            self._child = subprocess.Popen(
                [sys.executable, "-m", "troubleshoot.cli.index_aside"],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True,
            )  # fmt: skip

    def ask(self, question: Mapping[str, str], patience_s: float | None = PATIENCE_S) -> Any:
        """The answer to one question; None where there is none, or none in so many seconds."""
        child = self._child
        if child is None or child.stdin is None or child.stdout is None:
            return None
        late = threading.Timer(patience_s or 0.0, child.kill)
        late.daemon = True
        if patience_s is not None:
            late.start()
        try:
            child.stdin.write(json.dumps(question).encode() + b"\n")
            child.stdin.flush()
            return json.loads(child.stdout.readline())
        except (OSError, ValueError):  # it has ended, before the answer or in the middle of it
            return None
        finally:
            late.cancel()

    def close(self) -> None:
        """Let go of it, whatever it is at."""
        child, self._child = self._child, None
        if child is None:
            return
        child.kill()
        for pipe in (child.stdin, child.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        child.wait()


def main() -> int:
    """Answer until stdin ends."""
    from troubleshoot.cli.index_on_disk import open_rows, own_past, tell_of

    for line in sys.stdin:
        match json.loads(line):
            case {"past": str(machine)}:
                answer: object = dict(own_past(machine))
            case {"grown": str(path)}:
                answer = tell_of(Path(path))
            case {"open": _}:
                rows, notices = open_rows()
                answer = {"rows": [(file, row.plain(), trouble) for file, row, trouble in rows], "notices": notices}
            case _:
                return 2
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
