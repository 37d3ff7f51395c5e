"""The loader never raises, whatever becomes of a tree file."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from trees.played import ROOT, TREES

from troubleshoot.trees import Tree, load_tree

TEXT = {name: (ROOT / f"trees/{name}.yaml").read_text(encoding="utf-8") for name in TREES}


@pytest.mark.parametrize("name", TREES)
def test_the_trees_of_the_house_have_the_name_of_their_file(name):
    assert load_tree(TEXT[name], name).name == name


@given(st.sampled_from(TREES), st.data())
def test_a_damaged_tree_is_a_tree_or_problems_in_file_order_and_never_an_exception(name, data):
    text = TEXT[name]
    start = data.draw(st.integers(0, len(text)))
    stop = data.draw(st.integers(start, min(len(text), start + 40)))
    found = load_tree(text[:start] + data.draw(st.text(max_size=12)) + text[stop:], "t.yaml")
    if not isinstance(found, Tree):
        assert found
        assert list(found) == sorted(found, key=lambda p: (p.at.line, p.at.column))


def test_a_misspelt_target_is_told_at_its_own_line_and_nothing_follows_from_it():
    text = (
        "tree: t\nneeds: [motor]\nnodes:\n"
        "  - id: round\n    look: [motor]\n    why: A jam can be seen.\n    next: hald\n"
        "  - {id: hold, look: [motor], next: last}\n  - {id: last, end: done}\n"
    )
    (problem,) = load_tree(text, "t.yaml")
    assert str(problem) == "t.yaml:7:11: node 'round' leads to 'hald', which is not there (nearest: hold)"
