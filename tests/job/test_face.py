"""A module's lights drawn as they sit on it: every light stands whole, is a target of its own, and nothing is wider than told."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.job.face import LEAST_WIDTH, Lamp, face_lines, fits, side_by_side

_KEYS = "1234567890abcdefghijklmopqrs"
_lamps = st.builds(
    Lamp,
    st.just(""),
    st.sampled_from(["RUN", "%IX0.0", "%IX12.15", "%QX0.3"]),
    st.text("abcdefghijkl ", max_size=40).map(str.strip),
    st.sampled_from(["on", "off", "dim", "unsteady"]),
    st.booleans(),
)


def _keyed(lamps: list[Lamp], keys: str) -> list[Lamp]:
    return [Lamp(k, x.label, x.words, x.shown, x.by_person) for k, x in zip(keys, lamps, strict=False)]


@given(
    st.lists(_lamps, max_size=2), st.lists(_lamps, min_size=1, max_size=9), st.lists(_lamps, min_size=1, max_size=9),
    st.integers(LEAST_WIDTH, 130),
)  # fmt: skip
def test_every_light_shows_its_key_its_mark_and_its_state_at_any_width(
    top: list[Lamp], left: list[Lamp], right: list[Lamp], width: int
) -> None:
    top, left, right = _keyed(top, "12"), _keyed(left, "34567890a"), _keyed(right, "bcdefghij")
    assert fits(left, right, width)
    lines = face_lines("A1 controller", top, left, right, width)
    assert len({len(line.text) for line in lines}) == 1, "the box closes"
    assert len(lines[0].text) <= width
    parts = {p.key: (line.text[p.start : p.end], p.words) for line in lines for p in line.parts}
    assert list(parts) == [lamp.key for lamp in top] + [k for line in lines[1:] for k in line.keys]
    for lamp in (*left, *right):
        drawn, words = parts[lamp.key]
        state = lamp.shown.upper() if lamp.by_person else lamp.shown
        assert drawn.strip("| ").startswith(f"{lamp.key} (")
        assert lamp.label in drawn
        assert f" {state}" in drawn
        assert words.startswith(f"{lamp.key}  {lamp.label}")
        assert lamp.words in words, "a line mode says all of it"


def test_the_halves_of_a_row_are_two_targets_that_touch() -> None:
    one, other = Lamp("3", "%IX0.0", "stop", "on", False), Lamp("7", "%QX0.0", "relay", "off", False)
    row = face_lines("A1", (), [one], [other], 80)[1]
    assert row.keys == ("3", "7")
    assert row.parts[0].end == row.parts[1].start
    assert (row.parts[0].start, row.parts[1].end) == (0, len(row.text))


def test_a_module_with_inputs_alone_and_a_narrow_screen_keep_the_list() -> None:
    lamp = Lamp("3", "%IX0.0", "stop", "on", False)
    assert not fits([lamp], [], 80)
    assert not fits([lamp], [lamp], LEAST_WIDTH - 1)


@given(st.lists(_lamps, min_size=1, max_size=20), st.integers(LEAST_WIDTH, 130))
def test_a_list_too_long_for_the_screen_stands_in_two_columns_and_nothing_of_it_is_lost(
    lamps: list[Lamp], width: int
) -> None:
    lamps = _keyed(lamps, _KEYS)
    lines = side_by_side(lamps, width)
    assert len(lines) == (len(lamps) + 1) // 2
    assert all(len(line.text) <= width for line in lines)
    parts = {p.key: line.text[p.start : p.end] for line in lines for p in line.parts}
    assert sorted(parts) == sorted(lamp.key for lamp in lamps)
    for lamp in lamps:
        assert f" {lamp.shown.upper() if lamp.by_person else lamp.shown}" in parts[lamp.key]
        assert lamp.label in parts[lamp.key]
