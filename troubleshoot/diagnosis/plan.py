"""What to do next: the trip whose readings tell most about the repair for its time, walking, hands and danger."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.model import Hop, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.candidates import CLASSES, Candidate, Candidates, candidates
from troubleshoot.diagnosis.information import Cases, View, batched, narrowed, of_the_case
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.step import Step
from troubleshoot.diagnosis.tables import Floats, Table
from troubleshoot.evidence.seen import Meter

MOST_READINGS = 3
"""Readings per opening of the door: what a person holds in the head (measured: 1.7 trips against 3.1 questions)."""
WORTH_BITS = 0.03
"""Below this much information about the repair a trip is not worth its danger."""
FEW = 1e-4
"""Suspects below this chance are left out of planning, never out of belief."""

DOOR_S, CAUTION_S, HELPER_S, READING_S, MOVED_BLACK_S, CLAMP_S = 20.0, 15.0, 40.0, 12.0, 6.0, 15.0
"""Seconds of a careful person. Common practice, no published source."""


@dataclass(frozen=True, slots=True)
class _Trip:
    """A trip that may be chosen; its words are made once it is."""

    named: NamedSituation
    items: tuple[int, ...]
    """Numbers in the list of candidates."""
    meters: tuple[Meter, ...]
    bits: float
    cost: float
    view: View

    @property
    def worth(self) -> float:
        """Bits a second."""
        return self.bits / self.cost


@dataclass(frozen=True, slots=True)
class _Stand:
    """A place and a black lead, and what can be read from there."""

    named: NamedSituation
    items: list[int]
    """Numbers in the list of candidates."""
    chances: Floats
    """(items, cases, classes)."""
    cases: Cases
    view: View
    most: float
    """Bits a second that no trip from here can exceed."""


@dataclass
class Planner:
    """Plans over one reasoner; keeps the list of candidate readings of each situation."""

    reasoner: Reasoner
    lists: dict[Situation, Candidates] = field(default_factory=dict)
    """What may be read in a situation: no prior is in it."""

    def candidates(self, situation: Situation) -> Candidates:
        """Readings worth considering in one situation."""
        if situation not in self.lists:
            self.lists[situation] = candidates(self.reasoner.table(situation))
        return self.lists[situation]

    def trips(
        self, belief: Floats, situations: Sequence[NamedSituation], *, done: frozenset[tuple[Meter, Situation]] = frozenset(),
        cannot: frozenset[str] = frozenset(), most: int = 3,
    ) -> list[Step]:  # fmt: skip
        """The best trips, best first, at most `most`; empty when nothing left tells the repair groups apart.

        done: readings already taken in a situation; cannot: pins (``K1:14``), places or situations that are out.
        """
        stands = [
            stand
            for named in situations
            if named.name not in cannot
            for stand in self._stands(belief, named, done, cannot)
        ]
        found: list[tuple[int, _Trip]] = []
        picked: list[_Trip] = []
        # What could tell most for its seconds comes first: what cannot come among the best any more is not reckoned.
        for number in sorted(range(len(stands)), key=lambda k: -stands[k].most):
            if len(picked) == most and stands[number].most < picked[-1].worth:
                break
            trip = self._trip(stands[number])
            if trip is not None:
                found.append((number, trip))
                picked = _best(found, most)
        return [self._step(trip) for trip in picked]

    def seconds(self, named: NamedSituation, meters: tuple[Meter, ...]) -> float:
        """What a trip with these readings costs a careful person. Raises KeyError for one that is no candidate there."""
        lists = self.candidates(named.situation)
        known = {item.meter: item for item in lists.items}
        return self._cost(named, [known[meter] for meter in meters])

    def trip_of(self, belief: Floats, named: NamedSituation, meters: tuple[Meter, ...]) -> Step | None:
        """A trip with just these readings, said as any other; None where nobody can take them without moving."""
        for stand in self._stands(belief, named, frozenset(), frozenset()):
            lists = self.candidates(named.situation)
            at = [i for i, k in enumerate(stand.items) if lists.items[k].meter in meters]
            if len(at) != len(meters):
                continue
            _, bits = batched(stand.chances, stand.cases, at, at, len(at), 0.0, 0.0)
            items = tuple(stand.items[i] for i in at)
            cost = self._cost(named, [lists.items[k] for k in items])
            return self._step(_Trip(named, items, tuple(lists.items[k].meter for k in items), bits, cost, stand.view))
        return None

    def view(self, table: Table, belief: Floats) -> View:
        """Outcomes of the suspects that still matter, weighed, with their repair group."""
        suspects = self.reasoner.machine.suspects
        keep = belief[table.owner] > FEW
        outcomes = np.flatnonzero(keep)
        names = tuple(dict.fromkeys(suspects[k].group for k in table.owner[outcomes]))
        number = {name: k for k, name in enumerate(names)}
        group = np.array([number[suspects[k].group] for k in table.owner[outcomes]], dtype=np.intp)
        weight = belief[table.owner[outcomes]] * table.weight[outcomes]
        return View(outcomes, weight / weight.sum(), group, names)

    def _stands(
        self, belief: Floats, named: NamedSituation, done: frozenset[tuple[Meter, Situation]], cannot: frozenset[str]
    ) -> Iterator[_Stand]:
        """Every way of standing somewhere, place and where black is parked, with all that may be read there."""
        lists = self.candidates(named.situation)
        view = self.view(self.reasoner.table(named.situation), belief)
        had = {meter for meter, where in done if where == named.situation}
        usable = [
            k for k, c in enumerate(lists.items)
            if c.meter not in had and (not cannot or not {str(c.meter.red), str(c.meter.black), c.place} & cannot)
        ]  # fmt: skip
        if not usable or not len(view.outcomes):
            return
        # Alike by all that is worth asking here: also by what is left of it.
        cases = narrowed(view, lists.alike[view.outcomes])
        chances = lists.chances[np.array(usable)[:, None], view.outcomes[cases.first][None, :], :]
        told = of_the_case(chances, cases)
        stands: dict[tuple[str, str, str], list[int]] = {}
        for i, k in enumerate(usable):
            stands.setdefault(_stand(lists.items[k]), []).append(i)
        for inside in stands.values():
            items = [usable[i] for i in inside]
            # Readings err each for themselves: together they tell no more of the case, and so of the repair, than in sum.
            best = np.sort(told[inside])[::-1][:MOST_READINGS].cumsum()
            cheapest = min(self._cost(named, [lists.items[k]]) for k in items)
            costs = cheapest + READING_S * np.arange(len(best))
            yield _Stand(named, items, chances[inside], cases, view, float((best / costs).max()))

    def _trip(self, stand: _Stand) -> _Trip | None:
        every = list(range(len(stand.items)))
        batch, bits = batched(stand.chances, stand.cases, every, every, MOST_READINGS, WORTH_BITS, WORTH_BITS)
        if not batch:
            return None
        lists = self.candidates(stand.named.situation)
        items = tuple(stand.items[i] for i in batch)
        cost = self._cost(stand.named, [lists.items[k] for k in items])
        return _Trip(stand.named, items, tuple(lists.items[k].meter for k in items), bits, cost, stand.view)

    def _cost(self, named: NamedSituation, items: Sequence[Candidate]) -> float:
        place = self.reasoner.machine.circuit.places[items[0].place]
        cost = place.walk_s + (DOOR_S if place.door else 0.0) + CAUTION_S + HELPER_S * (named.hands - 1)
        return cost + sum(
            READING_S + (0.0 if c.parked else MOVED_BLACK_S) + (CLAMP_S if c.meter.mode == "amps" else 0.0)
            for c in items
        )

    @cached_property
    def _order(self) -> dict[Pin, int]:
        return {pin: k for k, pin in enumerate(_along(self.reasoner.machine.circuit.hops))}

    def _step(self, trip: _Trip) -> Step:
        lists = self.candidates(trip.named.situation)
        # Walk the points in the order in which they sit along the wire, so that the answers read as a story.
        numbers = sorted(trip.items, key=lambda k: self._order.get(lists.items[k].meter.red, 0))
        items = [lists.items[k] for k in numbers]
        chances = lists.chances[np.array(numbers)][:, trip.view.outcomes, :]
        whole = self.reasoner.table(trip.named.situation).healthy
        dead = lists.chances[np.array(numbers), whole].argmax(axis=1) == CLASSES.index("nothing")
        words = f"{_capital(trip.named.words)}, at {self.reasoner.machine.circuit.places[items[0].place].words}"
        return Step(
            "measure", "engine " + " ".join(f"{c.meter.red}>{c.meter.black}" for c in items) + f" {trip.named.name}",
            tuple(c.meter for c in items), trip.named, words, _why(trip.bits, trip.view), look_ahead(chances, trip.view, dead),
            cost=trip.cost, bits=trip.bits,
        )  # fmt: skip


def _best(found: Sequence[tuple[int, _Trip]], most: int) -> list[_Trip]:
    """The best of them that do not read the same; of two alike the one that was thought of first."""
    picked: list[_Trip] = []
    for _, trip in sorted(found, key=lambda one: (-one[1].worth, one[0])):
        if len(picked) < most and all(set(trip.meters) != set(other.meters) for other in picked):
            picked.append(trip)
    return picked


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _stand(c: Candidate) -> tuple[str, str, str]:
    return (c.place, c.meter.mode, str(c.meter.black) if c.parked else "")


def _along(hops: Sequence[Hop]) -> list[Pin]:
    out: dict[Pin, None] = {}
    for hop in hops:
        out[hop.a] = None
        out[hop.b] = None
    return list(out)


def _why(bits: float, view: View) -> str:
    count = len([1 for g in range(len(view.names)) if view.weight[view.group == g].sum() > 0.005])
    share = "halves" if 0.8 <= bits <= 1.3 else "narrows" if bits < 0.8 else "splits"
    into = max(2, round(2**bits))
    return (
        f"This {share} the {count} repairs still likely, about {into} ways."
        if bits >= 0.8
        else f"This narrows the {count} repairs still likely a little; nothing else tells more for the walk."
    )


def look_ahead(
    chances: Floats, view: View, dead: npt.NDArray[np.bool_] | None = None, most: int = 3
) -> tuple[str, ...]:
    """The likeliest results of a batch and which repairs each would leave, one line each.

    dead: (items,) whether nothing should be there. What is read there is then neither low nor right, whatever the supply
    has: it is volts.
    """
    read = chances.argmax(axis=2)
    if dead is not None:
        there = dead[:, None] & (read > CLASSES.index("nothing")) & (read <= CLASSES.index("high"))
        read = np.where(there, _SAID.index(VOLTS), read)
    patterns, first, which = np.unique(read.T, axis=0, return_index=True, return_inverse=True)
    weights = np.zeros((len(patterns), len(view.names)))
    np.add.at(weights, (which.reshape(-1), view.group), view.weight)
    ranked = sorted(range(len(patterns)), key=lambda k: (-weights[k].sum(), first[k]))[:most]
    lines = []
    for key, groups in ((tuple(patterns[k].tolist()), weights[k]) for k in ranked):
        names = [view.names[g] for g in np.argsort(-groups) if groups[g] > 0.05 * groups.sum()][:3]
        lines.append(f"{pattern_words(key)}: {'; '.join(names)}")
    return tuple(lines)


VOLTS: Final = "volts where none should be"
_SAID: Final = (*CLASSES, VOLTS)


def pattern_words(key: Sequence[int]) -> str:
    """``all right``, ``1 right, 2 and 3 nothing``."""
    if len(set(key)) == 1:
        word = _SAID[key[0]]
        return word if len(key) == 1 else f"all {word}"
    parts = []
    for k in dict.fromkeys(key):
        numbers = [str(i + 1) for i, other in enumerate(key) if other == k]
        parts.append(f"{' and '.join(numbers)} {_SAID[k]}")
    return ", ".join(parts)
