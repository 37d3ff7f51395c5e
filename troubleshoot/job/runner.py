"""What a screen needs of whatever runs behind it: a job, the plant, a practice bench.

The full screen and the line mode both speak to a `Runner` and to nothing else, so each can be tried with a scripted one.
"""

from __future__ import annotations

from typing import Protocol

from troubleshoot.job.sheet import Input, Sheet


class Runner(Protocol):
    """The thing with a memory behind the sheets.

    Every method but `busy` is called from one thread at a time, never from two; `busy` is called from another thread
    while `give` or `pump` runs, so it may only read.
    """

    def sheet(self, width: int, height: int) -> Sheet:
        """The sheet as things stand, wrapped to `width` columns of a terminal `height` rows high. Changes nothing."""
        ...

    def give(self, said: Input) -> None:
        """Take what the person said. What it changed is on disk before this returns; it may take long.

        An input that does not answer the present sheet is thrown away, and an echo line says so where a job was at work
        meanwhile; one that is refused shows as an echo line on the next sheet. Raises OSError when the disk would not take it; then nothing has changed.
        """
        ...

    def busy(self) -> str:
        """What long work is running, in words (``computing what each fault would show: 40 of 107``); empty when idle."""
        ...

    def pump(self) -> bool:
        """Do one short slice of long work that nobody waits for. True when it did one, False when there was none to do."""
        ...

    def close(self) -> None:
        """Let go of files and locks. Nothing is lost by it: all that was given is on disk already."""
        ...
