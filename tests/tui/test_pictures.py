"""Screens of a real job as pictures, compared cell by cell with those kept beside this file.

After a change that was meant: ``pytest tests/tui/test_pictures.py --snapshot-update``, and look at every one.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from job.nights import Night
from pictures import unframed
from textual.pilot import Pilot

from troubleshoot.tui.app import GOOD, TroubleshootApp

FAULT = "12:K1:14>FR1:95 open"


def _until(words: str, *keys: str) -> Callable[[Pilot[None]], Awaitable[None]]:
    """Press `keys` one by one, each on a screen that has come to rest: no long work going on, nothing changing."""

    async def at_rest(pilot: Pilot[None]) -> None:
        text, calm = "", 0
        for _ in range(2400):
            await asyncio.sleep(0.05)
            now = "\n".join(strip.text for strip in pilot.app.screen._compositor.render_strips())
            calm = calm + 1 if now == text and words in now else 0
            text = now
            if calm >= 20:
                return
        raise AssertionError(f"{words!r} never came to rest:\n{text}")

    async def run(pilot: Pilot[None]) -> None:
        await at_rest(pilot)
        for key in keys:
            await pilot.press(key)
            await at_rest(pilot)

    return run


def _app(*until: str) -> TroubleshootApp:
    night = Night(FAULT)
    night.type("conv dead")
    night.press("y")
    night.press("8")
    while not any(words in night.text for words in until):
        night.careful()
    app = TroubleshootApp(night.session, GOOD)
    pictured = app.export_screenshot
    app.export_screenshot = lambda **more: unframed(pictured(**more))  # type: ignore[method-assign]
    return app


PICTURES = [
    ("walk round", "Walk round once", (), (80, 24)),
    ("module face", "Read the lights as you found them", ("7", "8"), (80, 24)),
    ("module face, roomy", "Read the lights as you found them", ("7", "8"), (120, 40)),
    ("caution unread", "CAUTION", (), (80, 24)),
    ("caution unread, roomy", "CAUTION", (), (120, 40)),
]


def test_no_picture_shows_the_window_of_a_desktop_or_fetches_anything(root: Path) -> None:
    kept = [*root.glob("docs/screens/*.svg"), *(root / "tests/tui/__snapshots__").rglob("*.svg")]
    assert len(kept) >= 10
    for path in kept:
        svg = path.read_text(encoding="utf-8")
        assert not re.search(r"<circle|rx=|url\(\"?https?:", svg), path.name


@pytest.mark.parametrize(("words", "keys", "size"), [p[1:] for p in PICTURES], ids=[p[0] for p in PICTURES])
def test_the_screen_looks_as_it_was_approved(
    snap_compare: Any, words: str, keys: tuple[str, ...], size: tuple[int, int]
) -> None:
    assert snap_compare(_app(words), terminal_size=size, run_before=_until(words, *keys))
