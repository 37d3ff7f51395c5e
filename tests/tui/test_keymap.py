"""Keys moved to other letters: shown where they are, obeyed where they are, and a caution never on a key pressed by chance."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tui.conftest import Sit
from tui.scripted import CAUTION, WELCOME, Scripted

from troubleshoot.job.keys import KEYS, MOVABLE
from troubleshoot.job.lists import ITEM_KEYS
from troubleshoot.job.sheet import Entry, Line, LiveKey, Part, Pressed, Role, Sheet, Typed
from troubleshoot.tui.keymap import Keymap, Rekeyed, keymap, rekeyed, why_not
from troubleshoot.tui.plain import run_plain

LETTERS = "abcdefghijklmnopqrstuvwxyzäöüйцу"


def moved(**chosen: str) -> Keymap:
    found = keymap({name.replace("_", " "): letter for name, letter in chosen.items()})
    assert isinstance(found, Keymap), found
    return found


CHOICES = st.dictionaries(st.sampled_from([k.name for k in MOVABLE]), st.sampled_from(LETTERS))


@given(CHOICES)
def test_no_two_keys_ever_share_a_letter_and_none_is_lost(chosen: dict[str, str]) -> None:
    found = keymap(chosen)
    if isinstance(found, tuple):
        wrong, why = found
        assert wrong in chosen
        assert why
        return
    every = sorted({*ITEM_KEYS, *(k.usual for k in MOVABLE), *found.moved})
    assert sorted(found.pressed(key) for key in every) == every
    assert all(found.meant(found.pressed(key)) == key for key in every)
    assert all(found.pressed(KEYS[name].usual) == letter for name, letter in chosen.items())
    assert all(found.pressed(digit) == digit for digit in "0123456789")


@given(st.text(max_size=3))
def test_no_key_can_be_put_on_a_digit_enter_space_or_anything_but_one_letter(letter: str) -> None:
    if not why_not(letter):
        assert len(letter) == 1
        assert letter.isalpha()
        assert not letter.isdigit()


@pytest.mark.parametrize("letter", ["1", "٣", "", " ", "enter", "Return", "space", "?", "-", "\x1b", "ab", "字"])
def test_a_caution_is_never_accepted_by(letter: str) -> None:
    found = keymap({"caution": letter})
    assert isinstance(found, tuple)
    assert found[0] == "caution"


def test_every_sentence_that_names_a_key_names_the_one_to_press() -> None:
    keys = moved(caution="k", why="h", undo="ü", other="ö", cannot="j")
    sheet = Sheet(
        "s", "t",
        (
            Line("c  read; power is back on", Role.ROW, "c"),
            Line(" [c] I have read this", Role.CAUTION, "c"),
            Line("h  a row that had this letter", Role.ROW, "h"),
            Line("The caution comes first: read it, then press c.", Role.ECHO),
            Line("u takes the last answer back; x shows other tests; or type two points", Role.TASK),
            Line("Type a reading or a word, or n for can't.", Role.ECHO),
            Line("It can't be cut: c is a wire here, 0.5 u if it were.", Role.NOTE),
        ),
        (KEYS["caution"].live, LiveKey("h", "row", "a row")), Entry("Read the caution, then press c; typing opens"), 1,
        needs_caution=True,
    )  # fmt: skip
    shown = rekeyed(sheet, keys)
    assert [line.text for line in shown.lines] == [
        "k  read; power is back on",
        " [k] I have read this",
        "w  a row that had this letter",
        "The caution comes first: read it, then press k.",
        "ü takes the last answer back; ö shows other tests; or type two points",
        "Type a reading or a word, or j for can't.",
        "It can't be cut: c is a wire here, 0.5 u if it were.",
    ]
    assert [line.key for line in shown.lines][:3] == ["k", "k", "w"]
    assert [key.key for key in shown.keys] == ["k", "w"]
    assert shown.entry is not None
    assert "press k;" in shown.entry.prompt
    assert (shown.frame.caution, shown.frame.leave) == ("k", "q")


def test_two_keys_that_change_places_change_them_in_words_too() -> None:
    keys = moved(undo="x", other="u")
    sheet = replace(WELCOME, lines=(Line("u takes the last answer back; x shows other tests"),))
    assert rekeyed(sheet, keys).lines[0].text == "x takes the last answer back; u shows other tests"


def test_a_light_of_a_drawn_face_shows_the_letter_to_press() -> None:
    keys = moved(why="h")
    face = Line("| h (*) %IX0.7 start | i ( ) high |", Role.FACE, parts=(
        Part(0, 20, "h", "h  %IX0.7  start  on"), Part(20, 35, "i", "i  high  off"),
    ))  # fmt: skip
    shown = rekeyed(replace(WELCOME, lines=(face,)), keys).lines[0]
    assert shown.text == "| w (*) %IX0.7 start | i ( ) high |"
    assert [(p.key, p.words) for p in shown.parts] == [("w", "w  %IX0.7  start  on"), ("i", "i  high  off")]


@pytest.mark.parametrize("key", ["w", "u", "c", "1"])
def test_what_is_pressed_and_what_is_typed_alone_reach_the_job_as_it_knows_them(key: str) -> None:
    runner = Scripted(at="locked")
    keys = moved(why="h", undo="ü", caution="k")
    front = Rekeyed(runner, keys)
    front.give(Pressed(keys.pressed(key), CAUTION.id, 2000))
    front.give(Typed(f" {keys.pressed(key)} ", CAUTION.id))
    front.give(Typed("120 120 0", CAUTION.id))
    meant = [s.key if isinstance(s, Pressed) else s.text.strip() for s in runner.said]
    assert meant == [key, key, "120 120 0"]


async def test_on_the_screen_the_moved_key_accepts_the_caution_and_the_old_one_does_not(sit: Sit) -> None:
    runner = Scripted(at="locked")
    async with sit(Rekeyed(runner, moved(caution="k", leave="j"))) as desk:  # type: ignore[arg-type]
        await desk.shows("[k] I have read this")
        await desk.waits(1.0)
        await desk.pilot.press("c")
        await desk.waits(1.0)
        assert not runner.said
        await desk.pilot.press("k")
        await desk.waits(1.0)
        await desk.until(
            lambda: runner.said == [Pressed("c", CAUTION.id, runner.said[0].drawn_ms)] if runner.said else False
        )  # type: ignore[union-attr]
        await desk.pilot.press("escape")
        await desk.pilot.press("j")
        await desk.until(lambda: bool(desk.app._exit))


def test_in_lines_too() -> None:
    runner, out = Scripted(at="locked"), io.StringIO()
    front = Rekeyed(runner, moved(caution="k", leave="j"))
    assert run_plain(front, io.StringIO("c\nk\nj\n"), out, talking=False) == 0
    assert "k on a line of its own says so" in out.getvalue()
    assert [s.key for s in runner.said if isinstance(s, Pressed)] == ["c"]
    assert out.getvalue().rstrip().endswith("Left. Everything up to here is kept.")


def test_every_letter_that_a_job_offers_is_in_the_table_or_is_a_row_of_its_sheet() -> None:
    """A whole job and every panel of it: so help, key row, manual page and settings speak of the same keys."""
    from job import nights

    night = nights.Night("12:K1:14>FR1:95 open")
    night.session.give(Typed("belt 7 dead", night.sheet().id))
    usual = {key.usual: key for key in KEYS.values()}
    named = set()
    while not night.sheet().done:
        for key in night.sheet().keys:
            rows = {k for line in night.sheet().lines for k in line.keys}
            assert key.key in usual or key.key in rows or key.key.isdigit(), key
            if key.key in usual and not (key.key in rows and re.fullmatch("[a-z]", key.key) and not key.shown):
                named.add(usual[key.key].name)
        for panel in ("w", "n", "e", "x"):
            if panel in night.live() and panel not in {k for line in night.sheet().lines for k in line.keys}:
                night.press(panel)
                named |= {usual[key.key].name for key in night.sheet().keys if key.key in usual}
                if "escape" in night.live():
                    night.press("escape")
                elif panel == "w":
                    night.press("w")
        night.careful()
    assert named >= {"caution", "yes", "not clear", "why", "cannot", "other", "undo", "end", "as shown", "back"}
    assert not any(KEYS[name].where == "in help" for name in named)
