"""Start-up and scan: pure functions of program, memory, inputs and virtual time.

A scan latches the inputs, works the statements off from top to bottom and hands the outputs over at its end; a
variable written twice keeps the last value, and who reads it above the first writing sees the scan before
(IEC 61131-3 leaves the cycle to the controller; common practice). The statements become closures once, so that a scan
of a small program takes microseconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, cast

from troubleshoot.program.blocks import Slots
from troubleshoot.program.compiled import Overrun, Stopped, expression
from troubleshoot.program.model import Expression, Program, Statement, Value, Variable
from troubleshoot.program.slots import Code, Kept, code_of

BUDGET: Final = 100_000
"""Operations one scan may take before the watchdog trips. Own choice: some 10 ms on a controller of 0.1 us each."""
ET_STEP_MS: Final = 100
"""How often a program that reads the elapsed time of a running timer is looked at again."""


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


def build(name: str, variables: tuple[Variable, ...], statements: tuple[Statement, ...]) -> Program:
    """A program from checked parts, made ready to run: also what a program with a branch left out is made with."""
    return Program(name, variables, statements, code_of(variables, statements))


def start(
    program: Program, *, cold: bool, retained: Mapping[str, Value | None] | None = None, first_scan_edges: bool = True
) -> Memory:
    """Memory as the program begins.

    cold: everything at its initial value; otherwise RETAIN variables take theirs from `retained` (see `retained`).
    first_scan_edges: as in the standard, R_TRIG of an input already on, and F_TRIG of one off, pulse in the first
    scan; False as in controllers that need to see the change. Counters count edges the same way.
    """
    code = cast(Code, program.code)
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
    code = cast(Code, program.code)
    kept = list(memory.kept)
    for point, on in points.items():
        slot = code.names.get(point)
        if slot is not None and slot >= code.first:
            kept[slot - code.first] = on
    return Memory(tuple(kept))


def retained(program: Program, memory: Memory) -> Mapping[str, Value | None]:
    """What a power loss leaves for a warm start. A retained timer keeps its output; one that was running starts over."""
    code = cast(Code, program.code)
    return {name: memory.kept[code.names[name] - code.first] for name in code.retained}


def scan(
    program: Program, memory: Memory, inputs: Mapping[str, bool], now_ms: int, *, budget: int = BUDGET
) -> ScanResult:
    """One scan at virtual time `now_ms`. Points missing from `inputs` are off.

    An overrun or a division by zero stops the controller: all outputs off, memory as it was before the scan.
    """
    code = cast(Code, program.code)
    v: Slots = [now_ms, budget]
    for point, _ in code.inputs:
        v.append(bool(inputs.get(point, False)))
    v += memory.kept
    v += [0] * code.scratch
    overrun, fault = False, ""
    try:
        code.run(v)
    except Overrun:
        overrun, fault = True, "the scan took too long, the watchdog tripped"
    except Stopped as stop:
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
    code = cast(Code, program.code)
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
        return cast(Value, expression(node, lambda name: name)(values))
    except Stopped:
        return 0
