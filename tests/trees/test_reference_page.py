"""The page about the tree file is true."""

from __future__ import annotations

import re

import pytest
from trees.played import reasoner

from troubleshoot.trees import Bound, Tree, bind, load_tree
from troubleshoot.trees.model import READING_WORDS, SIDES
from troubleshoot.trees.rows import COMMON, EXTRA, KEYS, SORTS


@pytest.fixture(scope="module")
def page(root) -> str:
    return (root / "docs/reference/tree-file.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("machine", ["belt-7", "fan-2"])
def test_its_example_fits_both_machines_as_it_stands(page, machine):
    (example,) = re.findall(r"```yaml\n(.*?)```", page, re.DOTALL)
    tree = load_tree(example, "page")
    assert isinstance(tree, Tree), tree
    assert isinstance(bind(tree, reasoner(machine)), Bound)


def test_it_names_every_key_every_side_and_every_word(page):
    keys = [*KEYS, *SORTS, *COMMON, *(key for extra in EXTRA.values() for key in extra)]
    missing = [name for name in (*keys, *READING_WORDS) if f"`{name}`" not in page]
    missing += [side for side in SIDES if not re.search(rf"`[^`]*\.{side}`", page)]
    assert missing == []
