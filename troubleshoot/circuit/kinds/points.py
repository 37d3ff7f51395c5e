"""Inputs and outputs of a controller by the sort of their group, as rows of two tables (IEC 61131-2).

An input is a resistance to the common of its group, so that an open common behaves: the inputs that are on hold the loose
common up and feed back through the others. An output is a contact or a semiconductor between the common and its terminal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    CurrentLaw,
    GroupPoint,
    Law,
    Mode,
    ModeEdit,
    Net,
    Part,
    PointGroup,
    Switch,
    When,
)
from troubleshoot.circuit.model import Device

INPUT_OHMS: Final = 3300.0
"""A type 1 input, about 7 mA at 24 V. Common practice; data pages give 3.3 to 3.5 kilohm."""
INPUT_BAND: Final = {"1": Band(5.0, 15.0), "2": Band(5.0, 11.0), "3": Band(5.0, 11.0)}
"""Volts between "surely off" and "surely on" of a 24 V DC input by type (IEC 61131-2, from memory)."""
AC_INPUT_BANDS: Final = {
    120: {"1": Band(20.0, 79.0), "2": Band(20.0, 74.0), "3": Band(20.0, 74.0)},
    230: {"1": Band(40.0, 164.0), "2": Band(40.0, 159.0), "3": Band(40.0, 159.0)},
}
"""The same for AC inputs by rated volts (IEC 61131-2, from memory, moderately sure)."""
AC_INPUT_AMPS: Final = 0.010
"""An AC input draws 8 to 12 mA: 12 kilohm at 120 V. Common practice."""
AC_INPUT_DC_OHMS: Final = 1e6
"""A capacitor stands in series with it, so that an ohmmeter sees next to nothing. Common practice."""
OUTPUT_OHMS: Final = 0.5
OUTPUT_LEAK_OHMS: Final = 24.0 / 0.05e-3
"""An off transistor output leaks about 0.05 mA (the standard allows 0.5 mA). Common practice."""
OUTPUT_TRIP_AMPS: Final = 1.5
"""A protected 0.5 A output shuts off above about three times its rating. Common practice."""
RELAY_OHMS: Final = 0.1
TRIAC_OHMS: Final = 1.2 / 0.5
"""A triac keeps 1.2 V at its 0.5 A; held as a resistance. Common practice."""
SNUBBER_OHMS, SNUBBER_FARADS = 100.0, 33e-9
"""What a triac carries across it, and leaks through while it is off. Common practice."""
TRIAC_HOLD_AMPS: Final = Band(0.005, 0.010)
"""Under this a triac does not stay on (data pages: 10 to 50 mA guaranteed). Common practice."""
TRIAC_FIRES: Final = Band(3.0, 6.0)
"""Volts across it with which it fires. Common practice."""


@dataclass(frozen=True, slots=True)
class InputSort:
    """What an input of one sort is. way: into the terminal, out of it, or either, for current that turns it on."""

    net: Net
    ac_ohms: float
    dc_ohms: float
    bands: dict[str, Band]
    way: Literal["in", "out", "either"] = "either"


@dataclass(frozen=True, slots=True)
class OutputSort:
    """What an output of one sort is, and how its breakages share out between dead and stuck on (they sum to 1)."""

    ohms: float
    dead: float
    stuck_on: float
    leak: float | None = None
    trips: float | None = None
    """Amperes at which its stage shuts off."""
    triac: bool = False
    to_common: bool = False
    """Sinking: it joins its terminal to the 0 V side."""


INPUTS: Final = {
    "DC inputs": InputSort("dc", INPUT_OHMS, INPUT_OHMS, INPUT_BAND),
    "sinking inputs": InputSort("dc", INPUT_OHMS, INPUT_OHMS, INPUT_BAND, "in"),
    "sourcing inputs": InputSort("dc", INPUT_OHMS, INPUT_OHMS, INPUT_BAND, "out"),
    **{
        f"{volts} V AC inputs": InputSort("ac", volts / AC_INPUT_AMPS, AC_INPUT_DC_OHMS, bands)
        for volts, bands in AC_INPUT_BANDS.items()
    },
}
"""Sort of a group of inputs, as written, to what it is. Sinking: current flows in, the common is the 0 V side."""
# Shares: transistor stuck on 0.45, dead 0.55; relay will not close 0.6, welded 0.4 (common practice); thyristor failed
# off 0.45 and open 0.10, short 0.40 and failed on 0.05 (MIL-HDBK-338B, from memory).
OUTPUTS: Final = {
    "sourcing outputs": OutputSort(OUTPUT_OHMS, 0.55, 0.45, leak=OUTPUT_LEAK_OHMS, trips=OUTPUT_TRIP_AMPS),
    "sinking outputs": OutputSort(
        OUTPUT_OHMS, 0.55, 0.45, leak=OUTPUT_LEAK_OHMS, trips=OUTPUT_TRIP_AMPS, to_common=True
    ),
    "relay outputs": OutputSort(RELAY_OHMS, 0.6, 0.4),
    "triac outputs": OutputSort(TRIAC_OHMS, 0.55, 0.45, triac=True),
}
"""Sort of a group of outputs, as written, to what it is."""
INPUT_WEIGHT, OUTPUT_WEIGHT = 0.1, 0.3
"""Weight of one point beside the module's 0.7. Common practice."""
INPUT_DEAD, INPUT_STUCK_ON = 0.07, 0.03
"""How an input's weight shares out. Common practice."""


def bit(d: Device, address: str) -> str:
    """State variable of one point: ``A1 %IX0.0``."""
    return f"{d.tag} {address}"


def input_parts(group: PointGroup) -> tuple[Part, ...]:
    """Each input as a resistance to the common."""
    sort = INPUTS[group.what]
    return tuple(Branch(p.address, p.terminal, group.common, complex(sort.ac_ohms), sort.dc_ohms) for p in group.points)


def input_laws(d: Device, group: PointGroup, shares: str) -> tuple[AnyLaw, ...]:
    """One threshold for the inputs of one group, which are alike. shares: its name."""
    sort = INPUTS[group.what]
    band = sort.bands[str(d.ratings["type"])]

    def law(p: GroupPoint) -> Law:
        ends = (group.common, p.terminal) if sort.way == "out" else (p.terminal, group.common)
        signed = sort.way != "either"
        return Law(bit(d, p.address), *ends, sort.net, "off", "on", band, band, same=True, shares=shares, signed=signed)

    return tuple(law(p) for p in group.points)


def output_parts(d: Device, group: PointGroup) -> tuple[Part, ...]:
    """Each output as a contact between common and terminal, with what it leaks through."""
    sort = OUTPUTS[group.what]
    parts: list[Part] = []
    for p in group.points:
        on = bit(d, p.address)
        when = [When(on, ("on",))]
        if sort.trips is not None:
            when.append(When(f"{on} stage", ("ok",)))
        if sort.triac:
            when.append(When(f"{on} triac", ("firing",)))
            leak = complex(SNUBBER_OHMS)
            parts.append(Branch(f"{p.address} snubber", group.common, p.terminal, leak, float("inf"), SNUBBER_FARADS))
        ends = (p.terminal, group.common) if sort.to_common else (group.common, p.terminal)
        parts.append(Switch(p.address, *ends, tuple(when), sort.ohms, sort.leak))
    return tuple(parts)


def output_laws(d: Device, group: PointGroup) -> tuple[AnyLaw, ...]:
    """What moves an output besides the program: a stage that shuts off, a triac that needs current to stay on."""
    sort = OUTPUTS[group.what]
    laws: list[AnyLaw] = []
    for p in group.points:
        on = bit(d, p.address)
        if sort.trips is not None:
            laws.append(
                CurrentLaw(f"{on} stage", p.address, sort.trips, "ok", "shut", fast=True, again=When(on, ("off",)))
            )
        if sort.triac:
            # What it holds on is a current; across its own resistance that is a voltage. A load that takes less makes it
            # fire and let go by turns, which is what such a load sees.
            hold = Band(sort.ohms * TRIAC_HOLD_AMPS.low, sort.ohms * TRIAC_HOLD_AMPS.high)
            laws.append(Law(f"{on} triac", group.common, p.terminal, "ac", "waiting", "firing", TRIAC_FIRES, hold))
    return tuple(laws)


def input_modes(d: Device, group: PointGroup, total: float) -> tuple[Mode, ...]:
    """How the inputs of a group fail. total: the weight of all that can break in the device."""
    modes: list[Mode] = []
    for p in group.points:
        item = f"{d.tag} input {_called(p)}"
        modes += [
            Mode(f"{p.address} dead", f"{item} does not see its signal", INPUT_DEAD / total,
                 (ModeEdit("stuck", bit(d, p.address), "off"),), "move or replace", item),
            Mode(f"{p.address} stuck on", f"{item} reads on for ever", INPUT_STUCK_ON / total,
                 (ModeEdit("stuck", bit(d, p.address), "on"),), "move or replace", item),
        ]  # fmt: skip
    return tuple(modes)


def output_modes(d: Device, group: PointGroup, total: float) -> tuple[Mode, ...]:
    """How the outputs of a group fail. total: the weight of all that can break in the device."""
    sort = OUTPUTS[group.what]
    modes: list[Mode] = []
    for p in group.points:
        item = f"{d.tag} output {_called(p)}"
        modes += [
            Mode(f"{p.address} dead", f"{item} does not switch", sort.dead * OUTPUT_WEIGHT / total,
                 (ModeEdit("siemens", p.address, 0.0),), "move or replace", item),
            Mode(f"{p.address} stuck on", f"{item} stays on", sort.stuck_on * OUTPUT_WEIGHT / total,
                 (ModeEdit("siemens", p.address, 1 / sort.ohms),), "move or replace", item),
        ]  # fmt: skip
    return tuple(modes)


def _called(p: GroupPoint) -> str:
    return p.address if p.terminal == p.address else f"{p.terminal} ({p.address})"
