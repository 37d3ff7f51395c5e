"""What the laws do to one state in one network, kept by what decides it: which edges the watched values are over.

`reacting` holds the laws; here nothing says what they do. A network is looked at once, as a `Sight`: of each edge that a law
compares with, whether the value is at it and over it. Two networks with the same sight make every law do the same in the
same state, be they under other faults or with other buttons held. What is in doubt (a value inside a band) or does not come
often (a fuse that blows) is not kept.

Where nothing electronic trips, each law moves its own variable by its own volts alone. So what `react` was seen to do is also
kept law by law, and what all of them do together is known before it was ever met.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np

from troubleshoot.solve.codes import Codes, book_of
from troubleshoot.solve.columns import Floats, Indices
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.delays import delays_of
from troubleshoot.solve.glimpsing import Glimpses, glimpse
from troubleshoot.solve.histories import Faulty
from troubleshoot.solve.reacting import DEAD_SHARE, EDGE, Group, Rules, react, rules_of
from troubleshoot.solve.sides import Key, Sides, sides_of
from troubleshoot.solve.turning import BACKWARD, FORWARD, STALLED

MOST_KEPT = 500
"""Sights, and what the laws do, of one net: some hundred bytes each."""
_K = TypeVar("_K")
_V = TypeVar("_V")


@dataclass(frozen=True, slots=True)
class Sight:
    """What the laws of a machine with something wrong see in one network."""

    over: bytes
    """All of it."""
    levels: bytes
    """Of each volt law, how its volts stand to its four edges."""
    motors: tuple[tuple[bool, bool], ...]
    """Of each motor, whether any winding carries current, and whether it can carry its load."""
    calm: bool
    """Nothing has more current than it stands."""
    seen: Glimpses


@dataclass(frozen=True, slots=True)
class Reflex:
    """What the laws do but for the delays, and without the program."""

    moved: tuple[tuple[int, int], ...]
    """Columns, and the codes that they become."""
    moves: bool
    done: bool
    """As of `reacting.Reaction`."""


@dataclass(frozen=True, slots=True)
class _Edges:
    """Of one thing wrong."""

    numbers: Indices
    """Of each edge, the watched value that is compared with it."""
    at: Floats
    fixed: bytes
    """Of what the laws ask for, whether it cannot move."""


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of the laws that moves its variable by itself: a volt law, or a motor."""

    column: int
    asks: tuple[int, ...]
    """Columns of the states that it asks for."""


@dataclass(frozen=True)
class Reflexes:
    """What is kept of one net."""

    net: Net
    rules: Rules
    """Without delays."""
    sides: Sides
    asked: Indices
    """Columns of the states that the laws ask for."""
    laws: tuple[_Part, ...]
    motors: tuple[_Part, ...]
    apart: bool
    """Whether every law is a part by itself: no lever joins two of them."""
    turning: frozenset[int]
    """Codes of a motor that turns."""
    rated: Floats
    """(3 a motor,) amperes under which a winding is dead."""
    _edges: dict[int, _Edges] = field(default_factory=dict)
    """By the number of what is wrong."""
    _sights: dict[tuple[int, Key, Key], Sight] = field(default_factory=dict)
    _known: dict[object, Reflex | None] = field(default_factory=dict)
    _parts: dict[object, int] = field(default_factory=dict)
    """By a part and what it goes by, the code that its variable becomes."""

    def of(self, faulty: Faulty, codes: Codes) -> Reflex | None:
        """What the laws do to a machine in one state; None where a band is open or a fuse blows. codes: (variables,)."""
        laid, columns = faulty.laid, self.sides.columns
        key = (
            faulty.number,
            (laid.ac.number, codes[columns[laid.ac.columns]].tobytes()),
            (laid.dc.number, codes[columns[laid.dc.columns]].tobytes()),
        )
        edges = self._edges.get(faulty.number)
        if edges is None:
            edges = _room(self._edges)[faulty.number] = self._edges_of(faulty)
        sight = self._sights.get(key)
        if sight is None:
            sight = _room(self._sights)[key] = self._look(edges, glimpse(self.net, codes, laid, *key[1:]))
        decides: tuple[object, ...] = (sight.over, codes[self.asked].tobytes(), edges.fixed)
        if self._breaks_away(sight, codes):
            decides = (*decides, sight.seen.windings.tobytes(), faulty.number)
        if decides not in self._known:
            _room(self._known)[decides] = self._react(faulty, sight, codes)
        return self._known[decides]

    def _breaks_away(self, sight: Sight, codes: Codes) -> bool:
        """Whether a motor may: by its amperes, to the last digit."""
        for (live, _), motor in zip(sight.motors, self.motors, strict=True):
            if live and codes.item(motor.column) not in self.turning:
                return True
        return False

    def _look(self, edges: _Edges, seen: Glimpses) -> Sight:
        value = seen.watched[0, edges.numbers]
        at, over = value >= edges.at, value > edges.at
        flows, carries = np.abs(seen.windings[0]) >= self.rated, seen.slips[0] < STALLED
        count = len(self.laws)
        levels = np.packbits(np.concatenate([at[: 4 * count], over[: 4 * count]]).reshape(8, count), axis=0)
        live = flows.reshape(-1, 3).any(axis=1)
        return Sight(
            np.concatenate([at, over, flows, carries]).tobytes(),
            levels.tobytes(),
            tuple(zip(live.tolist(), carries.tolist(), strict=True)),
            not at[4 * count : -len(self.rules.limits) or None].any(),
            seen,
        )

    def _react(self, faulty: Faulty, sight: Sight, codes: Codes) -> Reflex | None:
        """By the parts, where all of them are known; else by the laws themselves."""
        rules, seen, parts = self.rules, sight.seen, list[tuple[_Part, object]]()
        if sight.calm and self.apart and not self._tripped(codes):
            parts = list(self._by_part(faulty, sight, codes))
            becomes = [self._parts.get(key) for _, key in parts]
            if None not in becomes:
                now = [codes.item(part.column) for part, _ in parts]
                moved = [
                    (part.column, code)
                    for (part, _), before, code in zip(parts, now, becomes, strict=True)
                    if code is not None and code != before
                ]
                return Reflex(tuple(moved), bool(moved), done=False)
        if (seen.watched[0, rules.watch.stress.start + rules.fuses] >= 1).any():
            return None
        group = Group(
            codes[None].copy(), faulty.fixed[None], faulty.low[None], faulty.high[None], np.zeros((1, 0), dtype=np.int64),
            np.zeros(1, dtype=np.int64), seen.watched, seen.windings, seen.slips,
        )  # fmt: skip
        done = react(rules, group)
        if done.splits:
            return None
        for part, key in parts:
            _room(self._parts)[key] = group.codes.item(0, part.column)
        columns = np.flatnonzero(group.codes[0] != codes)
        moved = list(zip(columns.tolist(), group.codes[0, columns].tolist(), strict=True))
        return Reflex(tuple(moved), bool(done.changed[0]), bool(done.done[0]))

    def _tripped(self, codes: Codes) -> bool:
        """Whether an electronic stage, or a source in its limit, may come back."""
        return any(codes.item(stage.column) == stage.over for stage in self.rules.fast) or any(
            codes.item(column) == self.rules.limiting for _, column, _ in self.rules.limits
        )

    def _by_part(self, faulty: Faulty, sight: Sight, codes: Codes) -> Iterator[tuple[_Part, object]]:
        """Every part with what it goes by. Only where nothing has tripped."""
        fixed = faulty.fixed
        for number, (part, level) in enumerate(zip(self.laws, sight.levels, strict=True)):
            yield part, (number, codes.item(part.column), level, fixed.item(part.column))
        for number, (part, motor) in enumerate(zip(self.motors, sight.motors, strict=True)):
            breaks = motor[0] and codes.item(part.column) not in self.turning
            amps = (sight.seen.windings.tobytes(), faulty.number) if breaks else None
            yield part, ("motor", number, *[codes.item(column) for column in part.asks], motor, amps)

    def _edges_of(self, faulty: Faulty) -> _Edges:
        """Every edge that a law compares a watched value with."""
        rules, low, high = self.rules, faulty.low * (1 + EDGE), faulty.high * (1 - EDGE)
        watch = rules.watch
        laws, stress = (np.arange(some.start, some.stop) for some in (watch.laws, watch.stress))
        limits = np.arange(len(rules.limits))
        amps, volts = watch.amps.start + limits, watch.volts.start + limits
        numbers = np.concatenate([laws, laws, laws, laws, stress, amps, volts]).astype(np.intp)
        at = np.concatenate(
            [
                high[rules.rise], low[rules.rise], high[rules.fall], low[rules.fall], np.ones(len(stress)),
                [law.amps for law, _, _ in rules.limits], [source_volts for _, _, source_volts in rules.limits],
            ]
        )  # fmt: skip
        return _Edges(numbers, at, faulty.fixed[self.asked].tobytes())


def _room(kept: dict[_K, _V]) -> dict[_K, _V]:
    """The same, emptied where it is full."""
    if len(kept) >= MOST_KEPT:
        kept.clear()
    return kept


def reflexes_of(net: Net) -> Reflexes:
    """The reflexes of a net; kept on it."""
    return net.kept("reflexes", Reflexes, _reflexes)


def _reflexes(net: Net) -> Reflexes:
    rules = rules_of(net)
    laws = tuple(_Part(column, (column,)) for column in rules.columns.tolist())
    motors = tuple(_Part(m.column, (m.column, m.shaft, *m.brakes)) for m in rules.motors)
    asked = {column for part in (*laws, *motors) for column in part.asks}
    asked |= {*rules.fast_columns.tolist(), *rules.fuse_columns.tolist(), *(column for _, column, _ in rules.limits)}
    for stage in rules.fast:
        asked |= set() if stage.again is None else set(stage.again.columns.ravel().tolist())
    for lever in rules.levers:
        asked |= {lever.column, *lever.ends}
    moved = [part.column for part in (*laws, *motors)]
    return Reflexes(
        net, replace(rules, delays=delays_of(book_of(net), ())), sides_of(net), np.array(sorted(asked), dtype=np.intp),
        laws, motors, not rules.levers and len(set(moved)) == len(moved),
        frozenset(rules.motor_codes[name] for name in (FORWARD, BACKWARD)),
        np.array([DEAD_SHARE * m.law.rated_amps for m in rules.motors for _ in range(3)]),
    )  # fmt: skip
