"""What every suspect of one machine would answer to what a tree asks, from the tables that belief uses too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.likelihood import Predicted
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Seen, Told, Word
from troubleshoot.evidence.told import COMPLAINT
from troubleshoot.solve.meters import over_range, unit_of

What = Meter | Light | Look
Indices = npt.NDArray[np.intp]


SHORTED: Final = "0.3"
"""What a meter on ohms shows where its points are joined: its leads. Common practice: 0.1 to 0.6 with them."""


@dataclass(frozen=True, slots=True)
class Scope:
    """The suspects under which a complaint is made, with their chance beforehand; the chances sum to 1."""

    suspects: Indices
    chance: Floats


@dataclass
class Answers:
    """One careful person's answers on one machine, without slips. Holds tables, no state."""

    reasoner: Reasoner
    _picked: dict[Situation, Indices] = field(default_factory=dict)
    _said: dict[tuple[Situation, What], tuple[str, ...]] = field(default_factory=dict)

    def scope(self, complaint: str, situation: Situation) -> Scope:
        """Every suspect of the model that shows a complaint rather than not."""
        seen = self.reasoner.complained(complaint, situation)
        chosen = np.flatnonzero((seen > 0.5)[:-1])
        chance = self.reasoner.prior[chosen] * seen[chosen]
        return Scope(chosen, chance / max(float(chance.sum()), 1e-300))

    def complaint(self, complaint: str, situation: Situation) -> Seen:
        """The complaint itself, as a job takes it down."""
        return Seen(Told(COMPLAINT), complaint, complaint, situation, event=1)

    def picked(self, situation: Situation) -> Indices:
        """The likeliest outcome of every suspect. Of a machine found standing, the likeliest in which nothing moves."""
        if situation not in self._picked:
            table = self.reasoner.table(situation)
            weight = table.weight
            if situation.origin == "as-found":
                motors = [m.var for m in self.reasoner.machine.net.motors]
                still = np.array([all(s[m] == "still" for s in o.states for m in motors) for o in table.outcomes])
                weight = weight + still
            best = np.full(len(self.reasoner.machine.suspects), -1, dtype=np.intp)
            for k, owner in enumerate(table.owner):
                if best[owner] < 0 or weight[k] > weight[best[owner]]:
                    best[owner] = k
            self._picked[situation] = best
        return self._picked[situation]

    def said(self, what: What, situation: Situation) -> tuple[str, ...]:
        """What each suspect has a person write down for one thing."""
        key = (situation, what)
        if key not in self._said:
            predicted = self.reasoner.predict(what, situation)
            picked = self.picked(situation)
            if predicted.shown is not None:
                self._said[key] = tuple(str(s) for s in predicted.shown[picked])
            else:
                assert isinstance(what, Meter)
                self._said[key] = tuple(_written(what, predicted, int(k)) for k in picked)
        return self._said[key]

    def prepare(self, items: Sequence[What], situation: Situation) -> None:
        """Compute the readings of one step together."""
        self.reasoner.predict_all([i for i in items if isinstance(i, Meter)], situation)

    def seen(self, what: What, situation: Situation, said: str, *, batch: int) -> Seen:
        """What was written down as an observation."""
        understood: Interval | Word | str = said
        if said == Word.UNSTEADY.value:
            understood = Word.UNSTEADY
        elif isinstance(what, Meter):
            value = np.inf if said == "OL" else float(said)
            understood = Word.OL if said == "OL" else Interval(value, value, unit_of(what.mode))
        return Seen(what, said, understood, situation, batch=batch, event=batch)


def _written(what: Meter, predicted: Predicted, outcome: int) -> str:
    """As it is kept in the head: two figures, tenths of a volt or an ampere below ten, whole ohms.

    Two suspects that part only in a third figure are parted by no meter on a real line.
    """
    if not predicted.steady[outcome]:
        return Word.UNSTEADY.value
    value = abs(float(predicted.value[outcome]))
    if over_range(what.mode, value):
        return "OL"
    if unit_of(what.mode) == "ohm" and value < 1:
        return SHORTED  # leads and tips make up most of it
    return f"{float(f'{value:.2g}'):.0f}" if value >= 10 or unit_of(what.mode) == "ohm" else f"{value:.1f}"
