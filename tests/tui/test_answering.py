"""Which characters act, and which begin an answer."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tui.scripted import CAUTION, WELCOME, open_for_typing

from troubleshoot.evidence.phrases import BEEPS, PHRASES
from troubleshoot.job.beginnings import READING
from troubleshoot.job.keys import MOVABLE
from troubleshoot.job.sheet import Entry, Line, LiveKey, Pressed, Role, Sheet, Typed
from troubleshoot.tui import answering

OPEN = open_for_typing(CAUTION)


def test_a_digit_on_a_row_acts_where_nothing_can_be_typed() -> None:
    assert answering.acts_at_once(WELCOME, "1")
    assert not answering.acts_at_once(WELCOME, "7")


@pytest.mark.parametrize("word", ["nothing", "ok", "118-121", "OL", "120 120 0", "24ish", "w why"])
def test_words_are_words_though_they_begin_with_a_key(word: str) -> None:
    assert answering.sent(OPEN, word, drawn_ms=900) == Typed(word, OPEN.id)


def test_a_single_letter_that_is_a_key_is_that_key() -> None:
    assert answering.sent(OPEN, " n ", drawn_ms=900) == Pressed("n", OPEN.id, 900)


def test_a_single_digit_that_is_no_key_is_a_reading() -> None:
    assert answering.sent(OPEN, "0", drawn_ms=900) == Typed("0", OPEN.id)


def test_nothing_typed_sends_nothing() -> None:
    assert answering.sent(OPEN, "   ", drawn_ms=900) is None


def test_help_is_the_first_key_and_leaving_the_last() -> None:
    keys = [key.key for key in answering.shown_keys(CAUTION)]
    assert keys[0] == "?"
    assert keys[-1] == "q"


@given(st.text(max_size=6000))
def test_a_paste_is_one_line_of_at_most_4_kb(text: str) -> None:
    line, cut = answering.capped(text)
    assert len(line.encode("utf-8", "backslashreplace")) <= 4096
    assert len(line.splitlines()) <= 1
    assert cut == (len(text.encode("utf-8", "backslashreplace")) > 4096)


def test_a_digit_acts_at_once_where_the_rows_come_before_the_typing() -> None:
    keys = (LiveKey("1", "go now", "goes on"),)
    typing = Sheet("1", "", (), keys, Entry("Or say it otherwise"), 0)
    assert not answering.acts_at_once(typing, "1")
    rows = Sheet("1", "", (), keys, Entry("Or say it otherwise", rows_first=True), 0)
    assert answering.acts_at_once(rows, "1")
    assert not answering.acts_at_once(rows, "2")


# A card of the proof run: rows that are looked at beside readings that are typed.
CARD = Sheet(
    "card", "", (Line("a  M1  motor  TURNS", Role.ROW, "a"), Line("b  YB1  brake  let go", Role.ROW, "b")),
    (
        LiveKey("n", "can't", "says that this cannot be done"), LiveKey("u", "undo", "takes the last answer back"),
        LiveKey("e", "end, more", "ends another way"), LiveKey("a", "M1", "the next of what it can show", shown=False),
    ),
    Entry("Type what the meter shows", example="6.1 6.1 6.2", begins=READING), 3,
)  # fmt: skip


def test_the_letter_of_a_row_acts_at_once_and_one_with_which_a_reading_begins_does_not() -> None:
    assert [key for key in "abe" if answering.acts_while_typing(CARD, key)] == ["a", "b", "e"]
    # "nothing" and "unsteady" are readings; a digit always is one.
    assert not [key for key in "nu7q" if answering.acts_while_typing(CARD, key)]


def test_keys_that_need_enter_stand_behind_the_words_that_say_so() -> None:
    assert [key.key or key.label for key in answering.row_of_keys(CARD)] == ["?", "e", "+Enter:", "n", "u", "q"]


def test_where_nothing_is_typed_every_key_acts_at_once_and_nothing_is_said_of_enter() -> None:
    assert answering.row_of_keys(WELCOME) == answering.shown_keys(WELCOME)


def test_in_words_of_ones_own_every_letter_may_be_the_first() -> None:
    note = replace(CARD, entry=Entry("A note"))
    assert not [key for key in "abenuq" if answering.acts_while_typing(note, key)]


@pytest.mark.parametrize("word", [*PHRASES, *sorted(BEEPS), "about 5", "over 4", "both 120"])
def test_a_reading_in_words_can_be_typed_from_its_first_letter_on(word: str) -> None:
    sheet = replace(CARD, lines=(), keys=tuple(key.live for key in MOVABLE))
    assert not word[0].isalpha() or word[0] == "w" or not answering.acts_while_typing(sheet, word[0])
