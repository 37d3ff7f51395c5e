"""What the tests of the screen share."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass
from types import SimpleNamespace

import pytest
from textual import message
from textual.pilot import Pilot
from tui.scripted import Scripted

from troubleshoot.tui.app import GOOD, TroubleshootApp
from troubleshoot.tui.gate import RUN_S
from troubleshoot.tui.terminal import Terminal


@dataclass
class Clock:
    """Wound by hand: how long a caution was read never hangs on how busy the machine is that runs the tests."""

    now_s: float = 1000.0

    def now(self) -> float:
        return self.now_s


@dataclass
class Desk:
    """A person at a screen of a known size."""

    app: TroubleshootApp
    pilot: Pilot[None]
    runner: Scripted
    clock: Clock

    async def waits(self, seconds: float) -> None:
        """Time goes by, for the person; what was due by then has happened."""
        await self.pilot.pause()
        self.clock.now_s += seconds
        await self.pilot.pause(RUN_S + 0.05)

    async def until(self, done: Callable[[], bool], *, within_s: float = 30.0) -> None:
        """Wait for something to be so; the person's clock runs meanwhile, a hundredth of a second a look."""
        for _ in range(int(within_s / 0.01)):
            if done():
                return
            await asyncio.sleep(0.01)
            self.clock.now_s += 0.01
        raise AssertionError(f"never became so; the screen shows:\n{self.text}")

    async def shows(self, words: str) -> None:
        await self.until(lambda: words in self.text)

    @property
    def rows(self) -> list[str]:
        """The screen as rows of text."""
        strips = self.app.screen._compositor.render_strips()
        return [strip.text for strip in strips]

    @property
    def text(self) -> str:
        return "\n".join(self.rows)


Sit = Callable[..., AbstractAsyncContextManager[Desk]]


@pytest.fixture
def sit(monkeypatch: pytest.MonkeyPatch) -> Sit:
    """`async with sit(runner, size=(80, 24)) as desk`: the app with its first sheet drawn."""

    @asynccontextmanager
    async def at(
        runner: Scripted | None = None, *, size: tuple[int, int] = (80, 24), terminal: Terminal = GOOD
    ) -> AsyncIterator[Desk]:
        runner, clock = runner or Scripted(), Clock()
        # What stamps every message; the library's timers and animations go by its real clock.
        monkeypatch.setattr(message, "_time", SimpleNamespace(get_time=clock.now))
        app = TroubleshootApp(runner, terminal, now=clock.now)
        async with app.run_test(size=size) as pilot:
            desk = Desk(app, pilot, runner, clock)
            if size[0] >= 60 and size[1] >= 16:
                await desk.shows("saved")
                await pilot.pause(0.05)
            yield desk

    return at
