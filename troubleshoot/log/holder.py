"""Who has a log open, in a file beside it, for whoever comes second.

It is a courtesy: the lock is on the log, so nothing depends on what this file says, on its being there or on its being left
behind by a kill.
"""

from __future__ import annotations

import json
import os
from datetime import datetime

from troubleshoot.log.clock import Clock
from troubleshoot.log.disk import Disk, RealDisk
from troubleshoot.log.event import canonical, stamp
from troubleshoot.log.privacy import PRIVATE_FILE
from troubleshoot.text.showing import show


def _holder_file(path: str) -> str:
    return f"{path}.open"


def say_holder(path: str, who: str, clock: Clock) -> None:
    text = canonical({"pid": os.getpid(), "since": stamp(clock.wall()), "who": who})
    flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
    try:
        fd = os.open(_holder_file(path), flags, PRIVATE_FILE)
    except OSError:
        return
    try:
        os.fchmod(fd, PRIVATE_FILE)
        os.write(fd, text.encode())
    except OSError:
        return
    finally:
        os.close(fd)


def unsay_holder(path: str) -> None:
    try:
        os.unlink(_holder_file(path))
    except OSError:
        return


def is_held(path: str, disk: Disk | None = None) -> bool:
    """Whether another copy of this program has a log open for writing now. False also where nobody can tell."""
    try:
        fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return False
    try:
        (disk or RealDisk()).lock(fd)
    except BlockingIOError:
        return True
    except OSError:
        return False
    finally:
        os.close(fd)  # and the lock with it
    return False


def held_by(path: str) -> str:
    try:
        fd = os.open(_holder_file(path), os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return "another copy of this program has it"
    try:
        found = json.loads(os.read(fd, 4096))
        since = f"{datetime.fromisoformat(str(found['since'])):%d %b %H:%M}"
        return f"{show(str(found['who']))} has it since {since} (process {int(found['pid'])})"
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return "another copy of this program has it"
    finally:
        os.close(fd)
