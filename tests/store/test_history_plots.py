"""Bars that can be read without their length and without a colour."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.cli.plots import bars

POINTS = st.lists(
    st.tuples(st.text(st.characters(codec="ascii", exclude_categories=["C"]), max_size=60), st.integers(0, 10**6)),
    max_size=9,
)


@given(POINTS, st.integers(30, 120), st.booleans())
def test_every_line_fits_and_says_its_number(points: list[tuple[str, int]], width: int, ascii_only: bool) -> None:
    lines = bars(points, width, ascii_only=ascii_only)
    assert len(lines) == len(points)
    for line, (_, value) in zip(lines, points, strict=True):
        assert len(line) <= width
        assert f"{value:g}" in line
        assert not ascii_only or line.isascii()


def test_the_longest_bar_is_the_greatest_number_and_a_small_one_is_still_seen() -> None:
    lines = bars([("a", 1000), ("b", 500), ("c", 1), ("d", 0)], 60)
    lengths = [sum(c in "█▏▎▍▌▋▊▉" for c in line) for line in lines]
    assert lengths[0] > lengths[1] > lengths[2] == 1
    assert lengths[3] == 0


def test_in_ascii_the_same() -> None:
    assert bars([("wire 12", 4), ("K1", 2)], 30, ascii_only=True) == [
        "wire 12 4 ####################",
        "K1      2 ##########",
    ]
