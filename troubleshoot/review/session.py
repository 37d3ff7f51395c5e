"""The runner behind the review screen: the week in one table, one job read back, and writing back to it.

What is written back is on the disk before it is shown. How the suspicion moved is worked out in between, one event at a
time, while the rest can be read already.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.job.keys import KEYS
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, Input, LiveKey, Pressed, Role, Sheet, Typed
from troubleshoot.report.blocks import Moment, Timeline, Tone
from troubleshoot.report.text import lines_of
from troubleshoot.review.actions import close, comment
from troubleshoot.review.before_signing import before_signing
from troubleshoot.review.expecting import Moved
from troubleshoot.review.page import CHANGED, departures_of, facts_of, job_report, unknown_words
from troubleshoot.review.reading import InTable, ReadBack
from troubleshoot.review.signing import SHARED, refusal
from troubleshoot.review.week import (
    COLUMNS,
    down_again,
    mended_since,
    open_actions,
    open_by_job,
    repeats,
    row_cells,
    worth_a_word,
)
from troubleshoot.store.written import CLOSED, COMMENT
from troubleshoot.text.names import flaw_in_name
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.store.row import JobRow

ROWS: Final = "123456789abdfgijlmnoprstuvxz"
"""Keys of the rows of the table, without those that do something else on it."""
BACK: Final = KEYS["back"].live
SHOWN_ACTIONS: Final = "123456789abdfgijlmnoprstuvxz"


@dataclass(frozen=True, slots=True)
class Jobs:
    """What the table is made of."""

    shown: Sequence[tuple[str, InTable]]
    """Every job to be shown, with a handle, oldest first."""
    earlier: Sequence[JobRow] = ()
    """Rows of the jobs before them."""
    notices: Sequence[str] = ()
    """What the person must hear of the index."""


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


@dataclass
class _Job:
    """The job that is open, and what was worked out of it."""

    handle: str
    one: ReadBack
    moved: list[Moved] = field(default_factory=list)
    still: Iterator[Moved] | None = None
    desk: Desk | None = None
    asked: bool = False
    """Whether the machine was looked for."""


class ReviewSession:
    """Implements `job.runner.Runner`."""

    def __init__(self, shelf: Shelf, *, at: str = "", back: Callable[[], None] | None = None) -> None:
        """at: handle of a job to open straight away; back: goes to where the review was entered from."""
        self._shelf = shelf
        self._back = back
        self._jobs: Sequence[tuple[str, InTable]] = ()
        self._earlier: Sequence[JobRow] = ()
        self._notices: Sequence[str] = ()
        # One job that is opened straight away needs no table.
        self._reading = shelf.jobs() if not at else None
        self._open: _Job | None = None
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
        if self._open is None:
            title, entry, keys = self._table(pen)
        else:
            title, entry, keys = _PANELS[self._panel](self, pen, self._open)
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
            found: Jobs = end.value
            self._jobs, self._earlier, self._notices = found.shown, found.earlier, found.notices
            self._reading, self._busy = None, ""
            self._turn += 1

    def close(self) -> None:
        """See `Runner.close`. No log stays open between two answers."""

    # ----------------------------------------------------------------------------------------------------- the table

    def _id(self) -> str:
        where = f"{self._open.handle} {self._panel}" if self._open is not None else self._panel
        return f"review {where} {self._turn}"

    def _table(self, pen: Pen) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        ones = [one for _, one in self._jobs]
        if self._panel == "todo":
            return self._todo(pen, ones)
        if self._reading is not None:
            pen.put("Reading the logs. Those that the index knows as they are now are not read again.", Role.TASK)
            return "REVIEW  reading", None, (BACK,) if self._back is not None else ()
        for words in self._notices:
            pen.put(show(words), Role.NOTE)
        pen.put("Jobs read back, oldest first. Press the key of a row to open it.", Role.TASK)
        keys = []
        if not ones:
            pen.put("No job is on record here yet.", Role.NOTE)
        for key, (_, one) in zip(ROWS, self._in_reach, strict=False):
            cells = dict(zip(COLUMNS, row_cells(one), strict=True))
            bad = f"{one.doubt}. " if one.doubt else ""
            pen.put(f"{key}  {bad}{cells['machine']}  {cells['down']}  {cells['found']}", Role.ROW,
                    key=key, indent="   ")  # fmt: skip
            if one.row is not None:
                signed = "unsigned" if cells["signed"] == "no" else f"signed: {cells['signed']}"
                departures = "no departures" if cells["departures"] == "none" else f"departures: {cells['departures']}"
                part = "no part" if cells["part"] == "none" else f"part {cells['part']}"
                sure = "nothing mended" if cells["confirmed"] == "-" else cells["confirmed"]
                proof = cells["proved"].removesuffix(" checks")
                proved = {"-": "not proved yet", "no": "NOT proved"}.get(proof, f"proved {proof}")
                pen.put(
                    f"   {sure}, {part}; {proved}; open: {cells['left open']}; {departures}; {signed}",
                    Role.NOTE, key=key, indent="   ",
                )  # fmt: skip
            keys.append(LiveKey(key, "open", f"opens {one.name}", shown=False))
        if len(ones) > len(ROWS):
            last = len(ones) - self._older * len(ROWS)
            pen.put(f"Jobs {max(1, last - len(ROWS) + 1)} to {last} of {len(ones)}; 0 shows older ones.", Role.NOTE)
            keys.append(LiveKey("0", "older", "shows the jobs before these; after the oldest the newest again"))
        pen.put("~ when the job began: nobody said when it stopped.", Role.NOTE)
        todo = len(list(open_actions(ones)))
        keys.append(LiveKey("y", f"yours: {todo}", "what is left for you to do, what repeats, what is worth a word"))
        if self._back is not None:
            keys.append(BACK)
        return f"REVIEW  {len(ones)} jobs", None, tuple(keys)

    @property
    def _in_reach(self) -> Sequence[tuple[str, InTable]]:
        """As many jobs as there are keys: the newest, or older ones."""
        last = len(self._jobs) - self._older * len(ROWS)
        return self._jobs[max(0, last - len(ROWS)) : last]

    def _todo(self, pen: Pen, ones: Sequence[InTable]) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        pen.put("Yours to do. Open the job to close one.", Role.TASK)
        asked = [words for _, words in mended_since(ones, self._earlier)]
        parts = (
            ("", list(open_by_job(ones)), "Nothing is left open."),
            *([("Mended since", asked, "")] if asked else []),
            ("The same again within 90 days", list(repeats(ones, self._earlier)), "Nothing was mended twice."),
            ("Down again within 7 days", list(down_again(ones, self._earlier)), "No machine was down twice."),
            ("Worth a word", list(worth_a_word(ones)), "Nothing."),
        )
        for title, rows, empty in parts:
            if title:
                pen.put(title, Role.TASK)
            for row in rows:
                pen.put(f" - {show(row)}", Role.ROW, indent="   ")
            if not rows:
                pen.put(f"   {empty}", Role.NOTE)
        return "REVIEW  yours to do", None, (BACK,)

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
            self._older = self._older + 1 if (self._older + 1) * len(ROWS) < len(self._jobs) else 0
        elif said.key in ROWS and ROWS.index(said.key) < len(self._in_reach):
            self._show(self._in_reach[ROWS.index(said.key)][0])

    def _show(self, handle: str) -> None:
        self._open = _Job(handle, self._shelf.again(handle))
        self._panel = ""

    # ------------------------------------------------------------------------------------------------------- one job

    def _outcome(self, pen: Pen, job: _Job) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        one = job.one
        banner = one.banner()
        for words, tone in banner:
            if tone is Tone.BAD:
                pen.put(show(words), Role.DANGER, indent="   ")
        if job.desk is not None and one.expecting(job.desk).changed:
            pen.put(CHANGED, Role.TASK)
        if one.row is None:
            pen.put("There is no job in this log, or none that can be trusted.", Role.DANGER)
        else:
            # First what asks for something: the page may be longer than the screen.
            for words in departures_of(one.row):
                pen.put(f"departure    {show(words)}", Role.TASK, indent=" " * 13)
        for action in sorted(one.actions, key=lambda a: not a.open):
            by = f" ({action.standing}: {action.note or 'no word'})" if action.closed_by else ""
            name = "open" if action.open else "closed"
            pen.put(f"{name:<12} {show(action.words + by)}", Role.TASK if action.open else Role.NOTE, indent=" " * 13)
        if not one.verdict.whole:
            pen.put(f"{'open':<12} {unknown_words(one)}", Role.TASK, indent=" " * 13)
        for back in one.comments:
            about = f" of event {back.about}" if back.about else ""
            pen.put(f"written      {show(back.by)}{about}: {show(back.text)}", Role.NOTE, indent=" " * 13)
        if one.row is not None:
            for name, value in facts_of(one, one.row):
                pen.put(f"{name:<12} {show(value)}", Role.ROW, indent=" " * 13)
        for words, tone in banner:
            if tone is not Tone.BAD:
                pen.put(show(words), Role.NOTE, indent="   ")
        some_open = any(a.open for a in one.actions)
        keys = [LiveKey("h", "what happened", "everything, in order, beside what should have been")]
        if one.verdict.whole and one.row is not None:
            keys.append(LiveKey("m", "comment", "writes a comment back to this job"))
            keys += [LiveKey("k", "close", "closes something that was left open")] if some_open else []
            keys.append(LiveKey("g", "sign", "countersigns with your own key, up to the newest event"))
        if not self._only or self._back is not None:
            keys.append(BACK)
        return f"REVIEW  {one.name}", None, tuple(keys)

    def _happened(self, pen: Pen, job: _Job) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        if job.still is not None or not job.asked:
            pen.put("What should have been is still being worked out.", Role.NOTE)
        elif job.desk is None:
            pen.put("This machine is not described here: what should have been is not shown.", Role.NOTE)
        elif job.one.expecting(job.desk).changed:
            pen.put(CHANGED, Role.TASK)
        report = job_report(job.one, job.desk, tuple(job.moved))
        for block in report.blocks:
            if isinstance(block, Timeline):
                for moment in block.moments:
                    if self._panel != "standing out" or moment.tone in (Tone.BAD, Tone.CAUTION):
                        _draw(pen, moment)
        if self._panel == "standing out":
            other = LiveKey("w", "all of it", "everything that happened, in order")
            return f"REVIEW  {job.one.name}  what stands out", None, (other, BACK)
        other = LiveKey(
            "w",
            "stands out",
            "only what is marked with !: cautions, clocks, what was refused or is not as it should be",
        )
        return f"REVIEW  {job.one.name}  what happened", None, (other, BACK)

    def _naming(self, pen: Pen, job: _Job) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        pen.put(
            "Who is writing back? Said once, it stands on every page until you leave, and in the record.", Role.TASK
        )
        pen.put(f"1  {show(self._shelf.who)}, who is logged in here", Role.ROW, key="1", indent="   ")
        return (
            f"REVIEW  {job.one.name}  your name", Entry("Your name", example="Kim Ode", rows_first=True),
            (LiveKey("1", "logged in", "whoever is logged in", shown=False), BACK),
        )  # fmt: skip

    def _commenting(self, pen: Pen, job: _Job) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        pen.put("Write back to this job. It is an event of its own: nothing that was recorded changes.", Role.TASK)
        pen.put("A number first means that event: 22 ring gap kit ordered", Role.NOTE)
        return f"REVIEW  {job.one.name}  comment", Entry("Comment", example="ring gap kit ordered"), (BACK,)

    def _closing(self, pen: Pen, job: _Job) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        pen.put("Which of these is done?", Role.TASK)
        for key, action in zip(SHOWN_ACTIONS, (a for a in job.one.actions if a.open), strict=False):
            pen.put(f"{key}  {show(action.words)}", Role.ROW, key=key, indent="   ")
        pen.put("Type its key, a blank, and what was done about it.", Role.NOTE)
        return (
            f"REVIEW  {job.one.name}  close",
            Entry("Key, and what was done", example="1 guard refitted"),
            (BACK,),
        )

    def _signing(self, pen: Pen, job: _Job) -> tuple[str, Entry | None, tuple[LiveKey, ...]]:
        if no := refusal(job.one.events, self._who, self._who):
            pen.put(show(no), Role.TASK)
            return f"REVIEW  {job.one.name}  countersign", None, (BACK,)
        head = job.one.verdict.head
        pen.put(f"Countersign up to event {head[0] if head else 0}, as somebody who did not do this work.", Role.TASK)
        first = before_signing(job.one, self._who, job.desk)
        for words in first:
            pen.put(f" - {show(words)}", Role.ROW, indent="   ")
        if first:
            pen.put("Sign all the same? Your key and passphrase say yes, Esc says no.", Role.TASK)
        pen.put(SHARED, Role.NOTE)
        pen.put("A key of your own is made by: troubleshoot review key NAME -o FILE", Role.NOTE)
        if not self._key_file:
            return f"REVIEW  {job.one.name}  countersign", Entry("Your key file", example="~/kim.key"), (BACK,)
        pen.put(f"Key file: {show(self._key_file)}", Role.ROW)
        return f"REVIEW  {job.one.name}  countersign", Entry("Passphrase", secret=True), (BACK,)

    # --------------------------------------------------------------------------------------------------------- given

    def _pressed(self, job: _Job, key: str) -> None:
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

    def _typed(self, job: _Job, text: str) -> None:
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

    def _close(self, job: _Job, key: str, note: str) -> None:
        still = [a for a in job.one.actions if a.open]
        place = SHOWN_ACTIONS.find(key)
        if not 0 <= place < len(still):
            self._echo = f"Nothing is open under {show(key)!r}."
            return
        if not note:
            self._echo = f"Type what was done about it too: {key} guard refitted. A close says nothing by itself."
            return
        self._write(job, CLOSED, close(still[place], self._who, note))

    def _write(self, job: _Job, kind: str, data: Mapping[str, Any]) -> None:
        try:
            n = self._shelf.write(job.handle, kind, data)
        except OSError:
            self._turn -= 1
            raise
        self._read_again(job)
        self._panel, self._echo = "", f"Saved as event {n}."

    def _read_again(self, job: _Job) -> None:
        job.one = self._shelf.again(job.handle)
        self._jobs = [(h, job.one if h == job.handle else one) for h, one in self._jobs]


def _draw(pen: Pen, moment: Moment) -> None:
    # Not as a danger: those are drawn above all the rest, and here order is what matters. The mark says it in the words.
    role = Role.TASK if moment.tone in (Tone.BAD, Tone.CAUTION) else Role.ROW
    from troubleshoot.report.blocks import Report

    rows = list(lines_of(Report("", (Timeline((moment,)),)), pen.width))[1:]
    for k, row in enumerate(rows):
        pen.fixed(row, role if k == 0 else Role.NOTE)


_WRITES: Final = frozenset({"comment", "close", "sign"})
_OTHER: Final = {"happened": "standing out", "standing out": "happened"}
_BY_KEY: Final = {"h": "happened", "m": "comment", "k": "close", "g": "sign"}
_PANELS: Final[
    Mapping[str, Callable[[ReviewSession, Pen, _Job], tuple[str, Entry | None, tuple[LiveKey, ...]]]]
] = {
    "": ReviewSession._outcome, "happened": ReviewSession._happened,
    "standing out": ReviewSession._happened, "comment": ReviewSession._commenting,
    "close": ReviewSession._closing, "sign": ReviewSession._signing, "name": ReviewSession._naming,
}  # fmt: skip
