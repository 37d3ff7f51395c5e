"""How much a point that nothing drives may read: a range, since nobody knows what runs beside it, or how far.

The one place that says so; `expect`, the words of what a reading should be and the likelihood of what was seen all ask
here. Where the circuit file says what shares a conduit (`runs`), the reading is computed, and the range is what a maker's
insulation leaves open. A real source holds its volts on a low-impedance meter; what stands here collapses on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Branch
from troubleshoot.circuit.model import Pin
from troubleshoot.circuit.runs import USUAL
from troubleshoot.solve.compiled import Net, frequency
from troubleshoot.solve.elimination import EARTH
from troubleshoot.solve.meters import INPUT_FARADS, RANGES, Mode
from troubleshoot.solve.network import Network

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.intp]

STIFF_S: Final = 1e-5
"""Siemens below which a branch does not hold a point against stray coupling."""
LIVE_NEIGHBOURS: Final = 3
"""Live conductors of one phase that plausibly touch a dead one all along. Two give 78 V beside 120 V, a maker of meters
says "up to about half" of the neighbour's volts, three are the most that is met. Common practice."""
LONGER: Final = 3.0
"""A length that nobody measured may be this many times as long as the file has it. Judgement."""
RUN_SPREAD: Final = 0.3
"""How far the capacitance of a described run may be off the usual one, either way. Judgement, from the ranges met."""
LEAKAGE_SHARE: Final = 0.75
"""Share of the DC volts that damp insulation may let a DC range of 10 megohm see. Judgement, no published source."""
DRIFT: Final = {"ac": 5.0, "dc": 1.0}
"""Volts that a range with nothing on its leads may wander (0.1 to 5 V AC: common practice)."""


def islands(net: Net, networks: Sequence[Network]) -> Labels:
    """(nodes + 1, networks) label of the stiffly connected island of every node; the last row is earth."""
    ends = net.plan.element_nodes
    count = len(net.nodes)
    labels = np.tile(np.arange(count + 1, dtype=np.intp)[:, None], (1, len(networks)))
    stiff = np.stack([np.maximum(np.abs(n.ac_s), n.dc_s) > STIFF_S for n in networks], axis=1)
    # The crosswise branches of a transformer couple its windings, a capacitance couples wires; they hold no point.
    coupling = [k for k, e in enumerate(net.elements) if isinstance(e.part, Branch) and np.isinf(e.part.dc)]
    stiff[coupling] = False
    a, b = ends[:, 0] % (count + 1), ends[:, 1] % (count + 1)
    earthed = np.zeros((count, len(networks)), np.bool_)
    for k, network in enumerate(networks):
        for node, _ in network.earth:
            earthed[node, k] = True
    columns = np.arange(len(networks))
    while True:
        before = labels.copy()
        for e in range(len(a)):
            low = np.minimum(labels[a[e]], labels[b[e]])
            labels[a[e]] = np.where(stiff[e], low, labels[a[e]])
            labels[b[e]] = np.where(stiff[e], low, labels[b[e]])
        for node in np.flatnonzero(earthed.any(axis=1)).tolist():
            low = np.minimum(labels[node], labels[count])
            labels[node] = np.where(earthed[node], low, labels[node])
            labels[count] = np.where(earthed[node], low, labels[count])
        labels = labels[labels, columns]
        if np.array_equal(before, labels):
            return labels


def span(
    net: Net, networks: Sequence[Network], labels: Labels, mode: Mode, pairs: Sequence[tuple[Pin, Pin]], value: Floats
) -> tuple[Floats, Floats]:
    """The least and the most that each reading may be if it floats; both (pairs, networks), volts.

    labels: from `islands`; value: (pairs, networks), as computed, right where the runs are described.
    """
    red = np.array([net.node(r) for r, _ in pairs], dtype=np.intp)
    black = np.array([net.node(b) for _, b in pairs], dtype=np.intp)
    metres, described = _wires(net, networks, labels)
    columns = np.arange(len(networks))
    earth = labels[EARTH]
    length, known = np.zeros(value.shape), np.zeros(value.shape, np.bool_)
    for ends in (red, black):
        mine = labels[ends]
        held = mine == earth
        length = np.maximum(length, np.where(held, 0.0, metres[mine, columns]))
        known |= ~held & described[mine, columns]
    most = np.zeros(value.shape)
    if RANGES[mode].shows_ac:
        most = np.maximum(_coupled(net, mode, length * LONGER) * _live(networks, "ac", black), _drift(mode, "ac"))
    if RANGES[mode].shows_dc and not RANGES[mode].loads:
        most = np.maximum(most, np.maximum(LEAKAGE_SHARE * _live(networks, "dc", black), _drift(mode, "dc")))
    size = np.abs(value)
    return (
        np.where(known, size * (1 - RUN_SPREAD), 0.0),
        np.where(known, np.maximum(size * (1 + RUN_SPREAD), _drift(mode, "dc")), np.maximum(most, size)),
    )


def _drift(mode: Mode, kind: str) -> float:
    return 0.1 if RANGES[mode].loads else DRIFT[kind]


def _coupled(net: Net, mode: Mode, metres: Floats) -> Floats:
    """Share of the volts of live neighbours that a wire of so many metres shows on this meter."""
    omega, usual = 2 * math.pi * frequency(net.circuit), USUAL["conduit"]
    near = LIVE_NEIGHBOURS * usual.to_neighbour * metres
    loaded = 1 / RANGES[mode].ohms + 1j * omega * (near + usual.to_earth * metres + INPUT_FARADS)
    share: Floats = omega * near / np.abs(loaded)
    return share


def _live(networks: Sequence[Network], kind: str, black: npt.NDArray[np.intp]) -> Floats:
    """(pairs, networks) the largest volts anywhere against each black point."""
    volts = np.stack([n.volts(kind) for n in networks], axis=1)
    most = {node: np.abs(volts - volts[node]).max(axis=0) for node in dict.fromkeys(black.tolist())}
    return np.stack([most[node] for node in black.tolist()]).astype(np.float64)


def _wires(net: Net, networks: Sequence[Network], labels: Labels) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """(nodes + 1, networks), by label of an island: metres of conductor that hang on it; whether a run describes any.

    Of a broken conductor each end has half.
    """
    metres, described = np.zeros(labels.shape), np.zeros(labels.shape, np.bool_)
    columns = np.arange(len(networks))
    in_runs = {name for run in net.circuit.runs for name in run.hops}
    for name, hop in net.hops.items():
        for pin in (hop.a, hop.b):
            mine = labels[net.node(pin)]
            metres[mine, columns] += hop.metres / 2
            if name in in_runs:
                described[mine, columns] = True
    return metres, described
