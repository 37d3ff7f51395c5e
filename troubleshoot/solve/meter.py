"""What a meter shows, its own burden included.

For one reading whose meter might itself move something (a low-impedance meter across an open start button), lay the
meter in the network with `Net.with_meter` and settle. For tables of many readings of a high-impedance meter, the same
number follows from open-circuit volts and the impedance between the points, as long as nothing moves; `bulk` does that.

Behind a rectifier an AC range, which blocks DC, still sees the ripple; a DC range averages it away; AC+DC adds both as
squares. Ranges, their burden and accuracy are in `meters`.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.solve.columns import Floats
from troubleshoot.solve.compiled import LAID, Net, frequency, meter_name
from troubleshoot.solve.converters import computed, domain, ports_of
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import EARTH
from troubleshoot.solve.meters import INPUT_FARADS, OPEN_OHMS, RANGES, Mode, over_range, unit_of
from troubleshoot.solve.network import Network, amps_through, solve_all, transfer, volts_between
from troubleshoot.solve.settle import Outcome, Standing, settle, standing_many
from troubleshoot.solve.stray import islands, span

BEHIND: Final = "one point lies behind a rectifier and the other does not: measure there across only"
LIVE: Final = "the points are live: ohms, continuity and insulation only on what is isolated and proved dead"
LIVE_VOLTS: Final = 1.0
"""Volts between its points, or to earth for an insulation tester, at which such a meter is refused."""
FLOATING_OHMS = 1e6
"""Above this impedance between its points a volts reading means little: stray coupling decides it."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One computed reading of one outcome."""

    value: float
    """Volts, ohms or amperes; AC as r.m.s. magnitude, DC signed, `inf` for OL; `nan` where it is not computed."""
    floating: bool
    """The points are held by nothing stiffer than FLOATING_OHMS."""
    refused: str = ""
    """Why there is no reading; empty where there is one."""
    span: tuple[float, float] | None = None
    """Where it floats, the least and the most that it may show (`stray`)."""


def burden(net: Net, mode: Mode) -> tuple[complex, float]:
    """Ohms the meter puts between its leads in a volts mode: at the supply's frequency, its capacitance beside it, and
    at zero frequency."""
    ohms = RANGES[mode].ohms
    return 1 / complex(1 / ohms, 2 * math.pi * frequency(net.circuit) * INPUT_FARADS), ohms


def metered(net: Net, mode: Mode, red: Pin, black: Pin) -> Net:
    """The same network with the meter, in a volts mode, across two pins."""
    return net.with_meter(red, black, *burden(net, mode))


def settle_metered(
    net: Net, situation: Situation, readings: Sequence[tuple[Mode, Pin, Pin]]
) -> list[tuple[Standing, ...]]:
    """How the machine with nothing wrong stands with each meter, in a volts mode, laid by itself from the beginning."""
    with_meters = net.with_meters([(red, black, *burden(net, mode)) for mode, red, black in readings])
    laid = [frozenset({(meter_name(k), LAID)}) for k in range(len(readings))]
    holding = [Situation(situation.origin, situation.acts, situation.hold | one) for one in laid]
    return standing_many(with_meters, [((), one) for one in holding])


def read(
    net: Net, edits: Sequence[Edit], situation: Situation, mode: Mode, red: Pin, black: Pin
) -> tuple[tuple[Reading, Outcome], ...]:
    """The reading of each outcome, the meter being part of the network while everything settles."""
    if unit_of(mode) != "V":
        return tuple((_passive(net, o.network, mode, red, black), o) for o in settle(net, edits, situation))
    with_meter = metered(net, mode, red, black)
    return tuple((_shown(mode, with_meter, o.network, red, black), o) for o in settle(with_meter, edits, situation))


def _shown(mode: Mode, net: Net, network: Network, red: Pin, black: Pin) -> Reading:
    if not computed(net, red, black):
        return Reading(math.nan, floating=True, refused=BEHIND)
    a, b = net.node(red), net.node(black)
    dc = volts_between(network, "dc", a, b).real
    ac = math.hypot(abs(volts_between(network, "ac", a, b)), ripple_share(net, network, a) * dc)
    k = net.element_index["meter"]
    kind = _kind(mode)
    bare = unrun(net, network)
    z = transfer(net, [bare], kind, (a, b))[:, :, 0]
    # Impedance of the circuit without the meter: take the meter's own conductance out of the parallel.
    with_meter = complex(z[0, 0] + z[1, 1] - z[0, 1] - z[1, 0])
    rest = abs(1 - with_meter * complex(bare.ac_s[k] if kind == "ac" else bare.dc_s[k]))
    between = math.inf if rest <= 1e-9 else abs(with_meter) / rest
    match mode:
        case "ac volts":
            value = ac
        case "dc volts":
            value = dc
        case "ac+dc volts":
            value = math.hypot(ac, dc)
        case _:
            value = max(ac, abs(dc))
    if over_range(mode, value):
        value = math.copysign(math.inf, value)
    if between <= FLOATING_OHMS:
        return Reading(value, floating=False)
    # The meter holds nothing: its own conductance is no part of what the points hang on.
    low, high = span(net, [network], islands(net, [_without(bare, k)]), mode, [(red, black)], np.array([[value]]))
    return Reading(value, floating=True, span=(float(low[0, 0]), float(high[0, 0])))


def unrun(net: Net, network: Network) -> Network:
    """The same network without the capacitance between conductors: what of it really holds a point."""
    if not net.stray:
        return network
    ac_s = network.ac_s.copy()
    ac_s[list(net.stray)] = 0.0
    return dataclasses.replace(network, ac_s=ac_s)


def _without(network: Network, element: int) -> Network:
    """The same network, one element of it open."""
    ac_s, dc_s = network.ac_s.copy(), network.dc_s.copy()
    ac_s[element] = dc_s[element] = 0.0
    return dataclasses.replace(network, ac_s=ac_s, dc_s=dc_s)


def _kind(mode: Mode) -> Literal["ac", "dc"]:
    """The network whose impedance holds the points of a reading."""
    return "ac" if RANGES[mode].shows_ac else "dc"


def ripple_share(net: Net, network: Network, node: int) -> float:
    """What an AC range shows behind a rectifier, as a share of the DC volts there; 0 for a point behind none.

    The ripple is taken to share out as the DC does. Across the coil and the terminals, where it is measured, that is
    so; on a bad joint before a coil, whose inductance keeps the ripple for itself, it says too much.
    """
    number = domain(net)[node]
    if not number:
        return 0.0
    outputs = [network.rectified[e] for e in ports_of(net)[number - 1].outputs]
    mean = sum(out.mean for out in outputs)
    return sum(out.ripple for out in outputs) / mean if mean else 0.0


def _passive(net: Net, network: Network, mode: Mode, red: Pin, black: Pin) -> Reading:
    if mode == "amps":
        return Reading(clamp(net, network, red, black), floating=False)
    a, b = net.node(red), net.node(black)
    ends = [(a, b)] if mode != "insulation" else [(a, b), (a, EARTH), (b, EARTH)]
    if max(abs(volts_between(network, kind, *pair)) for kind in ("ac", "dc") for pair in ends) > LIVE_VOLTS:
        return Reading(math.nan, floating=False, refused=LIVE)
    z = transfer(net, [network], "dc", (a, b))[:, :, 0]
    return Reading(_ohms(mode, float(z[0, 0] + z[1, 1] - z[0, 1] - z[1, 0])), floating=False)


def _ohms(mode: Mode, ohms: float) -> float:
    return math.inf if over_range(mode, ohms) else ohms


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
    """True also between a point behind a rectifier and one that is not."""


def bulk(net: Net, networks: Sequence[Network], mode: Mode, pairs: Sequence[tuple[Pin, Pin]]) -> Table:
    """`read` for many pairs and already settled networks, as long as the meter moves nothing.

    V = V_open * Z_meter / (Z_meter + Z_between), the exact voltage divider (Thevenin). Returns one column a network.
    """
    solve_all(net, networks)
    if mode == "amps":
        values = np.array([[clamp(net, n, red, black) for n in networks] for red, black in pairs])
        return Table(values.reshape(len(pairs), len(networks)), np.zeros((len(pairs), len(networks)), np.bool_))
    at = _Points(net, networks, pairs)
    if unit_of(mode) == "ohm":
        ohms = np.real(at.between("dc"))
        return Table(np.where(ohms <= RANGES[mode].top, ohms, np.inf), np.zeros(ohms.shape, np.bool_))
    dc = np.real(at.shown("dc", mode)) if RANGES[mode].shows_dc or ports_of(net) else None
    ac = np.abs(at.shown("ac", mode)) if RANGES[mode].shows_ac else None
    if ac is not None and dc is not None:
        shares = np.array([[ripple_share(net, n, net.node(red)) for n in networks] for red, _ in pairs])
        ac = np.hypot(ac, shares.reshape(dc.shape) * dc)
    match mode:
        case "dc volts":
            value = dc
        case "ac+dc volts":
            value = None if ac is None or dc is None else np.hypot(ac, dc)
        case "low-impedance volts":
            value = None if ac is None or dc is None else np.maximum(ac, np.abs(dc))
        case _:
            value = ac
    assert value is not None
    beside = ~np.array([computed(net, red, black) for red, black in pairs], np.bool_)[:, None]
    if mode == "low-impedance volts":
        # Its burden holds the points by itself.
        return Table(value.astype(np.float64), np.broadcast_to(beside, value.shape))
    held = at if not net.stray else _Points(net, [unrun(net, n) for n in networks], pairs)
    return Table(value.astype(np.float64), (np.abs(held.between(_kind(mode))) > FLOATING_OHMS) | beside)


class _Points:
    """Open-circuit volts and the impedance between the points of many pairs, each kind of current solved once."""

    def __init__(self, net: Net, networks: Sequence[Network], pairs: Sequence[tuple[Pin, Pin]]) -> None:
        self.net, self.networks = net, networks
        self.nodes = sorted({net.node(p) for pair in pairs for p in pair})
        place = {node: k for k, node in enumerate(self.nodes)}
        self.a = np.array([place[net.node(red)] for red, _ in pairs], dtype=np.intp)
        self.b = np.array([place[net.node(black)] for _, black in pairs], dtype=np.intp)
        self._between: Final[dict[str, np.typing.NDArray[np.inexact]]] = {}

    def between(self, kind: str) -> np.typing.NDArray[np.inexact]:
        """(pairs, networks) ohms between the two points."""
        if kind not in self._between:
            z = transfer(self.net, self.networks, kind, self.nodes)
            a, b = self.a, self.b
            self._between[kind] = z[a, a] + z[b, b] - z[a, b] - z[b, a]
        return self._between[kind]

    def shown(self, kind: str, mode: Mode) -> np.typing.NDArray[np.inexact]:
        """(pairs, networks) volts with the meter laid there."""
        index = np.array(self.nodes, dtype=np.intp)
        volts = np.stack([n.volts(kind)[index] for n in self.networks], axis=1)
        found: np.typing.NDArray[np.inexact] = (volts[self.a] - volts[self.b]) / (
            1 + self.between(kind) / burden(self.net, mode)[kind == "dc"]
        )
        return found


__all__ = [
    "FLOATING_OHMS", "OPEN_OHMS", "Mode", "Reading", "Table", "bulk", "burden", "clamp", "conductor",
    "metered", "read", "ripple_share",
]  # fmt: skip
