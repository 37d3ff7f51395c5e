"""What is found out in a thread of its own while the person goes on: the open jobs of the plant, a machine's own past.

Both are asked of the index, which may be slow, locked or away. The front page is drawn before they are there, and a job
begins without them.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final, Generic, TypeVar

if TYPE_CHECKING:
    from troubleshoot.job.plant import Looked

T = TypeVar("T")
PAST_WITHIN_S: Final = 0.5
"""How much later than its machine was read a job may begin because of the past of that machine."""


class Meanwhile(Generic[T]):
    """One answer on its way."""

    def __init__(self, work: Callable[[], T], broken: Callable[[Exception], T]) -> None:
        """work: may take as long as it likes; broken: the answer where it raises instead."""
        self._work, self._broken = work, broken
        self._there = threading.Event()
        self._answer: T | None = None
        self._thread: threading.Thread | None = None

    def begin(self) -> None:
        """Work on it, if nobody does yet. Nothing waits for it when the program ends."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="meanwhile", daemon=True)
            self._thread.start()

    def within(self, seconds: float) -> T | None:
        """The answer; None where it is not there within this time."""
        self.begin()
        return self._answer if self._there.wait(seconds) else None

    def _run(self) -> None:
        try:
            self._answer = self._work()
        except Exception as error:
            self._answer = self._broken(error)
        self._there.set()


class OpenJobsAhead:
    """Implements `job.session.Looking` over the logs and the index of this plant."""

    def __init__(self) -> None:
        self._coming: Meanwhile[Looked] = Meanwhile(_looked, _not_looked)

    def found(self, within_s: float) -> Looked | None:
        """See `Looking.found`."""
        return self._coming.within(within_s)


def _looked() -> Looked:
    from troubleshoot.cli.machines_on_disk import look_for_open_jobs
    from troubleshoot.job.plant import Looked

    return Looked(*look_for_open_jobs())


def _not_looked(error: Exception) -> Looked:
    from troubleshoot.job.plant import Looked

    return Looked(
        (), (f"Open jobs could not be looked for ({type(error).__name__}). Name the machine to go on with one.",)
    )


class PastAhead:
    """The confirmed repairs of one machine, asked of the index from the moment this is made."""

    def __init__(self, machine: str) -> None:
        from troubleshoot.cli.index_on_disk import asking_own_past

        self._coming: Meanwhile[Mapping[str, int]] = Meanwhile(asking_own_past(machine), lambda error: {})
        self._coming.begin()

    def take(self) -> Mapping[str, int]:
        """Repair group to how often; nothing where the index does not say so in time."""
        return self._coming.within(PAST_WITHIN_S) or {}
