"""What the laws do to one state in one network, kept by what decides it: which edges the watched values are over.

`reacting` holds the laws; here nothing says what they do. A network is looked at once, as a `Sight`: of each edge that a law
compares with, whether the value is at it and over it. Two networks with the same sight make every law do the same in the
same state, be they under other faults or with other buttons held. What is in doubt (a value inside a band) or does not come
often (a fuse that blows) is not kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from troubleshoot.solve.codes import Codes, book_of
from troubleshoot.solve.columns import Floats, Indices
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.delays import Whole, delays_of
from troubleshoot.solve.glimpsing import glimpse
from troubleshoot.solve.histories import Faulty
from troubleshoot.solve.reacting import DEAD_SHARE, EDGE, Group, Rules, react, rules_of
from troubleshoot.solve.sides import Key, Sides, sides_of
from troubleshoot.solve.turning import STALLED

MOST_KEPT = 1000
"""Sights, and reflexes, of one net: some hundred bytes each."""


@dataclass(frozen=True, slots=True)
class Sight:
    """What the laws of a machine with something wrong see in one network."""

    over: bytes
    live: tuple[bool, ...]
    """Of each motor, whether any winding carries current."""
    amps: bytes
    """In the windings, to the last digit: they decide whether a motor breaks away."""
    group: Group
    """One run in it, whose states are to be filled in."""


@dataclass(frozen=True, slots=True)
class Reflex:
    """What the laws do but for the delays, and without the program."""

    columns: Indices
    codes: Codes
    """What these columns become."""
    moves: bool
    done: bool
    """As of `reacting.Reaction`."""


@dataclass(frozen=True, slots=True)
class _Edges:
    numbers: Indices
    """Of each edge, the watched value that is compared with it."""
    at: Floats


@dataclass(frozen=True)
class Reflexes:
    """What is kept of one net."""

    net: Net
    rules: Rules
    """Without delays."""
    sides: Sides
    asked: Indices
    """Columns of the states that the laws ask for."""
    turning: frozenset[int]
    """Codes of a motor that turns."""
    _edges: dict[int, tuple[_Edges, bytes]] = field(default_factory=dict)
    """By the number of what is wrong; with what cannot move."""
    _sights: dict[tuple[int, Key, Key], Sight] = field(default_factory=dict)
    _known: dict[object, Reflex | None] = field(default_factory=dict)

    def of(self, faulty: Faulty, codes: Codes) -> Reflex | None:
        """What the laws do to a machine in one state; None where a band is open or a fuse blows. codes: (variables,)."""
        laid, columns = faulty.laid, self.sides.columns
        key = (
            faulty.number,
            (laid.ac.number, codes[columns[laid.ac.columns]].tobytes()),
            (laid.dc.number, codes[columns[laid.dc.columns]].tobytes()),
        )
        sight = self._sights.get(key)
        if sight is None:
            sight = _room(self._sights)[key] = self._look(faulty, codes, *key[1:])
        asked = codes[self.asked].tobytes()
        decides: tuple[object, ...] = (sight.over, asked, self._edges[faulty.number][1])
        if True in sight.live and self._breaks_away(sight, codes):
            decides = (*decides, sight.amps, faulty.number)
        if decides not in self._known:
            _room(self._known)[decides] = self._react(sight, codes)
        return self._known[decides]

    def _breaks_away(self, sight: Sight, codes: Codes) -> bool:
        return any(
            live and codes.item(motor.column) not in self.turning
            for live, motor in zip(sight.live, self.rules.motors, strict=True)
        )

    def _look(self, faulty: Faulty, codes: Codes, ac: Key, dc: Key) -> Sight:
        if faulty.number not in self._edges:
            fixed = faulty.fixed[self.asked].tobytes()
            _room(self._edges)[faulty.number] = _edges(self.rules, faulty), fixed
        edges = self._edges[faulty.number][0]
        seen = glimpse(self.net, codes, faulty.laid, ac, dc)
        value = seen.watched[0, edges.numbers]
        rated = [DEAD_SHARE * motor.law.rated_amps for motor in self.rules.motors for _ in range(3)]
        flows = np.abs(seen.windings[0]) >= rated
        over = [value >= edges.at, value > edges.at, flows, seen.slips[0] < STALLED]
        since: Whole = np.zeros((1, 0), dtype=np.int64)
        group = Group(
            codes[None], faulty.fixed[None], faulty.low[None], faulty.high[None], since, since[0], seen.watched,
            seen.windings, seen.slips,
        )  # fmt: skip
        live = tuple(flows.reshape(-1, 3).any(axis=1).tolist())
        return Sight(np.concatenate(over).tobytes(), live, seen.windings.tobytes(), group)

    def _react(self, sight: Sight, codes: Codes) -> Reflex | None:
        stress = sight.group.watched[0, self.rules.watch.stress.start + self.rules.fuses]
        if (stress >= 1).any():
            return None
        group = replace(sight.group, codes=codes[None].copy())
        done = react(self.rules, group)
        if done.splits:
            return None
        columns = np.flatnonzero(group.codes[0] != codes)
        return Reflex(columns, group.codes[0, columns], bool(done.changed[0]), bool(done.done[0]))


def _room(kept: dict) -> dict:
    """The same, emptied where it is full."""
    if len(kept) >= MOST_KEPT:
        kept.clear()
    return kept


def _edges(rules: Rules, faulty: Faulty) -> _Edges:
    """Every edge that a law compares a watched value with."""
    watch = rules.watch
    laws, stress = (np.arange(some.start, some.stop) for some in (watch.laws, watch.stress))
    limits = np.arange(len(rules.limits))
    numbers = [laws, laws, laws, laws, stress, watch.amps.start + limits, watch.volts.start + limits]
    at = [
        faulty.high[rules.rise] * (1 - EDGE), faulty.low[rules.rise] * (1 + EDGE),
        faulty.high[rules.fall] * (1 - EDGE), faulty.low[rules.fall] * (1 + EDGE),
        np.ones(len(stress)),
        [law.amps for law, _, _ in rules.limits], [volts for _, _, volts in rules.limits],
    ]  # fmt: skip
    return _Edges(np.concatenate(numbers).astype(np.intp), np.concatenate(at).astype(np.float64))


def reflexes_of(net: Net) -> Reflexes:
    """The reflexes of a net; kept on it."""
    found = net.scratch.get("reflexes")
    if found is None:
        rules = rules_of(net)
        asked = dict.fromkeys(
            column
            for columns in (
                rules.columns.tolist(), rules.fast_columns.tolist(), rules.fuse_columns.tolist(),
                (column for stage in rules.fast if stage.again is not None for column in stage.again.columns.ravel().tolist()),
                (column for _, column, _ in rules.limits),
                (column for lever in rules.levers for column in (lever.column, *lever.ends)),
                (column for motor in rules.motors for column in (motor.column, motor.shaft, *motor.brakes)),
            )
            for column in columns
        )  # fmt: skip
        found = net.scratch["reflexes"] = Reflexes(
            net, replace(rules, delays=delays_of(book_of(net), ())), sides_of(net), np.array(list(asked), dtype=np.intp),
            frozenset(rules.motor_codes[name] for name in ("turning", "turning backward")),
        )  # fmt: skip
    assert isinstance(found, Reflexes)
    return found
