"""The runner behind the review screen: the week in one table, one job read back, and writing back to it.

What is written back is on the disk before it is shown. How the suspicion moved is worked out in between, one event at a
time, while the rest can be read already.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Input, Pressed, Role, Sheet, Typed
from troubleshoot.review import job_pages, table_page
from troubleshoot.review.actions import close, comment
from troubleshoot.review.job_pages import SHOWN_ACTIONS, Opened
from troubleshoot.review.reading import ReadBack
from troubleshoot.review.table_page import ROWS, Jobs, Page, in_reach
from troubleshoot.store.written import CLOSED, COMMENT
from troubleshoot.text.names import flaw_in_name
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk


@dataclass(frozen=True, slots=True)
class Shelf:
    """What the review needs of the disk; the edge (cli) fills it in."""

    jobs: Callable[[], Generator[tuple[int, int], None, Jobs]]
    """Finds the jobs in short slices: after each, how many logs were looked at, of how many."""
    again: Callable[[str], ReadBack]
    """One of them, read again after something was written."""
    desk: Callable[[str], Desk | None]
    write: Callable[[str, str, Mapping[str, Any]], int]
    """(handle, kind, data) to the number of the event; raises OSError with words."""
    sign: Callable[[str, str, str, str], str]
    """(handle, key file, passphrase, who is at the keys) to a sentence; raises OSError or ValueError with words."""
    who: str
    """Who is logged in, or said who they are."""
    said: bool = True
    """They said it themselves; otherwise whoever writes back is asked for their name, once."""


class ReviewSession:
    """Implements `job.runner.Runner`."""

    def __init__(self, shelf: Shelf, *, at: str = "", back: Callable[[], None] | None = None) -> None:
        """at: handle of a job to open straight away; back: goes to where the review was entered from."""
        self._shelf = shelf
        self._back = back
        self._jobs = Jobs(())
        # One job that is opened straight away needs no table.
        self._reading = shelf.jobs() if not at else None
        self._open: Opened | None = None
        self._older = 0
        """How many pages of the table lie between the newest jobs and those that are shown."""
        self._panel = ""
        self._key_file = ""
        self._who = shelf.who if shelf.said else ""
        """Who writes back in this sitting; empty until they have said so."""
        self._wants = ""
        """The panel that waits for that name."""
        self._echo = ""
        self._turn = 0
        self._busy = ""
        self._only = bool(at)
        if at:
            self._show(at)

    # ---------------------------------------------------------------------------------------------------- the runner

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        pen = Pen(width)
        if self._echo:
            # First, for a job that is read back is often longer than the screen.
            pen.put(self._echo, Role.ECHO)
        title, entry, keys = self._table(pen) if self._open is None else self._job_page(pen, self._open)
        if self._who and self._reading is None:
            title = f"{title}  as {show(self._who)}"
        head = self._open.one.verdict.head if self._open is not None else None
        return Sheet(self._id(), title, tuple(pen.lines), keys, entry, head[0] if head else 0)

    def give(self, said: Input) -> None:
        """See `Runner.give`."""
        if said.sheet != self._id():
            return
        self._turn += 1
        self._echo = ""
        if self._open is None:
            self._table_given(said)
        elif isinstance(said, Typed):
            self._typed(self._open, said.text.strip())
        else:
            self._pressed(self._open, said.key)

    def busy(self) -> str:
        """See `Runner.busy`."""
        return self._busy

    def pump(self) -> bool:
        """Read the logs of the table, some at a time; then work out how the suspicion moved in the job that is open, one
        event at a time."""
        if self._reading is not None:
            self._read_on(self._reading)
            return True
        job = self._open
        if job is None or job.one.row is None:
            return False
        if not job.asked:
            self._busy = f"reading {job.one.row.machine} to say what should have been"
            try:
                job.desk, job.asked = self._shelf.desk(job.one.row.machine), True
                job.still = job.one.movements(job.desk)
            finally:
                self._busy = ""
            return True
        if job.still is None:
            return False
        found = next(job.still, None)
        if found is None:
            job.still = None
            return False
        job.moved.append(found)
        return True

    def _read_on(self, reading: Generator[tuple[int, int], None, Jobs]) -> None:
        try:
            done, of = next(reading)
            self._busy = f"reading the logs: {done} of {of}"
        except StopIteration as end:
            self._jobs = end.value
            self._reading, self._busy = None, ""
            self._turn += 1

    def close(self) -> None:
        """See `Runner.close`. No log stays open between two answers."""

    # ----------------------------------------------------------------------------------------------------- the table

    def _id(self) -> str:
        where = f"{self._open.handle} {self._panel}" if self._open is not None else self._panel
        return f"review {where} {self._turn}"

    def _table(self, pen: Pen) -> Page:
        if self._panel == "todo":
            return table_page.to_do(pen, self._jobs)
        if self._reading is not None:
            return table_page.reading(pen, self._back is not None)
        return table_page.table(pen, self._jobs, self._older, self._back is not None)

    def _table_given(self, said: Input) -> None:
        if not isinstance(said, Pressed):
            return
        if said.key == "escape":
            if self._panel:
                self._panel = ""
            elif self._back is not None:
                self._back()
        elif self._panel or self._reading is not None:
            return
        elif said.key == "y":
            self._panel = "todo"
        elif said.key == "0":
            self._older = self._older + 1 if (self._older + 1) * len(ROWS) < len(self._jobs.shown) else 0
        elif said.key in ROWS and ROWS.index(said.key) < len(in_reach(self._jobs.shown, self._older)):
            self._show(in_reach(self._jobs.shown, self._older)[ROWS.index(said.key)][0])

    def _show(self, handle: str) -> None:
        self._open = Opened(handle, self._shelf.again(handle))
        self._panel = ""

    # ------------------------------------------------------------------------------------------------------- one job

    def _job_page(self, pen: Pen, job: Opened) -> Page:
        match self._panel:
            case "happened" | "standing out":
                return job_pages.happened(pen, job, self._panel == "standing out")
            case "name":
                return job_pages.naming(pen, job, self._shelf.who)
            case "comment":
                return job_pages.commenting(pen, job)
            case "close":
                return job_pages.closing(pen, job)
            case "sign":
                return job_pages.signing(pen, job, self._who, self._key_file)
            case _:
                return job_pages.outcome(pen, job, not self._only or self._back is not None)

    # --------------------------------------------------------------------------------------------------------- given

    def _pressed(self, job: Opened, key: str) -> None:
        if key == "escape":
            self._step_back()
        elif self._panel == "" and key in _BY_KEY:
            self._panel, self._key_file = _BY_KEY[key], ""
            if self._panel in _WRITES and not self._who:
                self._panel, self._wants = "name", self._panel
        elif self._panel == "name" and key == "1":
            self._named(self._shelf.who)
        elif key == "w" and self._panel in _OTHER:
            self._panel = _OTHER[self._panel]
        elif self._panel == "close":
            self._close(job, key, "")
        else:
            self._turn -= 1  # nothing was asked for: what else was typed on this sheet still counts

    def _step_back(self) -> None:
        if self._panel:
            self._panel = ""
        elif not self._only:
            self._open = None
        elif self._back is not None:
            self._back()

    def _named(self, name: str) -> None:
        name = " ".join(name.split())
        if flaw := flaw_in_name(name):
            self._echo = f"{show(name)!r} {flaw}"
            return
        self._who, self._panel = name, self._wants

    def _typed(self, job: Opened, text: str) -> None:
        match self._panel:
            case "name":
                self._named(text)
            case "comment":
                number, _, words = text.partition(" ")
                about = int(number) if number.isdigit() and words and 0 < int(number) <= len(job.one.events) else 0
                self._write(job, COMMENT, comment(self._who, words.strip() if about else text, about))
            case "close":
                key, _, note = text.partition(" ")
                self._close(job, key, note.strip())
            case "sign" if not self._key_file:
                self._key_file = text
            case "sign":
                try:
                    said = self._shelf.sign(job.handle, self._key_file, text, self._who)
                except (OSError, ValueError) as no:
                    self._key_file, self._echo = "", f"Not countersigned: {no}"
                    return
                self._read_again(job)
                self._panel, self._echo = "", said
            case _:
                self._turn -= 1

    def _close(self, job: Opened, key: str, note: str) -> None:
        still = [a for a in job.one.actions if a.open]
        place = SHOWN_ACTIONS.find(key)
        if not 0 <= place < len(still):
            self._echo = f"Nothing is open under {show(key)!r}."
            return
        if not note:
            self._echo = f"Type what was done about it too: {key} guard refitted. A close says nothing by itself."
            return
        self._write(job, CLOSED, close(still[place], self._who, note))

    def _write(self, job: Opened, kind: str, data: Mapping[str, Any]) -> None:
        try:
            n = self._shelf.write(job.handle, kind, data)
        except OSError:
            self._turn -= 1
            raise
        self._read_again(job)
        self._panel, self._echo = "", f"Saved as event {n}."

    def _read_again(self, job: Opened) -> None:
        job.one = self._shelf.again(job.handle)
        self._jobs = replace(
            self._jobs, shown=[(h, job.one if h == job.handle else one) for h, one in self._jobs.shown]
        )


_WRITES: Final = frozenset({"comment", "close", "sign"})
_OTHER: Final = {"happened": "standing out", "standing out": "happened"}
_BY_KEY: Final = {"h": "happened", "m": "comment", "k": "close", "g": "sign"}
