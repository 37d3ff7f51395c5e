"""Whether a log is whole: read in one stream, in constant memory, and the first thing wrong named in plain words."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from troubleshoot.log.disk import Disk, RealDisk
from troubleshoot.log.event import FORMAT, LONGEST_LINE, RESERVED, Event, freeze, genesis
from troubleshoot.log.line import OTHER_HASH, TOO_LONG, Wrong, parse, spelled_alike
from troubleshoot.log.redaction import Texts
from troubleshoot.log.unproved import NOT_VOUCHED, Unproved
from troubleshoot.text.showing import show

Keep = Callable[[dict[str, Any]], None]
"""Is given each good event, as it was read."""

SHORTEST_ANCHOR: Final = 16
"""Digits of a hash that an anchor needs at least; what fits on a printed page. 64 bits."""


@dataclass(frozen=True, slots=True)
class Bad:
    """The first line of a log that cannot be trusted."""

    line: int
    """From 1; 0 is the file itself. One past the last when the end is missing."""
    what: Wrong
    words: str


@dataclass(frozen=True, slots=True)
class Torn:
    """A last line that is not whole: a power cut or a kill before it was called saved, or damage after that. The file alone
    cannot tell which; an anchor beyond it can."""

    line: int
    offset: int
    """Where it begins, bytes from the start of the file."""
    length: int
    """Bytes, up to the end of the file."""
    words: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a reading of the whole log found."""

    events: int
    """How many are good, counted up to the first bad line."""
    head: tuple[int, str] | None
    """Number and hash of the last good one."""
    session: str
    version: str
    """Version of the program that began the log."""
    bad: Bad | None = None
    torn: Torn | None = None
    anchored: int | None = None
    """Number of the event that matched the anchor given; None is "not anchored"."""
    newer: int | None = None
    """Format of the log when it is one that this program does not know yet."""
    redacted: tuple[int, ...] = ()
    """Events out of which texts were taken, and whose other words are therefore vouched for, not proved."""
    restored: int = 0
    """Lines that agree with their own hash again once the texts taken out of them are put back."""

    @property
    def whole(self) -> bool:
        return self.bad is None

    @property
    def sentences(self) -> tuple[str, ...]:
        """The verdict for a person, most important first; safe to print."""
        said = []
        if self.bad:
            said.append(f"Line {self.bad.line}: {self.bad.words}." if self.bad.line else f"{self.bad.words}.")
            said.append(f"{_count(self.events)} before that verified." if self.events else "No event verified.")
        else:
            said.append(f"{_count(self.events)} verified." if self.events else "It is empty: no event is in it.")
        if self.torn:
            said.append(f"Line {self.torn.line}: {self.torn.words}.")
        if self.redacted:
            few = ", ".join(map(str, self.redacted[:8])) + (" ..." if len(self.redacted) > 8 else "")
            said.append(
                f"Texts were taken out of {_lines(len(self.redacted))} ({few}): "
                "what else these say is proved only with the file of what was taken out (--names)."
            )
        if self.restored:
            said.append(f"With what was taken out put back, {_lines(self.restored)} agree with their own hash.")
        if self.newer is not None:
            said.append(f"Written by a newer program (log format {self.newer}): read only.")
        if self.anchored is None and self.bad is None:
            said.append(
                "Not anchored: that the end is still there, and that all of it was not written anew, is not proved."
            )
        elif self.anchored is not None:
            said.append(f"Anchored up to event {self.anchored}.")
        return tuple(said)


def verify(
    path: str | os.PathLike[str],
    *,
    head: tuple[int, str] | None = None,
    texts: Texts | None = None,
    each: Keep | None = None,
) -> Verdict:
    """Read the log at `path` and say whether it is whole. Never raises for what the file holds or is.

    head: an anchor from outside the file, number of an event and its hash, or at least the first `SHORTEST_ANCHOR`
    digits of it (ValueError when shorter: a few digits prove nothing).
    texts: what was taken out of the log, to be put back while reading. each: as of `glimpse`; where nothing vouches for a
    redacted line it is also given some that the verdict does not count.
    """
    return _read(path, each, head, texts)


def read_events(
    path: str | os.PathLike[str], *, head: tuple[int, str] | None = None, texts: Texts | None = None
) -> tuple[tuple[Event, ...], Verdict]:
    """The events of a log up to the first bad line, and the verdict; as `verify`."""
    events: list[Event] = []
    verdict = _read(path, _freezing(events), head, texts)
    return tuple(events[: verdict.events]), verdict


def glimpse(path: str | os.PathLike[str], keep: Keep, *, head: tuple[int, str] | None = None) -> Verdict:
    """`verify`, and each good event is handed to `keep` on its way, as the JSON object that it is on the disk.

    For whoever reads thousands of logs: freezing an event costs several times what verifying it does. Where the disk
    fails in between, events were handed over that the verdict does not count.
    """
    return _read(path, keep, head, None)


def gone_with(session: str, events: int) -> Verdict:
    """The verdict over a log that is not there any more, and had so many events when it was last seen."""
    words = f"This log is gone; it had {_count(events)} when it was last seen"
    return Verdict(0, None, session, "", bad=Bad(0, Wrong.UNREADABLE, words))


def session_of(path: str | os.PathLike[str]) -> str:
    """The session that the first line of a file names, verified or not; empty where it names none. Never raises."""
    try:
        fd = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            first = os.pread(fd, LONGEST_LINE, 0).partition(b"\n")[0]
        finally:
            os.close(fd)
        session = json.loads(first)["session"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""
    return session if isinstance(session, str) else ""


def scan(disk: Disk, fd: int, keep: list[Event] | None, head: tuple[int, str] | None = None) -> Verdict:
    """`verify` over an open file; the good events are appended to `keep`. Raises OSError when the disk does."""
    verdict = _scan(lambda: _chunks(disk, fd), _freezing(keep), head, None)
    if keep is not None:
        del keep[verdict.events :]
    return verdict


def _freezing(keep: list[Event] | None) -> Keep | None:
    return None if keep is None else lambda found: keep.append(_event(found))


def _read(
    path: str | os.PathLike[str], keep: Keep | None, head: tuple[int, str] | None, texts: Texts | None
) -> Verdict:
    disk = RealDisk()
    try:
        # A pipe of that name would otherwise keep us waiting for a writer.
        fd = disk.open(os.fspath(path), os.O_RDONLY | os.O_NONBLOCK, 0)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        return _unreadable(f"{_name(path)} cannot be opened: {_reason(error)}")
    try:
        if disk.regular_size(fd) is None:
            return _unreadable(f"{_name(path)} is not an ordinary file")
        return _scan(lambda: _chunks(disk, fd), keep, head, texts)
    except OSError as error:
        return _unreadable(f"{_name(path)} cannot be read: {_reason(error)}")
    finally:
        disk.close(fd)


def _unreadable(words: str) -> Verdict:
    return Verdict(0, None, "", "", bad=Bad(0, Wrong.UNREADABLE, words))


def _name(path: str | os.PathLike[str]) -> str:
    return show(Path(path).name)


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


def _count(events: int) -> str:
    return f"{events} event" if events == 1 else f"{events} events"


def _lines(lines: int) -> str:
    return f"{lines} line" if lines == 1 else f"{lines} lines"


def _chunks(disk: Disk, fd: int) -> Iterator[bytes]:
    offset = 0
    while chunk := disk.read(fd, 1 << 16, offset):
        offset += len(chunk)
        yield chunk


def _scan(
    chunks: Callable[[], Iterator[bytes]], keep: Keep | None, head: tuple[int, str] | None, texts: Texts | None
) -> Verdict:
    if head is not None and len(head[1]) < SHORTEST_ANCHOR:
        raise ValueError(f"an anchor needs at least {SHORTEST_ANCHOR} digits of the hash")
    stream = chunks()
    good, offset, rest = 0, 0, b""
    prev = session = version = ""
    seen_at_anchor = ""
    newer: int | None = None
    bad: Bad | None = None
    torn: Torn | None = None
    unproved = Unproved(texts)
    for chunk in stream:
        block = rest + chunk
        alike = spelled_alike(block)
        lines = block.split(b"\n")
        rest = lines.pop()
        for place, line in enumerate(lines):
            parsed = parse(line, alike=alike)
            if parsed is OTHER_HASH:
                parsed = unproved.redacted(line, good, prev)
            if isinstance(parsed, dict):
                if good == 0:
                    first = _beginning(chunks, parsed)
                    if isinstance(first, Bad):
                        bad = first
                        break
                    session, version, newer, prev = first
                if parsed["prev"] != prev or parsed["n"] != good + 1:
                    bad = _misplaced(chunks, parsed, good + 1, prev)
                    break
            else:
                bad = Bad(good + 1, *parsed)
                last = place == len(lines) - 1 and not rest
                if last and _lost_sectors(line, offset) and next(stream, None) is None:
                    torn = _torn(good + 1, offset, len(line) + 1)
                    bad = None
                break
            good += 1
            prev = parsed["hash"]
            offset += len(line) + 1
            if parsed["kind"] == "redacted":
                unproved.met(parsed)
            if head is not None and good == head[0]:
                seen_at_anchor = prev
            if keep is not None:
                keep(parsed)
        if bad is None and torn is None and len(rest) >= LONGEST_LINE:
            bad = Bad(good + 1, *TOO_LONG)
        if bad or torn:
            break
    else:
        if rest:
            torn = _torn(good + 1, offset, len(rest))
    if bad is None and (without := unproved.first()) is not None:
        # Nothing later vouches for it: then it is a line like any other that was edited.
        good, prev = without
        bad = Bad(good + 1, *NOT_VOUCHED)
    anchored = None
    if head is not None and bad is None:
        if good < head[0]:
            how = "its last line is torn" if torn and good + 1 == head[0] else "the end was cut off"
            missing = f"event {head[0]} was anchored, but the log ends with event {good}: {how}"
            bad = Bad(good + 1, Wrong.CUT, missing)
        elif not seen_at_anchor.startswith(head[1].lower()):
            anew = f"event {head[0]} is not the one that was anchored: this line or one before it was written anew"
            bad = Bad(head[0], Wrong.NOT_AS_ANCHORED, anew)
        else:
            anchored = head[0]
    return Verdict(
        good, (good, prev) if good else None, session, version, bad, torn, anchored, newer, unproved.known(good),
        unproved.restored,
    )  # fmt: skip


def _event(found: dict[str, Any]) -> Event:
    data = freeze({key: value for key, value in found.items() if key not in RESERVED})
    assert not isinstance(data, str | int | float | tuple | None)
    return Event(found["n"], found["kind"], found["at"], found["elapsed_ms"], data, found["prev"], found["hash"])


def _beginning(chunks: Callable[[], Iterator[bytes]], found: dict[str, Any]) -> Bad | tuple[str, str, int | None, str]:
    """Session, version, format if newer, and what `prev` of the first line has to be."""
    if found["n"] != 1:
        for number, other in _lenient(chunks()):
            if other["n"] == 1:
                return Bad(1, Wrong.REORDERED, f"reordered: event 1 stands further down, in line {number}")
        return Bad(1, Wrong.CUT, f"the beginning is missing: the first line is event {found['n']}")
    session, version, written = found.get("session"), found.get("version"), found.get("format")
    if not (isinstance(session, str) and isinstance(version, str) and type(written) is int):
        return Bad(1, Wrong.EDITED, "edited: the first event does not say session, version and format")
    expected = genesis(session, version)
    if found["prev"] != expected:
        return Bad(1, Wrong.SPLICED, f"spliced: it is not the beginning of session {show(session)}")
    return session, version, written if written > FORMAT else None, expected


def _misplaced(chunks: Callable[[], Iterator[bytes]], found: dict[str, Any], line: int, prev: str) -> Bad:
    """Why a line that is good by itself is wrong where it stands. Reads the file once more."""
    earlier = true_one = 0
    follows_here = False
    for number, other in _lenient(chunks()):
        if number < line and other["hash"] == found["hash"]:
            earlier = number
        if number > line and not true_one and other["prev"] == prev and other["n"] == line:
            true_one = number
        follows_here = follows_here or other["hash"] == found["prev"]
    n, kept = found["n"], f"event {line}"
    if earlier:
        return Bad(line, Wrong.REPEATED, f"repeated: it is line {earlier} once more")
    if found["prev"] == prev:
        return Bad(line, Wrong.EDITED, f"edited: it says it is event {n} where {kept} has to be")
    if n == 1:
        whose = f"session {show(found['session'])}" if isinstance(found.get("session"), str) else "another session"
        return Bad(line, Wrong.SPLICED, f"spliced: {whose} begins here")
    if true_one and follows_here:
        return Bad(line, Wrong.REORDERED, f"reordered: {kept} stands further down, in line {true_one}")
    if true_one:
        return Bad(line, Wrong.SPLICED, f"spliced: it belongs to another session; {kept} follows in line {true_one}")
    if n > line:
        gone = kept if n == line + 1 else f"events {line} to {n - 1}"
        are = "is" if n == line + 1 else "are"
        return Bad(line, Wrong.CUT, f"cut: {gone} {are} missing before it")
    return Bad(
        line,
        Wrong.SPLICED,
        f"spliced: it does not follow line {line - 1}; it is of another session, or that line was rewritten",
    )


def _lenient(stream: Iterator[bytes]) -> Iterator[tuple[int, dict[str, Any]]]:
    """Every line that is good by itself, with its number."""
    number, rest = 0, b""
    for chunk in stream:
        lines = (rest + chunk).split(b"\n")
        rest = lines.pop()[: LONGEST_LINE + 1]
        for line in lines:
            number += 1
            parsed = parse(line)
            if parsed is OTHER_HASH:
                parsed = Unproved(None).redacted(line, 0, "")
            if isinstance(parsed, dict):
                yield number, parsed


def _lost_sectors(line: bytes, offset: int) -> bool:
    """Whether a last line is one that a power cut left behind: NULs, and only in whole sectors of the file.

    File systems that grow a file before its data are down read the gap as NULs. A flipped byte is no such gap.
    """
    gaps = [(gap.start(), gap.end()) for gap in _NULS.finditer(line)]
    return bool(gaps) and all(
        (start == 0 or (offset + start) % _SECTOR == 0) and (end == len(line) or (offset + end) % _SECTOR == 0)
        for start, end in gaps
    )


def _torn(line: int, offset: int, length: int) -> Torn:
    words = f"the last line is torn ({length} bytes of it are there): whether it had been saved is not known"
    return Torn(line, offset, length, words)


_NULS: Final = re.compile(rb"\0+")
_SECTOR: Final = 512

__all__ = [
    "SHORTEST_ANCHOR",
    "Bad",
    "Torn",
    "Verdict",
    "Wrong",
    "glimpse",
    "gone_with",
    "read_events",
    "scan",
    "session_of",
    "verify",
]
