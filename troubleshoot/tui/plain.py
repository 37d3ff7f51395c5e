"""The same sheets as sentences and lines: for serial lines, screen readers, pipes and scripts.

Nothing is drawn, moved or coloured. A line of one live character is that key; any other line is words; ``?`` lists the
keys; an empty line repeats the sheet. It ends with ``q``, at the end of the input, or when the job is done.
"""

from __future__ import annotations

import contextlib
import os
import select
import sys
import threading
import time
from collections.abc import Callable
from typing import TextIO

from troubleshoot.job.runner import Runner
from troubleshoot.job.sheet import Line, LiveKey, Role, Sheet, Typed
from troubleshoot.tui import answering
from troubleshoot.tui.gate import CAUTION_READ_S
from troubleshoot.tui.glyphs import fit
from troubleshoot.tui.terminal import Glyphs

WIDTH, HEIGHT = 78, 24
_SAY_BUSY_AFTER_S = 1.0


class LineMode:
    """One conversation. `source` and `out` are text streams; `now` a steady clock in seconds, `wait` sleeps."""

    def __init__(
        self,
        runner: Runner,
        source: TextIO,
        out: TextIO,
        *,
        talking: bool,
        now: Callable[[], float] = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self._runner = runner
        self._source = source
        self._out = out
        self._talking = talking
        """Whether a person sits there: then there is a prompt, and typing ahead of a caution is thrown away."""
        self._now = now
        self._wait = wait
        self._fits = fit(Glyphs.ASCII)
        self._sheet: Sheet | None = None
        self._printed_at = 0.0
        self._printed: frozenset[tuple[int, str]] = frozenset()

    def run(self) -> None:
        """Until the person leaves, the input ends or the job is done."""
        self._print(self._runner.sheet(WIDTH, HEIGHT), whole=True)
        while True:
            sheet = self._long_work()
            if sheet.done:
                return
            line = self._read()
            if line is None:
                return
            if answering.leaves(sheet, line):
                kept = sheet.leaving or "everything up to here is kept"
                self._say(f"Left. {kept[:1].upper()}{kept[1:]}.")
                return
            self._answer(sheet, line)

    # --------------------------------------------------------------------------------------------------------- said

    def _answer(self, sheet: Sheet, line: str) -> None:
        if line == "?":
            self._help(sheet)
            return
        said = answering.sent(sheet, line, drawn_ms=self._drawn_ms(sheet, line))
        if said is None:
            self._print(sheet, whole=True)
            return
        if isinstance(said, Typed) and not answering.takes_typing(sheet):
            self._explain(sheet, said.text)
            return
        slow = threading.Timer(_SAY_BUSY_AFTER_S, self._say_busy)
        slow.daemon = True
        slow.start()
        try:
            self._runner.give(said)
            after = self._runner.sheet(WIDTH, HEIGHT)  # what comes next is worked out here, and may take seconds too
        except OSError as error:
            self._say(self._fits(answering.not_saved(error)))
            return
        finally:
            slow.cancel()
        self._print(after, whole=False)

    def _explain(self, sheet: Sheet, text: str) -> None:
        if sheet.needs_caution:
            self._say(
                f"Nothing can be typed before the caution is read: {sheet.frame.caution} on a line of its own says so."
            )
        else:
            self._say(f"Nothing can be typed now ({self._fits(text[:20])}). A key, or ? for all keys.")

    def _drawn_ms(self, sheet: Sheet, line: str) -> int:
        """Since when the sheet has been there. In a pipe nobody reads, but the caution is still given its moment."""
        since = self._now() - self._printed_at
        if not self._talking and answering.accepts_caution(sheet, line) and since < CAUTION_READ_S:
            self._wait(CAUTION_READ_S - since + 0.005)
            since = self._now() - self._printed_at
        return int(since * 1000)

    def _long_work(self) -> Sheet:
        """Let the runner work while nothing has been typed; print what changed by it."""
        worked = False
        while not self._typed_already() and self._runner.pump():
            worked = True
        if worked or self._sheet is None:
            sheet = self._runner.sheet(WIDTH, HEIGHT)
            if sheet != self._sheet:
                self._print(sheet, whole=False)
        assert self._sheet is not None
        return self._sheet

    def _typed_already(self) -> bool:
        if not self._talking:
            return False
        try:
            return bool(select.select([self._source], [], [], 0)[0])
        except (OSError, ValueError):
            return False

    # ------------------------------------------------------------------------------------------------------- reading

    def _read(self) -> str | None:
        """One line, cut to what may be taken; None at the end of the input."""
        if self._talking:
            self._write("> ")
        limit = answering.PASTE_LIMIT
        raw = self._source.readline(limit + 1)
        if not raw:
            return None
        rest = raw
        while not rest.endswith("\n") and (rest := self._source.readline(65536)):
            pass
        line, cut = answering.capped(raw)
        if cut or rest is not raw:
            self._say(f"Only the first {limit} bytes of that line were taken.")
        return line

    # ------------------------------------------------------------------------------------------------------ printing

    def _print(self, sheet: Sheet, *, whole: bool) -> None:
        """The sheet; when the question is the same as before only what is new on it."""
        before = self._sheet
        same = before is not None and before.id == sheet.id and (before.needs_caution or not sheet.needs_caution)
        rows = frozenset(_counted(sheet.lines))
        fresh = [
            line
            for line, counted in zip(sheet.lines, _counted(sheet.lines), strict=True)
            if whole or not same or counted not in self._printed
        ]
        out: list[str] = []
        if whole or not same:
            out += ["", self._fits(sheet.title.strip()) + "."]
        first = (Role.CAUTION, Role.DANGER)
        fresh.sort(key=lambda line: line.role not in first)
        out += [self._row(line) for line in fresh if line.text.strip()]
        if whole or before is None or self._ways(sheet) != self._ways(before):
            out += self._ways(sheet)
        out.append(f"Saved {sheet.saved}.")
        if sheet.done:
            out.append("Done.")
        if sheet.needs_caution and not same:
            self._throw_away_typed_ahead()
        self._say("\n".join(out))
        if not same:
            self._printed_at = self._now()
        self._sheet, self._printed = sheet, rows

    def _row(self, line: Line) -> str:
        if line.role is Role.FACE:
            # A drawing read aloud or sent down a serial line is noise: one light a row.
            return "\n".join(self._fits(part.words) for part in line.parts)
        text = self._fits(line.text).rstrip()
        if line.key and not text.lstrip().lstrip("[").startswith(line.key):
            return f"{answering.named(line.key)}: {text.strip()}"
        return text

    def _ways(self, sheet: Sheet) -> list[str]:
        """What can be typed now, in sentences."""
        out: list[str] = []
        if sheet.entry and sheet.entry.locked:
            out.append(f"Locked: {self._fits(sheet.entry.prompt)}.")
        elif sheet.entry:
            like = f", like {self._fits(sheet.entry.example)}" if sheet.entry.example else ""
            out.append(f"Type: {self._fits(sheet.entry.prompt)}{like}.")
        keys = ", ".join(f"{self._key(key)} {self._fits(key.label)}" for key in answering.shown_keys(sheet))
        out.append(f"Keys: {keys}.")
        return out

    def _key(self, key: LiveKey) -> str:
        return self._fits(answering.named(key.key))

    def _help(self, sheet: Sheet) -> None:
        keys = answering.listed_keys(sheet)
        self._say("\n".join(f"{self._key(key)}: {self._fits(key.does)}." for key in keys))

    def _say_busy(self) -> None:
        words = self._runner.busy() or "what comes next"
        with contextlib.suppress(OSError, ValueError):
            self._say(f"Working: {self._fits(words)} ...")

    def _throw_away_typed_ahead(self) -> None:
        if not self._talking:
            return
        with contextlib.suppress(ImportError, OSError, ValueError):
            import termios

            termios.tcflush(self._source.fileno(), termios.TCIFLUSH)

    def _say(self, text: str) -> None:
        self._write(text + "\n")

    def _write(self, text: str) -> None:
        self._out.write(text)
        self._out.flush()


def _counted(lines: tuple[Line, ...]) -> list[tuple[int, str]]:
    """Each row with how many equal ones stood above it, so that a second equal row is news."""
    seen: dict[str, int] = {}
    out: list[tuple[int, str]] = []
    for line in lines:
        seen[line.text] = seen.get(line.text, 0) + 1
        out.append((seen[line.text], line.text))
    return out


def run_plain(runner: Runner, source: TextIO, out: TextIO, *, talking: bool) -> int:
    """Hold the conversation and close the runner. Exit code 0; 130 after Ctrl-C.

    A reader that has gone away is an end like any other: everything is on disk already.
    """
    try:
        LineMode(runner, source, out, talking=talking).run()
    except BrokenPipeError:
        pass
    except KeyboardInterrupt:
        return 130
    finally:
        runner.close()
    return 0


def run_on_this_terminal(runner: Runner) -> int:
    """Line mode over standard input and output."""
    for stream in (sys.stdin, sys.stdout):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    if sys.stdin is None or sys.stdout is None:
        runner.close()
        return 0
    code = run_plain(runner, sys.stdin, sys.stdout, talking=sys.stdin.isatty() and sys.stdout.isatty())
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        # Python flushes once more at the end and would complain about the reader that has gone.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return code
