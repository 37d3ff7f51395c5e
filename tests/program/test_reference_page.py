"""The page about the program is true."""

from __future__ import annotations

import re

import pytest

from troubleshoot.program import Program, draw, parse_program, scan, start
from troubleshoot.program.blocks import BLOCKS
from troubleshoot.program.changes import MOST
from troubleshoot.program.dialects import IEC
from troubleshoot.program.drawn import _SHAPES
from troubleshoot.program.ladder import WIDTH
from troubleshoot.program.model import PRECEDENCE
from troubleshoot.program.rungs import FUNCTIONS
from troubleshoot.program.running import BUDGET
from troubleshoot.program.tokens import UNSUPPORTED


@pytest.fixture(scope="module")
def page(root) -> str:
    return (root / "docs/reference/program.md").read_text(encoding="utf-8")


def test_its_example_reads_as_it_stands(page):
    (example,) = re.findall(r"```\n(PROGRAM.*?)```", page, re.DOTALL)
    assert isinstance(parse_program(example, "page"), Program)


def test_it_has_every_block_with_its_pins_and_no_other(page):
    rows = re.findall(r"(?m)^\| `([A-Z_]+)` \| (`[^|]*`) \| (`[^|]*`) \|", page)
    found = {name: (re.findall(r"\w+", inputs), re.findall(r"\w+", outputs)) for name, inputs, outputs in rows}
    assert found == {name: ([*block.inputs], [*block.outputs]) for name, block in BLOCKS.items()}


def test_it_has_every_operator_loosest_first_and_every_element_and_function_of_a_ladder(page):
    (row,) = re.findall(r"(?m)^\| operators \|(.*)\|$", page)
    told = [op for op in re.findall(r"`([^`]+)`", row) if op not in ("&", "NOT")]
    assert told == [op for level in PRECEDENCE for op in level]
    missing = [name for name in (*_SHAPES, *FUNCTIONS, "NOT") if f"`{name}`" not in page]
    assert missing == []


def test_it_has_every_object_and_attribute_of_a_rung_in_iec_61131_10(page):
    assert IEC.inside is not None
    objects = [word for name in IEC.inside["rung"] for word in name.split()]
    words = [
        name
        for of in ("contact", "coil", "inVariable", "connection", "connectionPointOut")
        for name in IEC.attributes[of]
    ]
    assert [word for word in (*objects, *words, *IEC.spaces) if word not in page] == []


def test_its_figures_are_those_of_the_program(page):
    assert f"{BUDGET:,} operations" in page
    assert f"{WIDTH} columns" in page
    assert f"At most {MOST} changes" in page


def test_its_drawing_is_what_is_drawn(page):
    text = "VAR estop_ok AT %IX0.0 : BOOL; start AT %IX0.1 : BOOL; stop_ok AT %IX0.2 : BOOL; motor AT %QX0.0 : BOOL; END_VAR"
    read = parse_program(text + " motor := estop_ok AND stop_ok AND (start OR motor);", "page")
    assert isinstance(read, Program)
    values = scan(read, start(read, cold=True), {"%IX0.0": True, "%IX0.1": True}, 0).values
    drawing = "\n".join(f"    {line}" for line in draw(read, "motor", values=values))
    assert drawing in page


@pytest.mark.parametrize("word", ["FOR", "CASE", "RETURN", "ARRAY"])
def test_what_it_says_is_not_read_is_told_by_name(page, word):
    assert word in UNSUPPORTED
    (problem, *_) = parse_program(f"{word} x;", "t")
    assert "is not in the part of Structured Text that is read here" in problem.what
