"""From the text of a tree file to a `Tree`, or everything that is wrong with it.

One pass reads nodes, a second looks at them together: targets that are not there, nodes that nothing leads to, no way
out, loops. Labels whose meaning hangs on the machine are judged by `bind`.
"""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import Final

from troubleshoot.circuit import written
from troubleshoot.text.problem import Problem, in_file_order, nearest
from troubleshoot.text.yamlnodes import Map, Seq, compose
from troubleshoot.text.yamlnodes import Node as Yaml
from troubleshoot.trees.lint import lint
from troubleshoot.trees.load_nodes import Reading, is_role, name_of, read_node, words_of
from troubleshoot.trees.model import Node, Tree
from troubleshoot.trees.rows import KEYS, PROMISES

_PROMISED: Final = re.compile(r"(\d+(?:\.\d+)?) ?(%)?")


def load_tree(source: str | bytes, file: str) -> Tree | tuple[Problem, ...]:
    """Read a tree from the text of its file.

    file: its name, for messages. Returns the tree, or at most fifty problems in file order, each with line and column.
    Raises nothing.
    """
    composed = compose(source, file)
    to = Reading(file, list(composed.problems))
    tree: Tree | None = None
    if isinstance(composed.root, Map):
        tree = _tree(composed.root, to)
    elif composed.root is not None:
        to.wrong(composed.root.at, "a tree file is a map of keys, like 'tree: wont-start'")
    if to.problems or tree is None:
        return in_file_order(to.problems)
    return tree


def _tree(root: Map, to: Reading) -> Tree | None:
    for key, _ in root:
        if key.value not in KEYS:
            to.wrong(key.at, f"a tree file has no key {key.value!r}", nearest(key.value, KEYS))
    for must in ("tree", "nodes"):
        if root.get(must) is None:
            to.wrong(root.at, f"a tree file must have {must!r}: {KEYS[must]}")
    name = name_of(root.get("tree"), "tree", to)
    title = words_of(root.get("title"), "title", to)
    needs: tuple[str, ...] = ()
    if (node := root.get("needs")) is not None:
        needs = written.texts(node, "needs", to.problems, names=True) or ()
        for role, item in zip(needs, node.items if isinstance(node, Seq) else (node,), strict=False):
            is_role(role, item.at, to)
    situation = name_of(root.get("situation"), "situation", to) or "as found"
    promises = _promises(root.get("promises"), to)
    listed = root.get("nodes")
    if listed is None:
        return None
    if not isinstance(listed, Seq) or not listed.items:
        to.wrong(listed.at, "'nodes' must be a list with at least one node, like - {id: coil, measure: [...]}")
        return None
    nodes: dict[str, Node] = {}
    doubtful: set[str] = set()
    for item in listed.items:
        read = read_node(item, to, doubtful)
        if read is None:
            continue
        if read.id in nodes:
            to.wrong(read.at, f"node {read.id!r} is already there on line {nodes[read.id].at.line}")
        nodes.setdefault(read.id, read)
    if nodes:
        lint(nodes, doubtful, to)
    if not nodes or name is None:
        return None
    return Tree(
        name,
        title or name,
        to.file,
        needs,
        situation,
        next(iter(nodes)),
        MappingProxyType(nodes),
        MappingProxyType(promises),
    )


def _promises(node: Yaml | None, to: Reading) -> dict[str, float]:
    out: dict[str, float] = {}
    if node is None:
        return out
    if not isinstance(node, Map):
        to.wrong(node.at, "'promises' must be a map, like {named: 90 %, cost: 1.3}")
        return out
    for key, value in node:
        if key.value not in PROMISES:
            to.wrong(key.at, f"a tree promises no {key.value!r}", nearest(key.value, PROMISES))
            continue
        text = written.scalar(value, key.value, to.problems)
        found = None if text is None else _PROMISED.fullmatch(" ".join(text.value.split()))
        if text is not None and (found is None or (key.value != "cost" and not found[2])):
            like = "a number like 1.3" if key.value == "cost" else "a share like 90 %"
            to.wrong(value.at, f"{key.value!r} must be {like}")
        elif found is not None:
            out[key.value] = float(found[1]) / (100 if found[2] else 1)
    return out
