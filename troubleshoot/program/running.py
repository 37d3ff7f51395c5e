"""Start-up and scan: pure functions of program, memory, inputs and virtual time.

A scan latches the inputs, works the statements off from top to bottom and hands the outputs over at its end; a
variable written twice keeps the last value, and who reads it above the first writing sees the scan before
(IEC 61131-3 leaves the cycle to the controller; common practice). The statements become closures once, so that a scan
of a small program takes microseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

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
    Program,
    Ref,
    Statement,
    Unary,
    Value,
    Variable,
)

BUDGET: Final = 100_000
"""Operations one scan may take before the watchdog trips. Own choice: some 10 ms on a controller of 0.1 us each."""

ET_STEP_MS: Final = 100
"""How often a program that reads the elapsed time of a running timer is looked at again."""

_LEFT: Final = 1
"""Slot of what is left of the budget."""

Kept = bool | int | None
Eval = Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class Memory:
    """What the controller remembers between two scans. Hashable; equal memories behave alike at any later time.

    Holds no input image, and of the clock only the start of timers that are running.
    """

    kept: tuple[Kept, ...]


@dataclass(frozen=True, slots=True)
class ScanResult:
    memory: Memory
    outputs: Mapping[str, bool]
    """Every ``%QX`` point the program names, by address."""
    values: Mapping[str, Value]
    """Variables by declared name, undeclared points by address, block pins as ``t1.Q``."""
    overrun: bool = False
    """The scan took more than its budget: the watchdog tripped and all outputs are off."""
    fault: str = ""
    """Why the controller stopped with all outputs off, in words; empty while it runs."""


@dataclass(frozen=True, slots=True)
class _Code:
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


class _Overrun(Exception):
    """The budget ran out; leaves the nested closures."""


class _Stopped(Exception):
    """The controller stops: the words say why."""


def build(name: str, variables: tuple[Variable, ...], statements: tuple[Statement, ...]) -> Program:
    """A program from checked parts, made ready to run: also what a program with a branch left out is made with."""
    return Program(name, variables, statements, _code(variables, statements))


def start(
    program: Program, *, cold: bool, retained: Mapping[str, Value | None] | None = None, first_scan_edges: bool = True
) -> Memory:
    """Memory as the program begins.

    cold: everything at its initial value; otherwise RETAIN variables take theirs from `retained` (see `retained`).
    first_scan_edges: as in the standard, R_TRIG of an input already on, and F_TRIG of one off, pulse in the first
    scan; False as in controllers that need to see the change. Counters count edges the same way.
    """
    code = cast(_Code, program.code)
    kept = list(code.start)
    if not first_scan_edges:
        for slot in code.edges:
            kept[slot - code.first] = None
    if not cold and retained:
        for name in code.retained:
            if name in retained:
                kept[code.names[name] - code.first] = retained[name]
    return Memory(tuple(kept))


def with_points(program: Program, memory: Memory, points: Mapping[str, bool]) -> Memory:
    """Memory with outputs and bits, by direct address, as they are known to be; addresses it does not name are passed over."""
    code = cast(_Code, program.code)
    kept = list(memory.kept)
    for point, on in points.items():
        slot = code.names.get(point)
        if slot is not None and slot >= code.first:
            kept[slot - code.first] = on
    return Memory(tuple(kept))


def retained(program: Program, memory: Memory) -> Mapping[str, Value | None]:
    """What a power loss leaves for a warm start. A retained timer keeps its output; one that was running starts over."""
    code = cast(_Code, program.code)
    return {name: memory.kept[code.names[name] - code.first] for name in code.retained}


def scan(
    program: Program, memory: Memory, inputs: Mapping[str, bool], now_ms: int, *, budget: int = BUDGET
) -> ScanResult:
    """One scan at virtual time `now_ms`. Points missing from `inputs` are off.

    An overrun or a division by zero stops the controller: all outputs off, memory as it was before the scan.
    """
    code = cast(_Code, program.code)
    v: Slots = [now_ms, budget]
    for point, _ in code.inputs:
        v.append(bool(inputs.get(point, False)))
    v += memory.kept
    v += [0] * code.scratch
    overrun, fault = False, ""
    try:
        code.run(v)
    except _Overrun:
        overrun, fault = True, "the scan took too long, the watchdog tripped"
    except _Stopped as stop:
        fault = str(stop)
    if fault:
        v[code.first : code.first + len(memory.kept)] = memory.kept
        for _, slot in code.outputs:
            v[slot] = False
    kept = Memory(tuple(v[code.first : code.first + len(memory.kept)]))
    outputs = {point: v[slot] for point, slot in code.outputs}
    return ScanResult(kept, outputs, {name: v[slot] for name, slot in code.shown}, overrun, fault)


def next_event_ms(program: Program, memory: Memory, now_ms: int) -> int | None:
    """When the next running timer will have something to say, or None. Always after `now_ms`.

    A timer that ran out by `now_ms` and was not executed since is not waited for: another scan at `now_ms` runs it,
    unless the program steps over it.
    """
    code = cast(_Code, program.code)
    due = []
    for since, preset, read in code.timers:
        begun = memory.kept[since - code.first]
        if begun is None:
            continue
        end = int(begun) + int(memory.kept[preset - code.first] or 0)
        if end > now_ms:
            due.append(min(end, now_ms + ET_STEP_MS) if read else end)
    return min(due, default=None)


def evaluate(node: Expression, values: Mapping[str, Value]) -> Value:
    """An expression over the values of a `ScanResult`; a division by zero is 0."""
    try:
        return cast(Value, _expression(node, lambda name: name)(values))
    except _Stopped:
        return 0


# ------------------------------------------------------------------------------------------------------- making ready


def _code(variables: tuple[Variable, ...], statements: tuple[Statement, ...]) -> _Code:
    declared = {variable.name: variable for variable in variables}
    used = set(_names(statements))
    points = {v.address: v.name for v in variables if v.address}
    for name in sorted(used):
        if name.startswith("%") and name not in points:
            points[name] = name
    slots: dict[str, int] = {}
    inputs = sorted(point for point in points if point.startswith("%I"))
    for index, point in enumerate(inputs):
        slots[point] = _LEFT + 1 + index
    first = _LEFT + 1 + len(inputs)
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
    return _Code(
        run=_block(statements, slots, steps, {v.name: v.type for v in variables}),
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


def _block(
    statements: Sequence[Statement], slots: Mapping[str, int], steps: Mapping[str, Step], types: Mapping[str, str]
) -> Step:
    """Statements one after another; the price of all of them is taken from the budget before the first."""
    price = sum(_price(statement) for statement in statements)
    done = tuple(_statement(statement, slots, steps, types) for statement in statements)

    def run(v: Slots) -> None:
        v[_LEFT] -= price
        if v[_LEFT] < 0:
            raise _Overrun
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
            ready = _expression(value, where)
            return _assign(slots[target.name], _short(ready) if _is_int(target, types) else ready)
        case Call(instance, inputs, outputs):
            kinds = BLOCKS[types[instance]].inputs
            given = tuple(
                (slots[f"{instance}.{pin}"], _short(done) if kinds[pin] == "INT" else done)
                for pin, done in ((pin, _expression(value, where)) for pin, value in inputs)
            )
            sent = tuple((slots[target.name], slots[f"{instance}.{pin}"]) for pin, target in outputs)
            return _call(given, steps[instance], sent)
        case If(arms, otherwise):
            chosen = tuple((_expression(c, where), _block(inner, slots, steps, types)) for c, inner in arms)
            return _if(chosen, _block(otherwise, slots, steps, types))


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


def _expression(node: Expression, where: Callable[[str], Any]) -> Eval:
    """The closure that works a node out; `where` gives the slot or key of a name."""
    match node:
        case Constant(value):
            return lambda v: value
        case Ref() | Member():
            slot = where(node.name)
            return lambda v: v[slot]
        case Unary(op, operand):
            inner = _expression(operand, where)
            if op == "NOT":
                return lambda v: not inner(v)
            return lambda v: _wrapped(-inner(v))
        case Chain(first, rest):
            return _chain(_expression(first, where), [(op, _expression(x, where)) for op, x in rest], node)


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
        raise _Stopped(f"division by zero on line {line}")
    # Towards zero, the remainder with the sign of what is divided (IEC 61131-3, from memory).
    quotient = abs(a) // abs(b) * (1 if (a < 0) == (b < 0) else -1)
    return _wrapped(quotient) if op == "/" else a - quotient * b


def _wrapped(value: int) -> int:
    """32 bits, two's complement: what does not fit comes round, and nothing grows without end."""
    return (value - TIME_LOW) % 2**32 + TIME_LOW
