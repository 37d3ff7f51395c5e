"""Writing a report to the disk: a new file, whole or not at all, readable by its owner alone, and never through a link."""

from __future__ import annotations

import errno
import os
import secrets
import stat
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.report.blocks import Report

FORMS: Final = ("html", "pdf", "csv", "json")
"""What a report can be written as."""
_MODE = 0o600
_NO_LINKS = frozenset({errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EMLINK, errno.ENOSYS})
"""What a drive answers that knows no hard links."""


class NotWritten(Exception):
    """Nothing was written; one sentence why."""


def write_new(path: Path, content: bytes, *, force: bool = False) -> None:
    """Put `content` into a file of mode 0600 and on the disk for good. Raises NotWritten.

    force: an ordinary file of that name is replaced; anything else never is, and a link is never followed.
    """
    name, shown = path.name, show(str(path))
    if name in ("", ".", ".."):
        raise NotWritten(f"{shown} is no name for a file.")
    try:
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    except OSError as error:
        raise NotWritten(f"{show(str(path.parent))} is no folder to write to: {error.strerror}.") from None
    beside = f".{secrets.token_hex(8)}.part"
    try:
        _may(folder, name, shown, force=force)
        fd = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, _MODE, dir_fd=folder)
        with os.fdopen(fd, "wb") as file:
            with suppress(PermissionError, NotImplementedError):  # a stick knows no modes
                os.fchmod(file.fileno(), _MODE)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        _name(folder, beside, name, shown, force=force)
        os.fsync(folder)
    except OSError as error:
        raise NotWritten(f"{shown} was not written: {error.strerror}.") from None
    finally:
        with suppress(OSError):
            os.unlink(beside, dir_fd=folder)
        os.close(folder)


def _may(folder: int, name: str, shown: str, *, force: bool) -> None:
    try:
        there = os.stat(name, dir_fd=folder, follow_symlinks=False)
    except FileNotFoundError:
        return
    if stat.S_ISLNK(there.st_mode):
        raise NotWritten(f"{shown} is a link; nothing is written through it or in its place.")
    if not stat.S_ISREG(there.st_mode):
        raise NotWritten(f"{shown} is there already and is no ordinary file.")
    if not force:
        raise NotWritten(f"{shown} is there already; --force replaces it.")


def _name(folder: int, beside: str, name: str, shown: str, *, force: bool) -> None:
    """Give the finished file its name, in one step."""
    if force:
        # Should somebody put a link there meanwhile, it is the link that is replaced, not what it leads to.
        os.rename(beside, name, src_dir_fd=folder, dst_dir_fd=folder)
        return
    try:
        # A rename would replace what somebody put there meanwhile; a second name for the file does not.
        os.link(beside, name, src_dir_fd=folder, dst_dir_fd=folder, follow_symlinks=False)
    except FileExistsError:
        raise NotWritten(f"{shown} is there already; --force replaces it.") from None
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        _may(folder, name, shown, force=False)
        os.rename(beside, name, src_dir_fd=folder, dst_dir_fd=folder)


def form_of(output: Path, form: str | None = None, more: str = "") -> str:
    """The form that a file is written in: as asked for, else as its ending says. Raises click.UsageError; more: its end."""
    chosen = form or output.suffix.removeprefix(".").casefold()
    if chosen not in FORMS:
        raise click.UsageError(f"{show(str(output))} ends in none of {', '.join(FORMS)}{more}")
    return chosen


def formed(report: Report, form: str) -> bytes:
    """A report in one of the `FORMS`. Raises click.UsageError where it cannot be made here."""
    match form:
        case "html":
            from troubleshoot.report.html import as_html

            return as_html(report).encode("utf-8")
        case "csv":
            from troubleshoot.report.cells import as_csv

            return as_csv(report)
        case "json":
            from troubleshoot.report.data import as_json

            return as_json(report).encode("utf-8")
        case _:
            from troubleshoot.report.pages import NoTypesetter, as_pdf

            try:
                return as_pdf(report)
            except NoTypesetter as no:
                raise click.UsageError(str(no)) from None
