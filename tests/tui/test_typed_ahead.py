"""Keys pressed before their question could be seen: which hold, which do not, and that the person is told."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tui.conftest import Sit
from tui.scripted import CAUTION, WELCOME, Scripted

from troubleshoot.job.beginnings import READING
from troubleshoot.job.sheet import Entry, Line, LiveKey, Pressed, Role, Sheet, Typed
from troubleshoot.tui.bench import Shown
from troubleshoot.tui.board import SheetScreen
from troubleshoot.tui.gate import RUN_S, Counts


class Marked(Scripted):
    """A list of rows: each key marks one and changes the sheet, but not what is asked. Enter takes the rows."""

    def sheet(self, width: int, height: int) -> Sheet:
        self.sizes.append((width, height))
        if any(isinstance(said, Pressed) and said.key == "enter" for said in self.said):
            return replace(CAUTION, saved=1 + len(self.said))
        rows = tuple(Line(f"{k}  row {k}", Role.ROW, k) for k in "12345")
        keys = (
            LiveKey("enter", "as shown", "takes every row"),
            *(LiveKey(k, k, "marks", shown=False) for k in "12345"),
        )
        return Sheet(f"marks {len(self.said)}", "a list", rows, keys, None, 1 + len(self.said), question="list")


async def test_keys_typed_ahead_of_the_same_question_hold_and_so_does_the_enter_that_takes_its_rows(sit: Sit) -> None:
    async with sit(Marked(slow_s=0.3)) as desk:
        await desk.pilot.press("1", "5", "3", "enter", "2")
        await desk.shows("new question: 1 key not taken")
        assert [said.key for said in desk.runner.said if isinstance(said, Pressed)] == ["1", "5", "3", "enter"]
        assert [said.sheet for said in desk.runner.said] == [f"marks {k}" for k in range(4)]


async def test_a_row_key_held_down_marks_once_though_the_question_stays_the_same(sit: Sit) -> None:
    async with sit(Marked()) as desk:
        await desk.pilot.press("1")
        await desk.until(lambda: len(desk.runner.said) == 1)
        await desk.shows("saved 2")
        for _ in range(4):
            desk.clock.now_s += 0.03
            await desk.pilot.press("1")
        await desk.waits(0.5)
        assert len(desk.runner.said) == 1
        await desk.pilot.press("3")
        await desk.until(lambda: len(desk.runner.said) == 2)


async def test_a_key_counts_from_the_moment_its_sheet_went_to_the_terminal_however_busy_the_screen_is(
    sit: Sit, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What is to be done once there is nothing else to do never comes.
    monkeypatch.setattr(SheetScreen, "_painted", lambda _: None)
    async with sit(Marked()) as desk:
        await desk.pilot.press("1")
        await desk.until(lambda: len(desk.runner.said) == 1)
        await desk.pilot.press("enter")
        await desk.shows("I have read this")


async def test_a_key_pressed_before_its_sheet_was_on_the_terminal_answers_nothing_and_that_is_said(
    sit: Sit, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with sit() as desk:
        # The next sheet waits behind other work, on its way to the terminal.
        with monkeypatch.context() as held:
            held.setattr(SheetScreen, "displayed", lambda _: None)
            held.setattr(SheetScreen, "_painted", lambda _: None)
            board = desk.app.screen
            assert isinstance(board, SheetScreen)
            board.show(Shown(replace(WELCOME, id="another"), answered=False))
            await desk.pilot.press("1")
            await desk.shows(Counts.TYPED_AHEAD.value)
            assert desk.runner.said == []
        board.show(Shown(WELCOME, answered=False))
        await desk.pilot.pause(0.05)
        await desk.pilot.press("2")
        await desk.until(lambda: bool(desk.runner.said))
        assert [(said.key, said.sheet) for said in desk.runner.said if isinstance(said, Pressed)] == [("2", "who")]


@pytest.mark.parametrize("words", [c.value for c in Counts if c not in (Counts.YES, Counts.IF_QUIET)])
async def test_why_a_key_was_not_taken_stands_whole_beside_the_longest_prompt(sit: Sit, words: str) -> None:
    entry = Entry("Type what the meter shows, in this order", example="6.1 6.1 6.2", begins=frozenset("a"))
    async with sit(Scripted(at="open", caution=replace(CAUTION, entry=entry))) as desk:
        board = desk.app.screen
        assert isinstance(board, SheetScreen)
        board._say(words)
        await desk.shows(words)


PROOF = replace(
    CAUTION, needs_caution=False, lines=(Line("a  M1  motor  TURNS", Role.ROW, "a"), Line("b  YB1  brake  let go", Role.ROW, "b")),
    keys=(LiveKey("n", "can't", "cannot be done"), LiveKey("b", "YB1", "the next", shown=False), LiveKey("a", "M1", "the next", shown=False)),
    entry=Entry("Type what the meter shows, in this order", example="6.1", begins=READING),
)  # fmt: skip


class Rows(Scripted):
    """A card of the proof run with rows beside readings: each press of a row's key is one more mark."""

    def sheet(self, width: int, height: int) -> Sheet:
        return replace(PROOF, id=f"marks {len(self.said)}", saved=1 + len(self.said), question="check 3")


@pytest.mark.parametrize("gap_s", [0.12, 0.2, 0.5, 0.9])
async def test_the_letter_of_a_row_pressed_twice_beside_readings_marks_twice(sit: Sit, gap_s: float) -> None:
    async with sit(Rows()) as desk:
        await desk.pilot.press("b")
        if gap_s > RUN_S:
            await desk.waits(gap_s)
        else:
            desk.clock.now_s += gap_s
        await desk.pilot.press("b")
        await desk.waits(0.2)
        await desk.until(lambda: len(desk.runner.said) == 2)
        assert [said.key for said in desk.runner.said if isinstance(said, Pressed)] == ["b", "b"]


async def test_a_reading_begun_while_a_row_is_being_marked_stays(sit: Sit) -> None:
    async with sit(Rows(slow_s=0.3)) as desk:
        await desk.pilot.press("b")
        await desk.waits(0.2)
        await desk.pilot.press("6", "full_stop", "1")
        await desk.shows("saved 2")
        await desk.pilot.press("enter")
        await desk.until(lambda: len(desk.runner.said) == 2)
        assert desk.runner.said[1] == Typed("6.1", "marks 1")
