"""The elements and conductors of a ladder in PLCopen XML: read, joined up, checked, and put in order.

Names in the text follow the schema (`contact`, `coil`, `connectionPointIn` ...), PLCopen TC6 XML 2.01, from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from troubleshoot.program.blocks import BLOCKS
from troubleshoot.program.grammar import parse
from troubleshoot.program.model import Assign, Chain, Expression, Unary
from troubleshoot.program.tokens import Source
from troubleshoot.text.problem import Position, Problem, nearest
from troubleshoot.text.xmlnodes import Element

LARGEST_NETWORK: Final = 2000
"""Elements that hang together (own choice; more than anybody can read)."""

_DRAWING: Final = frozenset(["position", "relPosition", "documentation", "comment", "addData"])
_SIZES: Final = frozenset(["localId", "height", "width", "globalId"])
_HOW: Final = ("negated", "edge", "storage", "executionOrderId")
_SHAPES: Final = {
    "leftPowerRail": ((), ("connectionPointOut",)), "rightPowerRail": ((), ("connectionPointIn",)),
    "contact": (_HOW, ("connectionPointIn", "connectionPointOut", "variable")),
    "coil": (_HOW, ("connectionPointIn", "connectionPointOut", "variable")),
    "block": (("typeName", "instanceName", "executionOrderId"), ("inputVariables", "inOutVariables", "outputVariables")),
    "inVariable": (_HOW, ("connectionPointOut", "expression")),
    "outVariable": (_HOW, ("connectionPointIn", "expression")),
    "connector": (("name",), ("connectionPointIn",)), "continuation": (("name",), ("connectionPointOut",)),
}  # fmt: skip
"""Elements of a ladder: attributes and children that mean something."""
_RAILS: Final = frozenset(["leftPowerRail", "rightPowerRail"])


class Told:
    """Says what is wrong, and what is not read."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems

    def say(self, at: Position, what: str, near: str | None = None) -> None:
        self.problems.append(Problem(at, what, near))

    def only(self, element: Element, *names: str, attributes: Sequence[str] | None = None) -> None:
        """Say every child that is neither drawing nor among `names`, and every attribute that is not known."""
        for child in element.children:
            if child.name == "addData":
                for data in child.children:
                    if data.attributes.get("handleUnknown") != "discard":
                        self.say(data.at, f"<addData> of {data.attributes.get('name', 'somebody')} is not read here")
            elif child.name not in names and child.name not in _DRAWING:
                self.say(child.at, f"<{child.name}> in <{element.name}> is not read here", nearest(child.name, names))
        for name in element.attributes if attributes is not None else ():
            if name not in _SIZES and name not in (attributes or ()):
                what = f"'{name}' of <{element.name}> is not read here"
                self.say(element.at, what, nearest(name, attributes or ()))

    def expression(self, text: str, at: Position) -> Expression | None:
        """What is written at an element, as Structured Text; its places are the element's."""
        source = Source(f"x := {text}\n;", at.file, at.line)
        parsed = parse(source)
        if source.problems or parsed is None or len(parsed.statements) != 1:
            why = f": {source.problems[0].what}" if source.problems and text.strip() else ""
            self.say(at, f"{text[:30]!r} is not an expression of Structured Text{why}")
            return None
        (only,) = parsed.statements
        return _placed(only.value, at) if isinstance(only, Assign) else None


def _placed(node: Expression, at: Position) -> Expression:
    match node:
        case Unary():
            return replace(node, operand=_placed(node.operand, at), at=at)
        case Chain():
            rest = tuple((op, _placed(operand, at)) for op, operand in node.rest)
            return replace(node, first=_placed(node.first, at), rest=rest, at=at)
        case _:
            return replace(node, at=at)


@dataclass(frozen=True, slots=True)
class Feed:
    """Where a conductor comes from: an element, and for a block which output."""

    source: str
    pin: str
    at: Position = field(compare=False)


@dataclass(slots=True)
class Node:
    """One element of the ladder with what feeds it."""

    id: str
    element: Element
    feeds: tuple[Feed, ...] = ()
    """Of its one left side; a block has none here."""
    pins: dict[str, tuple[Feed, ...]] = field(default_factory=dict)
    """Of each input of a block."""
    negated: frozenset[str] = frozenset()
    """Inputs of a block with a circle."""
    index: int = 0
    """Its place in the file."""

    @property
    def kind(self) -> str:
        return self.element.name

    @property
    def at(self) -> Position:
        return self.element.at

    def how(self, word: str) -> str:
        return self.element.attributes.get(word, "none")

    @property
    def inverted(self) -> bool:
        return self.how("negated") == "true"

    @property
    def type(self) -> str:
        """Of a block, in capitals."""
        return self.element.attributes.get("typeName", "").upper()

    @property
    def acts(self) -> bool:
        """Does something when its turn comes; a function without a memory is worked out where it is used."""
        return self.kind in ("coil", "outVariable") or (self.kind == "block" and self.type in BLOCKS)

    @property
    def label(self) -> Element | None:
        """Where its variable is written."""
        return self.element.first("variable") or self.element.first("expression")

    @property
    def called(self) -> str:
        name = self.label.text[:30] if self.label is not None else self.element.attributes.get("name", "")
        return f"{self.kind} {name or self.element.attributes.get('typeName', '')}".strip()

    def every(self) -> Iterator[Feed]:
        yield from self.feeds
        for feeds in self.pins.values():
            yield from feeds


def nodes_of(ladder: Element, told: Told) -> dict[str, Node]:
    """The elements of a ladder by localId, continuations joined to their connectors; what is wrong goes to `told`."""
    told.only(ladder, *_SHAPES)
    nodes: dict[str, Node] = {}
    for element in ladder.children:
        if element.name not in _SHAPES:
            continue
        attributes, inside = _SHAPES[element.name]
        told.only(element, *inside, attributes=attributes)
        name = element.attributes.get("localId", "")
        if not name:
            told.say(element.at, f"<{element.name}> has no localId")
        elif name in nodes:
            told.say(element.at, f"localId {name} is given twice, first on line {nodes[name].at.line}")
        else:
            nodes[name] = _node(name, element, told)
            nodes[name].index = len(nodes)
    _join_markers(nodes, told)
    _check_ends(nodes, told)
    return nodes


def _node(name: str, element: Element, told: Told) -> Node:
    node = Node(name, element, tuple(f for point in element.all("connectionPointIn") for f in _feeds(point, told)))
    if element.name != "block":
        _check_how(node, told)
        return node
    for group in element.all("inOutVariables"):
        told.only(group)
    negated = set()
    for group in element.all("inputVariables", "outputVariables"):
        told.only(group, "variable")
        for pin in group.all("variable"):
            allowed = ("formalParameter", "negated", "edge", "storage", "hidden")
            told.only(pin, "connectionPointIn", "connectionPointOut", attributes=allowed)
            called = pin.attributes.get("formalParameter", "").upper()
            inverted = pin.attributes.get("negated") == "true"
            odd = [word for word in ("edge", "storage") if pin.attributes.get(word, "none") != "none"]
            odd += ["negated"] if inverted and group.name == "outputVariables" else []
            for word in odd:
                told.say(pin.at, f"'{word}' at {called} of a block is not read here; give it a contact of its own")
            if called in ("EN", "ENO"):
                told.say(pin.at, f"{called} of a block is not read here")
            if group.name == "inputVariables":
                if called in node.pins:
                    told.say(pin.at, f"{called} of {node.called} is given twice")
                node.pins[called] = tuple(f for point in pin.all("connectionPointIn") for f in _feeds(point, told))
                negated |= {called} if inverted else set()
    node.negated = frozenset(negated)
    return node


def _feeds(point: Element, told: Told) -> Iterator[Feed]:
    told.only(point, "connection")
    for wire in point.all("connection"):
        told.only(wire, attributes=("refLocalId", "formalParameter"))
        yield Feed(wire.attributes.get("refLocalId", ""), wire.attributes.get("formalParameter", "").upper(), wire.at)


def _check_how(node: Node, told: Told) -> None:
    edge, storage = node.how("edge"), node.how("storage")
    for word, known in (("edge", "none rising falling"), ("storage", "none set reset"), ("negated", "none true false")):
        if node.how(word) not in known.split():
            told.say(
                node.at, f"'{word}' of <{node.kind}> is {node.how(word)[:20]!r}", nearest(node.how(word), known.split())
            )
    if node.kind == "contact" and storage != "none":
        told.say(node.at, "a contact has no set or reset")
    if node.kind in ("inVariable", "outVariable") and (edge != "none" or storage != "none"):
        told.say(node.at, f"<{node.kind}> with an edge, set or reset is not read here; give it a contact or coil")
    if sum((node.inverted, edge != "none", storage != "none")) > 1:
        told.say(node.at, f"a {node.kind} that is two of negated, edge and set or reset is not read here")


def _join_markers(nodes: dict[str, Node], told: Told) -> None:
    """A continuation is fed by the connector of its name."""
    connectors: dict[str, Node] = {}
    for node in nodes.values():
        if node.kind == "connector":
            name = node.element.attributes.get("name", "")
            if name in connectors:
                told.say(node.at, f"a second connector {name}; a continuation could be either's")
            connectors[name] = node
    used = set()
    for node in nodes.values():
        if node.kind == "continuation":
            name = node.element.attributes.get("name", "")
            if name not in connectors:
                told.say(node.at, f"no connector is called {name[:30]!r}", nearest(name, connectors))
            else:
                used.add(name)
                node.feeds = (Feed(connectors[name].id, "", node.at),)
    for name in connectors.keys() - used:
        told.say(connectors[name].at, f"no continuation is called {name[:30]!r}, so this connector leads nowhere")


def _check_ends(nodes: dict[str, Node], told: Told) -> None:
    fed = {feed.source for node in nodes.values() for feed in node.every()}
    for node in nodes.values():
        for feed in node.every():
            source = nodes.get(feed.source)
            if source is None:
                what = f"nothing here has the localId {feed.source[:20]}" if feed.source else "this has no refLocalId"
                told.say(feed.at, what, nearest(feed.source, nodes))
            elif source.kind in ("rightPowerRail", "outVariable"):
                told.say(feed.at, f"nothing comes out of a {source.kind}")
        if node.kind in ("contact", "coil", "outVariable", "connector") and not node.feeds:
            told.say(node.at, f"{node.called} is connected to nothing on its left")
        idle = node.kind in ("contact", "inVariable", "continuation") or (node.kind == "block" and not node.acts)
        if idle and node.id not in fed:
            told.say(node.at, f"{node.called} leads nowhere")


def in_order(nodes: dict[str, Node], told: Told) -> tuple[list[Node], list[Node]]:
    """Every element but the rails, each after what feeds it, and those that act, in the order in which they do.

    Networks from top to bottom; what the file numbers with executionOrderId acts in that order instead.
    """
    networks = _networks(nodes)
    ordered = sorted(networks, key=lambda part: min(map(_place, part)))
    for part in ordered:
        if len(part) > LARGEST_NETWORK:
            told.say(part[0].at, f"a network of more than {LARGEST_NETWORK} elements")
            return [], []
    found = [node for part in ordered for node in _after_what_feeds(part, nodes, told)]
    acting = [node for node in found if node.acts]
    numbers = {node.id: node.element.attributes.get("executionOrderId", "0") or "0" for node in acting}
    for node in acting:
        if not (numbers[node.id].isascii() and numbers[node.id].isdecimal() and len(numbers[node.id]) < 10):
            told.say(node.at, f"executionOrderId {numbers[node.id][:20]!r} is not a number")
            return [], []
    given = [node for node in acting if int(numbers[node.id])]
    if given and len(given) < len(acting):
        missing = next(node for node in acting if not int(numbers[node.id]))
        told.say(missing.at, f"{missing.called} has no executionOrderId, others have")
    if given:
        acting.sort(key=lambda node: int(numbers[node.id]))
    return found, acting


def _networks(nodes: dict[str, Node]) -> list[list[Node]]:
    """Elements that hang together otherwise than by the rails."""
    root = {name: name for name in nodes}

    def find(name: str) -> str:
        while root[name] != name:
            root[name] = root[root[name]]
            name = root[name]
        return name

    for node in nodes.values():
        for feed in node.every():
            if node.kind not in _RAILS and nodes[feed.source].kind not in _RAILS:
                root[find(node.id)] = find(feed.source)
    networks: dict[str, list[Node]] = {}
    for node in nodes.values():
        if node.kind not in _RAILS:
            networks.setdefault(find(node.id), []).append(node)
    return list(networks.values())


def _place(node: Node) -> tuple[float, float, int]:
    """From the top, then from the left, then as in the file."""
    position = node.element.first("position")
    x, y = (position.attributes.get(axis, "0") for axis in "xy") if position is not None else ("0", "0")
    try:
        return float(y), float(x), node.index
    except ValueError:
        return 0.0, 0.0, node.index


def _after_what_feeds(part: Iterable[Node], nodes: dict[str, Node], told: Told) -> list[Node]:
    done: dict[str, Node] = {}
    for start in sorted(part, key=_place):
        if start.id in done:
            continue
        stack, under_way = [(start, start.every())], {start.id}
        while stack:
            node, feeds = stack[-1]
            feed = next(feeds, None)
            if feed is None:
                stack.pop()
                under_way.discard(node.id)
                done[node.id] = node
            elif feed.source in under_way:
                told.say(feed.at, f"{node.called} is fed by itself round a loop of conductors")
                return []
            elif feed.source not in done and nodes[feed.source].kind not in _RAILS:
                under_way.add(feed.source)
                stack.append((nodes[feed.source], nodes[feed.source].every()))
    return list(done.values())
