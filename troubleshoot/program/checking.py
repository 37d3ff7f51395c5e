"""Names looked up, types compared, pins found: statements as read to statements that can run, or every error."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from troubleshoot.program.blocks import BLOCKS
from troubleshoot.program.grammar import Parsed
from troubleshoot.program.model import (
    INT_HIGH,
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
from troubleshoot.text.problem import Position, Problem, nearest

_ADDRESS = re.compile(r"%([IQM])X?([0-9]+(?:\.[0-9]+)*)", re.IGNORECASE)
_PLAIN = ("BOOL", "INT", "TIME")


def address(text: str) -> str | None:
    """A direct address of one bit in its one spelling, ``%IX0.1``; None for anything else. The X may be left out."""
    found = _ADDRESS.fullmatch(text)
    if found is None or len(text) > 40:
        return None
    return f"%{found[1].upper()}X{'.'.join(str(int(part)) for part in found[2].split('.'))}"


def check(parsed: Parsed, problems: list[Problem]) -> tuple[tuple[Variable, ...], tuple[Statement, ...]]:
    """Variables and statements with declared spelling throughout; what is wrong with them goes to `problems`."""
    checker = _Checker(problems)
    return checker.declare(parsed.variables), checker.block(parsed.statements)


class _Checker:
    """Collects problems while it walks; an expression of unknown type is not complained about again."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        self.known: dict[str, Variable] = {}
        self.unknown: set[str] = set()

    def say(self, at: Position, what: str, near: str | None = None) -> None:
        self.problems.append(Problem(at, what, near))

    # declarations

    def declare(self, variables: Iterable[Variable]) -> tuple[Variable, ...]:
        kept = []
        for variable in variables:
            key = variable.name.lower()
            if earlier := self.known.get(key):
                # The same line may come twice after a syntax error, when the parser went back to before it.
                if earlier.at != variable.at:
                    self.say(variable.at, f"{variable.name} is declared twice, first on line {earlier.at.line}")
                continue
            checked = self._variable(variable)
            self.known[key] = checked
            kept.append(checked)
        return tuple(kept)

    def _variable(self, variable: Variable) -> Variable:
        kind, at, name = variable.type.upper(), variable.at, variable.name
        if kind not in _PLAIN and kind not in BLOCKS:
            self.say(at, f"{name}: {variable.type} is not a type known here", nearest(kind, [*_PLAIN, *BLOCKS]))
            return replace(variable, type="?", address="", initial=None)
        placed = ""
        if variable.address:
            placed = address(variable.address) or ""
            if not placed:
                self.say(at, f"{name}: {variable.address} is not the address of a bit, like %IX0.0, %QX0.0 or %MX0.0")
            elif kind != "BOOL":
                self.say(at, f"{name}: {placed} is one bit, so its type is BOOL, not {kind}")
            if placed.startswith("%I") and (variable.initial is not None or variable.retain or variable.constant):
                self.say(at, f"{name}: an input is read from {placed}; it has no initial value, RETAIN or CONSTANT")
        initial = variable.initial
        if kind in BLOCKS and initial is not None:
            self.say(at, f"{name}: a {kind} has no initial value")
        elif initial is not None:
            self._range(initial)
            fitted = _fit(initial, kind)
            if fitted is None:
                self.say(at, f"{name} is {kind}, its initial value is {initial.type}")
            initial = fitted
        return replace(variable, type=kind, address=placed, initial=initial)

    # statements

    def block(self, statements: Iterable[Statement]) -> tuple[Statement, ...]:
        return tuple(self._statement(statement) for statement in statements)

    def _statement(self, statement: Statement) -> Statement:
        match statement:
            case Assign(target, value, at):
                found, kind = self._target(target)
                read, got = self.expression(value, kind)
                self._same(kind, got, read.at, f"{found.name} is {kind}, what it is given is {got}")
                return Assign(found, read, at)
            case Call():
                return self._call(statement)
            case If(arms, otherwise, at):
                checked = []
                for condition, inner in arms:
                    read, got = self.expression(condition, "BOOL")
                    self._same("BOOL", got, read.at, f"a condition is BOOL, this is {got}")
                    checked.append((read, self.block(inner)))
                return If(tuple(checked), self.block(otherwise), at)

    def _target(self, target: Ref | Member) -> tuple[Ref | Member, str | None]:
        if isinstance(target, Member):
            found, kind = self._member(target)
            block = self._block_of(target.instance)
            if kind is not None and block is not None and found.pin not in BLOCKS[block].inputs:
                self.say(target.at, f"{found.name} is an output of the {block}; it cannot be assigned")
            return found, kind
        found_ref, kind = self._ref(target)
        declared = self.known.get(target.name.lower())
        place = declared.address if declared else found_ref.name
        if place.startswith("%I"):
            point = f"{found_ref.name} ({place})" if declared else place
            self.say(target.at, f"{point} is an input; a program can only read it")
        if declared is not None and declared.constant:
            self.say(target.at, f"{declared.name} is a CONSTANT; it cannot be assigned")
        return found_ref, kind

    def _call(self, call: Call) -> Call:
        declared = self.known.get(call.instance.lower())
        if declared is None:
            self._undeclared(call.instance, call.at, (v.name for v in self.known.values() if v.type in BLOCKS))
            return call
        block = BLOCKS.get(declared.type)
        if block is None:
            if declared.type != "?":
                self.say(call.at, f"{declared.name} is {declared.type}, not a function block; it cannot be called")
            return call
        given: dict[str, Expression] = {}
        for pin, value in call.inputs:
            kind = block.inputs.get(pin.upper())
            if kind is None:
                self.say(value.at, f"a {block.name} has no input {pin}", nearest(pin.upper(), block.inputs))
                continue
            if pin.upper() in given:
                self.say(value.at, f"{declared.name}: {pin.upper()} is given twice")
            read, got = self.expression(value, kind)
            self._same(kind, got, read.at, f"{declared.name}.{pin.upper()} is {kind}, what it is given is {got}")
            given[pin.upper()] = read
        outputs = []
        for pin, target in call.outputs:
            kind = block.outputs.get(pin.upper())
            if kind is None:
                self.say(target.at, f"a {block.name} has no output {pin}", nearest(pin.upper(), block.outputs))
                continue
            found, wanted = self._target(target)
            self._same(wanted, kind, target.at, f"{found.name} is {wanted}, {declared.name}.{pin.upper()} is {kind}")
            outputs.append((pin.upper(), Ref(found.name, target.at)))
        return Call(declared.name, tuple(given.items()), tuple(outputs), call.at)

    # expressions

    def expression(self, node: Expression, wanted: str | None = None) -> tuple[Expression, str | None]:
        """The node with names as declared, and its type; None where a problem has been told already."""
        match node:
            case Constant():
                self._range(node)
                fitted = _fit(node, wanted) if wanted else None
                node = fitted or node
                return node, node.type
            case Ref():
                return self._ref(node)
            case Member():
                return self._member(node)
            case Unary(op, operand, at):
                read, got = self.expression(operand, "BOOL" if op == "NOT" else None)
                if op == "NOT":
                    self._same("BOOL", got, at, f"NOT takes BOOL, this is {got}")
                    return Unary(op, read, at), "BOOL"
                if got == "BOOL":
                    self.say(at, "a BOOL has no sign")
                return Unary(op, read, at), None if got == "BOOL" else got
            case Chain(first, rest, at):
                return self._chain(first, rest, at)

    def _chain(
        self, first: Expression, rest: tuple[tuple[str, Expression], ...], at: Position
    ) -> tuple[Expression, str | None]:
        boolean = rest[0][0] in ("OR", "XOR", "AND")
        read, kind = self.expression(first, "BOOL" if boolean else None)
        done: list[tuple[str, Expression]] = []
        if boolean:
            self._same("BOOL", kind, read.at, f"{rest[0][0]} joins BOOL, this is {kind}")
        for op, operand in rest:
            # 0 and 1 beside a BOOL are FALSE and TRUE.
            right, got = self.expression(operand, "BOOL" if boolean or kind == "BOOL" else None)
            done.append((op, right))
            if boolean:
                self._same("BOOL", got, right.at, f"{op} joins BOOL, this is {got}")
            else:
                kind = self._result(op, kind, got, right.at)
        return Chain(read, tuple(done), at), "BOOL" if boolean else kind

    def _result(self, op: str, left: str | None, right: str | None, at: Position) -> str | None:
        """Type of ``left op right``, with a problem where the two do not go together."""
        if left is None or right is None:
            return "BOOL" if op in ("=", "<>", "<", ">", "<=", ">=") else None
        if op in ("=", "<>"):
            self._same(left, right, at, f"{op} compares {left} with {right}")
            return "BOOL"
        if op in ("<", ">", "<=", ">="):
            if left != right or left == "BOOL":
                self.say(at, f"{op} compares {left} with {right}")
            return "BOOL"
        pairs = {("INT", "INT"): "INT"}
        if op in ("+", "-"):
            pairs["TIME", "TIME"] = "TIME"
        if op in ("*", "/"):
            pairs["TIME", "INT"] = "TIME"
        result = pairs.get((left, right))
        if result is None:
            self.say(at, f"{op} does not go with {left} and {right}")
        return result

    def _ref(self, ref: Ref) -> tuple[Ref, str | None]:
        if ref.name.startswith("%"):
            placed = address(ref.name)
            if placed is None:
                self.say(ref.at, f"{ref.name[:30]} is not the address of a bit, like %IX0.0, %QX0.0 or %MX0.0")
                return ref, None
            return Ref(placed, ref.at), "BOOL"
        declared = self.known.get(ref.name.lower())
        if declared is None:
            self._undeclared(ref.name, ref.at, (v.name for v in self.known.values()))
            return ref, None
        if declared.type in BLOCKS:
            outputs = " or ".join(f"{declared.name}.{pin}" for pin in BLOCKS[declared.type].outputs)
            self.say(ref.at, f"{declared.name} is a {declared.type}; its value is {outputs}")
            return ref, None
        return Ref(declared.name, ref.at), declared.type if declared.type != "?" else None

    def _member(self, member: Member) -> tuple[Member, str | None]:
        declared = self.known.get(member.instance.lower())
        if declared is None:
            self._undeclared(member.instance, member.at, (v.name for v in self.known.values() if v.type in BLOCKS))
            return member, None
        block = BLOCKS.get(declared.type)
        if block is None:
            if declared.type != "?":
                self.say(member.at, f"{declared.name} is {declared.type}; it has no {member.pin}")
            return member, None
        pins: Mapping[str, str] = {**block.inputs, **block.outputs}
        kind = pins.get(member.pin.upper())
        if kind is None:
            self.say(member.at, f"a {block.name} has no {member.pin}", nearest(member.pin.upper(), pins))
        return Member(declared.name, member.pin.upper(), member.at), kind

    def _block_of(self, instance: str) -> str | None:
        declared = self.known.get(instance.lower())
        return declared.type if declared is not None and declared.type in BLOCKS else None

    def _undeclared(self, name: str, at: Position, candidates: Iterable[str]) -> None:
        if name.lower() not in self.unknown:
            self.unknown.add(name.lower())
            self.say(at, f"{name[:60]} is not declared", nearest(name, candidates))

    def _same(self, wanted: str | None, got: str | None, at: Position, what: str) -> None:
        if wanted is not None and got is not None and wanted != got:
            self.say(at, what)

    def _range(self, constant: Constant) -> None:
        if constant.type == "INT" and constant.value > INT_HIGH:
            self.say(constant.at, f"{constant.value} does not fit an INT")


def _fit(constant: Constant, kind: str) -> Constant | None:
    """The constant as that type: 0 and 1 serve as BOOL; None where it does not fit."""
    if constant.type == kind:
        return constant
    if kind == "BOOL" and constant.type == "INT" and constant.value in (0, 1):
        return replace(constant, value=bool(constant.value), type="BOOL")
    return None
