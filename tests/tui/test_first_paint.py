"""What the first sheet on the screen costs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

HERE = str(Path(__file__).parent)
PAINT = f"""
import asyncio, sys
sys.path.insert(0, {HERE!r})
from scripted import Scripted
from troubleshoot.tui.app import TroubleshootApp

async def paint():
    app = TroubleshootApp(Scripted())
    async with app.run_test(size=(80, 24)) as pilot:
        for _ in range(3000):
            await pilot.pause(0.02)
            if any("saved" in strip.text for strip in app.screen._compositor.render_strips()):
                return
        raise SystemExit("nothing was drawn")

asyncio.run(paint())
print(*sys.modules)
"""


def test_the_first_paint_loads_no_arrays_no_solver_and_no_parser(fresh_python: Callable[[str], str]) -> None:
    loaded = set(fresh_python(PAINT).split())
    assert "textual" in loaded
    heavy = {"numpy", "lark", "troubleshoot.solve", "troubleshoot.diagnosis", "troubleshoot.circuit"}
    assert not heavy & loaded


def test_line_mode_loads_no_screen_library(fresh_python: Callable[[str], str]) -> None:
    loaded = fresh_python("import troubleshoot.tui.plain, troubleshoot.tui.start, sys; print(*sys.modules)").split()
    assert "textual" not in loaded
    assert "numpy" not in loaded
