"""What may be wrong with a program: every single change that a slip, a forced point or a wrong copy makes.

Only what the outputs depend on is changed, and each change is a whole program again, so that it can be scanned, drawn and
printed as any other. A change is known by its id; ids stay the same while the text does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from typing import Final, Literal

from troubleshoot.program.blocks import BLOCKS
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
    Variable,
)
from troubleshoot.program.printing import expression_text
from troubleshoot.program.running import build
from troubleshoot.text.problem import Position

Sort = Literal["inverted", "missing", "address", "no reset", "retained", "forced"]
"""A contact inverted, a branch missing, another address, a set without its reset, a bit kept over a power loss that should
not be, an input or output forced."""

MOST: Final = 300
"""Changes of one program, as many as a panel has other suspects (own choice)."""
_LONGEST: Final = 40
_RESETS: Final = {"SR": "R", "RS": "R1"}


@dataclass(frozen=True, slots=True)
class Change:
    """One thing done to a program."""

    id: str
    words: str
    sort: Sort
    line: int
    """Of the text, as its messages count."""
    of: str
    """The variable whose rung it is in, where it is in one."""
    variables: tuple[Variable, ...]
    statements: tuple[Statement, ...]

    def made(self, program: Program) -> Program:
        """The program with it."""
        return build(program.name, self.variables, self.statements)


@dataclass(frozen=True, slots=True)
class _Other:
    """A piece of a program, changed."""

    sort: Sort
    key: str
    words: str
    at: Position


def changes(program: Program, points: Sequence[str]) -> tuple[Change, ...]:
    """Every change of a program that its outputs can show, in the order of its text.

    Of a program that could be wrong in more than `MOST` ways only what stands nearest the outputs is doubted.
    points: direct addresses that the controller has wired, ``%IX0.0``: what may be forced, and what an address may be
    mistaken for.
    """
    steps = list(_needed(program, points))
    found: list[Change] = []
    low, high = 0, len(steps) - 1
    while low <= high:  # as far from the outputs as stays within MOST
        middle = (low + high + 1) // 2 if low or high < len(steps) - 1 else high
        these = _all(program, steps[middle], points)
        if len(these) <= MOST:
            found, low = these, middle + 1
        else:
            high = middle - 1
    if steps and not found:
        found = _all(program, steps[0], points)[:MOST]
    times: Counter[str] = Counter()
    out = []
    for change in sorted(found, key=lambda change: change.line):
        times[change.id] += 1
        again = f" ({times[change.id]})" if times[change.id] > 1 else ""
        out.append(replace(change, id=change.id + again))
    return tuple(out)


def _all(program: Program, needed: frozenset[str], points: Sequence[str]) -> list[Change]:
    """Not more than one too many, since a large program is asked about several times."""
    parts = (_forced(program, needed, points), _addresses(program, needed, points), _kept(program, needed))
    return list(islice(chain(*parts, _in_text(program, needed)), MOST + 1))


def with_changes(
    program: Program, ids: Iterable[str], points: Sequence[str], known: Mapping[str, Change] | None = None
) -> Program:
    """The program with all these changes, one after the other; one that no longer applies after another is left out.

    known: the `changes` of the program as it stands, by id, where they are there already.
    """
    for name in ids:
        change = (known if known is not None else {c.id: c for c in changes(program, points)}).get(name)
        known = None
        if change is not None:
            program = change.made(program)
    return program


# ------------------------------------------------------------------------------------------------- what outputs depend on


def _needed(program: Program, points: Sequence[str]) -> Iterator[frozenset[str]]:
    """Names (block instances by theirs) that any wired output depends on: the outputs, then those one step away too, ..."""
    called = program.addresses
    reads: dict[str, set[str]] = {}
    for target, names in _dependencies(program.statements, frozenset()):
        reads.setdefault(called.get(target, target), set()).update(called.get(name, name) for name in names)
    found = {called.get(point, point) for point in points if point.startswith("%Q")} & reads.keys()
    edge = set(found)
    while edge:
        yield frozenset(found)
        edge = {other for name in edge for other in reads.get(name, ())} - found
        found |= edge


def _dependencies(statements: Iterable[Statement], under: frozenset[str]) -> Iterator[tuple[str, frozenset[str]]]:
    """What each statement writes and what that depends on, the conditions around it included."""
    for statement in statements:
        match statement:
            case Assign(target, value):
                yield _owner(target), under | _read(value)
            case Call(instance, inputs, outputs):
                yield instance, under.union(*(_read(value) for _, value in inputs))
                for _, sent in outputs:
                    yield sent.name, under | {instance}
            case If(arms, otherwise):
                every = under.union(*(_read(condition) for condition, _ in arms))
                for _, inner in arms:
                    yield from _dependencies(inner, every)
                yield from _dependencies(otherwise, every)


def _owner(node: Ref | Member) -> str:
    return node.instance if isinstance(node, Member) else node.name


def _read(node: Expression) -> frozenset[str]:
    match node:
        case Ref() | Member():
            return frozenset((_owner(node),))
        case Unary(_, operand):
            return _read(operand)
        case Chain(first, rest):
            return _read(first).union(*(_read(operand) for _, operand in rest))
        case Constant():
            return frozenset()


# --------------------------------------------------------------------------------------------------------- in the text


def _in_text(program: Program, needed: frozenset[str]) -> Iterator[Change]:
    types = {v.name: v.type for v in program.variables}
    called = program.addresses
    for k, statement in enumerate(program.statements):
        for other, changed in _statement(statement, types, called, needed):
            body = (*program.statements[:k], *changed, *program.statements[k + 1 :])
            line = other.at.line
            of = next(name for name, _ in _dependencies((statement,), frozenset()))
            yield Change(f"line {line}: {other.key}", f"{other.words} (program, line {line})", other.sort, line, of,
                         program.variables, body)  # fmt: skip


_Types = dict[str, str]
_Changed = tuple[_Other, tuple[Statement, ...]]


def _statement(statement: Statement, types: _Types, called: object, needed: frozenset[str]) -> Iterator[_Changed]:
    assert isinstance(called, dict)
    match statement:
        case Assign(target, value, at):
            if called.get(target.name, _owner(target)) in needed and _boolean(target, types):
                for other, changed in _value(value, target.name, at):
                    yield other, (replace(statement, value=changed),)
        case Call(instance, inputs, _, at):
            if instance not in needed:
                return
            kinds = BLOCKS[types[instance]].inputs
            for k, (pin, value) in enumerate(inputs):
                if kinds[pin] != "BOOL":
                    continue
                for other, changed in _value(value, f"{instance}.{pin}", at):
                    yield other, (replace(statement, inputs=(*inputs[:k], (pin, changed), *inputs[k + 1 :])),)
                if _RESETS.get(types[instance]) == pin and not isinstance(value, Constant):
                    never = (*inputs[:k], (pin, Constant(False, "BOOL", at)), *inputs[k + 1 :])
                    words = f"{instance} is set and its reset never comes"
                    yield (
                        _Other("no reset", f"{instance} without reset", words, at),
                        (replace(statement, inputs=never),),
                    )
        case If():
            yield from _if(statement, types, called, needed)


def _if(statement: If, types: _Types, called: object, needed: frozenset[str]) -> Iterator[_Changed]:
    arms, otherwise = statement.arms, statement.otherwise
    written = {name for name, _ in _dependencies((statement,), frozenset())}
    assert isinstance(called, dict)
    if not {called.get(name, name) for name in written} & needed:
        return
    for k, (condition, inner) in enumerate(arms):
        targets = ", ".join(dict.fromkeys(name for name, _ in _dependencies(inner, frozenset())))[:_LONGEST]
        for other, changed in _value(condition, f"the IF of {targets}", condition.at):
            yield other, (replace(statement, arms=(*arms[:k], (changed, inner), *arms[k + 1 :])),)
        for j, each in enumerate(inner):
            for other, those in _statement(each, types, called, needed):
                body = (*inner[:j], *those, *inner[j + 1 :])
                yield other, (replace(statement, arms=(*arms[:k], (condition, body), *arms[k + 1 :])),)
        if inner and all(isinstance(s, Assign) and s.value == Constant(False, "BOOL") for s in inner):
            # The resetting rung is not there.
            rest = (*arms[:k], *arms[k + 1 :])
            left: tuple[Statement, ...] = (replace(statement, arms=rest),) if rest else otherwise
            other = _Other(
                "no reset", f"{targets} without reset", f"{targets} is set and its reset is missing", condition.at
            )
            yield other, left
    for j, each in enumerate(otherwise):
        for other, those in _statement(each, types, called, needed):
            yield other, (replace(statement, otherwise=(*otherwise[:j], *those, *otherwise[j + 1 :])),)


def _boolean(target: Ref | Member, types: _Types) -> bool:
    if isinstance(target, Member):
        return BLOCKS[types[target.instance]].inputs.get(target.pin) == "BOOL"
    return types.get(target.name, "BOOL") == "BOOL"


def _value(node: Expression, of: str, at: Position) -> Iterator[tuple[_Other, Expression]]:
    """A boolean expression with one contact inverted or one branch missing."""
    match node:
        case Ref() | Member():
            other = _Other(
                "inverted",
                f"{node.name} inverted in {of}",
                f"contact {node.name} in the logic of {of} is inverted",
                node.at,
            )
            yield other, Unary("NOT", node, node.at)
        case Unary("NOT", operand):
            for other, changed in _value(operand, of, at):
                # NOT of a contact inverted is the contact; anything else keeps its NOT.
                yield other, operand if isinstance(operand, Ref | Member) else replace(node, operand=changed)
        case Chain(first, rest) if rest[0][0] in ("AND", "OR", "XOR"):
            parts = [first, *(operand for _, operand in rest)]
            op = rest[0][0]
            for k, part in enumerate(parts):
                for other, changed in _value(part, of, at):
                    yield other, _chain([*parts[:k], changed, *parts[k + 1 :]], op, node.at)
                if op == "OR":
                    text = expression_text(part)
                    text = text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "~"
                    words = f"branch {text} of {of} is missing"
                    where = _begins(part)
                    yield (
                        _Other("missing", f"{text} missing in {of}", words, where),
                        _chain([*parts[:k], *parts[k + 1 :]], op, node.at),
                    )
        case _:
            return


def _begins(node: Expression) -> Position:
    while isinstance(node, Chain):
        node = node.first
    return node.at


def _chain(parts: Sequence[Expression], op: str, at: Position) -> Expression:
    return parts[0] if len(parts) == 1 else Chain(parts[0], tuple((op, part) for part in parts[1:]), at)


# ------------------------------------------------------------------------------------------------- points and variables


def _addresses(program: Program, needed: frozenset[str], points: Sequence[str]) -> Iterator[Change]:
    """A declared point at the next address, or at the one before where there is none: a slip of one."""
    for k, variable in enumerate(program.variables):
        place = variable.address
        if variable.name not in needed or place not in points:
            continue
        alike = [point for point in points if point[:2] == place[:2]]
        at = alike.index(place)
        near = alike[at + 1 : at + 2] or alike[max(0, at - 1) : at]
        for wrong in near:
            moved = replace(variable, address=wrong)
            yield Change(
                f"line {variable.at.line}: {variable.name} at {wrong}",
                f"{variable.name} stands at {wrong} instead of {place} (program, line {variable.at.line})",
                "address", variable.at.line, variable.name, (*program.variables[:k], moved, *program.variables[k + 1 :]), program.statements,
            )  # fmt: skip


def _forced(program: Program, needed: frozenset[str], points: Sequence[str]) -> Iterator[Change]:
    """An input the program is made to see, whatever comes in; an output it gives, whatever it works out."""
    called = program.addresses
    for point in points:
        name = called.get(point, point)
        if name not in needed:
            continue
        for on in (False, True):
            value = Constant(on, "BOOL")
            if point.startswith("%I"):
                body = tuple(_without(statement, {name, point}, value) for statement in program.statements)
            else:
                body = (*program.statements, Assign(Ref(name), value))
            word = "on" if on else "off"
            shown = name if name == point else f"{name} ({point})"
            yield Change(
                f"force {point} {word}", f"{shown} is forced {word}", "forced", 0, name, program.variables, body
            )


def _without(statement: Statement, names: set[str], value: Constant) -> Statement:
    """With a constant wherever it reads one of the names."""

    def put(node: Expression) -> Expression:
        match node:
            case Ref():
                return replace(value, at=node.at) if node.name in names else node
            case Unary():
                return replace(node, operand=put(node.operand))
            case Chain():
                return replace(node, first=put(node.first), rest=tuple((op, put(operand)) for op, operand in node.rest))
            case _:
                return node

    match statement:
        case Assign():
            return replace(statement, value=put(statement.value))
        case Call():
            return replace(statement, inputs=tuple((pin, put(given)) for pin, given in statement.inputs))
        case If(arms, otherwise):
            inner = tuple((put(c), tuple(_without(each, names, value) for each in body)) for c, body in arms)
            return replace(statement, arms=inner, otherwise=tuple(_without(each, names, value) for each in otherwise))


def _kept(program: Program, needed: frozenset[str]) -> Iterator[Change]:
    """A latch that outlives a power loss: a bit that reads itself or is written under an IF, or a bistable block."""
    called = program.addresses
    latched: set[str] = set()
    for statement in program.statements:
        for target, names in _dependencies((statement,), frozenset()):
            name = called.get(target, target)
            if isinstance(statement, If) or name in {called.get(each, each) for each in names}:
                latched.add(name)
    for k, variable in enumerate(program.variables):
        holds = variable.type in _RESETS or (variable.type == "BOOL" and variable.name in latched)
        if variable.name in needed and holds and not (variable.retain or variable.constant):
            moved = replace(variable, retain=True)
            line = variable.at.line
            yield Change(
                f"line {line}: {variable.name} retained",
                f"{variable.name} is kept over a loss of power and should not be (program, line {line})",
                "retained", line, variable.name, (*program.variables[:k], moved, *program.variables[k + 1 :]), program.statements,
            )  # fmt: skip
