"""Points that may have been taken for the ones beside them: what a confirming test there would show, and where else to test.

A test that falls on the same mistaken point agrees with the mistake. For each rival of the leader belief says how likely it
is that a point was mistaken, were it that rival; a reading there then tells so much less.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Circuit, Pin
from troubleshoot.diagnosis.information import Labels
from troubleshoot.diagnosis.people import USUAL_VOLTS, beside_again, reads_nothing
from troubleshoot.diagnosis.reasoner import Reasoner, Repaired
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.seen import Meter, Seen, Word
from troubleshoot.solve.meters import NEEDS_DEAD, unit_of

Pair = tuple[Pin, Pin]

LEAST: Final = 1e-6
"""Weight below which an outcome is not thought of a second time."""
DOUBTED: Final = 0.1
"""Chance, over the rivals, from which a point is tested beside it too: below, a second way round is not worth its seconds."""


@dataclass(frozen=True)
class Doubts:
    """Points of which some rival needs that they were mistaken."""

    chance: Mapping[Pin, Floats] = field(default_factory=dict)
    """(suspects,) chance that the point was taken for another, were it that suspect."""
    nothing: Mapping[tuple[Pin, str], bool] = field(default_factory=dict)
    """By point and unit: whether nothing was read there."""

    def split(
        self, chances: Floats, meters: Sequence[Meter], owner: Labels, weight: Floats
    ) -> tuple[Floats, Floats, Labels]:
        """The outcomes once more for each doubted point, had it been mistaken: chances of the readings, weights, and of which
        outcome each is. (items, outcomes, classes), (outcomes,), (outcomes,), the first ones as they were.

        What was mistaken once is so for every reading of a batch: three readings there are one. owner: (outcomes,) suspects.
        """
        # Direct volts where only alternating ones can be say nothing of the point, whichever it is.
        tells = [np.ptp(one.argmax(axis=1)) > 0 for one in chances]
        all_chances, shares, of_which = [chances], [np.ones(len(owner))], [np.arange(len(owner))]
        for pin, chance in self.chance.items():
            so = chance[owner]
            some = np.flatnonzero(so * weight > LEAST)
            unit = unit_of(meters[0].mode)
            dead = beside_again(self.nothing.get((pin, unit)))
            for nothing, share in ((True, dead), (False, 1 - dead)):
                rows = chances[:, some, :].copy()
                for k, meter in enumerate(meters):
                    if tells[k] and pin in (meter.red, meter.black):
                        rows[k] = _beside(meter, chances.shape[2], beside_again(nothing))
                all_chances.append(rows)
                shares.append(so[some] * share)
                of_which.append(some)
            shares[0][some] -= so[some]
        source = np.concatenate(of_which)
        return np.concatenate(all_chances, axis=1), weight[source] * np.maximum(np.concatenate(shares), 0.0), source


def _beside(meter: Meter, count: int, nothing: float) -> Floats:
    """(classes,) how it reads at the other point. Of ohms the last class is no way through; of volts the first is nothing."""
    if meter.mode in NEEDS_DEAD:
        found = np.full(count, (1 - nothing) / (count - 1))
        found[-1] = nothing
        return found
    found = np.full(count, (1 - nothing) * (1 - USUAL_VOLTS) / (count - 2))
    found[0], found[2] = nothing, (1 - nothing) * USUAL_VOLTS
    return found


def doubts(
    reasoner: Reasoner, evidence: Sequence[Seen], repaired: Sequence[Repaired], pins: Iterable[Pin], rivals: Floats
) -> Doubts:
    """Which of some points are in doubt. rivals: (suspects,) weight of what the leader is to be told from; 0 for the leader."""
    read = {one.what.red for one in evidence if isinstance(one.what, Meter)}
    asked = [pin for pin in dict.fromkeys(pins) if pin in read]
    if not asked or not rivals.any():
        return Doubts()
    share = rivals / rivals.sum()
    chance = reasoner.mistaken(evidence, repaired, asked)
    chance = {pin: so for pin, so in chance.items() if float(so @ share) >= DOUBTED}
    nothing: dict[tuple[Pin, str], bool] = {}
    for one in evidence:
        if isinstance(one.what, Meter) and one.understood is not Word.COULDNT:
            found, _ = reads_nothing(one, reasoner.predict(one.what, one.at))
            for pin in (one.what.red, one.what.black):
                nothing.setdefault((pin, unit_of(one.what.mode)), found)
    return Doubts(chance, nothing)


def round_about(circuit: Circuit, pairs: Iterable[Pair], found: Doubts) -> Iterator[Pair]:
    """The same pairs with a doubted end put one conductor, contact or coil further on."""
    beside: dict[Pin, list[Pin]] = {}
    faces = (KINDS[d.kind].faces(d).values() for d in circuit.devices.values())
    tags = list(circuit.devices)
    joined = [(h.a, h.b) for h in circuit.hops]
    joined += [(Pin(tag, a), Pin(tag, b)) for tag, some in zip(tags, faces, strict=True) for a, b in some]
    for a, b in joined:
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    for red, black in pairs:
        yield from ((other, black) for other in beside.get(red, ()) if red in found.chance and other != black)
        yield from ((red, other) for other in beside.get(black, ()) if black in found.chance and other != red)
