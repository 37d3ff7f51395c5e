"""Where the index of this plant lies and how it is opened. A job never waits for it and never fails with it.

`TROUBLESHOOT_INDEX` is a path, a URL such as ``postgresql://me@server/plant``, or ``off``. Whatever is wrong with the index, the
answer comes from the logs themselves, in memory, and the person is told.
"""

from __future__ import annotations

import hashlib
import os
import threading
import time
from collections.abc import Callable, Generator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.cli.data import APP, plant_folder
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.cli.index_aside import Aside
    from troubleshoot.log.event import Event
    from troubleshoot.log.verify import Verdict
    from troubleshoot.log.writer import Log, NotSaved
    from troubleshoot.store.index import Index
    from troubleshoot.store.row import JobRow
    from troubleshoot.store.scan import Anchor

OFF: Final = "off"
FEW: Final = 100
"""So many logs are read as quickly as the library of a database is loaded."""
MEMORY: Final = ":memory:"


def index_place() -> str:
    """Path or URL of the index of this plant; empty where it was put off."""
    chosen = os.environ.get("TROUBLESHOOT_INDEX", "")
    if chosen == OFF:
        return ""
    if chosen:
        return chosen if "://" in chosen else str(Path(chosen).expanduser())
    import platformdirs

    # One file a plant: people try things in plants of their own, and no two programs then wait for one lock.
    plant = hashlib.sha256(os.fsencode(plant_folder().absolute())).hexdigest()[:16]
    return str(platformdirs.user_data_path(APP, appauthor=False) / "index" / f"{plant}.sqlite")


def open_index(*, make: bool = True) -> Index | None:
    """The index of this plant as it is; None where it is off, or not there and not to be made. Raises IndexTrouble."""
    from troubleshoot.store.index import Index

    place = index_place()
    if not place or (not make and "://" not in place and not Path(place).is_file()):
        return None
    return Index(place, plant_folder())


def fresh_index(
    told: Callable[[int, int], object] | None = None, *, everything: bool = False
) -> tuple[Index, tuple[str, ...]]:
    """An index that agrees with the logs now, and what the person must hear. Never fails because of the index.

    One that is damaged is put aside and made anew; where none can be used, the answer is in memory.
    """
    work = freshening(everything=everything)
    while True:
        try:
            done, of = next(work)
        except StopIteration as end:
            result: tuple[Index, tuple[str, ...]] = end.value
            return result
        if told is not None:
            told(done, of)


def freshening(*, everything: bool = False) -> Generator[tuple[int, int], None, tuple[Index, tuple[str, ...]]]:
    """The same in short slices: after each, how many logs are read and how many are to be."""
    from troubleshoot.store.index import Index, IndexTrouble
    from troubleshoot.store.refresh import refreshing

    notices: list[str] = []
    for _ in range(2):
        try:
            index = open_index()
            if index is None:
                break
            yield from refreshing(index, plant_folder(), everything=everything)
            return index, tuple(notices)
        except IndexTrouble as trouble:
            notices.append(f"{trouble}.")
            aside = _put_aside(index_place()) if trouble.damaged else ""
            if not aside:
                break
            notices.append(f"It is made anew from the logs. What it had anchored before is in {aside}.")
    else:
        notices.append("It is damaged again.")
    if notices:
        notices.append("The answer comes from the logs themselves.")
    index = Index(MEMORY, plant_folder())
    yield from refreshing(index, plant_folder())
    return index, tuple(notices)


def _put_aside(place: str) -> str:
    """Give a damaged file another name; where it lies now, or nothing where it is no file."""
    if "://" in place or not Path(place).is_file():
        return ""
    for number in range(1, 1000):
        aside = f"{place}.damaged-{number}"
        if not os.path.lexists(aside):
            with suppress(OSError):
                os.rename(place, aside)
                return show(aside)
            return ""
    return ""


def anchor_of(path: Path, session: str) -> tuple[Anchor | None, str]:
    """What the index last saw of a log, by its place in the plant or by its session; and a sentence where it cannot say."""
    from troubleshoot.store.index import IndexTrouble
    from troubleshoot.store.scan import key_of

    try:
        index = open_index(make=False)
        if index is None:
            return None, ""
        plant, there = plant_folder().absolute(), path.absolute()
        file = key_of(plant, there) if there.is_relative_to(plant) else ""
        return index.anchor(session, file), ""
    except IndexTrouble as trouble:
        return None, f"{trouble}."


def gone_logs() -> dict[Path, int]:
    """Logs of this plant that the index knew and that are not there any more, and how many events each had; nothing where
    the index cannot say."""
    from troubleshoot.store.index import IndexTrouble
    from troubleshoot.store.scan import logs_of, path_of

    plant = plant_folder()
    try:
        index = open_index(make=False)
        return {path_of(plant, file): n for file, n in index.gone(logs_of(plant)).items()} if index is not None else {}
    except IndexTrouble:
        return {}


def own_past(machine: str) -> Mapping[str, int]:
    """Confirmed repairs of a machine by group, as the index knows them now; nothing where it does not say so at once.

    A job must not begin later because of it, so no log is read here: what the index has not heard of yet does not count.
    """
    if not _may_know():
        return {}
    from troubleshoot.store.history import ask, confirmed_repairs
    from troubleshoot.store.index import IndexTrouble

    try:
        index = open_index(make=False)
        return confirmed_repairs(ask(index, machine)[1]) if index is not None else {}
    except IndexTrouble:
        return {}


def asking_own_past(machine: str) -> Callable[[], Mapping[str, int]]:
    """The same asked in another process, which begins at once: what is returned waits for the answer."""
    if not _may_know():
        return dict
    from troubleshoot.cli.index_aside import Aside

    aside = Aside()

    def answer() -> Mapping[str, int]:
        found = aside.ask({"past": machine})
        aside.close()
        # A past that is not counted moves what is suspected: where there can be no other process, it is asked here.
        return found if isinstance(found, dict) else own_past(machine)

    return answer


Open = tuple[str, "JobRow", str]
"""Of a job that is open: its log below the plant folder, what the log says, and what is wrong with it."""


def open_rows() -> tuple[list[Open], tuple[str, ...]]:
    """Jobs that are open by an index that agrees with the logs, and what the person must hear."""
    index, notices = fresh_index()
    return [(k.file, k.row, k.trouble) for k in index.rows(only_open=True)], notices


def open_rows_aside() -> tuple[list[Open], tuple[str, ...]]:
    """The same from another process, so that this one never holds the library of a database."""
    from troubleshoot.cli.index_aside import Aside
    from troubleshoot.store.row import row_of

    aside = Aside()
    found = aside.ask({"open": ""}, patience_s=None)
    aside.close()
    if not isinstance(found, dict):
        return open_rows()
    return [(file, row_of(row), trouble) for file, row, trouble in found["rows"]], tuple(found["notices"])


def _may_know() -> bool:
    """Whether there is an index that may know of a past which counts."""
    place = index_place()
    return os.environ.get("TROUBLESHOOT_OWN_PAST") != "no" and bool(place) and ("://" in place or Path(place).is_file())


# ------------------------------------------------------------------------------------------- while a job is being done


class Keeper:
    """Tells the index of one log as it grows, from a thread of its own; whatever goes wrong there is only words."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._wake = threading.Condition()
        self._due = self._ending = False
        self._thread: threading.Thread | None = None
        self._aside: Aside | None = None
        """What holds the library of the database, while there is something to tell."""
        self.words = ""
        """Why the index does not know of this job; empty as long as it does."""

    def grown(self) -> None:
        """There is more in the log. Returns at once."""
        with self._wake:
            self._due = True
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="index", daemon=True)
                self._thread.start()
            self._wake.notify()

    def close(self, patience_s: float = 1.5) -> None:
        """The last of it, if it can be had soon: the log is closed and safe in any case, and the next start catches up."""
        if self._thread is None:
            return
        with self._wake:
            self._ending = True
            self._wake.notify()
        self._thread.join(patience_s)
        if self._thread.is_alive():
            self.words = "The index did not answer in time."

    def _run(self) -> None:
        try:
            while True:
                with self._wake:
                    if not self._wake.wait_for(lambda: self._due or self._ending, _QUIET_S):
                        self._let_go()
                        self._wake.wait_for(lambda: self._due or self._ending)
                    due, self._due, ending = self._due, False, self._ending
                if due:
                    self.words = self._told()
                if ending:
                    return
                with self._wake:  # one reading of the log a while serves for several answers
                    self._wake.wait_for(lambda: self._ending, _EVERY_S)
        finally:
            self._let_go()

    def _told(self) -> str:
        from troubleshoot.cli.index_aside import Aside

        self._aside = self._aside or Aside()
        words = self._aside.ask({"grown": os.fspath(self._path.absolute())})
        if isinstance(words, str):
            return words
        self._let_go()
        return "The index cannot be used: its process ended."

    def _let_go(self) -> None:
        if self._aside is not None:
            self._aside.close()
            self._aside = None


def tell_of(path: Path) -> str:
    """Tell the index of one log as it is now; why it does not know of it, or nothing."""
    from troubleshoot.store.index import IndexTrouble
    from troubleshoot.store.refresh import refresh_one
    from troubleshoot.store.scan import key_of

    try:
        index = open_index()
        if index is not None:
            refresh_one(index, plant_folder(), key_of(plant_folder(), path))
    except IndexTrouble as trouble:
        return f"{trouble}."
    except Exception as bug:  # whatever it is, the job goes on
        return f"The index cannot be used: {type(bug).__name__}."
    return ""


_EVERY_S: Final = 5.0
_QUIET_S: Final = 20.0
"""So long after the last answer the index's process is let go: the next one costs another start, in the background."""


class Kept:
    """A log that tells the index of what is added to it."""

    def __init__(self, log: Log, keeper: Keeper) -> None:
        self._log, self._keeper = log, keeper

    def append(self, kind: str, data: Mapping[str, Any]) -> Event | NotSaved:
        done = self._log.append(kind, data)
        self._keeper.grown()
        return done

    def close(self) -> None:
        self._log.close()
        self._keeper.close()
        if self._keeper.words:
            LEFT_TO_SAY.append(f"{self._keeper.words} The job is in its log, whole; the index learns of it later.")

    @property
    def recorded(self) -> bool:
        return self._log.recorded

    @property
    def events(self) -> tuple[Event, ...]:
        return self._log.events

    @property
    def head(self) -> tuple[int, str] | None:
        return self._log.head

    @property
    def idle_ms(self) -> int:
        return self._log.idle_ms

    @property
    def verdict(self) -> Verdict:
        return self._log.verdict

    @property
    def notices(self) -> tuple[str, ...]:
        return self._log.notices


LEFT_TO_SAY: Final[list[str]] = []
"""What is told once the screen is a terminal again."""


class Progress:
    """Says on stderr that many logs are being read, when that takes a while."""

    def __init__(self, say: Callable[[str], object]) -> None:
        self._say, self._next_s = say, time.monotonic() + 1.0

    def __call__(self, done: int, of: int) -> None:
        if time.monotonic() >= self._next_s:
            self._next_s += 2.0
            self._say(f"reading the logs: {done} of {of}")
