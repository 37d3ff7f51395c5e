"""A program as frozen values: variables, expressions, statements. Places in the text do not count in comparisons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from troubleshoot.text.problem import Position

Value = bool | int
"""BOOL is a bool, INT an int, TIME an int of milliseconds."""

Type = Literal["BOOL", "INT", "TIME"]

NOWHERE = Position("", 0, 0)
"""Place of a statement that was built, not read."""


@dataclass(frozen=True, slots=True)
class Constant:
    value: Value
    type: Type
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Ref:
    """A variable by its declared name, or a direct address ``%IX0.0``."""

    name: str
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Member:
    """A pin of a function block instance: ``t1.Q``."""

    instance: str
    pin: str
    at: Position = field(default=NOWHERE, compare=False, repr=False)

    @property
    def name(self) -> str:
        return f"{self.instance}.{self.pin}"


@dataclass(frozen=True, slots=True)
class Unary:
    """``NOT x`` or ``-x``."""

    op: Literal["NOT", "-"]
    operand: Expression
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Chain:
    """Operands of one precedence level, worked off from the left: ``a OR b OR c``, ``a - b + c``.

    Kept flat so that five thousand terms are one node and not five thousand levels.
    """

    first: Expression
    rest: tuple[tuple[str, Expression], ...]
    at: Position = field(default=NOWHERE, compare=False, repr=False)


Expression = Constant | Ref | Member | Unary | Chain


@dataclass(frozen=True, slots=True)
class Assign:
    target: Ref | Member
    value: Expression
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Call:
    """``t1(IN := x, PT := T#5s, Q => y);``"""

    instance: str
    inputs: tuple[tuple[str, Expression], ...]
    outputs: tuple[tuple[str, Ref], ...] = ()
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class If:
    arms: tuple[tuple[Expression, tuple[Statement, ...]], ...]
    """Condition and statements of IF and each ELSIF, in order."""
    otherwise: tuple[Statement, ...] = ()
    at: Position = field(default=NOWHERE, compare=False, repr=False)


Statement = Assign | Call | If


@dataclass(frozen=True, slots=True)
class Variable:
    name: str
    """As declared; compared without regard to case."""
    type: str
    """``BOOL``, ``INT``, ``TIME`` or a function block of the standard."""
    address: str = ""
    """Direct address, ``%IX0.0`` style, or empty."""
    initial: Constant | None = None
    """None: the default of the type, FALSE, 0 or T#0s."""
    retain: bool = False
    constant: bool = False
    at: Position = field(default=NOWHERE, compare=False, repr=False)


PRECEDENCE = (("OR",), ("XOR",), ("AND",), ("=", "<>"), ("<", ">", "<=", ">="), ("+", "-"), ("*", "/", "MOD"))
"""Operators from loosest to tightest; NOT and the sign bind tighter still. IEC 61131-3, ST operators (from memory)."""

INT_LOW, INT_HIGH = -32768, 32767
TIME_LOW, TIME_HIGH = -(2**31), 2**31 - 1
"""Milliseconds; 24 days, the span most controllers give TIME (common practice)."""


@dataclass(frozen=True, slots=True)
class Program:
    """A checked program. Two are equal when they say the same, wherever it stood in the text."""

    name: str
    """As in ``PROGRAM name``; empty for a bare body."""
    variables: tuple[Variable, ...]
    statements: tuple[Statement, ...]
    code: Any = field(compare=False, repr=False)
    """The statements made ready to run, by `running.build`; made once, since a scan has microseconds."""

    @property
    def addresses(self) -> Mapping[str, str]:
        """Declared name of each direct address that has one: ``%QX0.0`` to ``motor``."""
        return {variable.address: variable.name for variable in self.variables if variable.address}
