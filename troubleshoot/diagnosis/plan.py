"""What to do next: the trip whose readings tell most about the repair for its time, walking, hands and danger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from troubleshoot.circuit.model import Hop, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.candidates import CLASSES, Candidate, Candidates, candidates
from troubleshoot.diagnosis.information import View, alike, batched, narrowed
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


@dataclass
class Planner:
    """Plans over one reasoner; keeps the list of candidate readings of each situation."""

    reasoner: Reasoner
    _lists: dict[Situation, Candidates] = field(default_factory=dict)

    def candidates(self, situation: Situation) -> Candidates:
        """Readings worth considering in one situation."""
        if situation not in self._lists:
            self._lists[situation] = candidates(self.reasoner.table(situation))
        return self._lists[situation]

    def trips(
        self, belief: Floats, situations: Sequence[NamedSituation], *, done: frozenset[tuple[Meter, Situation]] = frozenset(),
        cannot: frozenset[str] = frozenset(), most: int = 3,
    ) -> list[Step]:  # fmt: skip
        """The best trips, best first, at most `most`; empty when nothing left tells the repair groups apart.

        done: readings already taken in a situation; cannot: pins (``K1:14``), places or situations that are out.
        """
        found: list[_Trip] = []
        for named in situations:
            if named.name not in cannot:
                found += self._trips_in(belief, named, done, cannot)
        found.sort(key=lambda trip: -trip.bits / trip.cost)
        picked: list[_Trip] = []
        for trip in found:
            if all(set(trip.meters) != set(other.meters) for other in picked):
                picked.append(trip)
            if len(picked) == most:
                break
        return [self._step(trip) for trip in picked]

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

    def _trips_in(
        self, belief: Floats, named: NamedSituation, done: frozenset[tuple[Meter, Situation]], cannot: frozenset[str]
    ) -> list[_Trip]:
        situation = named.situation
        lists = self.candidates(situation)
        view = self.view(self.reasoner.table(situation), belief)
        usable = [
            k for k, c in enumerate(lists.items)
            if (c.meter, situation) not in done
            and not {str(c.meter.red), str(c.meter.black), c.place} & cannot
        ]  # fmt: skip
        if not usable or not len(view.outcomes):
            return []
        # Alike by all that is worth asking here: also by what is left of it.
        cases = narrowed(view, lists.alike[view.outcomes])
        chances = lists.chances[np.array(usable)[:, None], view.outcomes[cases.first][None, :], :]
        out: list[_Trip] = []
        # One best trip for each way of standing there: place and where black is parked.
        stands: dict[tuple[str, str, str], list[int]] = {}
        for i, k in enumerate(usable):
            stands.setdefault(_stand(lists.items[k]), []).append(i)
        for inside in stands.values():
            batch, bits = batched(chances, cases, inside, inside, MOST_READINGS, WORTH_BITS, WORTH_BITS)
            if batch:
                items = tuple(usable[i] for i in batch)
                cost = self._cost(named, [lists.items[k] for k in items])
                out.append(_Trip(named, items, tuple(lists.items[k].meter for k in items), bits, cost, view))
        return out

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
        words = f"{_capital(trip.named.words)}, at {self.reasoner.machine.circuit.places[items[0].place].words}"
        return Step(
            "measure", "engine " + " ".join(f"{c.meter.red}>{c.meter.black}" for c in items) + f" {trip.named.name}",
            tuple(c.meter for c in items), trip.named, words, _why(trip.bits, trip.view), look_ahead(chances, trip.view),
            cost=trip.cost, bits=trip.bits,
        )  # fmt: skip


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


def look_ahead(chances: Floats, view: View, most: int = 3) -> tuple[str, ...]:
    """The likeliest results of a batch and which repairs each would leave, one line each."""
    patterns: dict[tuple[int, ...], Floats] = {}
    best = chances.argmax(axis=2)
    for o in range(best.shape[1]):
        key = tuple(int(c) for c in best[:, o])
        patterns.setdefault(key, np.zeros(len(view.names)))[view.group[o]] += view.weight[o]
    ranked = sorted(patterns.items(), key=lambda pair: -pair[1].sum())[:most]
    lines = []
    for key, groups in ranked:
        names = [view.names[g] for g in np.argsort(-groups) if groups[g] > 0.05 * groups.sum()][:3]
        lines.append(f"{pattern_words(key)}: {'; '.join(names)}")
    return tuple(lines)


def pattern_words(key: Sequence[int]) -> str:
    """``all right``, ``1 right, 2 and 3 nothing``."""
    if len(set(key)) == 1:
        word = CLASSES[key[0]]
        return word if len(key) == 1 else f"all {word}"
    parts = []
    for k in dict.fromkeys(key):
        numbers = [str(i + 1) for i, other in enumerate(key) if other == k]
        parts.append(f"{' and '.join(numbers)} {CLASSES[k]}")
    return ", ".join(parts)
