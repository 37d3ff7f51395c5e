"""One boolean variable of a program as a network of contacts, and the fewest contacts that hold it off.

Whatever ST says about a variable (several assignments, IF and ELSE) becomes one expression; NOT is pushed down to the
contacts, so that what is left is contacts in series and in parallel, as a relay circuit would be wired.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from troubleshoot.program.blocks import BLOCKS
from troubleshoot.program.checking import address
from troubleshoot.program.model import (
    Assign,
    Call,
    Chain,
    Constant,
    Expression,
    If,
    Member,
    Program,
    Ref,
    Statement,
    Unary,
    Value,
)
from troubleshoot.program.printing import expression_text
from troubleshoot.program.running import evaluate

LARGEST: Final = 20_000
"""Contacts of one network; XOR doubles its operands, so a short line of text can ask for more than anyone can read."""


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact, or a comparison or constant that serves as one."""

    source: Expression
    closed_when: bool
    """True: conducts while the source is TRUE, ``| |``; False: ``|/|``."""

    @property
    def label(self) -> str:
        return expression_text(self.source)

    @property
    def plain(self) -> bool:
        """A variable or a pin, drawn with the contact symbol; anything else is written out."""
        return isinstance(self.source, Ref | Member)

    def conducts(self, values: Mapping[str, Value]) -> bool:
        return bool(evaluate(self.source, values)) is self.closed_when


@dataclass(frozen=True, slots=True)
class Group:
    """Parts in series (all must conduct) or in parallel (one is enough); never a group of its own way inside."""

    way: Literal["series", "parallel"]
    parts: tuple[Part, ...]

    def conducts(self, values: Mapping[str, Value]) -> bool:
        states = (part.conducts(values) for part in self.parts)
        return all(states) if self.way == "series" else any(states)


Part = Contact | Group


DEEPEST: Final = 200
"""Groups inside groups; many statements that each build on the one before can ask for more."""


class _TooLarge(Exception):
    """More contacts than `LARGEST`, or deeper than `DEEPEST`."""


def resolve(program: Program, output: str) -> str | None:
    """Declared name (or bare address) of what a person calls ``motor`` or ``%QX0.0``; None where nothing is."""
    if placed := address(output):
        return program.addresses.get(placed, placed)
    return next((v.name for v in program.variables if v.name.lower() == output.lower()), None)


def network(program: Program, output: str) -> Part | None:
    """The network that drives `output` (a name or an address), or None where no statement assigns it as BOOL.

    A variable set only under an IF keeps its value otherwise; that shows as a contact of its own, a seal. A network of
    more than `LARGEST` contacts (or `DEEPEST` levels) is None too.
    """
    name = resolve(program, output)
    if name is None or not _is_bool(program, name):
        return None
    itself: Expression = Ref(name)
    driven = _driven(program.statements, name, itself)
    if driven == itself:
        return None
    try:
        return _parts(driven, True, [LARGEST], 0)
    except _TooLarge:
        return None


MOST_WAYS: Final = 500
"""Sets of contacts weighed for one group of a network in which contacts come twice (own choice)."""


def holding_off(part: Part, values: Mapping[str, Value]) -> tuple[Contact, ...]:
    """The fewest open contacts that keep the network off whatever all others do; empty when it conducts.

    In series one open contact is enough, in parallel every branch needs one: a smallest cut. A contact of one variable
    drawn in several branches is one contact. Exact, but for a network in which contacts come twice and more than
    `MOST_WAYS` contacts are open or sets would have to be weighed: then a cut, perhaps not the smallest.
    """
    simple = _cut(part, values)
    drawn = [contact for contact in _drawn(part) if not contact.conducts(values)]
    if len(simple) < 2 or len(set(drawn)) == len(drawn) or len(drawn) > MOST_WAYS:
        return simple
    ways = _cuts(part, values, len(simple))
    if not ways:
        return simple
    best = min(ways, key=len)
    return tuple(dict.fromkeys(contact for contact in drawn if contact in best))


def _cut(part: Part, values: Mapping[str, Value]) -> tuple[Contact, ...]:
    """A cut, the smallest where no contact is drawn twice."""
    if isinstance(part, Contact):
        return () if part.conducts(values) else (part,)
    cuts = [_cut(inner, values) for inner in part.parts]
    if part.way == "series":
        return min((cut for cut in cuts if cut), key=len, default=())
    if not all(cuts):
        return ()
    return tuple(dict.fromkeys(contact for cut in cuts for contact in cut))


def _drawn(part: Part) -> Iterator[Contact]:
    """Every contact, as often as it is drawn."""
    if isinstance(part, Contact):
        yield part
        return
    for inner in part.parts:
        yield from _drawn(inner)


def _cuts(part: Part, values: Mapping[str, Value], most: int) -> list[frozenset[Contact]] | None:
    """Every cut of at most `most` contacts that holds no smaller one; none where it conducts, None: too many to weigh."""
    if isinstance(part, Contact):
        return [] if part.conducts(values) else [frozenset((part,))]
    ways: list[frozenset[Contact]] = [] if part.way == "series" else [frozenset()]
    for inner in part.parts:
        these = _cuts(inner, values, most)
        if these is None or len(these) * max(len(ways), 1) > 4 * MOST_WAYS:
            return None
        ways = _least([*ways, *these] if part.way == "series" else [a | b for a in ways for b in these], most)
        if len(ways) > MOST_WAYS:
            return None
    return ways


def _least(ways: Iterable[frozenset[Contact]], most: int) -> list[frozenset[Contact]]:
    kept: list[frozenset[Contact]] = []
    for way in sorted({way for way in ways if len(way) <= most}, key=len):
        if not any(smaller <= way for smaller in kept):
            kept.append(way)
    return kept


@dataclass(frozen=True, slots=True)
class Held:
    """A contact that holds a network off, as a person looks for it."""

    contact: str
    """Its variable, or what is written there."""
    address: str
    state: str
    """``is off``; for what is written out a whole clause of its own."""
    line: int
    """Of the program's text, as its messages count; 0 where it was not read from one."""
    itself: bool = False
    """It is the output's own contact: the output does not hold itself in."""
    by: tuple[Held, ...] = ()
    """What holds this one off, where it is a bit of the program's own."""

    @property
    def words(self) -> str:
        return f"{f'{self.contact} ({self.address})' if self.address else self.contact} {self.state}"


def why_off(program: Program, values: Mapping[str, Value], output: str) -> tuple[str, ...]:
    """Why `output` (a name or an address) is off, one sentence a contact; empty when it is on.

    values: `ScanResult.values`. Words of the trade: which variable is off, at which address, where a timer stands.
    """
    name = resolve(program, output)
    if name is None:
        return (f"the program has no {output}",)
    if values.get(name, False):
        return ()
    part = network(program, name)
    if part is None:
        written = any(t == name for t in _written(program.statements))
        return (
            (f"{name} is driven by more than a plain network",)
            if written
            else (f"nothing in the program drives {name}",)
        )
    contacts = holding_off(part, values)
    if not contacts:
        return (f"the network of {name} is on; the next scan turns it on",)
    return tuple(held(program, contact, values, name).words for contact in contacts)


def held(program: Program, contact: Contact, values: Mapping[str, Value], output: str) -> Held:
    """How an open contact of the network of `output` is told."""
    name = contact.label
    place = next((v.address for v in program.variables if v.name == name and v.address), "")
    return Held(name, place, _state(program, contact, values, output), contact.source.at.line, name == output)


def _state(program: Program, contact: Contact, values: Mapping[str, Value], output: str) -> str:
    if isinstance(contact.source, Constant):
        return "is written there, so that branch never conducts"
    if not contact.plain:
        return f"is {'not true' if contact.closed_when else 'true'}"
    name = contact.label
    if name == output:
        return "is off, so it does not hold itself in"
    if not contact.closed_when:
        return "is on, and its contact |/| opens"
    if isinstance(contact.source, Member):
        kind = next((v.type for v in program.variables if v.name == contact.source.instance), "")
        block = BLOCKS.get(kind)
        running = values.get(f"{contact.source.instance}.IN")
        if block is not None and block.timer and contact.source.pin == "Q":
            preset = int(values.get(f"{contact.source.instance}.PT", 0)) / 1000
            state = (
                f"timing, {preset:g} s" if running and kind == "TON" else "not started" if kind == "TON" else "run out"
            )
            return f"is off: the {block.words} timer is {state}"
    return "is off"


def _is_bool(program: Program, name: str) -> bool:
    return name.startswith("%") or any(v.name == name and v.type == "BOOL" for v in program.variables)


def _written(statements: Iterable[Statement]) -> Iterable[str]:
    for statement in statements:
        match statement:
            case Assign(target, _):
                yield target.name
            case Call(_, _, outputs):
                yield from (target.name for _, target in outputs)
            case If(arms, otherwise):
                for _, inner in arms:
                    yield from _written(inner)
                yield from _written(otherwise)


def _driven(statements: tuple[Statement, ...], name: str, before: Expression) -> Expression:
    """What `name` is after the statements when it was `before` ahead of them."""
    now = before
    for statement in statements:
        match statement:
            case Assign(target, value) if target.name == name:
                # q := q OR x after an earlier q := ... reads what that one left. Only plain references are followed.
                now = value if now == Ref(name) else _replaced(value, name, now)
            case Call(instance, _, outputs):
                for pin, sent in outputs:
                    if sent.name == name:
                        now = Member(instance, pin)
            case If(arms, otherwise) if name in set(_written((statement,))):
                # From the last arm up: IF c THEN a ELSE b is c AND a OR NOT c AND b.
                result = _driven(otherwise, name, now)
                for condition, inner in reversed(arms):
                    result = _choice(condition, _driven(inner, name, now), result)
                now = result
            case _:
                pass
    return now


def _choice(condition: Expression, then: Expression, otherwise: Expression) -> Expression:
    if then == Constant(True, "BOOL"):
        return Chain(condition, (("OR", otherwise),))
    if then == Constant(False, "BOOL"):
        return Chain(Unary("NOT", condition), (("AND", otherwise),))
    yes = Chain(condition, (("AND", then),))
    if otherwise == Constant(False, "BOOL"):
        return yes
    return Chain(yes, (("OR", Chain(Unary("NOT", condition), (("AND", otherwise),))),))


def _replaced(node: Expression, name: str, now: Expression) -> Expression:
    match node:
        case Ref():
            return now if node.name == name else node
        case Unary():
            return replace(node, operand=_replaced(node.operand, name, now))
        case Chain():
            rest = tuple((op, _replaced(operand, name, now)) for op, operand in node.rest)
            return replace(node, first=_replaced(node.first, name, now), rest=rest)
        case _:
            return node


def _parts(node: Expression, sense: bool, left: list[int], depth: int) -> Part:
    """The network that conducts while `node` is `sense`."""
    left[0] -= 1
    if left[0] < 0 or depth > DEEPEST:
        raise _TooLarge
    if isinstance(node, Unary) and node.op == "NOT":
        return _parts(node.operand, not sense, left, depth + 1)
    if isinstance(node, Constant):
        return Contact(Constant(bool(node.value) is sense, "BOOL"), True)
    if isinstance(node, Chain) and node.rest[0][0] in ("AND", "OR"):
        inner = [_parts(part, sense, left, depth + 1) for part in (node.first, *(operand for _, operand in node.rest))]
        # De Morgan: what is in series when it must be on is in parallel when it must be off.
        return _group("series" if (node.rest[0][0] == "AND") is sense else "parallel", inner)
    if isinstance(node, Chain) and node.rest[0][0] == "XOR":
        *most, (_, last) = node.rest
        first = Chain(node.first, tuple(most), node.at) if most else node.first
        ways = [
            _group("series", [_parts(first, one, left, depth + 1), _parts(last, one is not sense, left, depth + 1)])
            for one in (True, False)
        ]
        return _group("parallel", ways)
    return Contact(node, sense)


def _group(way: Literal["series", "parallel"], parts: Iterable[Part]) -> Part:
    flat: list[Part] = []
    for part in parts:
        flat += part.parts if isinstance(part, Group) and part.way == way else [part]
    return flat[0] if len(flat) == 1 else Group(way, tuple(flat))
