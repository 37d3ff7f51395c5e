"""What is printed on the panel is what stands on the screen, and either name is understood when it is typed."""

from __future__ import annotations

import pytest

from troubleshoot.job.aliases import as_printed, as_typed, names
from troubleshoot.job.sheet import Entry, Line, Part, Role, Sheet
from troubleshoot.machine.amending import Alias

KNOWN = names([
    Alias("device", "K1", "CR17"), Alias("wire", "12", "340"), Alias("point", "X1:4", "TB2:9"),
    Alias("point", "A1:%IX0.1", "A1:I0/1"),
])  # fmt: skip


def shown(text: str, role: Role = Role.NOTE, width: int = 80) -> str:
    sheet = Sheet("1", "", (Line(text, role),), (), None, 0)
    return as_printed(sheet, KNOWN, width).lines[0].text


@pytest.mark.parametrize(
    ("described", "printed"),
    [
        ("1  K1:14  relay", "1  CR17:14  relay"),
        ("K1 coil, KM1 and K10 too", "CR17 coil, KM1 and K10 too"),
        ("wire 12 (K1:14 to FR1:95), wire 120", "wire 340 (CR17:14 to FR1:95), wire 120"),
        ("wire 16 (X1:4-K1:11)", "wire 16 (TB2:9-CR17:11)"),
        ("-16-[S1 3-4]-17-X1:4-18-[K1 13-14]", "-16-[S1 3-4]-17-TB2:9-18-[CR17 13-14]"),
        ("wire 3 KM1:14-X1:4 open", "wire 3 KM1:14-TB2:9 open"),
        ("other-K1:14", "other-K1:14"),
        ("12 left: X1:4, X1:41", "12 left: TB2:9, X1:41"),
    ],
)
def test_a_printed_name_stands_for_exactly_its_own_described_one(described, printed):
    assert shown(described) == printed


def test_in_a_drawn_rung_the_numbers_of_the_points_stay_under_their_terminals():
    rung, under = "-11-[K1 13-14]-12-[FR1 95-96]", "             1    2"
    sheet = Sheet("1", "", (Line(rung, Role.RUNG), Line(under, Role.RUNG)), (), None, 0)
    drawn, points = (line.text for line in as_printed(sheet, KNOWN, 80).lines)
    assert drawn == "-11-[CR17 13-14]-340-[FR1 95-96]"
    assert drawn[points.index("1")] == rung[under.index("1")] == "]"
    assert drawn[points.index("2")] == rung[under.index("2")] == "["


def test_on_the_face_of_a_module_the_printed_label_stands_and_the_box_keeps_its_width():
    face = "| 4 (*) %IX0.1 start               on |"
    sheet = Sheet("1", "", (Line(face, Role.FACE, parts=(Part(0, 38, "4", "A1 %IX0.1 start on"),)),), (), None, 0)
    (line,) = as_printed(sheet, KNOWN, 80).lines
    assert "I0/1" in line.text
    assert len(line.text) == len(face)


def test_a_line_that_would_grow_over_the_edge_goes_on_in_the_next_one():
    sheet = as_printed(Sheet("1", "", (Line("x" * 70 + " K1:14", Role.NOTE),), (), None, 0), KNOWN, 77)
    assert [line.text.strip() for line in sheet.lines] == ["x" * 70, "CR17:14"]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("CR17:14 NB:1 120", "K1:14 NB:1 120"),
        ("cr17:14", "K1:14"),
        ("tb2:9 NB:1", "X1:4 NB:1"),
        ("K1:14 NB:1 0", "K1:14 NB:1 0"),
    ],
)
def test_typed_words_may_hold_either_name(typed, meant):
    assert as_typed(typed, KNOWN) == meant


def test_the_last_word_on_a_name_counts():
    assert as_typed("CR2:14", names([Alias("device", "K1", "CR1"), Alias("device", "K1", "CR2")])) == "K1:14"


def test_without_aliases_nothing_changes():
    sheet = Sheet("1", "K1", (Line("K1:14"),), (), Entry("x", example="K1:14"), 0)
    assert as_printed(sheet, names([]), 80) is sheet
