"""What a meter shows, its own burden included.

For one reading whose meter might itself move something (a low-impedance meter across an open start button), lay the
meter in the network with `Net.with_meter` and settle. For tables of many readings of a high-impedance meter, the same
number follows from open-circuit volts and the impedance between the points, as long as nothing moves; `bulk` does that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.network import Floats, Network, amps_through, solve_all, transfer, volts_between
from troubleshoot.solve.settle import Outcome, settle

Mode = Literal["ac volts", "dc volts", "low-impedance volts", "ohms", "amps"]

INPUT_OHMS = 10e6
"""Volts input of a multimeter: 10 megohm (its 100 pF matters only for stray voltage). Common practice."""
LOW_OHMS = 3000.0
"""Low-impedance volts: about 3 kilohm."""
FLOATING_OHMS = 1e6
"""Above this impedance between its points a volts reading means little: stray coupling decides it."""
OPEN_OHMS = 40e6
"""Above this an ohmmeter shows OL."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One computed reading of one outcome."""

    value: float
    """Volts, ohms or amperes; AC as r.m.s. magnitude, DC signed, ohms `inf` for OL."""
    floating: bool
    """The points are held by nothing stiffer than FLOATING_OHMS."""


def burden(mode: Mode) -> float:
    """Ohms the meter puts between its leads in a volts mode."""
    return LOW_OHMS if mode == "low-impedance volts" else INPUT_OHMS


def read(
    net: Net, edits: Sequence[Edit], situation: Situation, mode: Mode, red: Pin, black: Pin
) -> tuple[tuple[Reading, Outcome], ...]:
    """The reading of each outcome, the meter being part of the network while everything settles."""
    if mode in ("ohms", "amps"):
        return tuple((_passive(net, o.network, mode, red, black), o) for o in settle(net, edits, situation))
    ohms = burden(mode)
    metered = net.with_meter(red, black, complex(ohms), ohms)
    return tuple((_shown(mode, metered, o.network, red, black), o) for o in settle(metered, edits, situation))


def _shown(mode: Mode, net: Net, network: Network, red: Pin, black: Pin) -> Reading:
    a, b = net.node(red), net.node(black)
    ac = abs(volts_between(network, "ac", a, b))
    dc = volts_between(network, "dc", a, b).real
    k = net.element_index["meter"]
    between = []
    for kind in ("ac", "dc"):
        z = transfer(net, [network], kind, (a, b))[:, :, 0]
        own = float(np.real(network.ac_s[k] if kind == "ac" else network.dc_s[k]))
        # Impedance of the circuit without the meter: take the meter's own conductance out of the parallel.
        with_meter = abs(z[0, 0] + z[1, 1] - z[0, 1] - z[1, 0])
        between.append(math.inf if with_meter * own >= 1 - 1e-9 else with_meter / (1 - with_meter * own))
    value = {"ac volts": ac, "dc volts": dc, "low-impedance volts": max(ac, abs(dc))}[mode]
    return Reading(value, bool((between[1] if mode == "dc volts" else between[0]) > FLOATING_OHMS))


def _passive(net: Net, network: Network, mode: Mode, red: Pin, black: Pin) -> Reading:
    if mode == "amps":
        value = clamp(net, network, red, black)
        return Reading(value, False)
    z = transfer(net, [network], "dc", (net.node(red), net.node(black)))[:, :, 0]
    ohms = float(z[0, 0] + z[1, 1] - z[0, 1] - z[1, 0])
    return Reading(ohms if ohms < OPEN_OHMS else math.inf, False)


def conductor(net: Net, red: Pin, black: Pin) -> int | None:
    """Element number of the conductor between two pins, None where there is none."""
    for hop_id, hop in net.hops.items():
        if {hop.a, hop.b} == {red, black}:
            return net.element_index[hop_id]
    return None


def clamp(net: Net, network: Network, red: Pin, black: Pin) -> float:
    """Amperes r.m.s. in the conductor from red to black (AC clamp); 0 where there is no conductor."""
    k = conductor(net, red, black)
    return 0.0 if k is None else abs(amps_through(net, network, k)[0])


@dataclass(frozen=True, slots=True)
class Table:
    """Readings of many pairs in many networks: value and floating, both (pairs, networks)."""

    value: Floats
    floating: np.typing.NDArray[np.bool_]


def bulk(net: Net, networks: Sequence[Network], mode: Mode, pairs: Sequence[tuple[Pin, Pin]]) -> Table:
    """`read` for many pairs and already settled networks, as long as the meter moves nothing.

    V = V_open * Z_meter / (Z_meter + Z_between), the exact voltage divider (Thevenin). Returns one column a network.
    """
    solve_all(net, networks)
    if mode == "amps":
        values = np.array([[clamp(net, n, red, black) for n in networks] for red, black in pairs])
        return Table(values.reshape(len(pairs), len(networks)), np.zeros((len(pairs), len(networks)), np.bool_))
    nodes = sorted({net.node(p) for pair in pairs for p in pair})
    place = {node: k for k, node in enumerate(nodes)}
    a = np.array([place[net.node(red)] for red, _ in pairs], dtype=np.intp)
    b = np.array([place[net.node(black)] for _, black in pairs], dtype=np.intp)
    kind = "ac" if mode in ("ac volts", "low-impedance volts") else "dc"
    z = transfer(net, networks, kind, nodes)
    between = z[a, a] + z[b, b] - z[a, b] - z[b, a]
    if mode == "ohms":
        ohms = np.real(between)
        return Table(np.where(ohms < OPEN_OHMS, ohms, np.inf), np.zeros(ohms.shape, np.bool_))
    index = np.array(nodes, dtype=np.intp)
    volts = np.stack([n.volts(kind)[index] for n in networks], axis=1)
    shown = (volts[a] - volts[b]) / (1 + between / burden(mode))
    value = np.abs(shown) if kind == "ac" else np.real(shown)
    if mode == "low-impedance volts":
        return Table(value.astype(np.float64), np.zeros(value.shape, np.bool_))  # its burden holds the points by itself
    return Table(value.astype(np.float64), np.abs(between) > FLOATING_OHMS)
