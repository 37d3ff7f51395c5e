"""The nodes of a tree file together: targets that are not there, nodes that nothing leads to, no way out, loops."""

from __future__ import annotations

from collections.abc import Mapping

from troubleshoot.text.problem import nearest
from troubleshoot.trees.load_nodes import Reading
from troubleshoot.trees.model import ENGINE, Node, targets
from troubleshoot.trees.rows import LAST


def lint(nodes: Mapping[str, Node], doubtful: set[str], to: Reading) -> None:
    known = (*nodes, ENGINE)
    lost = False
    for node in nodes.values():
        for target, at in targets(node):
            if target not in known and target not in doubtful:
                lost = True
                written = to.leads.get((node.id, target), at) if at == node.at else at
                to.wrong(written, f"node {node.id!r} leads to {target!r}, which is not there", nearest(target, known))
        if _sort_of(node) not in LAST and not targets(node) and node.id not in doubtful:
            to.wrong(node.at, f"node {node.id!r} has no way out: give it 'next' or 'branches'")
    if doubtful or lost:
        # A node that could not be read, or a target that is misspelt, leads nobody knows where.
        return
    reached: set[str] = set()
    _visit(nodes, next(iter(nodes)), reached, to)
    for node in nodes.values():
        if node.id not in reached:
            to.wrong(node.at, f"nothing leads to node {node.id!r}")


def _sort_of(node: Node) -> str:
    return type(node).__name__.lower()


def _visit(nodes: Mapping[str, Node], root: str, reached: set[str], to: Reading) -> None:
    """Depth first without recursion; an edge back onto the way here is a loop."""
    on_way: dict[str, int] = {}
    stack: list[tuple[str, int]] = [(root, 0)]
    while stack:
        name, k = stack.pop()
        if k == 0:
            reached.add(name)
            on_way[name] = len(on_way)
        ways = targets(nodes[name])
        if k == len(ways):
            del on_way[name]
            continue
        stack.append((name, k + 1))
        target, at = ways[k]
        if target in on_way:
            way = [*list(on_way)[on_way[target] :], target]
            to.wrong(at, f"a loop: {' -> '.join(way)}")
        elif target in nodes and target not in reached:
            stack.append((target, 0))
