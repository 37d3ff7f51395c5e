"""Where lines and keys go."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from tui.scripted import CAUTION

from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Entry, Line, LiveKey, Role, Sheet
from troubleshoot.tui import answering, placing

printable = st.text(st.characters(exclude_categories=["C", "Z", "M"], include_characters=" "), max_size=200)


@given(printable, st.integers(4, 200))
def test_no_word_of_a_caution_is_cut_off_at_any_width(text: str, width: int) -> None:
    rows = placing.rows_of((Line(text, Role.CAUTION),), width, str)
    assert "".join("".join(row.text for row in rows).split()) == "".join(text.split())
    assert all(cell_len(row.text) <= width for row in rows)


def test_a_drawn_rung_is_never_broken_over_two_rows() -> None:
    rung = Line("--11--| K1 13-14 |-1--12--| FR1 95-96 |-2--13--3( KM1 A1-A2 )-- NB", Role.RUNG)
    assert [row.text for row in placing.rows_of((rung,), 40, str)] == [rung.text]


def test_the_caution_comes_first_wherever_it_stands_on_the_sheet() -> None:
    lines = (Line("task", Role.TASK), Line("mind the brake", Role.DANGER), Line("why", Role.NOTE))
    top, rest = placing.split(type(CAUTION)("x", "t", lines, (), None, 0))
    assert [line.text for line in top] == ["mind the brake"]
    assert [line.text for line in rest] == ["task", "why"]


@given(st.integers(1, 200), st.integers(0, 10**9), printable)
def test_saved_is_whole_at_the_right_end_of_the_title(width: int, saved: int, title: str) -> None:
    row = placing.title_row(title, saved, width, str)
    assert cell_len(row) == width
    assert row.endswith(f"saved {saved}"[-width:])


@given(st.integers(1, 200), st.integers(1, 3), st.integers(0, 30))
def test_help_is_on_the_key_row_at_every_width(width: int, most: int, count: int) -> None:
    keys = (answering.HELP, *(LiveKey(chr(97 + n), "something else", "does") for n in range(count)))
    rows = placing.key_rows(keys, width, str, most=most)
    assert len(rows) <= most
    assert rows[0][0].text == "? help"
    assert all(spot.x + cell_len(spot.text) <= max(width, 6) for row in rows for spot in row if spot.x)


def test_all_keys_of_the_shown_trip_fit_80_columns() -> None:
    (row,) = placing.key_rows(answering.shown_keys(CAUTION), 80, str)
    assert [spot.key for spot in row] == ["?", "c", "w", "n", "x", "t", "u", "q"]


def test_ending_and_leaving_stay_on_a_key_row_that_is_too_short_for_all() -> None:
    keys = [LiveKey("?", "help", "")] + [LiveKey(k, f"label {k}", "") for k in "abdfghijk"]
    keys += [LiveKey("e", "end, more", ""), LiveKey("q", "leave", "")]
    (row,) = placing.key_rows(keys, 80, str)
    assert [spot.key for spot in row][:2] == ["?", "a"]
    assert [spot.key for spot in row][-2:] == ["e", "q"]


def test_the_keys_of_a_card_of_readings_find_room_with_the_word_that_they_need_enter() -> None:
    keys = tuple(KEYS[name].live for name in ("why", "cannot", "other", "undo", "end"))
    card = Sheet("1", "", (), keys, Entry("Type what the meter shows", begins=frozenset("nxue")), 0)
    (row,) = placing.key_rows(answering.row_of_keys(card), 80, str)
    assert [spot.key for spot in row] == ["?", "w", "", "n", "x", "u", "e", "q"]


def test_the_mark_stays_where_keys_behind_it_go() -> None:
    keys = tuple(KEYS[name].live for name in ("cannot", "other", "tree", "undo", "six readings", "end"))
    card = Sheet("1", "", (), keys, Entry("Type what the meter shows", begins=frozenset("nxtube")), 0)
    (row,) = placing.key_rows(answering.row_of_keys(card), 60, str)
    assert [spot.key for spot in row][:2] == ["?", ""]
    assert row[-1].key == "q"


def test_on_a_tall_screen_a_row_with_a_key_of_its_own_is_two_rows_high_and_rows_that_share_one_stay_together() -> None:
    lines = (
        Line("a  belt-7, handed back", Role.ROW, "a"),
        Line("   confirmed, no part", Role.NOTE, "a"),
        Line("b  fan-2, waiting", Role.ROW, "b"),
        Line("no key", Role.NOTE),
        Line(f"c  {'word ' * 30}", Role.ROW, "c"),
    )
    rows = placing.rows_of(lines, 40, str, roomy=True)
    assert [(r.text.strip()[:6], r.key) for r in rows[:6]] == [
        ("a  bel", "a"), ("confir", "a"), ("b  fan", "b"), ("", "b"), ("no key", ""), ("c  wor", "c"),
    ]  # fmt: skip
    assert all(r.text.strip() for r in rows[4:]), "no hole in a sentence that goes on in the next row"
