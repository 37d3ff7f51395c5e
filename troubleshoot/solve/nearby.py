"""The columns of one network from those of the one before under the same faults: only what asks for a changed state.

What an element is in a state is said in one place, `columns.build`, and kept here by the states that it asks for.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from troubleshoot.circuit.kinds.base import Converter, Source, Switch, Variable, shaft_of
from troubleshoot.solve.codes import Codes, book_of
from troubleshoot.solve.columns import Columns, build, layout, loads, turns
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.converters import ports_of
from troubleshoot.solve.sides import Laid

MOST_LAID = 4
"""Faults of which the last network is kept."""
MOST_VALUES = 2000

_Value = tuple[complex, float]


@dataclass
class _Nearby:
    asks: tuple[tuple[int, ...], ...]
    """Of each element, the columns of the states it asks for."""
    asked: dict[int, tuple[int, ...]]
    """By column, the elements that ask for it."""
    whole: frozenset[int]
    """Columns whose change means that a source goes or comes."""
    motors: frozenset[int]
    """Columns of motors and their shafts."""
    values: dict[tuple[int, tuple[int, ...]], _Value] = field(default_factory=dict)
    """Siemens of an element in the states that it asks for."""
    last: dict[Laid, tuple[Codes, Columns]] = field(default_factory=dict)


def beside(net: Net, codes: Codes, laid: Laid) -> Columns:
    """The columns of one network. codes: (variables,); treat what comes back as frozen where there are no rectifiers."""
    kept = _nearby(net)
    last = kept.last.pop(laid, None)
    found = None if last is None else _changed(net, kept, laid, codes, *last)
    if found is None:
        found = build(net, codes[None], [laid.edits])
    if not ports_of(net):  # what they take and give is filled in as they are solved
        if len(kept.last) >= MOST_LAID:
            del kept.last[next(iter(kept.last))]
        kept.last[laid] = codes.copy(), found
    return found


def _changed(net: Net, kept: _Nearby, laid: Laid, codes: Codes, before: Codes, last: Columns) -> Columns | None:
    """The last columns with what has changed since; None where that is not so simple."""
    columns = np.flatnonzero(codes != before).tolist()
    if not kept.whole.isdisjoint(columns):
        return None
    elements = {element for column in columns for element in kept.asked.get(column, ())}
    turned = not kept.motors.isdisjoint(columns)
    edited = {net.element_index.get(edit.slot) for edit in laid.edits}
    if not edited.isdisjoint(elements) or (turned and not edited.isdisjoint(layout(net).motor_of)):
        return None
    if not elements and not turned:
        return last
    ac_s, dc_s = last.ac_s.copy(), last.dc_s.copy()
    now = codes.tolist()
    for element in elements:
        key = element, tuple([now[column] for column in kept.asks[element]])
        value = kept.values.get(key)
        if value is None:
            return _learned(net, kept, codes, laid, elements)
        ac_s[element, 0], dc_s[element, 0] = value
    if not turned:
        return replace(last, ac_s=ac_s, dc_s=dc_s)
    rows = codes[None]
    return replace(last, ac_s=ac_s, dc_s=dc_s, turns=turns(net, rows), loads=loads(net, rows))


def _learned(net: Net, kept: _Nearby, codes: Codes, laid: Laid, elements: set[int]) -> Columns:
    """A network built as any other, and what those elements are in it kept."""
    built = build(net, codes[None], [laid.edits])
    if len(kept.values) > MOST_VALUES:
        kept.values.clear()
    now = codes.tolist()
    for element in elements:
        key = element, tuple([now[column] for column in kept.asks[element]])
        kept.values[key] = built.ac_s[element, 0].item(), built.dc_s[element, 0].item()
    return built


def _nearby(net: Net) -> _Nearby:
    found = net.scratch.get("nearby")
    if found is None:
        found = net.scratch["nearby"] = _made(net)
    assert isinstance(found, _Nearby)
    return found


def _made(net: Net) -> _Nearby:
    book = book_of(net)
    asks: list[tuple[int, ...]] = []
    whole: set[int] = set()
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
    for element, columns in enumerate(asks):
        for column in columns:
            asked.setdefault(column, []).append(element)
    motors = {book.column(var) for motor in net.motors for var in (motor.var, shaft_of(motor))}
    return _Nearby(tuple(asks), {c: tuple(e) for c, e in asked.items()}, frozenset(whole), frozenset(motors))
