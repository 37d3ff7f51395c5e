"""Which characters act, and which begin an answer."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tui.scripted import CAUTION, WELCOME, open_for_typing

from troubleshoot.job.sheet import Pressed, Typed
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
    from troubleshoot.job.sheet import Entry, LiveKey, Sheet

    keys = (LiveKey("1", "go now", "goes on"),)
    typing = Sheet("1", "", (), keys, Entry("Or say it otherwise"), 0)
    assert not answering.acts_at_once(typing, "1")
    rows = Sheet("1", "", (), keys, Entry("Or say it otherwise", rows_first=True), 0)
    assert answering.acts_at_once(rows, "1")
    assert not answering.acts_at_once(rows, "2")
