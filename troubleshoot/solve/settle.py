"""From a situation and a set of edits to what the machine does: one to four weighted outcomes.

Inputs latched, program scanned, outputs written, coils and contacts moved, until nothing changes; electronic stages act
at once, fuses last (in a bolted short before any armature) and one at a time, largest overcurrent first. Thresholds are
bands: where a quantity falls inside one, both answers go on, weighted. A machine that does not come to rest (a contactor
through its own break contact) is an answer too. Time is virtual.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from troubleshoot.circuit.kinds.base import Band
from troubleshoot.circuit.model import Situation
from troubleshoot.solve.chatter import period_s
from troubleshoot.solve.codes import Book, Codes, book_of, stacked
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.developing import Run
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.glimpsing import forget
from troubleshoot.solve.histories import Faulty, Script, faulty_of, scripts_of
from troubleshoot.solve.lockstep import Key, settled
from troubleshoot.solve.network import Network, networks_at
from troubleshoot.solve.sides import Laid

MOST_OUTCOMES = 4


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


def settle(net: Net, edits: Sequence[Edit], situation: Situation) -> tuple[Outcome, ...]:
    """What the machine does in one situation with one set of edits. See `settle_many`."""
    return settle_many(net, [(tuple(edits), situation)])[0]


def settle_many(net: Net, cases: Sequence[tuple[tuple[Edit, ...], Situation]]) -> list[tuple[Outcome, ...]]:
    """Settle many (edits, situation) cases in lockstep, each distinct network solved once.

    Returns, per case, one to four outcomes with weights summing to 1, heaviest first. Pure but for the cache on `net`.
    """
    ends = _ends(net, cases)
    runs = list({id(run): run for group in ends for run, _ in group}.values())
    stands = [(codes, run.faulty.laid) for run in runs for codes in (run.codes, *run.moments)]
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

    def of(run: Run) -> tuple[Mapping[str, str], ...]:
        every = (run.codes, *run.moments)
        content = b"".join(codes.tobytes() for codes in every)
        if content not in known:
            known[content] = tuple(map(states.of, every))
        return known[content]

    forget(net)
    return [tuple(Standing(of(run), share) for run, share in group) for group in ends]


def _ends(net: Net, cases: Sequence[tuple[tuple[Edit, ...], Situation]]) -> list[list[tuple[Run, float]]]:
    """Of each case the runs it ends in, the heaviest few, with the chance of each."""
    scripts: dict[int, list[Script]] = {}
    faulties: dict[int, Faulty] = {}
    histories: list[list[Key]] = []
    for edits, situation in cases:
        if id(situation) not in scripts:
            scripts[id(situation)] = scripts_of(net, situation)
        if id(edits) not in faulties:
            faulties[id(edits)] = faulty_of(net, edits)
        faulty = faulties[id(edits)]
        histories.append([(faulty, script) for script in scripts[id(situation)]])
    ends = settled(net, dict.fromkeys(key for history in histories for key in history))
    return [
        _heaviest_ends([(run, run.weight / len(history)) for key in history for run in ends[key]])
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
    return networks_at(net, stacked([codes for codes, _ in states]), [laid for _, laid in states])


def _heaviest_ends(group: list[tuple[Run, float]]) -> list[tuple[Run, float]]:
    """Runs that stand alike added up; the heaviest, whose chances then sum to 1."""
    if len(group) == 1:
        return [(group[0][0], 1.0)]
    merged: dict[object, tuple[Run, float]] = {}
    for run, share in group:
        # Two that chatter may meet in one moment and differ in the next: a brake that lifts in one of them.
        round_ = tuple(codes.tobytes() for codes in run.moments)
        key = (run.codes.tobytes(), run.memory.memory, run.settled, round_)
        old = merged.get(key)
        merged[key] = (run, share) if old is None else (old[0], old[1] + share)
    best = sorted(merged.values(), key=lambda found: -found[1])[:MOST_OUTCOMES]
    total = sum(share for _, share in best)
    return [(run, share / total) for run, share in best]
