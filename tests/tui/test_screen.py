"""A person at the full screen."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import pytest
from text.test_showing import HOSTILE as STRINGS
from textual import events
from tui.conftest import Sit
from tui.scripted import CAUTION, WELCOME, Scripted

from troubleshoot.job.beginnings import READING
from troubleshoot.job.face import Lamp, face_lines
from troubleshoot.job.sheet import Entry as SheetEntry
from troubleshoot.job.sheet import Line, LiveKey, Pressed, Role, Typed
from troubleshoot.tui.app import GOOD
from troubleshoot.tui.board import SheetScreen
from troubleshoot.tui.entry import Entry
from troubleshoot.tui.terminal import Glyphs, Look


def locked(**changes: object) -> Scripted:
    return Scripted(at="locked", caution=replace(CAUTION, **changes))  # type: ignore[arg-type]


async def test_a_digit_answers_at_once_and_the_next_sheet_is_drawn(sit: Sit) -> None:
    async with sit() as desk:
        await desk.pilot.press("1")
        await desk.shows("CAUTION")
        (said,) = desk.runner.said
        assert isinstance(said, Pressed)
        assert (said.key, said.sheet) == ("1", "who")
        await desk.shows("saved 2")


async def test_a_key_that_is_not_live_says_nothing_to_the_job(sit: Sit) -> None:
    async with sit() as desk:
        await desk.pilot.press("7", "z")
        await desk.shows("does nothing now")
        assert desk.runner.said == []


# ------------------------------------------------------------------------------------------------------------ caution


async def test_the_caution_is_accepted_by_its_own_key_once_it_was_read(sit: Sit) -> None:
    async with sit(locked()) as desk:
        await desk.waits(0.35)
        await desk.pilot.press("c")
        await desk.until(lambda: bool(desk.runner.said))
        (said,) = desk.runner.said
        assert isinstance(said, Pressed)
        assert said.drawn_ms >= 300
        await desk.until(lambda: desk.app.screen.query_one(Entry).display)


async def test_a_caution_just_drawn_is_not_accepted(sit: Sit) -> None:
    async with sit() as desk:
        await desk.pilot.press("1")
        await desk.shows("I have read this")
        await desk.pilot.press("c")
        await desk.waits(0.4)
        assert [said.key for said in desk.runner.said if isinstance(said, Pressed)] == ["1"]
        assert "read it first" in desk.text or "c read" in desk.text


async def test_no_other_key_accepts_the_caution(sit: Sit) -> None:
    async with sit(locked()) as desk:
        await desk.waits(0.35)
        for key in ("enter", "space", "1", "y", "escape", "tab", "C"):
            await desk.pilot.press(key)
        await desk.waits(0.2)
        assert desk.runner.said == []


async def test_a_c_held_down_or_pasted_as_keys_does_not_accept_it(sit: Sit) -> None:
    async with sit(locked()) as desk:
        await desk.waits(0.35)
        for _ in range(8):
            await desk.pilot.press("c")
        await desk.waits(0.4)
        assert desk.runner.said == []


async def test_a_paste_never_reaches_a_caution(sit: Sit) -> None:
    async with sit(locked()) as desk:
        await desk.waits(0.35)
        for target in (desk.app.screen, desk.app):
            target.post_message(events.Paste("c\nc\n120 120 0\n"))
        await desk.waits(0.4)
        assert desk.runner.said == []


async def test_touching_the_line_of_the_caution_accepts_it_after_its_moment(sit: Sit) -> None:
    async with sit(locked()) as desk:
        assert await desk.pilot.click(offset=(70, 3))
        await desk.waits(0.4)
        assert desk.runner.said == []
        await desk.pilot.click(offset=(70, 3))
        await desk.until(lambda: bool(desk.runner.said))


async def test_the_time_spent_in_help_does_not_count_as_reading_the_caution(sit: Sit) -> None:
    async with sit(locked()) as desk:
        await desk.pilot.press("question_mark")
        await desk.shows("Esc goes back")
        await desk.waits(0.5)
        await desk.pilot.press("c")
        assert desk.runner.said == []
        await desk.pilot.press("escape")
        await desk.shows("I have read this")
        await desk.pilot.press("c")
        await desk.waits(0.25)
        assert desk.runner.said == []


async def test_a_caution_longer_than_the_window_must_be_seen_to_its_end(sit: Sit) -> None:
    long = tuple(Line(f" {n} what can start", Role.CAUTION) for n in range(40))
    async with sit(locked(lines=(*long, *CAUTION.lines))) as desk:
        await desk.waits(0.35)
        await desk.pilot.press("c")
        await desk.shows("the caution goes on")
        assert desk.runner.said == []
        for _ in range(4):
            await desk.pilot.press("pagedown")
        await desk.shows("I have read this")
        await desk.waits(0.75)
        await desk.pilot.press("c")
        await desk.until(lambda: bool(desk.runner.said))


# ------------------------------------------------------------------------------------------------------------- typing


async def opened(desk_runner: Scripted | None = None) -> Scripted:
    runner = desk_runner or Scripted()
    runner.at = "open"
    return runner


@pytest.mark.parametrize("words", ["nothing", "ok", "0", "120 118 0"])
async def test_words_go_to_the_entry_and_are_sent_with_enter(sit: Sit, words: str) -> None:
    async with sit(await opened()) as desk:
        await desk.pilot.press(*("space" if char == " " else char for char in words), "enter")
        await desk.until(lambda: bool(desk.runner.said))
        assert desk.runner.said == [Typed(words, "trip-1")]
        await desk.shows(f"taken: {words}")
        assert desk.app.screen.query_one(Entry).value == ""


async def test_one_letter_and_enter_is_the_key(sit: Sit) -> None:
    async with sit(await opened()) as desk:
        await desk.pilot.press("w", "enter")
        await desk.until(lambda: bool(desk.runner.said))
        assert isinstance(desk.runner.said[0], Pressed)


async def test_a_key_with_which_no_answer_begins_acts_at_once_and_every_other_letter_is_typed(sit: Sit) -> None:
    caution = replace(CAUTION, entry=replace(CAUTION.entry, begins=frozenset("abcdefghijklmnopqrstuvxyz")))  # type: ignore[type-var]
    async with sit(await opened(Scripted(caution=caution))) as desk:
        await desk.pilot.press(*"unsteady w", "enter")
        await desk.until(lambda: bool(desk.runner.said))
        assert desk.runner.said == [Typed("unsteady w", "trip-1")]
        await desk.shows("taken: unsteady w")
        await desk.pilot.press("w")
        await desk.until(lambda: len(desk.runner.said) == 2)
        assert isinstance(desk.runner.said[1], Pressed)
        assert desk.runner.said[1].key == "w"


async def test_after_escape_letters_act_and_digits_still_are_readings(sit: Sit) -> None:
    async with sit(await opened()) as desk:
        await desk.pilot.press("escape", "w")
        await desk.until(lambda: bool(desk.runner.said))
        assert isinstance(desk.runner.said[0], Pressed)
        await desk.pilot.press("1", "2")
        assert desk.app.screen.query_one(Entry).value == "12"


async def test_many_pasted_lines_are_one_answer(sit: Sit) -> None:
    async with sit(await opened()) as desk:
        desk.app.screen.query_one(Entry).post_message(events.Paste("120\n118\n\x1b]52;c;aGk=\x07\n0\n"))
        await desk.shows("Enter sends it")
        assert desk.runner.said == []
        await desk.pilot.press("enter")
        await desk.until(lambda: bool(desk.runner.said))
        (said,) = desk.runner.said
        assert isinstance(said, Typed)
        assert said.text.startswith("120 118 ")
        assert "\x1b" not in said.text


async def test_a_paste_of_a_megabyte_is_cut_with_a_notice(sit: Sit) -> None:
    async with sit(await opened()) as desk:
        desk.app.screen.query_one(Entry).post_message(events.Paste("1 " * 500_000))
        await desk.shows("4096 bytes")
        assert len(desk.app.screen.query_one(Entry).value) <= 4096


# ------------------------------------------------------------------------------------------------- slow work and disk


async def test_while_something_slow_runs_the_screen_answers_and_says_what_runs(sit: Sit) -> None:
    async with sit(Scripted(slow_s=1.0)) as desk:
        await desk.pilot.press("1")
        await desk.shows("computing what each fault would show")
        await desk.pilot.press("question_mark")
        await desk.shows("Esc goes back")  # help opens while the computation runs
        assert desk.runner.said == []
        await desk.pilot.press("escape")
        await desk.shows("CAUTION")


async def test_keys_typed_ahead_of_another_question_are_thrown_away_and_it_is_said(sit: Sit) -> None:
    async with sit(Scripted(slow_s=2.0)) as desk:
        await desk.pilot.press("1", "2", "w")
        await desk.shows("new question: 2 keys not taken")
        await desk.waits(0.4)
        assert len(desk.runner.said) == 1
        await desk.pilot.press("w")
        await desk.shows("splits what is left")


async def test_what_could_not_be_saved_is_said_and_the_typing_comes_back(sit: Sit) -> None:
    runner = await opened(Scripted(refuse=OSError(28, "No space left on device")))
    async with sit(runner) as desk:
        await desk.pilot.press("1", "2", "enter")
        await desk.shows("NOT SAVED: No space left on device")
        assert desk.app.screen.query_one(Entry).value == "12"
        assert "saved 1" in desk.rows[0]
        runner.refuse = None
        await desk.pilot.press("enter")
        await desk.shows("saved 2")
        assert "NOT SAVED" not in desk.text


async def test_a_bug_behind_the_screen_ends_it_with_exit_code_70(sit: Sit) -> None:
    async with sit(Scripted(refuse=ValueError("a bug"))) as desk:
        await desk.pilot.press("1")
        await desk.until(lambda: desk.app.return_code == 70)
        assert isinstance(desk.app.broke, ValueError)


async def test_what_long_work_found_out_is_drawn_without_a_key(sit: Sit) -> None:
    async with sit(Scripted(slices=40)) as desk:
        await desk.until(lambda: desk.runner.slices == 0)


async def test_the_runner_is_closed_on_the_way_out(sit: Sit) -> None:
    async with sit() as desk:
        await desk.pilot.press("q")
        await desk.until(lambda: desk.app._exit)
    assert desk.runner.closed


# -------------------------------------------------------------------------------------------------------- outside text

EVERY_HOSTILE = [*STRINGS.values(), "[b]x[/dim]", "x[/]", "[@click=app.exit]l[/]", "[link=http://h]L[/link]", "[bold]x"]
HOSTILE = ["[bold]x[/bold]", "x[/]", "[@click=app.exit]leave[/]", "[link=http://h]L[/link]", "\x1b[31mred", "\u202eon"]


@pytest.mark.parametrize("text", HOSTILE)
async def test_outside_text_is_shown_as_it_is_and_obeyed_nowhere(sit: Sit, text: str) -> None:
    sheet = replace(
        CAUTION,
        title=text,
        lines=(Line(text, Role.DANGER), Line(text, Role.ROW, "1"), Line(text, Role.RUNG)),
        keys=(LiveKey("k", text, text),),
    )
    entry = replace(CAUTION.entry, prompt=text, example=text, locked=False)  # type: ignore[type-var]
    runner = Scripted(at="locked", caution=replace(sheet, entry=entry, needs_caution=False))
    async with sit(runner) as desk:
        assert desk.text.count(text) >= 5 or not text.isprintable()
        assert all(char.isprintable() for row in desk.rows for char in row)
        await desk.pilot.press("question_mark")
        await desk.shows("Esc goes back")
        assert all(char.isprintable() for row in desk.rows for char in row)


async def test_not_one_of_all_hostile_strings_passes_on_any_part_of_the_screen(sit: Sit) -> None:
    """Title, caution, rows, drawing, entry, keys, help, a notice and the status, each with all of them."""
    lines = tuple(
        Line(text, role, "1" if role is Role.ROW else "")
        for text in EVERY_HOSTILE
        for role in (Role.DANGER, Role.ROW, Role.RUNG, Role.ECHO)
    )
    whole = "".join(EVERY_HOSTILE)
    keys = tuple(LiveKey("k", text[:14], text) for text in EVERY_HOSTILE)
    entry = replace(CAUTION.entry, prompt=whole[:30], example=whole, locked=False)  # type: ignore[type-var]
    sheet = replace(CAUTION, title=whole, lines=lines, keys=keys, entry=entry, needs_caution=False)
    async with sit(Scripted(at="locked", caution=sheet), size=(160, 300)) as desk:
        desk.app._board()._say(whole)
        await desk.pilot.pause(0.05)
        shown = list(desk.rows)
        await desk.pilot.press("escape")
        await desk.pilot.press("question_mark")
        await desk.shows("Esc goes back")
        shown += desk.rows
        assert "OSC" not in whole
        for row in shown:
            assert row.isprintable(), row
            assert not any(unicodedata.category(c) in ("Cf", "Cs", "Co", "Cn") for c in row), row
        assert "[/dim]" in " ".join(shown)


async def test_on_an_ascii_screen_every_cell_is_ascii(sit: Sit) -> None:
    sheet = replace(CAUTION, title="Förderband 3 ≥ 24 V ±5 Ω", lines=(Line("├─┤ K1 ├─● ✓", Role.RUNG),))
    ascii_only = replace(GOOD, glyphs=Glyphs.ASCII, look=Look.CONSOLE)
    async with sit(Scripted(at="locked", caution=sheet), terminal=ascii_only) as desk:
        assert desk.text.isascii()
        assert "Forderband 3 >= 24 V" in desk.text


# ---------------------------------------------------------------------------------------------------- keys and touches


async def test_the_whole_row_is_touched_to_the_edge_of_the_screen(sit: Sit) -> None:
    async with sit() as desk:
        await desk.waits(0.35)
        await desk.pilot.click(offset=(79, 2))
        await desk.until(lambda: bool(desk.runner.said))
        assert isinstance(desk.runner.said[0], Pressed)
        assert desk.runner.said[0].key == "1"


async def test_keys_of_the_key_row_are_touched(sit: Sit) -> None:
    async with sit() as desk:
        await desk.waits(0.35)
        await desk.pilot.click(offset=(desk.rows[23].index("w why") + 3, 23))
        await desk.until(lambda: bool(desk.runner.said))
        await desk.pilot.click(offset=(2, 23))
        await desk.shows("Esc goes back")


async def test_arrows_and_enter_choose_a_row(sit: Sit) -> None:
    async with sit() as desk:
        await desk.pilot.press("down", "down")
        await desk.shows("> 2  somebody")  # a sign, not only a colour
        await desk.pilot.press("enter")
        await desk.until(lambda: bool(desk.runner.said))
        assert isinstance(desk.runner.said[0], Pressed)
        assert desk.runner.said[0].key == "2"


async def test_help_lists_every_live_key_with_what_it_does_and_acts_on_none(sit: Sit) -> None:
    hidden = LiveKey("z", "hidden", "is in help only", shown=False)
    async with sit(locked(keys=(*CAUTION.keys, hidden))) as desk:
        assert "hidden" not in desk.rows[-1]
        await desk.pilot.press("question_mark")
        await desk.shows("Esc goes back")
        for key in (*CAUTION.keys, hidden):
            assert key.does in desk.text
        await desk.pilot.press("n", "u")
        assert desk.runner.said == []
        await desk.pilot.press("escape")
        await desk.until(lambda: isinstance(desk.app.screen, SheetScreen))


# --------------------------------------------------------------------------------------------------------------- sizes


async def test_21_lines_fit_80x24_with_title_entry_and_keys(sit: Sit) -> None:
    lines = tuple(Line(f" line {n:02}", Role.NOTE) for n in range(1, 22))
    async with sit(locked(lines=lines, needs_caution=False)) as desk:
        assert len(desk.rows) == 24
        assert all(f" line {n:02}" in desk.text for n in range(1, 22))
        assert "saved" in desk.rows[0]
        assert "readings" in desk.rows[22]
        assert desk.rows[23].startswith("? help")
        assert "below" not in desk.text


async def test_more_lines_scroll_with_a_mark_and_the_caution_stays(sit: Sit) -> None:
    lines = tuple(Line(f" line {n:02}", Role.NOTE) for n in range(1, 40))
    async with sit(locked(lines=(*CAUTION.lines[:3], *lines))) as desk:
        await desk.shows("rows below, PgDn shows them")
        assert "line 39" not in desk.text
        for _ in range(4):
            await desk.pilot.press("pagedown")
        await desk.shows("line 39")
        assert desk.rows[1].startswith(" CAUTION  NEW")
        await desk.shows("last row; PgUp goes back up")


@pytest.mark.parametrize("size", [(59, 24), (80, 15), (1, 1), (2, 2)], ids=str)
async def test_a_small_window_says_so_and_the_session_is_kept(sit: Sit, size: tuple[int, int]) -> None:
    async with sit(Scripted(at="locked"), size=size) as desk:
        await desk.waits(0.1)
        assert "make the window larger"[: min(4, size[0])] in desk.text
        await desk.pilot.press("c", "1")
        assert desk.runner.said == []
        await desk.pilot.resize_terminal(80, 24)
        await desk.shows("CAUTION")
        await desk.pilot.press("c")  # what could not be seen does not count as drawn
        await desk.waits(0.25)
        assert desk.runner.said == []


async def test_no_size_from_1x1_to_200x60_breaks_anything(sit: Sit) -> None:
    async with sit(Scripted(at="locked")) as desk:
        for step in range(20):
            width, height = 1 + step * 37 % 200, 1 + step * 23 % 60
            await desk.pilot.resize_terminal(width, height)
            if step % 7 == 3:
                await desk.pilot.press("question_mark")
        await desk.pilot.press("escape")
        await desk.pilot.resize_terminal(120, 40)
        await desk.shows("CAUTION")
        assert desk.app.broke is None
        assert (120, 40) in desk.runner.sizes


async def test_a_wide_screen_gives_rows_room_for_a_thumb(sit: Sit) -> None:
    async with sit(size=(120, 40)) as desk:
        await desk.waits(0.35)
        first = next(y for y, row in enumerate(desk.rows) if "nobody, I looked" in row)
        await desk.pilot.click(offset=(5, first + 1))
        await desk.until(lambda: bool(desk.runner.said))
        assert desk.rows[-2].startswith("? help")


async def test_the_help_key_shows_at_the_smallest_size(sit: Sit) -> None:
    async with sit(Scripted(at="locked"), size=(60, 16)) as desk:
        assert desk.rows[15].startswith("? help")
        assert "saved 1" in desk.rows[0]


async def test_the_end_of_a_job_is_left_with_enter(sit: Sit) -> None:
    async with sit(Scripted(at="end", who=WELCOME)) as desk:
        await desk.pilot.press("enter")
        await desk.until(lambda: desk.app._exit)


# --------------------------------------------------------------------------------------------------------- module face


def face() -> Scripted:
    lines = face_lines(
        "A1 controller", (), [Lamp("3", "%IX0.0", "stop", "on", False), Lamp("4", "%IX0.1", "start", "off", False)],
        [Lamp("7", "%QX0.0", "relay", "off", False)], 80,
    )  # fmt: skip
    return Scripted(who=replace(WELCOME, lines=lines))


async def test_each_half_of_a_drawn_face_is_touched_by_itself(sit: Sit) -> None:
    async with sit(face()) as desk:
        top = next(y for y, row in enumerate(desk.rows) if "%QX0.0" in row)
        for x, key in ((3, "3"), (78, "7"), (desk.rows[top].index("%QX0.0"), "7")):
            desk.runner.said.clear()
            await desk.waits(0.4)
            await desk.pilot.click(offset=(x, top))
            await desk.until(lambda: bool(desk.runner.said))
            (said,) = desk.runner.said
            assert isinstance(said, Pressed)
            assert said.key == key
        desk.runner.said.clear()
        await desk.pilot.click(offset=(60, top + 1 if "%IX0.1" in desk.rows[top + 1] else top + 2))
        await desk.waits(0.1)
        assert desk.runner.said == [], "where no light is drawn, nothing is touched"


async def test_the_arrow_keys_stand_on_every_light_in_turn(sit: Sit) -> None:
    async with sit(face()) as desk:
        seen = []
        for _ in range(3):
            await desk.pilot.press("down")
            await desk.waits(0.05)
            seen.append(next(row[row.index(">") + 1] for row in desk.rows if ">" in row))
        assert seen == ["3", "7", "4"]


# ------------------------------------------------------------------------------- keys of a card where readings are typed


def carded() -> Scripted:
    """A card of readings with a row beside them that is looked at."""
    rows = (Line("a  M1  motor  TURNS", Role.ROW, "a"),)
    keys = (LiveKey("a", "M1", "the next of what it can show", shown=False), LiveKey("e", "end, more", "ends another way"),
            LiveKey("n", "can't", "says that this cannot be done"))  # fmt: skip
    return Scripted(who=replace(WELCOME, lines=rows, keys=keys, entry=SheetEntry("readings", begins=READING)))


async def test_the_letter_of_a_row_acts_where_readings_are_typed_and_pressed_twice_it_is_two(sit: Sit) -> None:
    async with sit(carded()) as desk:
        await desk.waits(0.5)
        await desk.pilot.press("a", "a")
        await desk.until(lambda: len(desk.runner.said) == 2)
        assert [said.key for said in desk.runner.said if isinstance(said, Pressed)] == ["a", "a"]


async def test_a_key_with_which_a_reading_begins_is_typed_and_the_row_says_that_it_needs_enter(sit: Sit) -> None:
    async with sit(carded()) as desk:
        await desk.waits(0.5)
        assert "+Enter: n can't" in desk.rows[-1]
        await desk.pilot.press("n")
        await desk.waits(0.5)
        assert desk.runner.said == []
        await desk.pilot.press("enter")
        await desk.until(lambda: bool(desk.runner.said))
        (said,) = desk.runner.said
        assert isinstance(said, Pressed)
        assert said.key == "n"


async def test_a_word_that_begins_with_the_letter_of_a_row_stays_a_word_when_it_is_typed_in_one_go(sit: Sit) -> None:
    async with sit(carded()) as desk:
        await desk.waits(0.5)
        await desk.pilot.press(*"all 0", "enter")
        await desk.until(lambda: bool(desk.runner.said))
        assert desk.runner.said == [Typed("all 0", "who")]


async def test_a_letter_and_enter_at_once_is_the_key_of_that_letter(sit: Sit) -> None:
    async with sit(carded()) as desk:
        await desk.waits(0.5)
        await desk.pilot.press("e", "enter")
        await desk.until(lambda: bool(desk.runner.said))
        await desk.waits(0.5)
        assert [said.key for said in desk.runner.said if isinstance(said, Pressed)] == ["e"]


async def test_what_is_said_beside_the_typing_is_never_drawn_over_an_example_or_a_locked_line(sit: Sit) -> None:
    long = "reading belt-7 and computing what each fault would show"
    runner = Scripted(who=replace(WELCOME, entry=SheetEntry("Machine and complaint", example="belt 12 dead")))
    runner.working = long
    async with sit(runner) as desk:
        await desk.shows(long[:40])
        row = next(row for row in desk.rows if "Machine and complaint" in row)
        assert "like" not in row
        runner.working = ""
        await desk.shows("like belt 12 dead")
