"""How fast a machine that does not come to rest comes and goes: the armatures' own times, added up round the circle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from troubleshoot.circuit.kinds.base import Band
from troubleshoot.solve.compiled import Net


def period_s(net: Net, states: Sequence[Mapping[str, str]]) -> Band | None:
    """Seconds from one moment of a chatter to the same again, as a band; None where nothing that takes time moves.

    states: every moment of it, in order. What moves in the same step moves at once: the slowest of it counts.
    """
    laws = {law.var: law for law in net.laws}
    low = high = 0.0
    for before, after in pairwise((*states, states[0])):
        moved = [laws[var] for var, value in after.items() if value != before[var] and var in laws]
        times = [law.on_s if after[law.var] == law.on else law.off_s for law in moved]
        low += max((band.low for band in times), default=0.0)
        high += max((band.high for band in times), default=0.0)
    return Band(low, high) if high > 0 else None
