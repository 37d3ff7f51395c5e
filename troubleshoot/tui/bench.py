"""The one thread that calls the runner, so that a slow computation or a slow disk never freezes the screen.

Not the screen library's thread worker: that one is waited for when the program ends, and a terminal that has gone away
must end within seconds even in the middle of a long computation. What was given is on disk or is not, never between.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, SimpleQueue

from troubleshoot.job.runner import Runner
from troubleshoot.job.sheet import Input, Sheet
from troubleshoot.tui import answering
from troubleshoot.tui.thrift import give_back


@dataclass(frozen=True, slots=True)
class Shown:
    """A sheet to draw. After something was given, `answered` says so."""

    sheet: Sheet
    answered: bool


@dataclass(frozen=True, slots=True)
class NotSaved:
    """The disk would not take what was given; nothing changed."""

    words: str
    """One sentence or two, whole."""


@dataclass(frozen=True, slots=True)
class Broke:
    """A bug of ours."""

    error: Exception


Told = Shown | NotSaved | Broke


class Bench:
    """Calls `runner` in order, in its own thread, and tells `tell` what came of it (from that thread)."""

    def __init__(self, runner: Runner, tell: Callable[[Told], None]) -> None:
        self._runner = runner
        self._tell = tell
        self._asked: SimpleQueue[Input | None] = SimpleQueue()
        self._size = (80, 24)
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._work, name="bench", daemon=True)

    def start(self) -> None:
        """Begin to work; once begun, nothing."""
        if self._thread.ident is None:
            self._thread.start()

    def give(self, said: Input) -> None:
        """Hand over what the person said; a `Shown` or `NotSaved` follows."""
        self._asked.put(said)

    def draw(self, width: int, height: int) -> None:
        """Ask for the sheet at this size; of many asked for in a row only the last is made."""
        self._size = (width, height)
        self._asked.put(None)

    def busy(self) -> str:
        """Words for the long work that is going on."""
        return self._runner.busy()

    def stop(self, *, within_s: float) -> bool:
        """Close the runner, waiting no longer than this for work that is going on. True when it was closed."""
        self._ending.set()
        self._asked.put(None)
        self.start()  # a bench that was never asked for anything closes its runner too
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _work(self) -> None:
        slices = True
        worked = False
        while not self._ending.is_set():
            try:
                said = self._asked.get(block=not slices)
            except Empty:
                slices = self._slice()
                if worked and not slices:
                    self._answer(None)  # what the long work found out may show
                    give_back()
                worked = slices
                continue
            if self._ending.is_set():
                break
            if said is None and not self._asked.empty():
                continue
            self._answer(said)
            slices = True
        with contextlib.suppress(OSError):
            self._runner.close()

    def _slice(self) -> bool:
        try:
            return self._runner.pump()
        except Exception as error:
            self._tell(Broke(error))
            return False

    def _answer(self, said: Input | None) -> None:
        try:
            if said is not None:
                self._runner.give(said)
            self._tell(Shown(self._runner.sheet(*self._size), answered=said is not None))
        except OSError as error:
            self._tell(NotSaved(answering.not_saved(error)))
        except Exception as error:
            self._tell(Broke(error))
