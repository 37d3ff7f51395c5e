"""The programmable controller: supply, sinking 24 V DC inputs, sourcing transistor outputs (IEC 61131-2)."""

from __future__ import annotations

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Cpu,
    CurrentLaw,
    Kind,
    Law,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Switch,
    When,
    number,
    points_of,
)
from troubleshoot.circuit.model import Device

INPUT_OHMS = 3300.0
"""A type 1 input, about 7 mA at 24 V. Common practice; data pages give 3.3 to 3.5 kilohm."""
INPUT_BAND = {"1": Band(5.0, 15.0), "2": Band(5.0, 11.0), "3": Band(5.0, 11.0)}
"""Volts between "surely off" and "surely on" of a 24 V DC input by type (IEC 61131-2, from memory)."""
OUTPUT_OHMS = 0.5
OUTPUT_LEAK_OHMS = 24.0 / 0.05e-3
"""An off transistor output leaks about 0.05 mA (the standard allows 0.5 mA). Common practice."""
OUTPUT_TRIP_AMPS = 1.5
"""A protected 0.5 A output shuts off above about three times its rating. Common practice."""
POWERED = ("running", "stopped")


def bit(d: Device, point: str) -> str:
    """State variable of one point: ``A1 %IX0.0``."""
    return f"{d.tag} {point}"


def _parts(d: Device) -> tuple[Part, ...]:
    supply = 24.0 / number(d, "amps")
    return (
        Branch("supply", "L+", "M", complex(supply), supply),
        *(Branch(p, p, "COM", complex(INPUT_OHMS), INPUT_OHMS) for p in points_of(d, "inputs")),
        *(
            Switch(p, "Q+", p, (When(bit(d, p), ("on",)), When(f"{bit(d, p)} stage", ("ok",))), OUTPUT_OHMS,
                   OUTPUT_LEAK_OHMS)
            for p in points_of(d, "outputs")
        ),
    )  # fmt: skip


def _laws(d: Device) -> tuple[AnyLaw, ...]:
    band = INPUT_BAND[str(d.ratings["type"])]
    return (
        # 24 V DC -15 % must work (IEC 61131-2); how far below it still runs is common practice.
        Law(d.tag, "L+", "M", "dc", "off", "running", Band(16.0, 20.4), Band(14.0, 18.0)),
        *(Law(bit(d, p), p, "COM", "dc", "off", "on", band, band, same=True, shares=f"{d.tag} inputs") for p in points_of(d, "inputs")),
        *(
            CurrentLaw(f"{bit(d, p)} stage", p, OUTPUT_TRIP_AMPS, "ok", "shut", fast=True,
                       again=When(bit(d, p), ("off",)))
            for p in points_of(d, "outputs")
        ),
        Cpu(d.tag, {p: bit(d, p) for p in points_of(d, "inputs")}, {p: bit(d, p) for p in points_of(d, "outputs")}),
    )  # fmt: skip


def _signs(d: Device) -> tuple[Sign, ...]:
    powered = When(d.tag, POWERED)
    on_off = {"on": "on", "off": "off"}
    return (
        Sign(f"{d.tag} RUN", "RUN light", "light", d.tag, {"running": "on", "stopped": "off", "off": "off"}, d.tag),
        *(
            Sign(bit(d, p), f"input {words}", "light", bit(d, p), on_off, d.tag, powered)
            for p, words in points_of(d, "inputs").items()
        ),
        *(
            Sign(bit(d, p), f"output {words}", "light", bit(d, p), on_off, d.tag, powered)
            for p, words in points_of(d, "outputs").items()
        ),
    )


def _modes(d: Device) -> tuple[Mode, ...]:
    # Weights per item (common practice): module 0.7, input point 0.1, output point 0.3.
    inputs, outputs = points_of(d, "inputs"), points_of(d, "outputs")
    total = 0.7 + 0.1 * len(inputs) + 0.3 * len(outputs)
    modes = [
        Mode("stopped", f"{d.tag} is not running its program", 0.03, (ModeEdit("stuck", d.tag, "stopped"),), "set to run",
             d.tag, broken=False),
        Mode("module dead", f"{d.tag} has no life in it", 0.7 / total, (ModeEdit("stuck", d.tag, "off"),), "replace",
             d.tag),
    ]  # fmt: skip
    for p in inputs:
        item = f"{d.tag} input {p}"
        modes += [
            Mode(f"{p} dead", f"{item} does not see its signal", 0.07 / total, (ModeEdit("stuck", bit(d, p), "off"),),
                 "move or replace", item),
            Mode(f"{p} stuck on", f"{item} reads on for ever", 0.03 / total, (ModeEdit("stuck", bit(d, p), "on"),),
                 "move or replace", item),
        ]  # fmt: skip
    for p in outputs:
        item = f"{d.tag} output {p}"
        modes += [
            Mode(f"{p} dead", f"{item} does not switch", 0.165 / total, (ModeEdit("siemens", p, 0.0),), "move or replace",
                 item),
            Mode(f"{p} stuck on", f"{item} stays on", 0.135 / total, (ModeEdit("siemens", p, 1 / OUTPUT_OHMS),),
                 "move or replace", item),
        ]  # fmt: skip
    return tuple(modes)


PLC = Kind(
    name="plc",
    words="programmable controller",
    ratings=(
        Rating("inputs", "points", "input points and what is wired to them: '%IX0.0': emergency stop"),
        Rating("outputs", "points", "output points and what they drive: '%QX0.0': interposing relay"),
        Rating("type", "choice", "input type (IEC 61131-2)", "1", ("1", "2", "3")),
        Rating("amps", "amps", "supply current", 0.2),
    ),
    pins=lambda d: ("L+", "M", "COM", "Q+", *points_of(d, "inputs"), *points_of(d, "outputs")),
    parts=_parts,
    laws=_laws,
    signs=_signs,
    modes=_modes,
    faces=lambda _: {"supply": ("L+", "M")},
    rows=lambda d: (("L+", "M"), ("COM", *points_of(d, "inputs")), ("Q+", *points_of(d, "outputs"))),
    weight=2.0,
)
