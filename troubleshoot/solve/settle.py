"""From a situation and a set of edits to what the machine does: one to four weighted outcomes.

Inputs latched, program scanned, outputs written, coils and contacts moved, until nothing changes; electronic stages act
at once, fuses last (in a bolted short before any armature) and one at a time, largest overcurrent first. Thresholds are
bands: where a quantity falls inside one, both answers go on, weighted. A machine that does not come to rest (a contactor
through its own break contact) is an answer too. Time is virtual.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from troubleshoot.circuit.kinds.base import Band, HeatLaw, InterlockLaw, Law, MotorLaw, Source
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve import delays, heat
from troubleshoot.solve.chatter import period_s
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.network import Network, amps_through, network_of, solve_all, volts_between
from troubleshoot.solve.turning import STALLED

MOST_OUTCOMES = 4
_MOST_RUNS = 256
"""Runs of one question kept while it settles; the lightest go first. Three inputs and two lamps in their bands at once
make some 40; with 12, weights came out up to 7 % wrong, because runs that end alike are only added up at the end."""
_MOST_ROUNDS = 80
_MOST_MOMENTS = 24
"""Moments kept of something that never comes to rest: a contactor through its own break contact has two to four."""
_LEAST_WEIGHT = 1e-3
_EDGE = 1e-6
"""Relative distance from the edge of a band that still counts as outside: rounding, not physics."""
_LONGEST_WAIT_MS = 60_000
_MOST_JUMPS = 400
"""Timers followed in one wait; after that (something blinks) the rest of the wait passes at once."""
_AT_ONCE = 4.0
"""A fuse at this many times the current of its law, 14 times its rating, melts in some 2 ms, before any armature moves
(10 ms and more). Without it a bolted short of one phase made the contactor chatter on its sagging supply and no fuse
blew. From the rough gG curve through (3.5 In, 5 s) and (7 In, 0.1 s), IEC 60269, from memory."""
START_BAND = Band(1.0, 1.3)
"""Standstill torque over the torque of the load at which a motor breaks away: a load sticks a little before it moves.
Judgement, no published source. Not under 1: what starts must be able to go on turning."""
A = cmath.rect(1.0, 2 * math.pi / 3)

FORWARD = "turning"
BACKWARD = "turning backward"


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
    state: dict[str, str]
    memory: Hashable
    weight: float
    hands: dict[str, str] = field(default_factory=dict)
    """Where a hand last put each control, whether or not the contacts followed."""
    bands: dict[str, Band] = field(default_factory=dict)
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
    moments: tuple[dict[str, str], ...] = ()
    """States it goes through from there until it comes round again."""
    network: Network | None = None
    stuck: dict[str, str] = field(default_factory=dict)
    """State variables that cannot move, from the edits."""
    factors: dict[str, float] = field(default_factory=dict)
    """Laws that need more volts than they should, from the edits."""
    since: dict[int, int] = field(default_factory=dict)
    """Since when, in virtual milliseconds, the conditions of each delay law have held."""
    not_by: dict[int, int] = field(default_factory=dict)
    """Until when a delay law without a fixed time is known not to have moved."""
    brief: bool = False
    """The act that is going on lasts as long as it says and no longer: a wait follows it, or it is one that an act follows."""

    def clone(self, share: float) -> _Run:
        return replace(
            self,
            state=dict(self.state),
            hands=dict(self.hands),
            bands=dict(self.bands),
            visited=set(self.visited),
            since=dict(self.since),
            not_by=dict(self.not_by),
            heat=dict(self.heat),
            weight=self.weight * share,
        )


@dataclass(frozen=True, slots=True)
class _Split:
    """A quantity inside a band: the two ways to go on and the chance of the first."""

    key: str
    below: Band
    above: Band
    chance: float


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
    moments: dict[int, tuple[Moment, ...]] = {}
    for number, run in runs.items():
        run.network = network_of(net, run.state, run.edits)
        moments[number] = tuple(Moment(state, network_of(net, state, run.edits)) for state in run.moments)
    solve_all(net, [run.network for run in runs.values() if run.network is not None])
    solve_all(net, [moment.network for several in moments.values() for moment in several])
    outcomes = [
        _outcomes(net, [(run, run.weight / len(history), moments[id(run)]) for key in history for run in settled[key]])
        for history in histories
    ]
    for run in runs.values():
        run.network = None  # what is kept is where the run stands; its volts are kept by whoever holds the outcome
    return outcomes


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
    before = dict.fromkeys((edits, hold, acts[:-1]) for edits, hold, acts in missing if acts)
    earlier_runs = _settled(net, before)
    for key in before:
        for run in earlier_runs[key]:
            run.network = None
    runs: list[_Run] = []
    for case, key in enumerate(missing):
        edits, hold, acts = key
        if not acts:
            runs.append(_start(net, case, edits, hold))
            continue
        for earlier in kept[(edits, hold, acts[:-1])]:
            run = earlier.clone(1.0)
            run.case, run.visited, run.rounds, run.jumps = case, set(), 0, 0
            run.settled, run.came_round, run.moments = True, None, ()
            run.now_ms = max(run.now_ms, run.until_ms)  # what never came to rest has waited too
            act, run.brief = acts[-1]
            _apply(net, run, act)
            runs.append(run)
    finished: list[list[_Run]] = [[] for _ in missing]
    while runs:
        for run in runs:
            run.network = network_of(net, run.state, run.edits)
        solve_all(net, [run.network for run in runs if run.network is not None])
        alive: dict[int, list[_Run]] = {}
        for run in runs:
            onward = _round(net, run)
            if onward is None:
                finished[run.case].append(run)
            else:
                alive.setdefault(run.case, []).extend(onward)
        runs = [run for group in alive.values() for run in _heaviest(group)]
    for key, group in zip(missing, finished, strict=True):
        for run in group:
            run.visited = set()
        kept[key] = tuple(group)
    return kept


def _start(net: Net, case: int, edits: tuple[Edit, ...], hold: frozenset[tuple[str, str]]) -> _Run:
    state = dict(net.initial)
    state |= {e.slot: str(e.value) for e in edits if e.does == "left"}
    state |= dict(hold)
    scanner = net.scanner_under(edits)
    run = _Run(case, edits, state, scanner.start() if scanner else None, 1.0, dict(hold))
    run.stuck = {e.slot: str(e.value) for e in edits if e.does == "stuck"}
    run.factors = {e.slot: float(e.value) for e in edits if e.does == "threshold"}
    run.state |= run.stuck
    return run


def _heaviest(group: list[_Run]) -> list[_Run]:
    if len(group) <= _MOST_RUNS:
        return group
    kept = sorted(group, key=lambda run: -run.weight)[:_MOST_RUNS]
    return kept


def _signature(run: _Run) -> object:
    return (tuple(run.state.items()), run.memory)


def _outcomes(net: Net, group: list[tuple[_Run, float, tuple[Moment, ...]]]) -> tuple[Outcome, ...]:
    merged: dict[object, Outcome] = {}
    for run, share, moments in group:
        key = (tuple(sorted(run.state.items())), run.memory, run.settled)
        old = merged.get(key)
        if old is not None:
            merged[key] = replace(old, weight=old.weight + share)
            continue
        assert run.network is not None
        period = period_s(net, (run.state, *(m.state for m in moments))) if moments else None
        merged[key] = Outcome(run.state, run.memory, share, run.settled, run.network, moments, period)
    best = sorted(merged.values(), key=lambda o: -o.weight)[:MOST_OUTCOMES]
    total = sum(o.weight for o in best)
    return tuple(replace(o, weight=o.weight / total) for o in best)


def _round(net: Net, run: _Run) -> list[_Run] | None:
    """One round: let everything react once to the present voltages; split where a band leaves it open.

    Returns the runs that go on, or None when this one has come to rest (or was found to go on for ever).
    """
    run.rounds += 1
    reacted = _react(net, run)
    if isinstance(reacted, _Split):
        low, high = run.clone(reacted.chance), run.clone(1 - reacted.chance)
        low.bands[reacted.key], high.bands[reacted.key] = reacted.below, reacted.above
        return [r for r in (low, high) if r.weight >= _LEAST_WEIGHT]
    if reacted:
        return None if _circles(run) else [run]
    return _time_passes(net, run)


def _next_event_ms(net: Net, run: _Run) -> int | None:
    """When time moves on to, everything being at rest: the next timer or delay that is up, or the end of a wait.

    None: the act is over.
    """
    dues: list[int | None] = [run.until_ms]
    if run.jumps < _MOST_JUMPS or run.until_ms <= run.now_ms:
        dues.append(delays.next_due_ms(net.delays, run.since))
        scanner = net.scanner_under(run.edits)
        if scanner is not None and run.memory is not None:
            due = scanner.next_event_ms(run.memory, run.now_ms)
            dues.append(due if due is not None and due <= run.until_ms + _LONGEST_WAIT_MS else None)
    last = run.until_ms if run.brief else math.inf
    return min((due for due in dues if due is not None and run.now_ms < due <= last), default=None)


def _by_chance(net: Net, run: _Run) -> list[_Run] | None:
    """At the end of a brief act: what may have moved by now has, or has not; None where that is not in doubt."""
    found = delays.in_doubt(net.delays, run.since, run.not_by, run.now_ms) if run.brief else None
    if found is None:
        return None
    number, chance = found
    moves, stays = run.clone(chance), run.clone(1 - chance)
    moves.state[net.delays[number].var] = net.delays[number].after
    stays.not_by[number] = run.now_ms
    return [r for r in (moves, stays) if r.weight >= _LEAST_WEIGHT]


def _time_passes(net: Net, run: _Run) -> list[_Run] | None:
    """Let time move on to the next event, and what carries current warm up on the way; None where nothing is due."""
    until = _next_event_ms(net, run)
    if until is None:
        return _by_chance(net, run)
    if run.now_ms < run.until_ms:
        run.rounds = 0  # a long wait is not an endless change
    run.jumps += 1
    run.visited = set()
    ratios = {law.var: _ratios(net, run, law) for law in net.heats}
    soonest: heat.Due | None = None
    for law in net.heats:
        due = None
        if law.var not in run.stuck and run.jumps < _MOST_JUMPS:
            due = heat.due(law, run.state[law.var], run.heat.get(law.var, heat.cold(law)), ratios[law.var])
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
    moves.state[soonest.law.var] = soonest.to
    if soonest.to == soonest.law.over:
        moves.heat[soonest.law.var] = heat.tripped(soonest.law, moves.heat[soonest.law.var])
    _warm(net, stays, ratios, until)
    stays.heat[soonest.law.var] = heat.not_yet(soonest.law, stays.heat[soonest.law.var])
    return [r for r in (moves, stays) if r.weight >= _LEAST_WEIGHT]


def _ratios(net: Net, run: _Run, law: HeatLaw) -> tuple[float, ...]:
    """Current over its rated one in each part of a thermal law."""
    assert run.network is not None
    through = (amps_through(net, run.network, net.element_index[part]) for part in law.parts)
    return tuple(math.hypot(abs(ac), dc) / law.amps for ac, dc in through)


def _warm(net: Net, run: _Run, ratios: Mapping[str, tuple[float, ...]], now_ms: int) -> None:
    for law in net.heats:
        before = run.heat.get(law.var, heat.cold(law))
        run.heat[law.var] = heat.warmed(law, before, ratios[law.var], (now_ms - run.now_ms) / 1000)
    run.now_ms = now_ms


def _circles(run: _Run) -> bool:
    """Whether a run that has just changed has gone the whole way round; gathers what it goes through on the way."""
    signature = _signature(run)
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
    run.moments = (*run.moments, dict(run.state))
    return False


def _apply(net: Net, run: _Run, act: Act) -> None:
    if act.verb == "heal":
        # The bad joint makes contact, the stuck part comes free: from here on the machine is whole. A part that was
        # held or left somewhere goes to where the hand has it, or to its usual place; laws then move what they move.
        for edit in run.edits:
            if edit.does in ("stuck", "left"):
                run.state[edit.slot] = run.hands.get(edit.slot, net.initial[edit.slot])
        # A program does not come right by itself, but a force is taken off in one moment.
        run.edits = tuple(e for e in run.edits if e.does == "program" and e.value != "forced")
        run.stuck, run.factors, run.bands = {}, {}, {}
        return
    if act.verb == "wait":
        run.until_ms = run.now_ms + round(float(act.value) * 1000)
        return
    if act.verb == "reset" and any(
        law.var == act.device and run.state[law.var] == law.over and not heat.is_cool(law, run.heat[law.var])
        for law in net.heats
        if law.var in run.heat
    ):
        return  # still hot: it does not latch
    if act.verb in ("lose power", "restore power"):
        value = "off" if act.verb == "lose power" else "on"
        for tag, device in net.circuit.devices.items():
            if device.kind == "supply":
                run.state[tag] = value
        return
    usual = net.initial[act.device]
    value = {
        "press": "pressed", "release": usual, "pull": "pulled", "put": act.value, "open": "off", "close": "on", "test": "tested",
        "trip": "tripped", "reset": usual, "refit": usual,
    }[act.verb]  # fmt: skip
    run.hands[act.device] = value
    if act.device not in run.stuck:
        run.state[act.device] = value


def _react(net: Net, run: _Run) -> _Split | bool:
    """Change the run's state by one reaction; True if anything changed, a split where a band decides."""
    stuck = run.stuck
    if _fast(net, run, stuck) or _limits(net, run, stuck) or _fuse(net, run, stuck, _AT_ONCE):
        return True
    assert run.network is not None
    assert run.network.across is not None
    changes: dict[str, str] = {}
    for law, volts in zip(net.laws, run.network.across, strict=True):
        if law.var in stuck:
            continue
        verdict = _law(run, law, volts)
        if isinstance(verdict, _Split):
            return verdict
        if verdict != run.state[law.var]:
            changes[law.var] = verdict
    for lever in net.interlocks:
        split = _between(run, lever, changes)
        if split is not None:
            return split
    for k, motor in enumerate(net.motors):
        verdict = _motor(net, run, motor, k)
        if isinstance(verdict, _Split):
            return verdict
        if verdict != run.state[motor.var]:
            changes[motor.var] = verdict
    run.state |= changes
    later = delays.moved(net.delays, run.state, run.since, run.now_ms, stuck)
    run.state |= later
    if _scan(net, run, stuck) or changes or later:
        return True
    return _fuse(net, run, stuck, 1.0)


def _fast(net: Net, run: _Run, stuck: Mapping[str, str]) -> bool:
    changed = False
    for law, stress in zip(net.currents, _stress(run), strict=True):
        if not law.fast or law.var in stuck:
            continue
        if run.state[law.var] == law.over:
            if law.again is not None and run.state[law.again.var] in law.again.values:
                run.state[law.var] = law.ok
                changed = True
        elif stress > 1:
            run.state[law.var] = law.over
            changed = True
    return changed


def _fuse(net: Net, run: _Run, stuck: Mapping[str, str], least: float) -> bool:
    """Blow one fuse, the one with the largest ratio of current to what it stands, if that is at least `least`."""
    over = [
        (stress, law)
        for law, stress in zip(net.currents, _stress(run), strict=True)
        if stress >= least and not law.fast and law.var not in stuck and run.state[law.var] == law.ok
    ]
    if not over:
        return False
    _, law = max(over, key=lambda pair: pair[0])
    run.state[law.var] = law.over
    run.visited = set()
    return True


def _stress(run: _Run) -> tuple[float, ...]:
    assert run.network is not None
    assert run.network.stress is not None
    return run.network.stress


def _limits(net: Net, run: _Run, stuck: Mapping[str, str]) -> bool:
    assert run.network is not None
    changed = False
    for law in net.limits:
        if law.var in stuck:
            continue
        k = net.element_index[law.part]
        state = run.state[law.var]
        if state == "on" and amps_through(net, run.network, k)[1] > law.amps:
            run.state[law.var] = "limiting"
            changed = True
        elif state == "limiting":
            element = net.elements[k]
            assert isinstance(element.part, Source)
            volts = volts_between(run.network, "dc", element.a, element.b).real
            if volts >= abs(element.part.volts):
                run.state[law.var] = "on"
                changed = True
    return changed


def _over(run: _Run, key: str, value: float, band: Band) -> bool | _Split:
    """Whether `value` is over a threshold known only as a band; remembers within a run what was decided."""
    band = run.bands.get(key, band)
    if value >= band.high * (1 - _EDGE):
        return True
    if value <= band.low * (1 + _EDGE):
        return False
    return _Split(key, Band(band.low, value), Band(value, band.high), (value - band.low) / (band.high - band.low))


def _law(run: _Run, law: Law, volts: float) -> str | _Split:
    factor = run.factors.get(law.var, 1.0)
    now = run.state[law.var]
    if law.same:
        over = _over(run, law.shares or law.var, volts, law.rise)
    elif now == law.off:
        over = _over(run, f"{law.var} rise", volts, Band(law.rise.low * factor, law.rise.high * factor))
    else:
        over = _over(run, f"{law.var} fall", volts, law.fall)
    if isinstance(over, _Split):
        return over
    if over:
        # A supply in current limit is on; only its own law moves it back.
        return now if now not in (law.off, law.on) else law.on
    return law.off


def _between(run: _Run, lever: InterlockLaw, changes: dict[str, str]) -> _Split | None:
    """Take back what the lever between two armatures does not let in; both at once is a race that either may win."""
    if run.state[lever.var] != "whole":
        return None
    one, other = lever.ends
    for near, far in ((one, other), (other, one)):
        if run.state[far] == "in" and changes.get(near) == "in":
            del changes[near]
    if changes.get(one) == changes.get(other) == "in":
        first = _over(run, f"{lever.var} race", 0.5, Band(0.0, 1.0))
        if isinstance(first, _Split):
            return first
        del changes[other if first else one]
    return None


def _motor(net: Net, run: _Run, law: MotorLaw, number: int) -> str | _Split:
    assert run.network is not None
    assert run.network.windings is not None
    u, v, w = run.network.windings[3 * number : 3 * number + 3]
    forward, backward = (u + A * v + A * A * w) / 3, (u + A * A * v + A * w) / 3
    if max(abs(u), abs(v), abs(w)) < 0.05 * law.rated_amps:
        return "still"
    held = run.state.get(f"{law.var} shaft") == "held" or any(
        run.state[brake] == "set" for brake in net.brakes.get(law.var, ())
    )
    if held:
        return "humming"
    now = run.state[law.var]
    if now in (FORWARD, BACKWARD):
        return now if run.network.slips[number] < STALLED else "humming"
    torque = law.cage.torque_watts(forward, backward, 1.0)
    starts = _over(run, f"{law.var} start", abs(torque) / law.load_watts, START_BAND)
    if isinstance(starts, _Split):
        return starts
    if not starts:
        return "humming"
    return FORWARD if torque > 0 else BACKWARD


def _scan(net: Net, run: _Run, stuck: Mapping[str, str]) -> bool:
    changed = False
    scanner = net.scanner_under(run.edits)
    for cpu in net.cpus:
        if scanner is None:
            continue
        if run.state[cpu.var] != "running":
            outputs: Mapping[str, bool] = dict.fromkeys(cpu.outputs, False)
            memory = scanner.start(run.memory)
        else:
            inputs = {point: run.state[var] == "on" for point, var in cpu.inputs.items()}
            memory, outputs = scanner.scan(run.memory, inputs, run.now_ms)
        if memory != run.memory:
            run.memory = memory
            changed = True
        for point, var in cpu.outputs.items():
            value = "on" if outputs.get(point, False) else "off"
            if var not in stuck and run.state[var] != value:
                run.state[var] = value
                changed = True
    return changed
