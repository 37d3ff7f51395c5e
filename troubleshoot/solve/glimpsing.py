"""What a settle looks at in many networks on its way: each distinct AC and each distinct DC solved once.

Cheaper than a `Network`, which stands for good and holds the volts of every point.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

import numpy as np

from troubleshoot.solve.codes import Codes
from troubleshoot.solve.columns import Columns, Complexes, Floats, Indices, build
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.converters import ports_of
from troubleshoot.solve.nearby import beside
from troubleshoot.solve.network import chunk
from troubleshoot.solve.sides import Key, Laid, sides_of
from troubleshoot.solve.solving import Alternating, Direct, glimpse_ac, glimpse_both, glimpse_dc, watched

MOST_HELD_BYTES = 48_000_000
"""Of what is kept while a question is answered."""
MOST_LEFT_BYTES = 8_000_000
"""Of what is left for the next question: all of a dictionary of one machine, nothing of sixteen on one supply."""

_Seen = TypeVar("_Seen", Alternating, Direct)


@dataclass(frozen=True, slots=True)
class Glimpses:
    """Many networks, a row each."""

    watched: Floats
    """In the order of `solving.Watch`."""
    windings: Complexes
    slips: Floats


@dataclass
class _Held(Generic[_Seen]):
    """What is known of one kind of current, by its key."""

    rows: dict[Key, int] = field(default_factory=dict)
    seen: _Seen | None = None
    """With room for more rows than there are keys."""
    bytes: int = 0
    """How much it takes, about."""

    def missing(self, keys: Sequence[Key]) -> dict[Key, int]:
        """Keys that are not there yet, each with where it comes first."""
        found: dict[Key, int] = {}
        for k, key in enumerate(keys):
            if key not in self.rows:
                found.setdefault(key, k)
        return found

    def add(self, keys: Sequence[Key], seen: _Seen) -> None:
        """Keep more rows."""
        start = len(self.rows)
        self.rows |= {key: start + k for k, key in enumerate(keys)}
        old, every = self.seen, {}
        for name in (f.name for f in dataclasses.fields(seen)):
            more = getattr(seen, name)
            into = more[:0] if old is None else getattr(old, name)
            if len(into) < len(self.rows):
                room = np.empty((2 * len(self.rows), more.shape[1]), more.dtype)
                room[:start] = into[:start]
                into = room
            into[start : len(self.rows)] = more
            every[name] = into
        self.seen = type(seen)(**every)
        self.bytes = sum(into.nbytes for into in every.values())

    def at(self, keys: Sequence[Key]) -> _Seen:
        """The rows of some keys, all of them there."""
        assert self.seen is not None
        rows: Indices = np.array([self.rows[key] for key in keys], dtype=np.intp)
        return type(self.seen)(**{f.name: getattr(self.seen, f.name)[rows] for f in dataclasses.fields(self.seen)})

    def one(self, key: Key) -> _Seen:
        """The row of a key that is there."""
        assert self.seen is not None
        row, seen = self.rows[key], self.seen
        return type(seen)(*[getattr(seen, f.name)[row : row + 1].copy() for f in dataclasses.fields(seen)])


@dataclass
class _Both:
    ac: _Held[Alternating] = field(default_factory=_Held)
    dc: _Held[Direct] = field(default_factory=_Held)

    def bytes(self) -> int:
        """How much it takes, about."""
        return self.ac.bytes + self.dc.bytes


def _held(net: Net) -> _Both:
    found = net.scratch.get("glimpses")
    if not isinstance(found, _Both) or found.bytes() > MOST_HELD_BYTES:
        found = net.scratch["glimpses"] = _Both()
    return found


def glimpses(net: Net, codes: Codes, laid: Sequence[Laid]) -> Glimpses:
    """The networks of many states, solved. codes: (networks, variables), each with what is laid over it.

    They are kept, until `forget`, as far as they take no more than MOST_HELD_BYTES: many states come again, in another
    round or after another act.
    """
    held = _held(net)
    sides = sides_of(net)
    ac, dc = sides.keys([one.ac for one in laid], codes), sides.keys([one.dc for one in laid], codes)

    def each(held: _Held[_Seen], keys: Sequence[Key], look: Callable[[Net, Columns], _Seen]) -> None:
        missing = held.missing(keys)
        for names, columns in _columns(net, codes, laid, missing):
            held.add(names, look(net, columns))

    if ports_of(net):
        dc = ac
        for names, columns in _columns(net, codes, laid, held.ac.missing(ac)):
            alternating, direct = glimpse_both(net, columns)
            held.ac.add(names, alternating)
            held.dc.add(names, direct)
    else:
        each(held.ac, ac, glimpse_ac)
        each(held.dc, dc, glimpse_dc)
    alternating = held.ac.at(ac)
    return Glimpses(watched(net, alternating, held.dc.at(dc)), alternating.windings, alternating.slips)


def glimpse(net: Net, codes: Codes, laid: Laid, ac: Key, dc: Key) -> Glimpses:
    """The network of one state, solved and kept as of `glimpses`. codes: (variables,); ac, dc: its keys, of `Sides`."""
    if ports_of(net):
        return glimpses(net, codes[None], [laid])
    held = _held(net)
    if ac not in held.ac.rows:
        held.ac.add([ac], glimpse_ac(net, beside(net, codes, laid)))
    if dc not in held.dc.rows:
        held.dc.add([dc], glimpse_dc(net, beside(net, codes, laid)))
    alternating, direct = held.ac.one(ac), held.dc.one(dc)
    return Glimpses(watched(net, alternating, direct), alternating.windings, alternating.slips)


def _columns(
    net: Net, codes: Codes, laid: Sequence[Laid], missing: dict[Key, int]
) -> Iterator[tuple[list[Key], Columns]]:
    """The networks that are missing, as many at once as is good, with their keys."""
    keys, places = list(missing), list(missing.values())
    for start in range(0, len(places), chunk(net)):
        part = places[start : start + chunk(net)]
        one = len(part) == 1
        columns = (
            beside(net, codes[part[0]], laid[part[0]])
            if one
            else build(net, codes[part], [laid[k].edits for k in part])
        )
        yield keys[start : start + chunk(net)], columns


def forget(net: Net) -> None:
    """Let go of what `glimpses` has kept, unless it is little: what is pressed next meets much of it again."""
    held = net.scratch.get("glimpses")
    if isinstance(held, _Both) and held.bytes() > MOST_LEFT_BYTES:
        del net.scratch["glimpses"]
