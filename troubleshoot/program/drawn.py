"""The elements and conductors of a ladder in XML: read, joined up, checked, and put in order.

Names in this module are the words of PLCopen TC6 XML 2.01 (`contact`, `coil`, `connectionPointIn` ..., from memory), whatever
the dialect of the file; messages have the names of the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from troubleshoot.program.blocks import BLOCKS
from troubleshoot.program.dialects import DRAWING, UNKNOWN, Dialect
from troubleshoot.program.grammar import parse
from troubleshoot.program.model import Assign, Chain, Expression, Unary
from troubleshoot.program.tokens import Source
from troubleshoot.text.problem import Position, Problem, nearest
from troubleshoot.text.xmlnodes import Element

LARGEST_NETWORK: Final = 2000
"""Elements that hang together (own choice; more than anybody can read)."""

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

    def __init__(self, problems: list[Problem], dialect: Dialect) -> None:
        self.problems = problems
        self.dialect = dialect

    def say(self, at: Position, what: str, near: str | None = None) -> None:
        self.problems.append(Problem(at, what, near))

    def only(self, element: Element, *names: str, attributes: Sequence[str] | None = None) -> None:
        """Say every child that is neither drawing nor among `names`, and every attribute that is not known."""
        for child in element.children:
            if child.name == "addData":
                for data in child.children:
                    if data.attributes.get("handleUnknown") != "discard":
                        self.say(
                            data.at, f"<{child.said}> of {data.attributes.get('name', 'somebody')} is not read here"
                        )
            elif child.name not in names and child.name not in DRAWING:
                near = nearest(child.said, self.dialect.spelt(element.name, names))
                self.say(child.at, f"<{child.said}> in <{element.said}> is not read here", near)
        for name in element.attributes if attributes is not None else ():
            if name not in _SIZES and name not in (attributes or ()):
                said = self.word(element, name)
                near = nearest(said, [self.word(element, word) for word in attributes or ()])
                self.say(element.at, f"'{said}' of <{element.said}> is not read here", near)

    def spelt(self, inside: str, word: str) -> str:
        """What the file calls a child."""
        return self.dialect.spelt(inside, (word,))[0]

    def word(self, element: Element, name: str) -> str:
        """What the file calls an attribute."""
        return name.removeprefix(UNKNOWN) if name.startswith(UNKNOWN) else self.dialect.attribute(element.name, name)

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
    rung: int = 0
    """Which rung in the order of their evaluation, where the file has rungs."""

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
        what = self.element.said.rpartition(" ")[2]
        return f"{what} {name or self.element.attributes.get('typeName', '')}".strip()

    def every(self) -> Iterator[Feed]:
        yield from self.feeds
        for feeds in self.pins.values():
            yield from feeds


def nodes_of(ladder: Element, told: Told) -> dict[str, Node]:
    """The elements of a ladder, continuations joined to their connectors; what is wrong goes to `told`."""
    nodes: dict[str, Node] = {}
    for rung, group in enumerate(_rungs(ladder, told)):
        told.only(group, *_SHAPES)
        ends: dict[str, tuple[str, str]] = {}
        here: list[Node] = []
        for element in group.children:
            if element.name not in _SHAPES:
                continue
            attributes, inside = _SHAPES[element.name]
            told.only(element, *inside, attributes=attributes)
            name = f"#{len(nodes)}" if told.dialect.numbers_at_ends else element.attributes.get("localId", "")
            if not name:
                told.say(element.at, f"<{element.said}> has no localId")
            elif name in nodes:
                told.say(element.at, f"localId {name} is given twice, first on line {nodes[name].at.line}")
            else:
                nodes[name] = _node(name, element, told)
                nodes[name].index, nodes[name].rung = len(nodes), rung
                here.append(nodes[name])
                _number_ends(nodes[name], ends, told)
        if told.dialect.numbers_at_ends:
            for node in here:
                _feed_from_ends(node, ends, told)
    _join_markers(nodes, told)
    _check_ends(nodes, told)
    return nodes


def _rungs(ladder: Element, told: Told) -> list[Element]:
    """The rungs in the order of their evaluation; where the file has none, all of it."""
    if not told.dialect.numbers_at_ends:
        return [ladder]
    told.only(ladder, "rung")
    numbered: dict[int, Element] = {}
    for rung in ladder.all("rung"):
        told.only(rung, *_SHAPES, attributes=("evaluationOrder", "label"))
        given = rung.attributes.get("evaluationOrder", "")
        if not _is_number(given):
            told.say(rung.at, f"evaluationOrder {given[:20]!r} of <{rung.said}> is not a number")
        elif (before := numbered.setdefault(int(given), rung)) is not rung:
            told.say(rung.at, f"evaluationOrder {given} is given twice, first on line {before.at.line}")
    return [numbered[number] for number in sorted(numbered)]


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 10


def _number_ends(node: Node, ends: dict[str, tuple[str, str]], told: Told) -> None:
    """Put where conductors may begin at an element into `ends`: which element, and for a block which output."""
    pins = [
        (pin, p) for group in node.element.all("outputVariables") for pin in group.all("variable") for p in pin.children
    ]
    for pin, point in [*((node.element, p) for p in node.element.children), *pins]:
        number = point.attributes.get("localId", "")
        if point.name != "connectionPointOut" or not number:
            continue
        if number in ends:
            told.say(point.at, f"{told.word(point, 'localId')} {number[:20]} is given twice in this rung")
        ends[number] = node.id, pin.attributes.get("formalParameter", "").upper()


def _feed_from_ends(node: Node, ends: Mapping[str, tuple[str, str]], told: Told) -> None:
    """Where conductors name the end they come from: which element that is."""

    def found(feeds: Iterable[Feed]) -> Iterator[Feed]:
        for feed in feeds:
            if feed.source not in ends:
                told.say(feed.at, _nothing_there(feed, told), nearest(feed.source, ends))
            yield Feed(*ends.get(feed.source, ("", "")), feed.at)

    node.feeds = tuple(found(node.feeds))
    node.pins = {pin: tuple(found(feeds)) for pin, feeds in node.pins.items()}


def _nothing_there(feed: Feed, told: Told) -> str:
    if not feed.source:
        return f"this has no {told.dialect.attribute('connection', 'refLocalId')}"
    where = "in this rung" if told.dialect.numbers_at_ends else "here"
    return f"nothing {where} has the {told.dialect.attribute('connectionPointOut', 'localId')} {feed.source[:20]}"


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
            odd = [told.word(pin, word) for word in ("edge", "storage") if pin.attributes.get(word, "none") != "none"]
            odd += ["negated"] if inverted and group.name == "outputVariables" else []
            if not inverted and pin.attributes.get("negated", "false") not in ("false", "none"):
                odd.append("negated")
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
    told.only(point, "connection", attributes=())
    for wire in point.all("connection"):
        told.only(wire, attributes=("refLocalId", "formalParameter"))
        yield Feed(wire.attributes.get("refLocalId", ""), wire.attributes.get("formalParameter", "").upper(), wire.at)


def _check_how(node: Node, told: Told) -> None:
    edge, storage = node.how("edge"), node.how("storage")
    for word, known in (("edge", "none rising falling"), ("storage", "none set reset"), ("negated", "none true false")):
        if node.how(word) not in known.split():
            what = f"'{told.word(node.element, word)}' of <{node.element.said}> is {node.how(word)[:20]!r}"
            told.say(node.at, what, nearest(node.how(word), known.split()))
    if node.kind == "contact" and storage != "none":
        told.say(node.at, "a contact has no set or reset")
    if node.kind in ("inVariable", "outVariable") and (edge != "none" or storage != "none"):
        told.say(
            node.at, f"<{node.element.said}> with an edge, set or reset is not read here; give it a contact or coil"
        )
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
                if not told.dialect.numbers_at_ends:  # there it was told where the ends were looked up
                    told.say(feed.at, _nothing_there(feed, told), nearest(feed.source, nodes))
            elif source.kind in ("rightPowerRail", "outVariable"):
                told.say(feed.at, f"nothing comes out of a {source.element.said}")
        if node.kind in ("contact", "coil", "outVariable", "connector") and not node.feeds:
            told.say(node.at, f"{node.called} is connected to nothing on its left")
        idle = node.kind in ("contact", "inVariable", "continuation") or (node.kind == "block" and not node.acts)
        if idle and node.id not in fed:
            told.say(node.at, f"{node.called} leads nowhere")


def in_order(nodes: dict[str, Node], told: Told) -> tuple[list[Node], list[Node]]:
    """Every element but the rails, each after what feeds it, and those that act, in the order in which they do.

    Rungs by their number, networks from top to bottom; what the file numbers with executionOrderId acts in that order instead.
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
        if not _is_number(numbers[node.id]):
            told.say(node.at, f"executionOrderId {numbers[node.id][:20]!r} is not a number")
            return [], []
    acting.sort(key=lambda node: node.rung)
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


def _place(node: Node) -> tuple[int, float, float, int]:
    """By rung, from the top, then from the left, then as in the file."""
    position = node.element.first("position")
    x, y = (position.attributes.get(axis, "0") for axis in "xy") if position is not None else ("0", "0")
    try:
        return node.rung, float(y), float(x), node.index
    except ValueError:
        return node.rung, 0.0, 0.0, node.index


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
