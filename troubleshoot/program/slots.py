"""Where each variable, point and pin of a program lies in the list of values, and which of them outlive a scan or a loss of power."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from troubleshoot.program.blocks import BLOCKS, Step
from troubleshoot.program.compiled import LEFT, in_order
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

Kept = bool | int | None


@dataclass(frozen=True, slots=True)
class Code:
    """Where everything lies in the slots of a scan, and the closure that is the program.

    Slots: time, budget, inputs, memory, scratch (elapsed times nobody reads).
    """

    run: Step
    inputs: tuple[tuple[str, int], ...]
    first: int
    """First slot of memory."""
    start: tuple[Kept, ...]
    """Memory after a cold start."""
    names: Mapping[str, int]
    """Slot of each retainable thing: variables, points, ``t1.Q``, hidden ``t1.M``."""
    retained: tuple[str, ...]
    outputs: tuple[tuple[str, int], ...]
    shown: tuple[tuple[str, int], ...]
    edges: tuple[int, ...]
    """Slots of the hidden M of edge blocks."""
    timers: tuple[tuple[int, int, bool], ...]
    """Start and preset slots of each timer, and whether its elapsed time is read."""
    scratch: int


def code_of(variables: tuple[Variable, ...], statements: tuple[Statement, ...]) -> Code:
    declared = {variable.name: variable for variable in variables}
    used = set(_names(statements))
    points = {v.address: v.name for v in variables if v.address}
    for name in sorted(used):
        if name.startswith("%") and name not in points:
            points[name] = name
    slots: dict[str, int] = {}
    inputs = sorted(point for point in points if point.startswith("%I"))
    for index, point in enumerate(inputs):
        slots[point] = LEFT + 1 + index
    first = LEFT + 1 + len(inputs)
    beginning: list[Kept] = []
    keeps: list[str] = []

    def keep(name: str, value: Kept, retain: bool) -> None:
        slots[name] = first + len(beginning)
        beginning.append(value)
        if retain:
            keeps.append(name)

    scratch: list[str] = []
    edges, timers = [], []
    for point in sorted(points):
        if point in slots:
            continue
        mine = declared.get(points[point])
        value = mine.initial.value if mine is not None and mine.initial is not None else False
        keep(point, value, mine is not None and mine.retain)
    for variable in variables:
        block = BLOCKS.get(variable.type)
        if variable.address:
            slots[variable.name] = slots[variable.address]
        elif block is None:
            value = variable.initial.value if variable.initial is not None else False if variable.type == "BOOL" else 0
            keep(variable.name, value, variable.retain)
        else:
            for pin, kind in {**block.inputs, **block.outputs}.items():
                member = f"{variable.name}.{pin}"
                if pin == "ET" and member not in used:
                    scratch.append(member)
                else:
                    keep(member, False if kind == "BOOL" else 0, variable.retain)
            for hidden, before in block.inner.items():
                # The start of a running timer means nothing after power has been away.
                keep(f"{variable.name}.{hidden}", before, variable.retain and hidden != "since")
            if block.edge:
                edges.append(slots[f"{variable.name}.M"])
            if block.timer:
                read = f"{variable.name}.ET" in used
                timers.append((slots[f"{variable.name}.since"], slots[f"{variable.name}.PT"], read))
    for index, member in enumerate(scratch):
        slots[member] = first + len(beginning) + index
    steps = {v.name: BLOCKS[v.type].step(_pins(v, slots)) for v in variables if v.type in BLOCKS}
    hidden_pins = {f"{v.name}.{pin}" for v in variables if v.type in BLOCKS for pin in BLOCKS[v.type].inner}
    shown = tuple(
        (name, slot)
        for name, slot in slots.items()
        if name not in hidden_pins and name not in scratch and not (name.startswith("%") and points[name] != name)
    )
    return Code(
        run=in_order(statements, slots, steps, {v.name: v.type for v in variables}),
        inputs=tuple((point, slots[point]) for point in inputs),
        first=first,
        start=tuple(beginning),
        names=slots,
        retained=tuple(keeps),
        outputs=tuple((point, slots[point]) for point in sorted(points) if point.startswith("%Q")),
        shown=shown,
        edges=tuple(edges),
        timers=tuple(timers),
        scratch=len(scratch),
    )


def _pins(variable: Variable, slots: Mapping[str, int]) -> Mapping[str, int]:
    prefix = f"{variable.name}."
    return {name.removeprefix(prefix): slot for name, slot in slots.items() if name.startswith(prefix)}


def _names(statements: Iterable[Statement]) -> Iterable[str]:
    """Every variable, point and pin that is named anywhere."""
    for statement in statements:
        match statement:
            case Assign(target, value):
                yield target.name
                yield from _named(value)
            case Call(_, inputs, outputs):
                for _, given in inputs:
                    yield from _named(given)
                for _, sent in outputs:
                    yield sent.name
                yield from (f"{statement.instance}.{pin}" for pin, _ in outputs)
            case If(arms, otherwise):
                for condition, inner in arms:
                    yield from _named(condition)
                    yield from _names(inner)
                yield from _names(otherwise)


def _named(node: Expression) -> Iterable[str]:
    match node:
        case Ref() | Member():
            yield node.name
        case Unary(_, operand):
            yield from _named(operand)
        case Chain(first, rest):
            yield from _named(first)
            for _, operand in rest:
                yield from _named(operand)
        case Constant():
            pass
