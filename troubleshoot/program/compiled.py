"""Statements and expressions of a program as functions over one list of values: what a scan runs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from troubleshoot.program.blocks import BLOCKS, Slots, Step
from troubleshoot.program.model import (
    INT_LOW,
    TIME_LOW,
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
)

LEFT: Final = 1
"""Slot of what is left of the budget."""
Eval = Callable[[Any], Any]


class Overrun(Exception):
    """The budget ran out; leaves the nested closures."""


class Stopped(Exception):
    """The controller stops: the words say why."""


def in_order(
    statements: Sequence[Statement], slots: Mapping[str, int], steps: Mapping[str, Step], types: Mapping[str, str]
) -> Step:
    """Statements one after another; the price of all of them is taken from the budget before the first."""
    price = sum(_price(statement) for statement in statements)
    done = tuple(_statement(statement, slots, steps, types) for statement in statements)

    def run(v: Slots) -> None:
        v[LEFT] -= price
        if v[LEFT] < 0:
            raise Overrun
        for step in done:
            step(v)

    return run


def _price(statement: Statement) -> int:
    """Operations a statement takes; the inside of an IF pays for itself."""
    match statement:
        case Assign(_, value):
            return 1 + _size(value)
        case Call(_, inputs, outputs):
            return 4 + sum(_size(value) for _, value in inputs) + len(outputs)
        case If(arms, _):
            return 1 + sum(_size(condition) for condition, _ in arms)


def _size(node: Expression) -> int:
    match node:
        case Unary(_, operand):
            return 1 + _size(operand)
        case Chain(first, rest):
            return _size(first) + sum(1 + _size(operand) for _, operand in rest)
        case _:
            return 1


def _statement(
    statement: Statement, slots: Mapping[str, int], steps: Mapping[str, Step], types: Mapping[str, str]
) -> Step:
    where = slots.__getitem__
    match statement:
        case Assign(target, value):
            ready = expression(value, where)
            return _assign(slots[target.name], _short(ready) if _is_int(target, types) else ready)
        case Call(instance, inputs, outputs):
            kinds = BLOCKS[types[instance]].inputs
            given = tuple(
                (slots[f"{instance}.{pin}"], _short(done) if kinds[pin] == "INT" else done)
                for pin, done in ((pin, expression(value, where)) for pin, value in inputs)
            )
            sent = tuple((slots[target.name], slots[f"{instance}.{pin}"]) for pin, target in outputs)
            return _call(given, steps[instance], sent)
        case If(arms, otherwise):
            chosen = tuple((expression(c, where), in_order(inner, slots, steps, types)) for c, inner in arms)
            return _if(chosen, in_order(otherwise, slots, steps, types))


def _is_int(target: Ref | Member, types: Mapping[str, str]) -> bool:
    if isinstance(target, Member):
        return BLOCKS[types[target.instance]].inputs[target.pin] == "INT"
    return types.get(target.name) == "INT"


def _short(value: Eval) -> Eval:
    """Brings a number into an INT as it is stored; what does not fit comes round (common practice)."""
    return lambda v: (value(v) - INT_LOW) % 2**16 + INT_LOW


def _assign(slot: int, value: Eval) -> Step:
    def step(v: Slots) -> None:
        v[slot] = value(v)

    return step


def _call(given: Sequence[tuple[int, Eval]], execute: Step, sent: Sequence[tuple[int, int]]) -> Step:
    def step(v: Slots) -> None:
        for slot, value in given:
            v[slot] = value(v)
        execute(v)
        for target, source in sent:
            v[target] = v[source]

    return step


def _if(arms: Sequence[tuple[Eval, Step]], otherwise: Step) -> Step:
    def step(v: Slots) -> None:
        for condition, inner in arms:
            if condition(v):
                inner(v)
                return
        otherwise(v)

    return step


def expression(node: Expression, where: Callable[[str], Any]) -> Eval:
    """The closure that works a node out; `where` gives the slot or key of a name."""
    match node:
        case Constant(value):
            return lambda v: value
        case Ref() | Member():
            slot = where(node.name)
            return lambda v: v[slot]
        case Unary(op, operand):
            inner = expression(operand, where)
            if op == "NOT":
                return lambda v: not inner(v)
            return lambda v: _wrapped(-inner(v))
        case Chain(first, rest):
            return _chain(expression(first, where), [(op, expression(x, where)) for op, x in rest], node)


def _chain(first: Eval, rest: Sequence[tuple[str, Eval]], node: Chain) -> Eval:
    op = rest[0][0]
    every = (first, *(operand for _, operand in rest))
    if len(every) == 2 and op in ("AND", "OR"):
        # Most networks are pairs; the loop below takes three times as long.
        left, right = every
        if op == "AND":
            return lambda v: left(v) and right(v)
        return lambda v: left(v) or right(v)
    if op == "AND":
        return lambda v: all(operand(v) for operand in every)
    if op == "OR":
        return lambda v: any(operand(v) for operand in every)
    line = node.at.line

    def work(v: Any) -> Any:
        total = first(v)
        for sign, operand in rest:
            total = _apply(sign, total, operand(v), line)
        return total

    return work


def _apply(op: str, a: Any, b: Any, line: int) -> Any:
    match op:
        case "XOR" | "<>":
            return a != b
        case "=":
            return a == b
        case "<":
            return a < b
        case ">":
            return a > b
        case "<=":
            return a <= b
        case ">=":
            return a >= b
        case "+":
            return _wrapped(a + b)
        case "-":
            return _wrapped(a - b)
        case "*":
            return _wrapped(a * b)
    if b == 0:
        raise Stopped(f"division by zero on line {line}")
    # Towards zero, the remainder with the sign of what is divided (IEC 61131-3, from memory).
    quotient = abs(a) // abs(b) * (1 if (a < 0) == (b < 0) else -1)
    return _wrapped(quotient) if op == "/" else a - quotient * b


def _wrapped(value: int) -> int:
    """32 bits, two's complement: what does not fit comes round, and nothing grows without end."""
    return (value - TIME_LOW) % 2**32 + TIME_LOW
