"""Checking again whenever a file changes, until Ctrl-C."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from pathlib import Path

import click

from troubleshoot.cli.say import complain

_EVERY_S = 0.4
"""Polled, not asked of the system: a stick or a share from another machine tells nothing of its changes."""


def watch(places: Callable[[], Iterable[Path]], check: Callable[[], int]) -> int:
    """Run `check` now and after every change of a file in the folders of `places`; Ctrl-C ends with its last answer.

    A file that cannot be read just now (an editor is putting the new one in its place) is an answer of 2 like any other.
    """
    seen: object = None
    code = 0
    try:
        while True:
            now = _stamps(places)
            if now != seen:
                seen, code = now, _answer(check)
                complain(f"-- {time.strftime('%H:%M:%S')}; watching, Ctrl-C ends")
            time.sleep(_EVERY_S)
    except KeyboardInterrupt:
        complain("")
        return code


def _answer(check: Callable[[], int]) -> int:
    try:
        return check()
    except click.ClickException as error:
        complain(error.format_message())
    except click.exceptions.Exit as error:
        return error.exit_code
    except OSError as error:
        complain(f"{error.filename or ''}: {error.strerror}")
    return 2


def _stamps(places: Callable[[], Iterable[Path]]) -> object:
    """Name, time and size of every file beside those watched: a program lies in the folder of its circuit."""
    found = []
    try:
        for folder in sorted({path.resolve().parent for path in places()}):
            for path in folder.iterdir():
                stat = path.stat()
                found.append((str(path), stat.st_mtime_ns, stat.st_size))
    except (OSError, click.ClickException):
        return tuple(found)  # half of a folder: what is missing counts as changed the next time
    return tuple(sorted(found))
