"""What the lights of a controller settle about its program, and what only its past knows.

Three-valued logic (Kleene: what is unknown stays unknown unless the rest decides) over one scan, repeated until nothing more
follows. A latch, a count or a running timer has no light, so nothing is claimed of it that its inputs do not force; a claim
made here holds whatever the controller remembers, as long as its lights are steady.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from dataclasses import replace
from typing import Final

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
from troubleshoot.program.network import Contact, Group, Part
from troubleshoot.program.running import evaluate

Known = Value | None
"""None: the lights do not settle it."""
Pins = Mapping[str, Known]

_SCANS: Final = 64
"""Rounds of working out; each settles at least one more variable, and stopping early only leaves more unknown."""


def known_by_lights(program: Program, lights: Mapping[str, bool]) -> Mapping[str, Known]:
    """Every variable, point and pin of a block by the name that networks use; None where the lights do not settle it.

    lights: by direct address, steady; a point without one is unknown.
    """
    names = program.addresses
    written = set(_written(program.statements))
    fixed: dict[str, Known] = {names.get(point, point): on for point, on in lights.items()}
    for variable in program.variables:
        # What nothing writes keeps what it was declared with, unless it is an input.
        if variable.name not in written and not variable.address.startswith("%I") and variable.type in _ZERO:
            fixed.setdefault(variable.name, variable.initial.value if variable.initial else _ZERO[variable.type])
    calls = Counter(_called(program.statements))
    # An edge block that is called twice in a scan sees an edge between its own calls.
    twice = {name for name, count in calls.items() if count > 1}
    kinds = {v.name: v.type for v in program.variables if not (v.name in twice and v.type in _EDGES)}
    begun = dict(fixed)
    for _ in range(_SCANS):
        now = dict(begun)
        _run(program.statements, now, kinds)
        now |= fixed
        if now == begun:
            break
        begun = now
    return begun


_ZERO: Final[Mapping[str, Value]] = {"BOOL": False, "INT": 0, "TIME": 0}


def truth(node: Expression, known: Mapping[str, Known]) -> Known:
    """An expression over what is known."""
    match node:
        case Ref() | Member():
            return known.get(node.name)
        case Constant(value):
            return value
        case Unary("NOT", operand):
            inner = truth(operand, known)
            return None if inner is None else not inner
        case Chain(first, rest) if rest[0][0] in ("AND", "OR"):
            deciding = rest[0][0] == "OR"
            values = [truth(part, known) for part in (first, *(operand for _, operand in rest))]
            if any(value is not None and bool(value) is deciding for value in values):
                return deciding
            return None if None in values else not deciding
        case _:
            if any(known.get(name) is None for name in names_in(node)):
                return None
            return evaluate(node, {name: value for name, value in known.items() if value is not None})


def names_in(node: Expression) -> set[str]:
    """Variables and pins that an expression reads."""
    match node:
        case Ref() | Member():
            return {node.name}
        case Unary(_, operand):
            return names_in(operand)
        case Chain(first, rest):
            return names_in(first).union(*(names_in(operand) for _, operand in rest))
        case _:
            return set()


def with_unknown(part: Part, known: Mapping[str, Known], taken: bool) -> Part:
    """The network with every contact that the lights do not settle taken as closed (True) or open."""
    if isinstance(part, Group):
        return replace(part, parts=tuple(with_unknown(inner, known, taken) for inner in part.parts))
    return Contact(Constant(taken, "BOOL"), True) if truth(part.source, known) is None else part


def _written(statements: tuple[Statement, ...]) -> set[str]:
    found: set[str] = set()
    for statement in statements:
        match statement:
            case Assign(target, _):
                found.add(target.name)
            case Call(_, _, outputs):
                found |= {target.name for _, target in outputs}
            case If(arms, otherwise):
                found = found.union(*(_written(inner) for _, inner in arms), _written(otherwise))
    return found


def _called(statements: tuple[Statement, ...]) -> Iterator[str]:
    for statement in statements:
        if isinstance(statement, Call):
            yield statement.instance
        elif isinstance(statement, If):
            for inner in (*(inner for _, inner in statement.arms), statement.otherwise):
                yield from _called(inner)


def _run(statements: tuple[Statement, ...], now: MutableMapping[str, Known], types: Mapping[str, str]) -> None:
    for statement in statements:
        match statement:
            case Assign(target, value):
                now[target.name] = truth(value, now)
            case Call(instance, inputs, outputs):
                now.update({f"{instance}.{pin}": truth(value, now) for pin, value in inputs})
                given = {pin: now.get(f"{instance}.{pin}") for pin in ("CLK", "S", "S1", "R", "R1", "IN", "LD", "PV")}
                settled = _BLOCKS.get(types.get(instance, ""), _nothing)(given)
                for pin in ("Q", "Q1", "ET", "CV"):
                    now[f"{instance}.{pin}"] = settled.get(pin)
                now.update({target.name: settled.get(pin) for pin, target in outputs})
            case If(arms, otherwise):
                _run_if(arms, otherwise, now, types)


def _run_if(
    arms: tuple[tuple[Expression, tuple[Statement, ...]], ...],
    otherwise: tuple[Statement, ...],
    now: MutableMapping[str, Known],
    types: Mapping[str, str],
) -> None:
    """Every arm that may be taken is run by itself; what comes out alike of all of them is known."""
    ends: list[dict[str, Known]] = []
    for condition, inner in (*arms, (Constant(True, "BOOL"), otherwise)):
        whether = truth(condition, now)
        if whether is None or whether:
            ends.append(dict(now))
            _run(inner, ends[-1], types)
        if whether:
            break
    for name in set().union(*ends):
        values = [end.get(name) for end in ends]
        now[name] = values[0] if all(value == values[0] for value in values) else None


# What each block shows with steady inputs, whatever it remembers. IEC 61131-3, standard function blocks, from memory.


def _nothing(_: Pins) -> Pins:
    return {}


def _edge(pins: Pins) -> Pins:
    return {"Q": False} if pins["CLK"] is not None else {}


def _sr(pins: Pins) -> Pins:
    return {"Q1": True} if pins["S1"] else {"Q1": False} if pins["S1"] is False and pins["R"] else {}


def _rs(pins: Pins) -> Pins:
    return {"Q1": False} if pins["R1"] else {"Q1": True} if pins["R1"] is False and pins["S"] else {}


def _ton(pins: Pins) -> Pins:
    return {"Q": False, "ET": 0} if pins["IN"] is False else {}


def _tof(pins: Pins) -> Pins:
    return {"Q": True, "ET": 0} if pins["IN"] else {}


def _ctu(pins: Pins) -> Pins:
    return {"CV": 0, "Q": None if pins["PV"] is None else pins["PV"] <= 0} if pins["R"] else {}


def _ctd(pins: Pins) -> Pins:
    return {"CV": pins["PV"], "Q": None if pins["PV"] is None else pins["PV"] <= 0} if pins["LD"] else {}


_EDGES: Final = frozenset(["R_TRIG", "F_TRIG"])
_BLOCKS: Final[Mapping[str, Callable[[Pins], Pins]]] = {
    "R_TRIG": _edge, "F_TRIG": _edge, "SR": _sr, "RS": _rs, "TON": _ton, "TOF": _tof, "CTU": _ctu, "CTD": _ctd,
}  # fmt: skip
"""TP is not among them: with its input steady its pulse may still run or be over."""
