"""A drawn ladder to statements: every coil and block one, power through contacts as one expression.

A contact is read once in its network, when power first comes to it; where a coil writes its variable before the last use,
what was read is kept in a variable of its own. Coils left of a contact in the same rung hand power on as they get it
(IEC 61131-3, ladder, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from troubleshoot.program.blocks import BLOCKS
from troubleshoot.program.drawn import Feed, Node, Told, in_order, nodes_of
from troubleshoot.program.grammar import DEEPEST
from troubleshoot.program.model import (
    Assign,
    Call,
    Chain,
    Constant,
    Expression,
    If,
    Member,
    Ref,
    Statement,
    Unary,
    Variable,
)
from troubleshoot.text.problem import Position, nearest
from troubleshoot.text.xmlnodes import Element

LARGEST: Final = 20_000
"""Contacts that one coil may come to once its branches are written out (own choice)."""
FUNCTIONS: Final = {
    "AND": "AND", "OR": "OR", "XOR": "XOR", "GT": ">", "GE": ">=", "EQ": "=", "LE": "<=", "LT": "<", "NE": "<>",
}  # fmt: skip
"""Functions that may stand in a rung as a block without a name, and the operator each is; NOT besides."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """What power goes through, known by where it stands, so that ways share what they share."""

    key: int
    value: Expression
    size: int = 1
    depth: int = 1


_Way = tuple[_Piece, ...]
"""Pieces in series from the left rail; none is a bare wire."""


class Ladder:
    """The statements of one ladder. What is wrong goes to `told`."""

    def __init__(self, told: Told, ladder: Element, variables: Sequence[Variable]) -> None:
        self.told = told
        self.ladder = ladder
        self.types = {v.name.lower(): v.type.upper() for v in variables}
        self.taken = {v.name.lower() for v in variables}
        self.made: list[Variable] = []
        """Variables of its own: edges of P and N contacts and coils, contacts read before they are written."""
        self.nodes: dict[str, Node] = {}
        self.before: dict[str, list[Statement]] = {}
        """By element: statements ahead of the first use of its power."""
        self.ways: dict[tuple[str, str], _Way] = {}
        self.keys: dict[Hashable, int] = {}
        self.kept: dict[str, str] = {}
        """Contact to the variable that keeps what was read of it."""

    def statements(self) -> tuple[Statement, ...]:
        """In the order in which they are worked off; empty where there are problems."""
        self.nodes = nodes_of(self.ladder, self.told)
        if self.told.problems:
            return ()
        order, acting = in_order(self.nodes, self.told)
        if self.told.problems:
            return ()
        uses = [self._upstream(node) for node in acting]
        self._keep(acting, uses)
        # In order, so that no way is longer to work out than its last element.
        for node in (n for n in order if not n.acts or n.kind == "coil"):
            self._out(Feed(node.id, "", node.at))
        done: list[Statement] = []
        for node, used in zip(acting, uses, strict=True):
            statements = self._act(node)
            for name in [*used, node.id]:
                done += self.before.pop(name, [])
            done += statements
        return tuple(done)

    def _upstream(self, node: Node) -> list[str]:
        """Elements whose power an acting one uses, nearest the rail first."""
        found: dict[str, None] = {}
        stack = [feed.source for feed in node.every()]
        while stack:
            name = stack.pop()
            if name in found:
                continue
            found[name] = None
            source = self.nodes[name]
            if not (source.acts and source.kind == "block"):
                stack += [feed.source for feed in source.every()]
        return sorted(found, key=lambda name: self.nodes[name].index)

    def _keep(self, acting: Sequence[Node], uses: Sequence[Sequence[str]]) -> None:
        """Find the contacts whose variable is written between their first and their last use."""
        first: dict[str, int] = {}
        last: dict[str, int] = {}
        for k, used in enumerate(uses):
            for name in used:
                first.setdefault(name, k)
                last[name] = k
        writes: dict[str, list[int]] = {}
        for k, node in enumerate(acting):
            if node.kind != "block" and node.label is not None:
                writes.setdefault(node.label.text.lower(), []).append(k)
        for name, begun in first.items():
            node = self.nodes[name]
            if node.kind != "contact" or node.label is None or node.how("edge") != "none":
                continue
            if any(begun <= k < last[name] for k in writes.get(node.label.text.lower(), ())):
                value = self._variable(node)
                if value is not None:
                    self.kept[name] = self._new(f"read_{value.name}", "BOOL", node.at)
                    self.before[name] = [Assign(Ref(self.kept[name], node.at), value, node.at)]

    # what acts

    def _act(self, node: Node) -> list[Statement]:
        at = node.at
        if node.kind == "block":
            return self._call(node)
        target = self._variable(node)
        value = self._value(node.feeds, at) if node.kind == "outVariable" else self._power(node.feeds, at)
        if target is None or value is None:
            return []
        if node.inverted:
            value = Unary("NOT", value, at)
        if (storage := node.how("storage")) != "none":
            return [If(((value, (Assign(target, Constant(storage == "set", "BOOL", at), at),)),), (), at)]
        if (edge := node.how("edge")) != "none":
            value = self._edge(node, target.name, value, edge)
        return [Assign(target, value, at)]

    def _call(self, node: Node) -> list[Statement]:
        instance = node.element.attributes.get("instanceName", "")
        if not instance:
            self.told.say(node.at, f"<{node.element.said}> {node.type} has no instanceName")
            return []
        declared = self.types.get(instance.lower())
        if declared not in (None, node.type):
            self.told.say(node.at, f"{instance} is declared {declared}, the <{node.element.said}> is a {node.type}")
        inputs = []
        for pin, feeds in node.pins.items():
            value = self._value(feeds, node.at) if feeds else None
            if value is not None:
                inputs.append((pin, Unary("NOT", value, node.at) if pin in node.negated else value))
        return [Call(instance, tuple(inputs), (), node.at)]

    def _variable(self, node: Node) -> Ref | Member | None:
        label = node.label
        if label is None or not label.text:
            self.told.say(node.at, f"this {node.element.said} has no {self.told.word(node.element, 'variable')}")
            return None
        value = self.told.expression(label.text, label.at)
        if value is not None and not isinstance(value, Ref | Member):
            self.told.say(label.at, f"{label.text[:30]!r} is not a variable")
            return None
        return value

    # power

    def _value(self, feeds: Sequence[Feed], at: Position) -> Expression | None:
        """What comes in at a pin of any type: a written value, a block's output, or power."""
        if len(feeds) == 1 and self.nodes[feeds[0].source].kind == "inVariable":
            source = self.nodes[feeds[0].source]
            if source.label is None:
                self.told.say(
                    source.at, f"this {source.element.said} has no {self.told.word(source.element, 'expression')}"
                )
                return None
            value = self.told.expression(source.label.text, source.label.at)
            return Unary("NOT", value, source.at) if value is not None and source.inverted else value
        return self._power(feeds, at)

    def _power(self, feeds: Iterable[Feed], at: Position) -> Expression:
        return _series(self._join(feeds, at)) or Constant(True, "BOOL", at)

    def _join(self, feeds: Iterable[Feed], at: Position) -> _Way:
        """Power where several conductors meet; what their ways share is written once."""
        way = self._parallel([self._out(feed) for feed in dict.fromkeys(feeds)])
        if sum(piece.size for piece in way) > LARGEST:
            self.told.say(at, f"the branches left of here come to more than {LARGEST} contacts")
            return ()
        if max((piece.depth for piece in way), default=0) > DEEPEST - 4:
            self.told.say(at, f"branches inside branches more than {DEEPEST - 4} deep left of here")
            return ()
        return way

    def _out(self, feed: Feed) -> _Way:
        """Power that comes out of an element on its right."""
        key = (feed.source, feed.pin if self.nodes[feed.source].kind == "block" else "")
        if key not in self.ways:
            self.ways[key] = self._through(self.nodes[feed.source], feed)
        return self.ways[key]

    def _through(self, node: Node, feed: Feed) -> _Way:
        match node.kind:
            case "leftPowerRail":
                return ()
            case "block":
                value = self._output(node, feed)
            case "inVariable":
                value = self._value((feed,), node.at)
            case "contact":
                before = self._join(node.feeds, node.at)
                piece = self._contact(node)
                return before if piece is None else (*before, _Piece(self._key(node.id), piece, depth=2))
            case _:  # a coil hands on what it gets, connector and continuation too
                return self._join(node.feeds, node.at)
        if value is None:
            return ()
        inside = (
            [piece for feeds in node.pins.values() for piece in self._join(feeds, node.at)] if not node.acts else []
        )
        size, depth = sum(piece.size for piece in inside), max((piece.depth for piece in inside), default=0)
        return (_Piece(self._key(node.id, feed.pin), value, 1 + size, 4 + depth),)

    def _contact(self, node: Node) -> Expression | None:
        if node.id in self.kept:
            value: Expression | None = Ref(self.kept[node.id], node.at)
        else:
            value = self._variable(node)
        if isinstance(value, Ref | Member) and node.how("edge") != "none":
            return self._edge(node, value.name, value, node.how("edge"))
        return Unary("NOT", value, node.at) if value is not None and node.inverted else value

    def _output(self, node: Node, feed: Feed) -> Expression | None:
        at = node.at
        if node.type in BLOCKS:
            pin = feed.pin or next(iter(BLOCKS[node.type].outputs))
            return Member(node.element.attributes.get("instanceName", "?"), pin, at)
        if node.type not in FUNCTIONS and node.type != "NOT":
            near = nearest(node.type, [*BLOCKS, *FUNCTIONS, "NOT"])
            self.told.say(at, f"<{node.element.said}> {node.type[:30] or 'without typeName'} is not read here", near)
            return None
        given: list[Expression] = []
        for pin, feeds in node.pins.items():
            value = self._value(feeds, at) if feeds else None
            if value is None:
                self.told.say(at, f"{pin} of {node.type} is connected to nothing")
                return None
            given.append(Unary("NOT", value, at) if pin in node.negated else value)
        if node.type == "NOT" and len(given) == 1:
            return Unary("NOT", given[0], at)
        if node.type in FUNCTIONS and (len(given) == 2 or (len(given) > 2 and node.type in ("AND", "OR", "XOR"))):
            return Chain(given[0], tuple((FUNCTIONS[node.type], value) for value in given[1:]), at)
        self.told.say(at, f"a {node.type} with {len(given)} inputs is not read here")
        return None

    def _edge(self, node: Node, name: str, value: Expression, edge: str) -> Expression:
        """The pulse of a P or N contact or coil, by a block of its own that runs in every scan."""
        kind = "R_TRIG" if edge == "rising" else "F_TRIG"
        made = self._new(f"{'rise' if edge == 'rising' else 'fall'}_{name}", kind, node.at)
        self.before.setdefault(node.id, []).append(Call(made, (("CLK", value),), (), node.at))
        return Member(made, "Q", node.at)

    def _new(self, wish: str, kind: str, at: Position) -> str:
        base = re.sub(r"_+", "_", re.sub(r"[^A-Za-z0-9]", "_", wish)).strip("_")
        chosen, count = base, 1
        while chosen.lower() in self.taken:
            count += 1
            chosen = f"{base}_{count}"
        self.taken.add(chosen.lower())
        self.made.append(Variable(chosen, kind, at=at))
        return chosen

    # ways

    def _key(self, *parts: Hashable) -> int:
        return self.keys.setdefault(parts, len(self.keys))

    def _parallel(self, ways: Sequence[_Way]) -> _Way:
        """Ways in parallel; a common beginning is taken out, so that a branch comes out as it was drawn."""
        rest = list({tuple(piece.key for piece in way): way for way in ways}.values())
        shared: list[_Piece] = []
        while len(rest) > 1 and all(rest) and len({way[0].key for way in rest}) == 1:
            shared.append(rest[0][0])
            rest = [way[1:] for way in rest]
        if len(rest) == 1:
            return (*shared, *rest[0])
        if not all(rest):
            return tuple(shared)  # a bare wire beside contacts
        together: dict[int, list[_Way]] = {}
        for way in rest:
            together.setdefault(way[0].key, []).append(way)
        branches = [self._parallel(group) for group in together.values()]
        values = [value for branch in branches if (value := _series(branch)) is not None]
        key = self._key("ways", *(tuple(piece.key for piece in branch) for branch in branches))
        value = Chain(values[0], tuple(("OR", other) for other in values[1:]), values[0].at)
        size = sum(piece.size for branch in branches for piece in branch)
        depth = 2 + max(piece.depth for branch in branches for piece in branch)
        return (*shared, _Piece(key, value, size, depth))


def _series(way: _Way) -> Expression | None:
    """One expression; None for a bare wire."""
    if len(way) < 2:
        return way[0].value if way else None
    return Chain(way[0].value, tuple(("AND", piece.value) for piece in way[1:]), way[0].value.at)
