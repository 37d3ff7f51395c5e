"""From a situation and a set of edits to what the machine does: one to four weighted outcomes.

Inputs latched, program scanned, outputs written, coils and contacts moved, until nothing changes; electronic stages act
at once, fuses last (in a bolted short before any armature) and one at a time, largest overcurrent first. Thresholds are
bands: where a quantity falls inside one, both answers go on, weighted. A machine that does not come to rest (a contactor
through its own break contact) is an answer too. Time is virtual.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Band, HeatLaw
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve import heat
from troubleshoot.solve.chatter import period_s
from troubleshoot.solve.codes import Book, Bools, Codes, book_of
from troubleshoot.solve.columns import Floats
from troubleshoot.solve.compiled import Net, Scanner
from troubleshoot.solve.delays import NEVER, Whole, in_doubt, next_due_ms
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.glimpsing import forget, glimpses
from troubleshoot.solve.histories import Faulty, Script, faulty_of, scripts_of
from troubleshoot.solve.network import Network, amps_through, networks_at
from troubleshoot.solve.reacting import Group, Split, blow, react, rules_of
from troubleshoot.solve.scanning import Remembered, scans_of
from troubleshoot.solve.sides import Laid, laid_of

_Number = TypeVar("_Number", bound=np.generic)

MOST_OUTCOMES = 4
_MOST_RUNS = 256
"""Runs of one question kept while it settles; the lightest go first. Three inputs and two lamps in their bands at once
make some 40; with 12, weights came out up to 7 % wrong, because runs that end alike are only added up at the end."""
_MOST_ROUNDS = 80
_MOST_MOMENTS = 24
"""Moments kept of something that never comes to rest: a contactor through its own break contact has two to four."""
_LEAST_WEIGHT = 1e-3
_LONGEST_WAIT_MS = 60_000
_MOST_JUMPS = 400
"""Timers followed in one wait; after that (something blinks) the rest of the wait passes at once."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment of a machine that does not come to rest."""

    state: Mapping[str, str]
    network: Network


@dataclass(frozen=True, slots=True)
class Outcome:
    """One way the machine may stand at the end of a situation."""

    state: Mapping[str, str]
    """Every state variable: ``KM1`` to ``in``, ``A1 %IX0.0`` to ``on``."""
    memory: Hashable
    """The program's memory."""
    weight: float
    """Chance of this outcome; those of one `settle` sum to 1."""
    settled: bool
    """False: it goes on for ever (chatter); the state is one moment of it."""
    network: Network
    moments: tuple[Moment, ...] = ()
    """The other moments of a chatter, in the order in which they come; empty where it came to rest."""
    period_s: Band | None = None
    """Seconds of one round of a chatter; None where it came to rest, or nothing that takes time moves."""

    @property
    def states(self) -> tuple[Mapping[str, str], ...]:
        """The state at rest, or every state that it goes through."""
        return (self.state, *(m.state for m in self.moments))

    @property
    def networks(self) -> tuple[Network, ...]:
        """The network at rest, or every network that it goes through."""
        return (self.network, *(m.network for m in self.moments))


@dataclass(frozen=True, slots=True)
class Standing:
    """One way the machine may stand at the end of a situation, without its volts."""

    states: tuple[Mapping[str, str], ...]
    """The state at rest, or every state that it goes through. One object for what is equal, within one call."""
    weight: float


@dataclass(slots=True)
class _Run:
    """One line of development on its way to an outcome."""

    case: int
    edits: tuple[Edit, ...]
    codes: Codes
    """(variables,) its state, by the net's book."""
    memory: Remembered
    weight: float
    fixed: Bools
    """(variables,) what cannot move, from the edits."""
    low: Floats
    """(thresholds,) the band of each, as far as it is still open in this run."""
    high: Floats
    since: Whole
    """(delays,) since when, in virtual milliseconds, the conditions of each have held."""
    not_by: Whole
    """(delays,) until when one without a fixed time is known not to have moved; 0 where nothing is known."""
    laid: Laid
    """The edits that change a network by themselves."""
    scanner: Scanner | None
    """The program as the edits leave it."""
    hands: dict[str, str] = field(default_factory=dict)
    """Where a hand last put each control, whether or not the contacts followed."""
    now_ms: int = 0
    until_ms: int = 0
    """End of the wait that is going on, or of the last one."""
    jumps: int = 0
    """How often time has moved on since the last act."""
    heat: dict[str, heat.Heat] = field(default_factory=dict)
    """By the variable of a thermal law; what is not in it is cold."""
    visited: set[object] = field(default_factory=set)
    rounds: int = 0
    settled: bool = True
    came_round: object = None
    """What it looked like when it was first seen to go in circles."""
    moments: tuple[Codes, ...] = ()
    """States it goes through from there until it comes round again."""
    passing: tuple[bool, ...] = ()
    """Of each of them, the first one before them: whether electronics left it at once."""
    ended: bool = False
    """It has come to rest, or to a circle that it never leaves."""
    brief: bool = False
    """The act that is going on lasts as long as it says and no longer: a wait follows it, or it is one that an act follows."""

    def clone(self, share: float) -> _Run:
        """Another that goes on from here; what it shares with this one is never written to."""
        return _Run(
            self.case, self.edits, self.codes.copy(), self.memory, self.weight * share, self.fixed, self.low, self.high,
            self.since.copy(), self.not_by.copy(), self.laid, self.scanner, dict(self.hands), self.now_ms, self.until_ms,
            self.jumps, dict(self.heat), set(self.visited), self.rounds, self.settled, self.came_round, self.moments,
            self.passing, self.ended, self.brief,
        )  # fmt: skip


def settle(net: Net, edits: Sequence[Edit], situation: Situation) -> tuple[Outcome, ...]:
    """What the machine does in one situation with one set of edits. See `settle_many`."""
    return settle_many(net, [(tuple(edits), situation)])[0]


def settle_many(net: Net, cases: Sequence[tuple[tuple[Edit, ...], Situation]]) -> list[tuple[Outcome, ...]]:
    """Settle many (edits, situation) cases in lockstep, each distinct network solved once.

    Returns, per case, one to four outcomes with weights summing to 1, heaviest first. Pure but for the cache on `net`.
    """
    ends = _ends(net, cases)
    runs = list({id(run): run for group in ends for run, _ in group}.values())
    stands = [(codes, run.laid) for run in runs for codes in (run.codes, *run.moments)]
    solved, states = iter(_networks(net, stands)), _States(book_of(net))
    outcomes: dict[int, Outcome] = {}
    for run in runs:
        state, network = states.of(run.codes), next(solved)
        moments = tuple(Moment(states.of(codes), next(solved)) for codes in run.moments)
        period = period_s(net, (state, *(m.state for m in moments))) if moments else None
        outcomes[id(run)] = Outcome(state, run.memory.memory, 1.0, run.settled, network, moments, period)
    forget(net)
    return [tuple(replace(outcomes[id(run)], weight=share) for run, share in group) for group in ends]


def standing_many(net: Net, cases: Sequence[tuple[tuple[Edit, ...], Situation]]) -> list[tuple[Standing, ...]]:
    """As `settle_many`, only the states: for whoever asks what moves and reads nothing."""
    ends, states = _ends(net, cases), _States(book_of(net))
    known: dict[bytes, tuple[Mapping[str, str], ...]] = {}

    def of(run: _Run) -> tuple[Mapping[str, str], ...]:
        every = (run.codes, *run.moments)
        content = b"".join(codes.tobytes() for codes in every)
        if content not in known:
            known[content] = tuple(map(states.of, every))
        return known[content]

    forget(net)
    return [tuple(Standing(of(run), share) for run, share in group) for group in ends]


def _ends(net: Net, cases: Sequence[tuple[tuple[Edit, ...], Situation]]) -> list[list[tuple[_Run, float]]]:
    """Of each case the runs it ends in, the heaviest few, with the chance of each."""
    scripts: dict[int, list[Script]] = {}
    histories: list[list[_Key]] = []
    for edits, situation in cases:
        if id(situation) not in scripts:
            scripts[id(situation)] = scripts_of(net, situation)
        faulty = faulty_of(net, edits)
        histories.append([(faulty, script) for script in scripts[id(situation)]])
    settled = _settled(net, dict.fromkeys(key for history in histories for key in history))
    return [
        _heaviest_ends([(run, run.weight / len(history)) for key in history for run in settled[key]])
        for history in histories
    ]


@dataclass(slots=True)
class _States:
    """States by their codes, each written out once."""

    book: Book
    _written: dict[bytes, Mapping[str, str]] = field(default_factory=dict)

    def of(self, codes: Codes) -> Mapping[str, str]:
        """The state that some codes stand for."""
        content = codes.tobytes()
        found = self._written.get(content)
        if found is None:
            found = self._written[content] = self.book.state(codes)
        return found


def _networks(net: Net, states: Sequence[tuple[Codes, Laid]]) -> list[Network]:
    """Solved networks that may be kept."""
    if not states:
        return []
    return networks_at(net, _stacked([codes for codes, _ in states]), [laid for _, laid in states])


_Key = tuple[Faulty, Script]
"""What is wrong, and what is done."""


def _settled(net: Net, keys: Iterable[_Key]) -> Mapping[_Key, tuple[_Run, ...]]:
    """Where every line of development stands after its acts; each beginning of a history is settled once and kept.

    What is settled lets what goes on from it begin: all that has to be settled goes side by side, however far it is.
    """
    kept = net.scratch.setdefault("settled", {})
    assert isinstance(kept, dict)
    missing: dict[_Key, int] = {}
    for key in keys:
        while key not in kept and key not in missing:
            missing[key] = len(missing)
            key = _before(key) or key
    waiting: dict[_Key, list[_Key]] = {}
    for key in missing:
        before = _before(key)
        if before is not None and before not in kept:
            waiting.setdefault(before, []).append(key)
    runs = [run for key, case in missing.items() for run in _begun(net, kept, key, case)]
    names, finished = list(missing), [list[_Run]() for _ in missing]
    alive = Counter(run.case for run in runs)
    table, rows = None, [_NEW] * len(runs)
    while runs:
        table = _beside(net, runs, table, rows)
        going, rows, over = list[_Run](), list[int](), list[int]()
        for k, (run, onward) in enumerate(zip(runs, _round(net, runs, table), strict=True)):
            if onward is _STAYS:
                going.append(run)
                rows.append(k)
                continue
            going += onward
            rows += [_NEW] * len(onward)
            alive[run.case] += len(onward) - 1
            if not onward and run.ended:
                finished[run.case].append(run)
            if not alive[run.case]:
                over.append(run.case)
        for case in over:
            _close(kept, names[case], finished[case])
            for key in waiting.pop(names[case], ()):
                begun = _begun(net, kept, key, missing[key])
                alive[missing[key]] = len(begun)
                going += begun
                rows += [_NEW] * len(begun)
        runs, rows = _heaviest(going, rows, alive)
    return kept


def _before(key: _Key) -> _Key | None:
    faulty, script = key
    return None if script.before is None else (faulty, script.before)


def _close(kept: dict[_Key, tuple[_Run, ...]], key: _Key, runs: list[_Run]) -> None:
    """Keep what has come to an end, without what holds on to the table that it stood in."""
    for run in runs:
        run.visited, run.codes, run.since = set(), run.codes.copy(), run.since.copy()
    kept[key] = tuple(runs)


def _begun(net: Net, kept: Mapping[_Key, tuple[_Run, ...]], key: _Key, case: int) -> list[_Run]:
    """The runs that begin what a key stands for; none where what goes before is not settled yet."""
    faulty, script = key
    if script.before is None:
        return [_start(net, case, faulty, script.hold)]
    runs = []
    for earlier in kept.get((faulty, script.before), ()):
        run = earlier.clone(1.0)
        run.case, run.rounds, run.jumps = case, 0, 0
        run.settled, run.came_round, run.moments, run.passing, run.ended = True, None, (), (), False
        run.now_ms = max(run.now_ms, run.until_ms)  # what never came to rest has waited too
        act, run.brief = script.acts[-1]
        _apply(net, run, act)
        runs.append(run)
    return runs


def _start(net: Net, case: int, faulty: Faulty, hold: frozenset[tuple[str, str]]) -> _Run:
    book = book_of(net)
    codes = rules_of(net).initial.copy()
    book.put(codes, {e.slot: str(e.value) for e in faulty.edits if e.does == "left"})
    book.put(codes, dict(hold))
    book.put(codes, faulty.stuck)
    since = np.full(len(net.delays), NEVER, dtype=np.int64)
    return _Run(
        case, faulty.edits, codes, scans_of(net).begin(faulty.scanner), 1.0, faulty.fixed, faulty.low, faulty.high,
        since, np.zeros_like(since), faulty.laid, faulty.scanner, dict(hold),
    )  # fmt: skip


def _heaviest(runs: list[_Run], rows: list[int], alive: Counter[int]) -> tuple[list[_Run], list[int]]:
    """The runs that go on, with their rows: of one case not more than `_MOST_RUNS`, the heaviest."""
    for case in [case for case, count in alive.items() if count > _MOST_RUNS]:
        mine = [k for k, run in enumerate(runs) if run.case == case]
        gone = set(sorted(mine, key=lambda k: -runs[k].weight)[_MOST_RUNS:])
        alive[case] = _MOST_RUNS
        rows = [row for k, row in enumerate(rows) if k not in gone]
        runs = [run for k, run in enumerate(runs) if k not in gone]
    return runs, rows


def _heaviest_ends(group: list[tuple[_Run, float]]) -> list[tuple[_Run, float]]:
    """Runs that stand alike added up; the heaviest, whose chances then sum to 1."""
    if len(group) == 1:
        return [(group[0][0], 1.0)]
    merged: dict[object, tuple[_Run, float]] = {}
    for run, share in group:
        # Two that chatter may meet in one moment and differ in the next: a brake that lifts in one of them.
        round_ = tuple(codes.tobytes() for codes in run.moments)
        key = (run.codes.tobytes(), run.memory.memory, run.settled, round_)
        old = merged.get(key)
        merged[key] = (run, share) if old is None else (old[0], old[1] + share)
    best = sorted(merged.values(), key=lambda found: -found[1])[:MOST_OUTCOMES]
    total = sum(share for _, share in best)
    return [(run, share / total) for run, share in best]


def _round(net: Net, runs: Sequence[_Run], group: Group) -> list[list[_Run]]:
    """One round: let everything react once to the present voltages; split where a band leaves it open.

    Returns, for each run, the runs that go on in its place, or `_STAYS` where it goes on itself. None do where it has come to
    rest or was found to go on for ever: it is `ended` then. A run that does not stay has its own codes.
    """
    rules, scans = rules_of(net), scans_of(net)
    done = react(rules, group)
    changed, blown = done.changed, done.blown
    free = np.flatnonzero(~done.done)
    some = [runs[k] for k in free.tolist()]
    memories, codes = scans.scan(
        [run.scanner for run in some], [run.memory for run in some], group.codes[free],
        group.fixed[free], [run.now_ms for run in some],
    )  # fmt: skip
    thought = np.array([old.memory.number != new.number for old, new in zip(some, memories, strict=True)], np.bool_)
    changed[free] |= thought | (codes != group.codes[free]).any(axis=1)
    group.codes[free] = codes
    for run, memory in zip(some, memories, strict=True):
        run.memory = memory
    last = blow(rules, group, ~changed & ~done.done, 1.0)
    changed, blown = changed | last, blown | last
    for k in np.flatnonzero(blown).tolist():
        runs[k].visited = set()
    content, width = group.codes.tobytes(), group.codes.shape[1] * group.codes.itemsize
    out: list[list[_Run]] = [_STAYS] * len(runs)
    resting: list[int] = []
    for k, (run, moves) in enumerate(zip(runs, changed.tolist(), strict=True)):
        run.rounds += 1
        if moves and k not in done.splits:
            signature = (content[k * width : (k + 1) * width], run.memory.number)
            if run.came_round is None and run.rounds <= _MOST_ROUNDS - _MOST_MOMENTS and signature not in run.visited:
                run.visited.add(signature)
                continue
        run.codes, run.since = group.codes[k], group.since[k]
        if k in done.splits:
            out[k] = _both_ways(run, done.splits[k])
        elif not moves:
            resting.append(k)
        elif _circles(run, signature, at_once=bool(done.at_once[k])):
            run.ended = True
            out[k] = []
    for k, onward in zip(resting, _time_passes(net, [runs[k] for k in resting]), strict=True):
        out[k] = onward or []
        runs[k].ended = onward is None
    return out


_STAYS: list[_Run] = []
"""What stands for a run that goes on as it is, in its row of the table."""
_NEW = -1
"""Row of a run that was not in the table of the round before."""


def _beside(net: Net, runs: Sequence[_Run], before: Group | None, rows: Sequence[int]) -> Group:
    """Many runs side by side, at the volts of their networks.

    before, rows: the table of the round before, and of each run its row there.
    """
    new = [k for k, row in enumerate(rows) if row == _NEW]
    fresh = [runs[k] for k in new]
    codes = _in_rows(None if before is None else before.codes, rows, new, [r.codes for r in fresh])
    seen = glimpses(net, codes, [run.laid for run in runs])
    return Group(
        codes,
        _in_rows(None if before is None else before.fixed, rows, new, [r.fixed for r in fresh]),
        _in_rows(None if before is None else before.low, rows, new, [r.low for r in fresh]),
        _in_rows(None if before is None else before.high, rows, new, [r.high for r in fresh]),
        _in_rows(None if before is None else before.since, rows, new, [r.since for r in fresh]),
        np.array([run.now_ms for run in runs], dtype=np.int64),
        seen.watched,
        seen.windings,
        seen.slips,
    )


def _in_rows(
    before: npt.NDArray[_Number] | None, rows: Sequence[int], new: Sequence[int], fresh: Sequence[npt.NDArray[_Number]]
) -> npt.NDArray[_Number]:
    """Rows of the table before, and `fresh` ones where they are `new`."""
    if before is None or len(new) == len(rows):
        return _stacked(fresh)
    out: npt.NDArray[_Number] = before[rows]  # a copy; what is new has the last row for a moment
    if new:
        out[new] = _stacked(fresh)
    return out


def _stacked(rows: Sequence[npt.NDArray[_Number]]) -> npt.NDArray[_Number]:
    """(rows, ...) a copy: `numpy.stack` without its questions, which took as long as all the laws together."""
    return np.concatenate(rows).reshape(len(rows), -1)


def _both_ways(run: _Run, split: Split) -> list[_Run]:
    out = []
    for share, band in ((split.chance, split.below), (1 - split.chance, split.above)):
        way = run.clone(share)
        if way.weight >= _LEAST_WEIGHT:
            way.low, way.high = run.low.copy(), run.high.copy()
            way.low[split.at], way.high[split.at] = band.low, band.high
            out.append(way)
    return out


def _next_event_ms(net: Net, run: _Run) -> int | None:
    """When time moves on to, everything being at rest: the next timer or delay that is up, or the end of a wait.

    None: the act is over.
    """
    now, until = run.now_ms, run.until_ms
    dues = [until] if until > now else []
    if run.jumps < _MOST_JUMPS or until <= now:
        if run.since.size:
            due = next_due_ms(rules_of(net).delays, run.since)
            if due is not None:
                dues.append(due)
        scanner = run.scanner
        if scanner is not None and run.memory.memory is not None:
            due = scanner.next_event_ms(run.memory.memory, now)
            if due is not None and due <= until + _LONGEST_WAIT_MS:
                dues.append(due)
    last = until if run.brief else math.inf
    return min((due for due in dues if now < due <= last), default=None) if dues else None


def _by_chance(net: Net, run: _Run) -> list[_Run] | None:
    """At the end of a brief act: what may have moved by now has, or has not; None where that is not in doubt."""
    found = in_doubt(rules_of(net).delays, run.since, run.not_by, run.now_ms) if run.brief else None
    if found is None:
        return None
    number, chance = found
    moves, stays = run.clone(chance), run.clone(1 - chance)
    law = net.delays[number]
    book_of(net).put(moves.codes, {law.var: law.after})
    stays.not_by[number] = run.now_ms
    return [r for r in (moves, stays) if r.weight >= _LEAST_WEIGHT]


def _time_passes(net: Net, runs: Sequence[_Run]) -> list[list[_Run] | None]:
    """Let time move on in every run to its next event; None where nothing is due."""
    dues = [_next_event_ms(net, run) for run in runs]
    warm = [run for run, due in zip(runs, dues, strict=True) if due is not None and net.heats]
    # Side by side: what a rectifier takes and gives is solved anew for each of them.
    networks = dict(zip(map(id, warm), _networks(net, [(run.codes, run.laid) for run in warm]), strict=True))
    return [
        _by_chance(net, run) if due is None else _until(net, run, due, networks.get(id(run)))
        for run, due in zip(runs, dues, strict=True)
    ]


def _until(net: Net, run: _Run, until: int, network: Network | None) -> list[_Run]:
    """Let time move on to an event; what carries current in `network` warms up on the way. None: nothing can warm up."""
    book = book_of(net)
    if run.now_ms < run.until_ms:
        run.rounds = 0  # a long wait is not an endless change
    run.jumps += 1
    run.visited = set()
    ratios = {law.var: _ratios(net, network, law) for law in net.heats if network is not None}
    soonest: heat.Due | None = None
    for law in net.heats:
        due = None
        if not run.fixed[book.columns[law.var]] and run.jumps < _MOST_JUMPS:
            due = heat.due(law, _at(net, run, law.var), run.heat.get(law.var, heat.cold(law)), ratios[law.var])
        if due is not None and due.first * 1000 < until - run.now_ms and (soonest is None or due.first < soonest.first):
            soonest = due
    if soonest is None:
        _warm(net, run, ratios, until)
        return [run]
    # It moves at some time between `first` and `last`; where the wait ends between them, it may have.
    ends = (until - run.now_ms) / 1000
    chance = 1.0 if soonest.last <= ends else (ends - soonest.first) / (soonest.last - soonest.first)
    moves, stays = run.clone(chance), run.clone(1 - chance)
    _warm(net, moves, ratios, run.now_ms + math.ceil(500 * (soonest.first + min(soonest.last, ends))))
    book.put(moves.codes, {soonest.law.var: soonest.to})
    if soonest.to == soonest.law.over:
        moves.heat[soonest.law.var] = heat.tripped(soonest.law, moves.heat[soonest.law.var])
    _warm(net, stays, ratios, until)
    stays.heat[soonest.law.var] = heat.not_yet(soonest.law, stays.heat[soonest.law.var])
    return [r for r in (moves, stays) if r.weight >= _LEAST_WEIGHT]


def _at(net: Net, run: _Run, var: str) -> str:
    """State of one variable."""
    book = book_of(net)
    return str(book.values[run.codes[book.columns[var]]])


def _ratios(net: Net, network: Network, law: HeatLaw) -> tuple[float, ...]:
    """Current over its rated one in each part of a thermal law."""
    through = (amps_through(net, network, net.element_index[part]) for part in law.parts)
    return tuple(math.hypot(abs(ac), dc) / law.amps for ac, dc in through)


def trips_after(net: Net, network: Network) -> tuple[float, float] | None:
    """When the first thermal law moves if these currents stand from cold on: soonest and latest seconds; None: none does."""
    dues = [heat.due(law, law.ok, heat.cold(law), _ratios(net, network, law)) for law in net.heats]
    first = min((due for due in dues if due is not None), key=lambda due: due.first, default=None)
    return None if first is None else (first.first, first.last)


def _warm(net: Net, run: _Run, ratios: Mapping[str, tuple[float, ...]], now_ms: int) -> None:
    for law in net.heats:
        before = run.heat.get(law.var, heat.cold(law))
        run.heat[law.var] = heat.warmed(law, before, ratios[law.var], (now_ms - run.now_ms) / 1000)
    run.now_ms = now_ms


def _circles(run: _Run, signature: object, *, at_once: bool) -> bool:
    """Whether a run that has changed, and not to what is new, has gone the whole way round; gathers what it goes through.

    signature: what it looks like now. at_once: it was electronics that changed it.
    """
    if run.came_round is None:
        run.came_round = signature
        return False
    run.passing = (*run.passing, at_once)
    if signature == run.came_round or run.rounds > _MOST_ROUNDS or len(run.moments) >= _MOST_MOMENTS:
        # What electronics leaves at once is no moment: a supply in current limit never holds up what has let go of it.
        every = (run.codes, *run.moments)
        last = [codes for codes, passing in zip(every, run.passing, strict=False) if not passing] or list(every)
        run.codes, run.moments = last[0].copy(), tuple(last[1:])
        run.settled = False
        run.visited = set()
        return True
    run.moments = (*run.moments, run.codes.copy())
    return False


_PUTS = {
    "press": "pressed", "pull": "pulled", "open": "off", "close": "on", "test": "tested", "trip": "tripped",
}  # fmt: skip
"""Where a hand puts a control; whatever else it does (release, reset, refit) puts it back to its usual place."""


def _apply(net: Net, run: _Run, act: Act) -> None:
    if act.verb == "heal":
        _heal(net, run)
        return
    if act.verb == "wait":
        run.until_ms = run.now_ms + round(float(act.value) * 1000)
        return
    if act.verb == "reset" and any(
        law.var == act.device and _at(net, run, law.var) == law.over and not heat.is_cool(law, run.heat[law.var])
        for law in net.heats
        if law.var in run.heat
    ):
        return  # still hot: it does not latch
    book = book_of(net)
    if act.verb in ("lose power", "restore power"):
        value = "off" if act.verb == "lose power" else "on"
        supplies = (tag for tag, device in net.circuit.devices.items() if device.kind == "supply")
        book.put(run.codes, dict.fromkeys(supplies, value))
        return
    value = act.value if act.verb == "put" else _PUTS.get(act.verb, net.initial[act.device])
    run.hands[act.device] = value
    if not run.fixed[book.columns[act.device]]:
        book.put(run.codes, {act.device: value})


def _heal(net: Net, run: _Run) -> None:
    """The bad joint makes contact, the stuck part comes free: from here on the machine is whole.

    A part that was held or left somewhere goes to where the hand has it, or to its usual place; laws then move what they
    move. A program does not come right by itself, but a force is taken off in one moment.
    """
    book, rules = book_of(net), rules_of(net)
    for edit in run.edits:
        if edit.does in ("stuck", "left"):
            book.put(run.codes, {edit.slot: run.hands.get(edit.slot, net.initial[edit.slot])})
    run.edits = tuple(e for e in run.edits if e.does == "program" and e.value != "forced")
    run.scanner = net.scanner_under(run.edits)
    run.laid, run.fixed = laid_of(net, ()), np.zeros_like(run.fixed)
    run.low, run.high = rules.low, rules.high
