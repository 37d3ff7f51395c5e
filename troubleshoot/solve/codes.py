"""State variables as small numbers, a row a machine state, so that many states are looked at in one go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Converter, Source, Switch, Variable, When
from troubleshoot.solve.compiled import Net

Codes = npt.NDArray[np.int16]
Bools = npt.NDArray[np.bool_]
_Number = TypeVar("_Number", bound=np.generic)
ABSENT = 0
"""Code of a variable that a state does not have."""


@dataclass
class Book:
    """Which column is which variable and which number is which value, of one net. Numbers are only ever added."""

    columns: dict[str, int]
    values: list[str | None] = field(default_factory=lambda: [None])
    _numbers: dict[str, int] = field(default_factory=dict)

    def code(self, value: str) -> int:
        """Number of a value, the same for every variable."""
        found = self._numbers.get(value)
        if found is None:
            found = self._numbers[value] = len(self.values)
            self.values.append(value)
        return found

    def codes(self, values: Iterable[str]) -> Codes:
        """Numbers of several values."""
        return np.array([self.code(v) for v in values], dtype=np.int16)

    def row(self, state: Mapping[str, str]) -> Codes:
        """(variables,) a state. What it lacks is ABSENT; a variable that no device has is left out."""
        out = np.full(len(self.columns), ABSENT, dtype=np.int16)
        self.put(out, state)
        return out

    def put(self, row: Codes, values: Mapping[str, str]) -> None:
        """Write some values into a row, in place."""
        for var, value in values.items():
            column = self.columns.get(var)
            if column is not None:
                row[column] = self.code(value)

    def state(self, row: Codes) -> dict[str, str]:
        """The state that a row stands for."""
        out = dict(zip(self.columns, map(self.values.__getitem__, row.tolist()), strict=True))
        return {var: value for var, value in out.items() if value is not None}

    def column(self, var: str) -> int:
        """Column of a variable; one that no device has stays ABSENT for ever, in a column of its own."""
        return self.columns.setdefault(var, len(self.columns))


def book_of(net: Net) -> Book:
    """The book of a net, kept on it: every variable that a state has or a part or law asks for."""
    found = net.scratch.get("book")
    if found is None:
        found = net.scratch["book"] = Book({var: k for k, var in enumerate(net.initial)})
        for value in net.initial.values():
            found.code(value)
        for when in _asked(net):
            found.column(when.var)
    assert isinstance(found, Book)
    return found


NOBODY = When("", ())
"""A condition that never holds."""


def _asked(net: Net) -> Iterable[When]:
    yield NOBODY
    for element in net.elements:
        match element.part:
            case Switch():
                yield from element.part.when
            case Variable():
                yield When(element.part.var, ())
            case Source() if element.part.when is not None:
                yield element.part.when
            case Converter():
                yield element.part.when
                yield When(element.part.flaw, ())
            case _:
                pass
    for law in net.currents:
        if law.again is not None:
            yield law.again
    for delay in net.delays:
        yield from delay.when


@dataclass(frozen=True)
class Tests:
    """Many conditions on state variables, each a set of `When` that must all hold."""

    columns: npt.NDArray[np.intp]
    """(most in a set, sets)."""
    true: Bools
    """(most in a set, sets, codes); the last is for every value that nobody asks for."""

    def hold(self, codes: Codes) -> Bools:
        """(sets, states) whether each holds. codes: (variables, states)."""
        out = np.ones((self.columns.shape[1], codes.shape[1]), np.bool_)
        rows = np.arange(self.columns.shape[1])[:, None]
        known = np.minimum(codes, self.true.shape[-1] - 1)
        for columns, true in zip(self.columns, self.true, strict=True):
            out &= true[rows, known[columns]]
        return out


def tests(book: Book, sets: Sequence[Sequence[When]]) -> Tests:
    """Conditions made ready. A set of none always holds."""
    most = max((len(several) for several in sets), default=0)
    columns = np.zeros((most, len(sets)), dtype=np.intp)
    asked = [[(book.column(when.var), book.codes(when.values)) for when in several] for several in sets]
    true = np.ones((most, len(sets), len(book.values) + 1), np.bool_)
    for k, several in enumerate(asked):
        for w, (column, codes) in enumerate(several):
            columns[w, k] = column
            true[w, k] = False
            true[w, k, codes] = True
    return Tests(columns, true)


def stacked(rows: Sequence[npt.NDArray[_Number]]) -> npt.NDArray[_Number]:
    """(rows, ...) a copy: `numpy.stack` without its questions, which took as long as all the laws together."""
    return np.concatenate(rows).reshape(len(rows), -1)
