"""The columns of one network from those of the one before: only what asks for a changed state, and what edits change.

What an element is in a state is said in one place, `columns.build`, and kept here by the states that it asks for.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from troubleshoot.circuit.kinds.base import Converter, Source, Switch, Variable, shaft_of
from troubleshoot.solve.codes import Codes, book_of
from troubleshoot.solve.columns import Columns, build, earthed, lay, layout, loads, turns
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.converters import ports_of
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.sides import Laid

MOST_VALUES = 2000


@dataclass
class _Nearby:
    asks: tuple[tuple[int, ...], ...]
    """Of each element, the columns of the states it asks for."""
    asked: dict[int, tuple[int, ...]]
    """By column, the elements that ask for it."""
    sources: frozenset[int]
    """Elements that are a source or a rectifier's output."""
    whole: frozenset[int]
    """Columns of the states that these ask for."""
    motors: frozenset[int]
    """Columns of motors and their shafts."""
    values: dict[tuple[int, tuple[int, ...]], tuple[complex, float]] = field(default_factory=dict)
    """Siemens of an element in the states that it asks for."""
    last: tuple[Codes, Columns] | None = None
    """The last network with nothing wrong."""


def beside(net: Net, codes: Codes, laid: Laid) -> Columns:
    """The columns of one network. codes: (variables,). Treat what comes back as frozen where there are no rectifiers."""
    kept = _nearby(net)
    if ports_of(net) or _at_a_source(
        net, kept, laid.edits
    ):  # what rectifiers take and give is filled in as they are solved
        return build(net, codes[None], [laid.edits])
    plain = _plain(net, kept, codes)
    if not laid.edits:
        return plain
    found = replace(
        plain,
        ac_s=plain.ac_s.copy(),
        dc_s=plain.dc_s.copy(),
        turns=plain.turns.copy(),
        earth=earthed(net, [laid.edits]),
    )
    lay(net, layout(net), found, 0, laid.edits)
    return found


def _at_a_source(net: Net, kept: _Nearby, edits: tuple[Edit, ...]) -> bool:
    return any(net.element_index.get(edit.slot) in kept.sources for edit in edits)


def _plain(net: Net, kept: _Nearby, codes: Codes) -> Columns:
    """The network of a state with nothing wrong."""
    found = None if kept.last is None else _changed(net, kept, codes, *kept.last)
    if found is None:
        found = build(net, codes[None], [()])
    kept.last = codes.copy(), found
    return found


def _changed(net: Net, kept: _Nearby, codes: Codes, before: Codes, last: Columns) -> Columns | None:
    """The last columns with what has changed since; None where that is not so simple."""
    columns = np.flatnonzero(codes != before).tolist()
    if not kept.whole.isdisjoint(columns):
        return None
    elements = {element for column in columns for element in kept.asked.get(column, ())}
    ac_s, dc_s = last.ac_s.copy(), last.dc_s.copy()
    now = codes.tolist()
    for element in elements:
        key = element, tuple([now[column] for column in kept.asks[element]])
        if key not in kept.values:
            return _learned(net, kept, codes, elements)
        ac_s[element, 0], dc_s[element, 0] = kept.values[key]
    if kept.motors.isdisjoint(columns):
        return replace(last, ac_s=ac_s, dc_s=dc_s)
    return replace(last, ac_s=ac_s, dc_s=dc_s, turns=turns(net, codes[None]), loads=loads(net, codes[None]))


def _learned(net: Net, kept: _Nearby, codes: Codes, elements: set[int]) -> Columns:
    """A network built as any other, and what those elements are in it kept."""
    built = build(net, codes[None], [()])
    if len(kept.values) > MOST_VALUES:
        kept.values.clear()
    now = codes.tolist()
    for element in elements:
        key = element, tuple([now[column] for column in kept.asks[element]])
        kept.values[key] = built.ac_s.item(element, 0), built.dc_s.item(element, 0)
    return built


def _nearby(net: Net) -> _Nearby:
    return net.kept("nearby", _Nearby, _made)


def _made(net: Net) -> _Nearby:
    book = book_of(net)
    asks: list[tuple[int, ...]] = []
    whole: set[int] = set()
    sources = [k for k, element in enumerate(net.elements) if isinstance(element.part, Source | Converter)]
    for element in net.elements:
        match element.part:
            case Switch() as part:
                asks.append(tuple(dict.fromkeys(book.column(when.var) for when in part.when)))
            case Variable() as part:
                asks.append((book.column(part.var),))
            case Source() as part if part.when is not None:
                asks.append(())
                whole.add(book.column(part.when.var))
            case Converter() as part:
                asks.append(())
                whole |= {book.column(part.when.var), book.column(part.flaw)}
            case _:
                asks.append(())
    asked: dict[int, list[int]] = {}
    for number, columns in enumerate(asks):
        for column in columns:
            asked.setdefault(column, []).append(number)
    motors = {book.column(var) for motor in net.motors for var in (motor.var, shaft_of(motor))}
    return _Nearby(
        tuple(asks), {c: tuple(e) for c, e in asked.items()}, frozenset(sources), frozenset(whole), frozenset(motors)
    )
