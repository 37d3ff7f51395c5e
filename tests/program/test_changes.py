"""What may be wrong with a program is a program again: each slip changes one thing, and says where."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from program.strategies import POINTS, expressions, inputs

from troubleshoot.program.changes import Change, changes, with_changes
from troubleshoot.program.model import Assign, Expression, Program, Ref
from troubleshoot.program.printing import program_text
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import build, retained, scan, start

WIRED = ("%IX0.0", "%IX0.1", "%QX0.0", "%QX0.1")
LATCH = """VAR
  on AT %IX0.0 : BOOL;
  off AT %IX0.1 : BOOL;
  lamp AT %QX0.0 : BOOL;
  kept : BOOL; unused : BOOL; l : SR; t : TON;
END_VAR
IF on THEN kept := TRUE; END_IF;
IF off THEN kept := FALSE; END_IF;
l(S1 := on, R := off);
t(IN := kept, PT := T#1s);
lamp := t.Q OR l.Q1 AND NOT off;
unused := on OR off;
"""


def program(text: str) -> Program:
    read = parse_program(text, "test")
    assert isinstance(read, Program), read
    return read


def found(text: str, sort: str) -> dict[str, str]:
    """Changes of one sort: id, and the lines of the printed program that are no longer there or new."""
    ready = program(text)
    before = program_text(ready).splitlines()
    out = {}
    for change in changes(ready, WIRED):
        if change.sort == sort:
            after = program_text(change.made(ready)).splitlines()
            out[change.id] = " ".join(line.strip() for line in after if line not in before)
    return out


def test_a_contact_is_inverted_once_in_each_place_where_it_stands() -> None:
    assert found("%QX0.0 := %IX0.0 AND NOT %IX0.1;\n%QX0.1 := %IX0.0;", "inverted") == {
        "line 1: %IX0.0 inverted in %QX0.0": "%QX0.0 := NOT %IX0.0 AND NOT %IX0.1;",
        "line 1: %IX0.1 inverted in %QX0.0": "%QX0.0 := %IX0.0 AND %IX0.1;",
        "line 2: %IX0.0 inverted in %QX0.1": "%QX0.1 := NOT %IX0.0;",
    }


def test_the_same_contact_twice_in_a_line_has_two_names() -> None:
    assert set(found("%QX0.0 := %IX0.0 OR %IX0.1 AND %IX0.0;", "inverted")) == {
        "line 1: %IX0.0 inverted in %QX0.0", "line 1: %IX0.1 inverted in %QX0.0", "line 1: %IX0.0 inverted in %QX0.0 (2)",
    }  # fmt: skip


def test_each_branch_can_be_missing_and_a_contact_in_series_cannot() -> None:
    assert found("%QX0.0 := %IX0.1 AND (%IX0.0 OR %QX0.0);", "missing") == {
        "line 1: %IX0.0 missing in %QX0.0": "%QX0.0 := %IX0.1 AND %QX0.0;",
        "line 1: %QX0.0 missing in %QX0.0": "%QX0.0 := %IX0.1 AND %IX0.0;",
    }


def test_an_address_is_mistaken_for_its_neighbour() -> None:
    assert found(LATCH, "address") == {
        "line 2: on at %IX0.1": "VAR on AT %IX0.1 : BOOL; END_VAR",
        "line 3: off at %IX0.0": "VAR off AT %IX0.0 : BOOL; END_VAR",
        "line 4: lamp at %QX0.1": "VAR lamp AT %QX0.1 : BOOL; END_VAR",
    }


def test_a_set_can_lack_its_reset_in_a_rung_and_in_a_block() -> None:
    assert list(found(LATCH, "no reset")) == ["line 8: kept without reset", "line 9: l without reset"]


def test_what_latches_can_be_kept_over_a_loss_of_power() -> None:
    assert list(found(LATCH, "retained")) == ["line 5: kept retained", "line 5: l retained"]
    assert list(found("VAR m : BOOL; END_VAR m := %IX0.0 OR m; %QX0.0 := m;", "retained")) == ["line 1: m retained"]
    assert found("VAR RETAIN m : BOOL; END_VAR m := %IX0.0 OR m; %QX0.0 := m;", "retained") == {}


def test_a_retained_bit_is_on_when_power_comes_back() -> None:
    ready = program("VAR m : BOOL; END_VAR m := %IX0.0 OR m; %QX0.0 := m;")
    wrong = with_changes(ready, ["line 1: m retained"], WIRED)
    for one, on in ((ready, False), (wrong, True)):
        ran = scan(one, start(one, cold=True), {"%IX0.0": True}, 0).memory
        assert scan(one, start(one, cold=False, retained=retained(one, ran)), {}, 0).outputs["%QX0.0"] is on


@pytest.mark.parametrize(
    ("point", "word", "outs"), [("%IX0.0", "on", "1"), ("%QX0.0", "off", "0"), ("%QX0.0", "on", "1")]
)
def test_a_forced_point_is_what_it_was_forced_to(point: str, word: str, outs: str) -> None:
    ready = program("%QX0.0 := %IX0.0;")
    forced = with_changes(ready, [f"force {point} {word}"], WIRED)
    for seen in (False, True):
        assert scan(forced, start(forced, cold=True), {"%IX0.0": seen}, 0).outputs["%QX0.0"] is (outs == "1")


def test_only_what_an_output_depends_on_is_doubted() -> None:
    assert not any("unused" in change.words for change in changes(program(LATCH), WIRED))
    assert changes(program("%MX0.0 := %IX0.0;"), WIRED) == ()


def test_every_change_says_where_in_words_and_has_a_name_of_its_own() -> None:
    every = changes(program(LATCH), WIRED)
    assert len({change.id for change in every}) == len(every) > 15
    for change in every:
        assert change.sort == "forced" or f"line {change.line}" in change.words
        assert change.sort == "forced" or 1 <= change.line <= len(LATCH.splitlines())


def test_a_change_that_no_longer_applies_after_another_is_left_out() -> None:
    ready = program("%QX0.0 := %IX0.0 OR %IX0.1;")
    both = with_changes(ready, ["line 1: %IX0.0 missing in %QX0.0", "line 1: %IX0.0 inverted in %QX0.0"], WIRED)
    assert both == program("%QX0.0 := %IX0.1;")


def test_a_large_program_is_doubted_near_its_outputs_first() -> None:
    text = "%QX0.0 := %MX0.0;\n" + "".join(f"%MX0.{k} := %MX0.{k + 1} AND %IX0.0;\n" for k in range(800))
    every = changes(program(text), WIRED)
    assert 100 < len(every) <= 300
    assert max(change.line for change in every) < 200


@settings(deadline=None, max_examples=50)
@given(expressions, inputs, st.data())
def test_every_change_prints_as_a_program_that_reads_and_does_the_same(
    node: Expression, bits: dict[str, bool], data: st.DataObject
) -> None:
    ready = build("", (), (Assign(Ref("%QX0.0"), node),))
    every = changes(ready, (*POINTS, "%QX0.0"))
    if not every:
        return
    change: Change = data.draw(st.sampled_from(every))
    made = change.made(ready)
    read = parse_program(program_text(made), "printed")
    assert isinstance(read, Program)
    assert read == made
    assert scan(read, start(read, cold=True), bits, 0).outputs == scan(made, start(made, cold=True), bits, 0).outputs
