"""One reaction of many machine states at once: what magnets, fuses, motors, levers and delays do at the present volts.

Electronic stages act at once; then a source in its limit; then a fuse in a bolted short; else everything that is slower
looks at the same volts and moves together. Thresholds are bands: a state with a quantity inside one is not moved, but told
as a `Split`.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.kinds.base import Band, CurrentLaw, InterlockLaw, LimitLaw, MotorLaw, Source, shaft_of
from troubleshoot.solve.codes import Book, Bools, Codes, Tests, book_of, tests
from troubleshoot.solve.columns import LIMITING, Complexes, Floats, Indices
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.delays import Delays, Whole, delays_of, moved_by
from troubleshoot.solve.solving import Watch, watch_of
from troubleshoot.solve.turning import BACKWARD, FORWARD, STALLED

EDGE = 1e-6
"""Relative distance from the edge of a band that still counts as outside: rounding, not physics."""
DEAD_SHARE = 0.05
"""Of its rated current: a motor with less in every winding makes no torque worth the name."""
_AT_ONCE = 4.0
"""A fuse at this many times the current of its law, 14 times its rating, melts in some 2 ms, before any armature moves
(10 ms and more). Without it a bolted short of one phase made the contactor chatter on its sagging supply and no fuse
blew. From the rough gG curve through (3.5 In, 5 s) and (7 In, 0.1 s), IEC 60269, from memory."""
START_BAND = Band(1.0, 1.3)
"""Standstill torque over the torque of the load at which a motor breaks away: a load sticks a little before it moves.
Judgement, no published source. Not under 1: what starts must be able to go on turning."""
_RACE = Band(0.0, 1.0)
A = cmath.rect(1.0, 2 * math.pi / 3)


@dataclass(frozen=True, slots=True)
class Split:
    """A quantity inside the band of threshold `at`: the two ways to go on, and the chance of the first."""

    at: int
    below: Band
    above: Band
    chance: float


@dataclass(slots=True)
class Group:
    """Many runs side by side, a row each; `react` moves them in place."""

    codes: Codes
    """(runs, variables)."""
    fixed: Bools
    """(runs, variables) what cannot move."""
    low: Floats
    """(runs, thresholds) band of each threshold."""
    high: Floats
    since: Whole
    """(runs, delays) since when, in virtual milliseconds, the conditions of each delay law have held."""
    now_ms: Whole
    watched: Floats
    """(runs, what is watched), see `Watch`."""
    windings: Complexes
    slips: Floats


@dataclass(frozen=True, slots=True)
class Reaction:
    """What `react` did, a row a run. The runs that wait for their program are the ones that are not `done`."""

    changed: Bools
    done: Bools
    """A fast stage, a source or a fuse has moved, or there is a split: nothing slower may move in this round."""
    blown: Bools
    """A fuse has gone."""
    at_once: Bools
    """An electronic stage or the source of a supply has moved: what stood before it lasted no time."""
    splits: dict[int, Split]


@dataclass(frozen=True, slots=True)
class _Fast:
    law: CurrentLaw
    number: int
    column: int
    ok: int
    over: int
    again: Tests | None


@dataclass(frozen=True, slots=True)
class _Lever:
    column: int
    whole: int
    ends: tuple[int, int]
    pulled: int
    race: int


@dataclass(frozen=True, slots=True)
class _Motor:
    law: MotorLaw
    column: int
    shaft: int
    held: int
    brakes: tuple[int, ...]
    set: int
    start: int
    shares: tuple[tuple[int, float], ...]
    """Code of a state of the shaft, and what it then drives as a share of its usual load."""


@dataclass(frozen=True)
class Rules:
    """The laws of a net by column and code."""

    watch: Watch
    initial: Codes
    """The state before power."""
    free: Bools
    """What cannot move where nothing is stuck: nothing."""
    low: Floats
    high: Floats
    factored: dict[str, tuple[int, ...]]
    """Thresholds that a weakened device needs more volts for, by the law's variable."""
    columns: Indices
    """Of each volt law, the column of its variable."""
    off: Codes
    on: Codes
    rise: Indices
    fall: Indices
    """Thresholds while off and while on; one and the same for a comparator."""
    fast: tuple[_Fast, ...]
    fast_numbers: Indices
    fast_columns: Indices
    fast_over: Codes
    limits: tuple[tuple[LimitLaw, int, float], ...]
    """With its column and the volts of its source."""
    fuses: Indices
    """Numbers of the slow current laws."""
    fuse_columns: Indices
    fuse_ok: Codes
    fuse_over: Codes
    levers: tuple[_Lever, ...]
    motors: tuple[_Motor, ...]
    motor_codes: dict[str, int]
    delays: Delays
    limiting: int
    sound: int


def rules_of(net: Net) -> Rules:
    """The rules of a net; kept on it."""
    return net.kept("rules", Rules, _rules)


def _rules(net: Net) -> Rules:
    book = book_of(net)
    bands: dict[str, Band] = {}
    factored: dict[str, tuple[int, ...]] = {}

    def threshold(name: str, band: Band) -> int:
        bands.setdefault(name, band)
        return list(bands).index(name)

    rise, fall = [], []
    for law in net.laws:
        if law.same:
            rise.append(threshold(law.shares or law.var, law.rise))
            fall.append(rise[-1])
        else:
            rise.append(threshold(f"{law.var} rise", law.rise))
            fall.append(threshold(f"{law.var} fall", law.fall))
            factored[law.var] = (*factored.get(law.var, ()), rise[-1])
    levers = tuple(_lever(lever, book, threshold(f"{lever.var} race", _RACE)) for lever in net.interlocks)
    motors = tuple(
        _Motor(
            law, book.column(law.var), book.column(shaft_of(law)), book.code("held"),
            tuple(book.column(brake) for brake in net.brakes.get(law.var, ())), book.code("set"),
            threshold(f"{law.var} start", START_BAND),
            tuple((book.code(state), share) for state, share in law.shares.items()),
        )
        for law in net.motors
    )  # fmt: skip
    slow = [k for k, law in enumerate(net.currents) if not law.fast]
    fast = [k for k, law in enumerate(net.currents) if law.fast]
    return Rules(
        watch_of(net), book.row(net.initial), np.zeros(len(book.columns), np.bool_),
        np.array([band.low for band in bands.values()]), np.array([band.high for band in bands.values()]), factored,
        np.array([book.column(law.var) for law in net.laws], dtype=np.intp),
        book.codes(law.off for law in net.laws), book.codes(law.on for law in net.laws),
        np.array(rise, dtype=np.intp), np.array(fall, dtype=np.intp),
        tuple(
            _Fast(
                law, k, book.column(law.var), book.code(law.ok), book.code(law.over),
                None if law.again is None else tests(book, [(law.again,)]),
            )
            for k, law in enumerate(net.currents) if law.fast
        ),
        np.array(fast, dtype=np.intp),
        np.array([book.column(net.currents[k].var) for k in fast], dtype=np.intp),
        book.codes(net.currents[k].over for k in fast),
        tuple((law, book.column(law.var), _source_volts(net, law)) for law in net.limits),
        np.array(slow, dtype=np.intp),
        np.array([book.column(net.currents[k].var) for k in slow], dtype=np.intp),
        book.codes(net.currents[k].ok for k in slow), book.codes(net.currents[k].over for k in slow),
        levers, motors,
        {name: book.code(name) for name in ("still", "humming", FORWARD, BACKWARD)},
        delays_of(book, net.delays),
        book.code(LIMITING), book.code("on"),
    )  # fmt: skip


def _lever(lever: InterlockLaw, book: Book, race: int) -> _Lever:
    one, other = lever.ends
    ends = (book.column(one), book.column(other))
    return _Lever(book.column(lever.var), book.code("whole"), ends, book.code("in"), race)


def _source_volts(net: Net, law: LimitLaw) -> float:
    part = net.elements[net.element_index[law.part]].part
    assert isinstance(part, Source)
    return abs(part.volts)


def react(rules: Rules, group: Group) -> Reaction:
    """One reaction of every run; the program is left to the caller, and a slow fuse after it (`blow`)."""
    changed, splits = _fast(rules, group), dict[int, Split]()
    changed |= _limits(rules, group, ~changed)
    at_once = changed.copy()
    blown = blow(rules, group, ~changed, _AT_ONCE)
    changed |= blown
    done = changed.copy()
    volts_move = _volts(rules, group, splits)
    moved = np.where(done[:, None], group.codes, volts_move)
    for run in [k for k in splits if done[k]]:
        del splits[run]
    _between(rules, group, moved, splits)
    _motors(rules, group, moved, splits)
    if splits:
        open_ones = np.array(list(splits), dtype=np.intp)
        open_ones = open_ones[~done[open_ones]]
        splits = {k: splits[k] for k in open_ones.tolist()}
        moved[open_ones] = group.codes[open_ones]
        done[open_ones] = True
    free = np.flatnonzero(~done)
    changed[free] = (moved[free] != group.codes[free]).any(axis=1)
    group.codes = np.where(done[:, None], group.codes, moved)
    if rules.delays.rows:
        codes, since = group.codes[free], group.since[free]
        later = moved_by(rules.delays, codes, since, group.now_ms[free], group.fixed[free])
        changed[free] |= (later != codes).any(axis=1)
        group.codes[free], group.since[free] = later, since
    return Reaction(changed, done, blown, at_once, splits)


def _fast(rules: Rules, group: Group) -> Bools:
    changed = np.zeros(len(group.codes), np.bool_)
    stress = group.watched[:, rules.watch.stress]
    if not ((stress[:, rules.fast_numbers] > 1) | (group.codes[:, rules.fast_columns] == rules.fast_over)).any():
        return changed
    for stage in rules.fast:
        now, free = group.codes[:, stage.column], ~group.fixed[:, stage.column]
        over = now == stage.over
        trips = free & ~over & (stress[:, stage.number] > 1)
        if stage.again is not None and over.any():
            back = free & over & stage.again.hold(group.codes.T)[0]
            group.codes[back, stage.column] = stage.ok
            changed |= back
        group.codes[trips, stage.column] = stage.over
        changed |= trips
    return changed


def _limits(rules: Rules, group: Group, may: Bools) -> Bools:
    changed = np.zeros(len(group.codes), np.bool_)
    amps, volts = group.watched[:, rules.watch.amps], group.watched[:, rules.watch.volts]
    for k, (law, column, source_volts) in enumerate(rules.limits):
        now, free = group.codes[:, column], may & ~group.fixed[:, column]
        into = free & (now == rules.sound) & (amps[:, k] > law.amps)
        out = free & (now == rules.limiting) & (volts[:, k] >= source_volts)
        group.codes[into, column] = rules.limiting
        group.codes[out, column] = rules.sound
        changed |= into | out
    return changed


def blow(rules: Rules, group: Group, may: Bools, least: float) -> Bools:
    """Blow one fuse of each run that may, the one with the largest ratio of current to what it stands, from `least` up."""
    stress = group.watched[:, rules.watch.stress.start + rules.fuses]
    if not (stress >= least).any():
        return np.zeros(len(group.codes), np.bool_)
    whole = (group.codes[:, rules.fuse_columns] == rules.fuse_ok) & ~group.fixed[:, rules.fuse_columns]
    stress = np.where(whole, stress, -np.inf)
    worst = stress.argmax(axis=1)
    blown: Bools = may & (stress[np.arange(len(stress)), worst] >= least)
    group.codes[blown, rules.fuse_columns[worst[blown]]] = rules.fuse_over[worst[blown]]
    return blown


def _over(group: Group, at: int, run: int, value: float) -> bool | Split:
    """Whether a value is over a threshold known only as a band."""
    low, high = float(group.low[run, at]), float(group.high[run, at])
    if value >= high * (1 - EDGE):
        return True
    if value <= low * (1 + EDGE):
        return False
    return Split(at, Band(low, value), Band(value, high), (value - low) / (high - low))


def _volts(rules: Rules, group: Group, splits: dict[int, Split]) -> Codes:
    """Every state as the volt laws leave it; splits of the first law in a band."""
    moved = group.codes.copy()
    if not rules.columns.size:
        return moved
    values, now = group.watched[:, rules.watch.laws], group.codes[:, rules.columns]
    at = np.where(now == rules.off, rules.rise, rules.fall)
    rows = np.arange(len(now))[:, None]
    low, high = group.low[rows, at], group.high[rows, at]
    free = ~group.fixed[:, rules.columns]
    over = values >= high * (1 - EDGE)
    inside = free & ~over & (values > low * (1 + EDGE))
    # A supply in current limit is on; only its own law moves it back.
    new = np.where(over, np.where(now == rules.off, rules.on, now), rules.off)
    changes = free & (new != now)
    runs, laws = np.nonzero(changes)
    moved[runs, rules.columns[laws]] = new[runs, laws]
    for run in np.flatnonzero(inside.any(axis=1)).tolist():
        law = int(inside[run].argmax())
        split = _over(group, int(at[run, law]), run, float(values[run, law]))
        assert isinstance(split, Split)
        splits[run] = split
    return moved


def _between(rules: Rules, group: Group, moved: Codes, splits: dict[int, Split]) -> None:
    """Take back what the lever between two armatures does not let in; both at once is a race that either may win."""
    for lever in rules.levers:
        whole = group.codes[:, lever.column] == lever.whole
        pulls = [(moved[:, c] == lever.pulled) & (group.codes[:, c] != lever.pulled) & whole for c in lever.ends]
        for near, far in ((0, 1), (1, 0)):
            barred = pulls[near] & (group.codes[:, lever.ends[far]] == lever.pulled)
            moved[barred, lever.ends[near]] = group.codes[barred, lever.ends[near]]
            pulls[near] &= ~barred
        for run in np.flatnonzero(pulls[0] & pulls[1]).tolist():
            first = _over(group, lever.race, run, 0.5)
            if isinstance(first, Split):
                splits.setdefault(run, first)
                continue
            loser = lever.ends[1 if first else 0]
            moved[run, loser] = group.codes[run, loser]


def _motors(rules: Rules, group: Group, moved: Codes, splits: dict[int, Split]) -> None:
    named = rules.motor_codes
    for number, motor in enumerate(rules.motors):
        law = motor.law
        u, v, w = group.windings[:, 3 * number : 3 * number + 3].T
        dead = np.maximum(np.maximum(np.abs(u), np.abs(v)), np.abs(w)) < DEAD_SHARE * law.rated_amps
        held = group.codes[:, motor.shaft] == motor.held
        for brake in motor.brakes:
            held |= group.codes[:, brake] == motor.set
        now = group.codes[:, motor.column]
        turning = (now == named[FORWARD]) | (now == named[BACKWARD])
        new = np.where(turning & (group.slips[:, number] < STALLED), now, named["humming"])
        new = np.where(held, named["humming"], new)
        starting = np.flatnonzero(~dead & ~held & ~turning)
        if starting.size:
            u, v, w = u[starting], v[starting], w[starting]
            torque = law.cage.torque_watts((u + A * v + A * A * w) / 3, (u + A * A * v + A * w) / 3, 1.0)
            way = np.where(torque > 0, named[FORWARD], named[BACKWARD])
            low, high = group.low[starting, motor.start], group.high[starting, motor.start]
            heavy = np.ones(len(starting))
            for code, share in motor.shares:
                heavy[group.codes[starting, motor.shaft] == code] = share
            ratio = np.abs(torque) / (law.load_watts * heavy)
            over = ratio >= high * (1 - EDGE)
            new[starting] = np.where(over, way, named["humming"])
            for k in np.flatnonzero(~over & (ratio > low * (1 + EDGE))).tolist():
                split = _over(group, motor.start, int(starting[k]), float(ratio[k]))
                assert isinstance(split, Split)
                splits.setdefault(int(starting[k]), split)
        moved[:, motor.column] = np.where(dead, named["still"], new)
