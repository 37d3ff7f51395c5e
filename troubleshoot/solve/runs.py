"""The capacitances of conductors that lie side by side, as branches of the network.

Half of each stands at either end of the hops (a pi), so that a break in the middle leaves half of it on each side; the
wire's own resistance is far too small to matter. In a small bundle every pair has its branch. In a large one each
conductor has one to an inner point instead: a star of n equal legs of n C each is exactly the mesh of n (n - 1) / 2 times
C between them (star-mesh transformation, Rosen 1924, from memory), and the pairs of one bundle are all equal here.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Final

from troubleshoot.circuit.model import Circuit, Hop, Run
from troubleshoot.circuit.runs import touching

MOST_PAIRED: Final = 5
"""Conductors in a bundle up to which every pair has its own branch; 5 have 10 pairs. A star has an inner point, which
like every node leaks a nanosiemens to earth: 0.05 % of what six conductors of 10 m in a conduit carry to each other."""

Coupling = tuple[str, str, str, float]
"""Slot, both ends by node name, farads."""


def couplings(circuit: Circuit) -> Iterator[Coupling]:
    """Every capacitance of every run. The ends are terminals, ``@earth``, or ``@run 1 near`` for the middle of a star."""
    hops = {hop.id: hop for hop in circuit.hops}
    for number, run in enumerate(circuit.runs, 1):
        laid = [_ends(circuit, hops[name], hops[run.hops[0]]) for name in run.hops]
        for k, end in enumerate(("near", "far")):
            yield from _bundle(f"run {number} {end}", [ends[k] for ends in laid], run)


def _ends(circuit: Circuit, hop: Hop, first: Hop) -> tuple[str, str]:
    """Its ends in the direction of the first conductor, by the places they are at; as written where that does not say."""
    a, b = (circuit.devices[pin.device].place for pin in (hop.a, hop.b))
    begins = circuit.devices[first.a.device].place
    return (str(hop.b), str(hop.a)) if b == begins != a else (str(hop.a), str(hop.b))


def _bundle(name: str, pins: list[str], run: Run) -> Iterator[Coupling]:
    count = len(pins)
    pair = run.to_neighbour * run.metres / 2 * touching(count)
    earth = run.to_earth * run.metres / 2
    if earth:
        yield from ((f"{name} {pin} to earth {k}", pin, "@earth", earth) for k, pin in enumerate(pins))
    if not pair:
        return
    if count > MOST_PAIRED:
        yield from ((f"{name} {pin} to all {k}", pin, f"@{name}", count * pair) for k, pin in enumerate(pins))
        return
    for k, (a, b) in enumerate(combinations(pins, 2)):
        if a != b:  # two hops of one number that meet in a terminal
            yield f"{name} {a} to {b} {k}", a, b, pair
