"""A block of rows draws what changed, and what is on the screen is what a fresh screen would show."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tui.conftest import Desk, Sit
from tui.scripted import CAUTION, END, WELCOME, Scripted, open_for_typing

from troubleshoot.job.sheet import Line, Role, Sheet
from troubleshoot.tui.bench import Shown
from troubleshoot.tui.board import SheetScreen
from troubleshoot.tui.lines import Lines

LONG = replace(WELCOME, id="long", lines=tuple(Line(f"  {k}  row", Role.ROW, str(k % 10)) for k in range(40)))
AFTER = replace(LONG, id="after", lines=(*LONG.lines[:3], Line("  x  another", Role.NOTE), *LONG.lines[4:]))


async def shown(desk: Desk, sheet: Sheet) -> list[str]:
    board = desk.app.screen
    assert isinstance(board, SheetScreen)
    board.show(Shown(sheet, answered=False))
    await desk.pilot.pause(0.03)
    return desk.rows


async def test_a_sheet_looks_the_same_whatever_was_there_before(sit: Sit) -> None:
    every = [WELCOME, CAUTION, open_for_typing(CAUTION), LONG, AFTER, END]
    async with sit(Scripted(who=END)) as desk:
        body = desk.app.screen.query_one("#body", Lines)
        for n, (first, then) in enumerate((a, b) for a in (WELCOME, CAUTION, LONG) for b in every):
            await shown(desk, replace(first, id=f"first {n}"))
            body.scroll_rows(9)
            body.choose(1)
            found = await shown(desk, replace(then, id=f"then {n}"))
            body.draw_anew()
            await desk.pilot.pause(0.03)
            assert found == desk.rows, (first.id, then.id)


async def test_of_a_list_only_the_row_that_changed_is_drawn(sit: Sit, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[int] = []
    render = Lines.render_line
    monkeypatch.setattr(Lines, "render_line", lambda lines, y: (drawn.append(y), render(lines, y))[1])
    async with sit(Scripted(who=LONG)) as desk:
        drawn.clear()
        await shown(desk, AFTER)
        assert drawn == [3]
