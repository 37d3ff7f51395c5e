"""Nothing on the screen is ever read as markup: not in one place of the code, whoever writes the next widget."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import troubleshoot.tui

WIDGETS_THAT_READ_MARKUP = {
    "Static", "Label", "Button", "Checkbox", "RadioButton", "DataTable", "Tree", "OptionList", "Option", "Collapsible",
    "Tab", "TabPane", "Link", "Digits", "Toast", "Tooltip",
}  # fmt: skip
"""Widgets of the screen library whose text is markup unless they are told otherwise (its documentation)."""
ALWAYS_MARKUP = {"notify", "from_markup", "tooltip", "border_title", "border_subtitle", "sub_title"}


def code() -> Iterator[tuple[str, ast.AST]]:
    for path in sorted(Path(troubleshoot.tui.__file__).parent.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            yield path.name, node


def test_every_widget_that_would_read_markup_is_told_not_to() -> None:
    found = 0
    for name, node in code():
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in WIDGETS_THAT_READ_MARKUP:
            told = {word.arg: ast.unparse(word.value) for word in node.keywords}
            assert told.get("markup") == "False", f"{name}:{node.lineno}: {ast.unparse(node)}"
            found += 1
        if isinstance(node, ast.ClassDef) and WIDGETS_THAT_READ_MARKUP & {ast.unparse(base) for base in node.bases}:
            made = [
                one
                for one in ast.walk(node)
                if isinstance(one, ast.Call) and ast.unparse(one.func) == "super().__init__"
            ]
            told = {word.arg: ast.unparse(word.value) for one in made for word in one.keywords}
            assert told.get("markup") == "False", f"{name}:{node.lineno}: class {node.name}"
            found += 1
    assert found, "there is at least one, or this test looks in the wrong place"


def test_nothing_is_used_that_can_only_be_markup() -> None:
    for name, node in code():
        used = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
        assert used not in ALWAYS_MARKUP, f"{name}:{getattr(node, 'lineno', 0)}: {used}"
