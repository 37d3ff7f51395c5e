"""The highest volts a hand or a probe can meet: over every suspect, present and healed, at points and around them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, cast

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.machine import Machine
from troubleshoot.safety.levels import CARE_DC, DANGER_AC, Level, level_of, worst
from troubleshoot.solve.converters import ac_ends
from troubleshoot.solve.network import Network

HEAL: Final = Act("heal")

_DIRECTIONS = 32
_WIDEN = 1 / math.cos(math.pi / (2 * _DIRECTIONS))
"""The widest projection on 32 directions is at most this factor short of the true distance; we never say too little."""


@dataclass(frozen=True, slots=True)
class Volts:
    """Highest volts r.m.s. AC and DC, not necessarily of the same two points."""

    ac: float
    dc: float
    level: Level

    @property
    def most(self) -> float:
        """The higher of the two, volts."""
        return max(self.ac, self.dc)

    @property
    def words(self) -> str:
        """``208 V AC``, ``120 V AC and 24 V DC``, ``nothing``."""
        both = ((self.ac, "AC", 0.1 * self.dc), (self.dc, "DC", CARE_DC if self.ac >= DANGER_AC else 0.0))
        # Beside dangerous AC, a low DC only makes the line longer.
        parts = [f"{value:.0f} V {kind}" for value, kind, least in both if value >= max(0.5, least)]
        return " and ".join(parts) or "nothing"


def merged(found: Sequence[Volts]) -> Volts:
    """The highest of several."""
    return Volts(
        max((v.ac for v in found), default=0.0), max((v.dc for v in found), default=0.0),
        worst(tuple(v.level for v in found)),
    )  # fmt: skip


def healed(situation: Situation) -> Situation:
    """The same situation, then what is wrong comes right by itself: a joint makes, a stuck part comes free."""
    return Situation(situation.origin, (*situation.acts, HEAL), situation.hold)


def pins_of(machine: Machine, tag: str) -> tuple[Pin, ...]:
    """Every terminal of one device."""
    device = machine.circuit.devices[tag]
    return tuple(Pin(tag, pin) for pin in KINDS[device.kind].pins(device))


def pins_at(machine: Machine, place: str) -> tuple[Pin, ...]:
    """Every terminal at one place."""
    return tuple(p for d in machine.circuit.devices.values() if d.place == place for p in pins_of(machine, d.tag))


@dataclass(frozen=True)
class Columns:
    """Node volts of every distinct network of a situation, of its healed twin included; the last row is earth."""

    ac: npt.NDArray[np.complex128]
    dc: npt.NDArray[np.float64]


def columns_of(networks: Sequence[Network]) -> Columns:
    """Stack solved networks, earth as the last row."""
    distinct = list({id(n): n for n in networks}.values())
    earth = np.zeros(1)
    ac = [np.append(n.ac_v, earth) for n in distinct if n.ac_v is not None]
    dc = [np.append(n.dc_v, earth) for n in distinct if n.dc_v is not None]
    return Columns(np.stack(ac, axis=1).astype(np.complex128), np.stack(dc, axis=1).astype(np.float64))


def columns(reasoner: Reasoner, situation: Situation) -> Columns:
    """All networks that every suspect, present or healed, gives in a situation. Kept on the machine's net."""
    net = reasoner.machine.net
    key = ("safety columns", situation)
    found = net.scratch.get(key)
    if found is None:
        both = (reasoner.table(situation), reasoner.table(healed(situation)))
        found = net.scratch[key] = columns_of([n for table in both for o in table.outcomes for n in o.networks])
    assert isinstance(found, Columns)
    return found


def between(machine: Machine, cols: Columns, points: Sequence[Pin], others: Sequence[Pin]) -> Volts:
    """Highest volts from any of `points` to earth and to any of `others` (and to each other)."""
    rows = _rows(machine, points)
    far = np.unique(np.concatenate([rows, _rows(machine, others), np.array([len(cols.ac) - 1])]))
    ac, dc = np.abs(cols.ac[rows][:, None] - cols.ac[far]), np.abs(cols.dc[rows][:, None] - cols.dc[far])
    # Where both kinds lie on one pair of points the thresholds for AC judge their r.m.s. sum.
    mixed = np.where(ac >= 1.0, np.hypot(ac, dc), 0.0)
    return _volts(float(ac.max()), float(dc.max()), float(mixed.max()))


def across(machine: Machine, cols: Columns, pins: Sequence[Pin]) -> Volts:
    """Highest volts between any two of many pins, earth included; at most 0.2 % too high, never too low."""
    rows = np.append(_rows(machine, pins), len(cols.ac) - 1)
    ac, dc = cols.ac[rows], cols.dc[rows]
    widest = 0.0
    for angle in np.arange(_DIRECTIONS) * math.pi / _DIRECTIONS:
        along = ac.real * math.cos(angle) + ac.imag * math.sin(angle)
        widest = max(widest, float((along.max(axis=0) - along.min(axis=0)).max()))
    return _volts(widest * _WIDEN, float((dc.max(axis=0) - dc.min(axis=0)).max()), 0.0)


def _volts(ac: float, dc: float, mixed: float) -> Volts:
    return Volts(ac, dc, worst((level_of(ac, dc), level_of(mixed, 0.0))))


def _rows(machine: Machine, pins: Sequence[Pin]) -> npt.NDArray[np.intp]:
    nodes = {machine.net.node(p) for p in pins}
    # Behind a rectifier a point is as high as the AC lines before it, whatever its own mean.
    return np.array(sorted(nodes | {end for node in nodes for end in ac_ends(machine.net, node)}), dtype=np.intp)


def place_volts(reasoner: Reasoner, situation: Situation, place: str) -> Volts:
    """Highest volts between any two points of one place, or from one to earth. Kept on the machine's net."""
    net = reasoner.machine.net
    key = ("safety place", situation, place)
    found = net.scratch.get(key)
    if found is None:
        pins = pins_at(reasoner.machine, place)
        found = net.scratch[key] = across(reasoner.machine, columns(reasoner, situation), pins)
    assert isinstance(found, Volts)
    return found


def supply_volts(reasoner: Reasoner) -> Volts:
    """Highest volts anywhere on the healthy machine at rest with its supply on: what an unknown point counts as."""
    net = reasoner.machine.net
    found = net.scratch.get("safety supply")
    if found is None:
        table = reasoner.table(Situation())
        cols = columns_of([table.outcomes[table.healthy].network])
        pins = [p for tag in reasoner.machine.circuit.devices for p in pins_of(reasoner.machine, tag)]
        found = across(reasoner.machine, cols, pins)
        # Never below what is printed on the supply: 399 V under load beside 400 V on the next card is one supply.
        devices = reasoner.machine.circuit.devices.values()
        feeds = [cast("tuple[float, float]", d.ratings["volts"])[0] for d in devices if d.kind == "supply"]
        found = net.scratch["safety supply"] = merged([found, _volts(max(feeds, default=0.0), 0.0, 0.0)])
    assert isinstance(found, Volts)
    return found


def unearthed(reasoner: Reasoner, situation: Situation, pins: Sequence[Pin]) -> tuple[Pin, ...]:
    """Those pins that nothing stiff ties to earth on the healthy machine: what they carry cannot be known beforehand."""
    table = reasoner.table(situation)
    labels = table.islands[:, table.inverse[table.healthy]]
    net = reasoner.machine.net
    return tuple(p for p in pins if labels[net.node(p)] != labels[-1])
