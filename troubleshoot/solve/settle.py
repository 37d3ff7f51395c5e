"""From a situation and a set of edits to what the machine does: one to four weighted outcomes.

Inputs latched, program scanned, outputs written, coils and contacts moved, until nothing changes; electronic stages act
at once, fuses last (in a bolted short before any armature) and one at a time, largest overcurrent first. Thresholds are
bands: where a quantity falls inside one, both answers go on, weighted. A machine that does not come to rest (a contactor
through its own break contact) is an answer too. Time is virtual.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Band, HeatLaw
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve import heat
from troubleshoot.solve.chatter import period_s
from troubleshoot.solve.codes import ABSENT, Bools, Codes, book_of
from troubleshoot.solve.columns import Floats
from troubleshoot.solve.compiled import Net, Scanner
from troubleshoot.solve.delays import NEVER, Whole, in_doubt, next_due_ms
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.network import (
    Network,
    amps_through,
    forget,
    glimpses,
    networks_at,
    numeric,
)
from troubleshoot.solve.reacting import Group, Split, blow, react, rules_of
from troubleshoot.solve.scanning import Remembered, scans_of

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
    laid: tuple[Edit, ...]
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
    brief: bool = False
    """The act that is going on lasts as long as it says and no longer: a wait follows it, or it is one that an act follows."""

    def clone(self, share: float) -> _Run:
        """Another that goes on from here; what it shares with this one is never written to."""
        return _Run(
            self.case, self.edits, self.codes.copy(), self.memory, self.weight * share, self.fixed, self.low, self.high,
            self.since.copy(), self.not_by.copy(), self.laid, self.scanner, dict(self.hands), self.now_ms, self.until_ms,
            self.jumps, dict(self.heat), set(self.visited), self.rounds, self.settled, self.came_round, self.moments,
            self.brief,
        )  # fmt: skip


def settle(net: Net, edits: Sequence[Edit], situation: Situation) -> tuple[Outcome, ...]:
    """What the machine does in one situation with one set of edits. See `settle_many`."""
    return settle_many(net, [(tuple(edits), situation)])[0]


def settle_many(net: Net, cases: Sequence[tuple[tuple[Edit, ...], Situation]]) -> list[tuple[Outcome, ...]]:
    """Settle many (edits, situation) cases in lockstep, each distinct network solved once.

    Returns, per case, one to four outcomes with weights summing to 1, heaviest first. Pure but for the cache on `net`.
    """
    histories = [_histories(net, edits, situation) for edits, situation in cases]
    keys = dict.fromkeys(key for history in histories for key in history)
    settled = _settled(net, keys)
    runs = {id(run): run for key in keys for run in settled[key]}
    networks = dict(zip(runs, _networks(net, [(run.codes, run.laid) for run in runs.values()]), strict=True))
    moments = {
        number: tuple(
            Moment(book_of(net).state(codes), network)
            for codes, network in zip(
                run.moments, _networks(net, [(codes, run.laid) for codes in run.moments]), strict=True
            )
        )
        for number, run in runs.items()
    }
    forget(net)
    return [
        _outcomes(net, [
            (run, run.weight / len(history), networks[id(run)], moments[id(run)])
            for key in history for run in settled[key]
        ])
        for history in histories
    ]  # fmt: skip


def _networks(net: Net, states: Sequence[tuple[Codes, tuple[Edit, ...]]]) -> list[Network]:
    """Solved networks that may be kept."""
    if not states:
        return []
    codes = np.stack([codes for codes, _ in states])
    return networks_at(net, codes, [laid for _, laid in states])


_Key = tuple[tuple[Edit, ...], frozenset[tuple[str, str]], tuple[tuple[Act, bool], ...]]
"""Edits, positions held from the start, acts done since power-up, each with whether it is brief."""


def _histories(net: Net, edits: tuple[Edit, ...], situation: Situation) -> list[_Key]:
    start = net.circuit.roles.get("start", ())
    befores: list[tuple[Act, ...]] = [()]
    if situation.origin == "as-found" and start:
        # Nobody knows what was pressed last: the two ordinary histories, equally likely. A safety circuit is reset first.
        pressed = (*net.circuit.roles.get("reset", ()), start[0])
        befores.append(tuple(act for tag in pressed for act in (Act("press", tag), Act("release", tag))))
    return [(edits, situation.hold, _timed(before + situation.acts)) for before in befores]


def _timed(acts: tuple[Act, ...]) -> tuple[tuple[Act, bool], ...]:
    """Each act with whether it is brief. Without a wait beside it an act stands until the machine is at rest."""
    following = (*acts[1:], None) if acts else ()
    return tuple(
        (act, after is not None and "wait" in (act.verb, after.verb))
        for act, after in zip(acts, following, strict=True)
    )


def _settled(net: Net, keys: Iterable[_Key]) -> Mapping[_Key, tuple[_Run, ...]]:
    """Where every line of development stands after its acts; each beginning of a history is settled once and kept."""
    kept = net.scratch.setdefault("settled", {})
    assert isinstance(kept, dict)
    missing = [key for key in keys if key not in kept]
    if not missing:
        return kept
    _settled(net, dict.fromkeys((edits, hold, acts[:-1]) for edits, hold, acts in missing if acts))
    runs: list[_Run] = []
    for case, key in enumerate(missing):
        edits, hold, acts = key
        if not acts:
            runs.append(_start(net, case, edits, hold))
            continue
        for earlier in kept[(edits, hold, acts[:-1])]:
            run = earlier.clone(1.0)
            run.case, run.rounds, run.jumps = case, 0, 0
            run.settled, run.came_round, run.moments = True, None, ()
            run.now_ms = max(run.now_ms, run.until_ms)  # what never came to rest has waited too
            act, run.brief = acts[-1]
            _apply(net, run, act)
            runs.append(run)
    finished: list[list[_Run]] = [[] for _ in missing]
    while runs:
        alive: dict[int, list[_Run]] = {}
        for run, onward in zip(runs, _round(net, runs), strict=True):
            if onward is None:
                finished[run.case].append(run)
            else:
                alive.setdefault(run.case, []).extend(onward)
        runs = [run for group in alive.values() for run in _heaviest(group)]
    for key, group in zip(missing, finished, strict=True):
        for run in group:
            run.visited, run.codes, run.since = set(), run.codes.copy(), run.since.copy()
        kept[key] = tuple(group)
    return kept


def _start(net: Net, case: int, edits: tuple[Edit, ...], hold: frozenset[tuple[str, str]]) -> _Run:
    book, rules = book_of(net), rules_of(net)
    codes = rules.initial.copy()
    book.put(codes, {e.slot: str(e.value) for e in edits if e.does == "left"})
    book.put(codes, dict(hold))
    stuck = _stuck(edits)
    fixed = rules.free
    if stuck:
        fixed = book.row(stuck) != ABSENT
        book.put(codes, stuck)
    low, high = rules.low, rules.high
    for e in edits:
        if e.does == "threshold":
            low, high = low.copy(), high.copy()
            weak = list(rules.factored.get(e.slot, ()))
            low[weak], high[weak] = rules.low[weak] * float(e.value), rules.high[weak] * float(e.value)
    scanner = net.scanner_under(edits)
    memory = scans_of(net).begin(scanner)
    since = np.full(len(net.delays), NEVER, dtype=np.int64)
    not_by = np.zeros_like(since)
    return _Run(case, edits, codes, memory, 1.0, fixed, low, high, since, not_by, numeric(edits), scanner, dict(hold))


def _stuck(edits: Sequence[Edit]) -> dict[str, str]:
    return {e.slot: str(e.value) for e in edits if e.does == "stuck"}


def _heaviest(group: list[_Run]) -> list[_Run]:
    if len(group) <= _MOST_RUNS:
        return group
    return sorted(group, key=lambda run: -run.weight)[:_MOST_RUNS]


def _outcomes(net: Net, group: list[tuple[_Run, float, Network, tuple[Moment, ...]]]) -> tuple[Outcome, ...]:
    merged: dict[object, tuple[_Run, float, Network, tuple[Moment, ...]]] = {}
    for run, share, network, moments in group:
        # Two that chatter may meet in one moment and differ in the next: a brake that lifts in one of them.
        round_ = tuple(codes.tobytes() for codes in run.moments)
        key = (run.codes.tobytes(), run.memory.memory, run.settled, round_)
        old = merged.get(key)
        merged[key] = (run, share, network, moments) if old is None else (old[0], old[1] + share, *old[2:])
    best = sorted(merged.values(), key=lambda found: -found[1])[:MOST_OUTCOMES]
    total = sum(share for _, share, _, _ in best)
    book, out = book_of(net), []
    for run, share, network, moments in best:
        state = book.state(run.codes)
        period = period_s(net, (state, *(m.state for m in moments))) if moments else None
        out.append(Outcome(state, run.memory.memory, share / total, run.settled, network, moments, period))
    return tuple(out)


def _round(net: Net, runs: Sequence[_Run]) -> list[list[_Run] | None]:
    """One round: let everything react once to the present voltages; split where a band leaves it open.

    Returns, for each run, the runs that go on, or None where it has come to rest (or was found to go on for ever).
    """
    rules, scans = rules_of(net), scans_of(net)
    group = _beside(net, runs)
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
    content, width = group.codes.tobytes(), group.codes.shape[1] * group.codes.itemsize
    out: list[list[_Run] | None] = []
    resting: list[int] = []
    for k, (run, moves, melts) in enumerate(zip(runs, changed.tolist(), blown.tolist(), strict=True)):
        run.rounds += 1
        run.codes, run.since = group.codes[k], group.since[k]
        if melts:
            run.visited = set()
        if k in done.splits:
            out.append(_both_ways(run, done.splits[k]))
        elif moves:
            out.append(None if _circles(run, content[k * width : (k + 1) * width]) else [run])
        else:
            resting.append(k)
            out.append(None)
    for k, onward in zip(resting, _time_passes(net, [runs[k] for k in resting]), strict=True):
        out[k] = onward
    return out


def _beside(net: Net, runs: Sequence[_Run]) -> Group:
    """Many runs side by side, at the volts of their networks."""
    codes = _stacked([run.codes for run in runs])
    seen = glimpses(net, codes, [run.laid for run in runs])
    return Group(
        codes,
        _stacked([run.fixed for run in runs]),
        _stacked([run.low for run in runs]),
        _stacked([run.high for run in runs]),
        _stacked([run.since for run in runs]),
        np.array([run.now_ms for run in runs], dtype=np.int64),
        _stacked([glimpse.watched for glimpse in seen]),
        _stacked([glimpse.windings for glimpse in seen]),
        _stacked([glimpse.slips for glimpse in seen]),
    )


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
    dues: list[int | None] = [run.until_ms]
    if run.jumps < _MOST_JUMPS or run.until_ms <= run.now_ms:
        dues.append(next_due_ms(rules_of(net).delays, run.since))
        scanner = run.scanner
        if scanner is not None and run.memory.memory is not None:
            due = scanner.next_event_ms(run.memory.memory, run.now_ms)
            dues.append(due if due is not None and due <= run.until_ms + _LONGEST_WAIT_MS else None)
    last = run.until_ms if run.brief else math.inf
    return min((due for due in dues if due is not None and run.now_ms < due <= last), default=None)


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


def _warm(net: Net, run: _Run, ratios: Mapping[str, tuple[float, ...]], now_ms: int) -> None:
    for law in net.heats:
        before = run.heat.get(law.var, heat.cold(law))
        run.heat[law.var] = heat.warmed(law, before, ratios[law.var], (now_ms - run.now_ms) / 1000)
    run.now_ms = now_ms


def _circles(run: _Run, content: bytes) -> bool:
    """Whether a run that has just changed has gone the whole way round; gathers what it goes through on the way."""
    signature = (content, run.memory.number)
    if run.came_round is None:
        if signature not in run.visited and run.rounds <= _MOST_ROUNDS - _MOST_MOMENTS:
            run.visited.add(signature)
            return False
        run.came_round = signature
        return False
    if signature == run.came_round or run.rounds > _MOST_ROUNDS or len(run.moments) >= _MOST_MOMENTS:
        run.settled = False
        run.visited = set()
        return True
    run.moments = (*run.moments, run.codes.copy())
    return False


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
    usual = net.initial[act.device]
    value = {
        "press": "pressed", "release": usual, "pull": "pulled", "put": act.value, "open": "off", "close": "on", "test": "tested",
        "trip": "tripped", "reset": usual, "refit": usual,
    }[act.verb]  # fmt: skip
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
    run.laid, run.fixed = (), np.zeros_like(run.fixed)
    run.low, run.high = rules.low, rules.high
