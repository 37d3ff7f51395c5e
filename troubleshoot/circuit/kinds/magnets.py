"""What a coil moves: relays and contactors. Pick-up and drop-out are bands (IEC 60947-4-1, IEC 61810-1)."""

from __future__ import annotations

import cmath
import dataclasses
import math
from collections.abc import Mapping

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    InterlockLaw,
    Kind,
    Law,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Switch,
    Variable,
    When,
    blocks_of,
    coil_of,
    number,
)
from troubleshoot.circuit.kinds.hands import CONTACT_OHMS, FILM_OHMS, block_parts, block_pins
from troubleshoot.circuit.kinds.protection import POLES, pole_rows
from troubleshoot.circuit.model import Device

AC_PICK, AC_DROP = Band(0.70, 0.80), Band(0.40, 0.60)
"""Real AC contactors, fractions of rated volts: 0.75 +- 0.05 and 0.50 +- 0.10. Common practice."""
DC_PICK, DC_DROP = Band(0.57, 0.73), Band(0.12, 0.28)
"""Real 24 V DC relays: 0.65 +- 0.08 and 0.20 +- 0.08. Common practice."""
CLOSING_S = {"ac": Band(0.008, 0.025), "dc": Band(0.030, 0.080)}
OPENING_S = {"ac": Band(0.004, 0.020), "dc": Band(0.010, 0.020)}
"""Small contactors. Common practice; NEMA size 3 of a teaching table: 35 and 18 ms."""
RELAY_CLOSING_S, RELAY_OPENING_S = Band(0.005, 0.015), Band(0.003, 0.010)
"""Typical relays; data pages state at most 30 to 50 ms and at most 30 ms."""
SHORTED_COIL_OHMS = 0.5
"""A burnt-through coil: close to a bolted short for the fuse. Common practice."""


def from_va(volts: float, va: float, pf: float) -> complex:
    """Impedance in ohms of a coil that takes `va` at `volts` and power factor `pf`."""
    return cmath.rect(volts**2 / va, math.acos(pf))


PF_RATINGS = (
    Rating("inrush pf", "fraction", "power factor of an AC coil with the armature open", 0.6),
    Rating("sealed pf", "fraction", "power factor of an AC coil with the armature closed", 0.3),
)
"""Small IEC contactors take 70 VA at 0.6 to 0.75 and 8 VA at 0.3. Common practice."""


def coil_part(d: Device, var: str, out: str, held: str, a: str, b: str) -> Variable:
    """A coil as a part with two states. AC: inrush with the armature open, sealed with it closed. DC: one resistance."""
    volts, current = coil_of(d)
    if current == "dc":
        ohms = volts**2 / number(d, "coil watts")
        return Variable("coil", a, b, var, dict.fromkeys((out, held), 3 * ohms + 0j), dict.fromkeys((out, held), ohms))
    inrush = from_va(volts, number(d, "inrush va"), number(d, "inrush pf"))
    sealed = from_va(volts, number(d, "sealed va"), number(d, "sealed pf"))
    # DC ohms of an AC coil are about the real part of its inrush impedance.
    return Variable("coil", a, b, var, {out: inrush, held: sealed}, dict.fromkeys((out, held), inrush.real))


def coil_law(d: Device, var: str, out: str, held: str, a: str, b: str) -> Law:
    """Pick-up and drop-out of a coil, volts."""
    volts, current = coil_of(d)
    pick, drop = (DC_PICK, DC_DROP) if current == "dc" else (AC_PICK, AC_DROP)
    return Law(
        var,
        a,
        b,
        current,
        out,
        held,
        Band(volts * pick.low, volts * pick.high),
        Band(volts * drop.low, volts * drop.high),
        on_s=CLOSING_S[current] if d.kind == "contactor" else RELAY_CLOSING_S,
        off_s=OPENING_S[current] if d.kind == "contactor" else RELAY_OPENING_S,
    )


_ARMATURE = ("out", "in")


def coil_modes(d: Device) -> tuple[Mode, ...]:
    """How coil and mechanism fail, half of all that can."""
    return (
        # The law of the armature asks for volts; a coil that carries no current pulls nothing, whatever they are.
        Mode("coil open", f"{d.tag} coil open", 0.20,
             (ModeEdit("siemens", "coil", 0.0), ModeEdit("stuck", d.tag, "out")), "replace", f"{d.tag}"),
        Mode("coil short", f"{d.tag} coil shorted", 0.10, (ModeEdit("siemens", "coil", 1 / SHORTED_COIL_OHMS), ModeEdit("stuck", d.tag, "out")),
             "replace", f"{d.tag}"),
        Mode("stuck out", f"{d.tag} mechanism does not pull in", 0.15, (ModeEdit("stuck", d.tag, "out"),), "replace",
             f"{d.tag}"),
        Mode("stuck in", f"{d.tag} stays pulled in", 0.05, (ModeEdit("stuck", d.tag, "in"),), "replace", f"{d.tag}"),
    )  # fmt: skip


def contact_modes(d: Device, pairs: tuple[tuple[str, str], ...], wont_close: float, weld: float) -> tuple[Mode, ...]:
    """How the contacts of one device fail, the shares spread evenly over them."""
    count = len(pairs) or 1
    modes: list[Mode] = []
    for a, b in pairs:
        name = f"{a}-{b}"
        what = f"{d.tag} contact {name}"
        modes += [
            Mode(f"{name} open", f"{what} does not close", 0.6 * wont_close / count, (ModeEdit("siemens", name, 0.0),),
                 "replace", d.tag),
            Mode(f"{name} film", f"{what} makes badly", 0.4 * wont_close / count,
                 (ModeEdit("times", name, CONTACT_OHMS / FILM_OHMS),), "replace", d.tag),
            Mode(f"{name} welded", f"{what} welded", weld / count, (ModeEdit("siemens", name, 1 / CONTACT_OHMS),),
                 "replace", d.tag),
        ]  # fmt: skip
    return tuple(modes)


def coil_ratings(inrush_va: float = 70.0, sealed_va: float = 8.0) -> tuple[Rating, ...]:
    """The keys of a coil, with what an AC one usually takes."""
    return (
        Rating("coil", "coil", "coil volts and kind of current: 24 V DC, 120 V AC"),
        Rating("coil watts", "watts", "power of a DC coil", 0.9),
        Rating("inrush va", "watts", "volt-amperes of an AC coil with the armature open", inrush_va),
        Rating("sealed va", "watts", "volt-amperes of an AC coil with the armature closed", sealed_va),
        *PF_RATINGS,
    )


def coil_flaws(d: Device) -> tuple[str, ...]:
    """A power factor that no coil has."""
    names = ("inrush pf", "sealed pf")
    return tuple(f"'{name}' must be above zero and at most 1" for name in names if not 0 < number(d, name) <= 1)


def _in_or_out(d: Device) -> tuple[Sign, ...]:
    return (Sign(d.tag, d.words, "look", d.tag, {"out": "out", "in": "pulled in"}),)


def _coil_laws(d: Device) -> tuple[AnyLaw, ...]:
    return (coil_law(d, d.tag, "out", "in", "A1", "A2"),)


def _coil_face(d: Device) -> Mapping[str, tuple[str, str]]:
    return {"coil": ("A1", "A2"), **{f"{a}-{b}": (a, b) for a, b in blocks_of(d)}}


RELAY = Kind(
    name="relay",
    words="relay",
    ratings=(*coil_ratings(), Rating("blocks", "blocks", "contacts: 13-14: no")),
    pins=lambda d: ("A1", "A2", *block_pins(d)),
    parts=lambda d: (coil_part(d, d.tag, "out", "in", "A1", "A2"), *block_parts(d, _ARMATURE)),
    laws=_coil_laws,
    signs=_in_or_out,
    modes=lambda d: (*coil_modes(d), *contact_modes(d, tuple(blocks_of(d)), 0.35, 0.15)),
    faces=_coil_face,
    flaws=coil_flaws,
    weight=1.0,
)


def _pole_parts(d: Device) -> tuple[Part, ...]:
    return tuple(Switch(f"{a}-{b}", a, b, (When(d.tag, ("in",)),), 4e-3) for a, b in POLES)


def _pole_modes(d: Device) -> tuple[Mode, ...]:
    # Mirror contacts: while a pole is welded no break contact closes (IEC 60947-4-1, Annex F, from memory).
    mirrors = tuple(ModeEdit("siemens", f"{a}-{b}", 0.0) for (a, b), how in blocks_of(d).items() if how == ("nc",))
    singles = tuple(
        mode
        for a, b in POLES
        for mode in (
            Mode(f"{a}-{b} open", f"{d.tag} pole {a}-{b} does not close", 0.25 / 3,
                 (ModeEdit("siemens", f"{a}-{b}", 0.0),), "replace", d.tag),
            Mode(f"{a}-{b} welded", f"{d.tag} pole {a}-{b} welded", 0.10 / 3, (ModeEdit("siemens", f"{a}-{b}", 250.0), *mirrors),
                 "replace", d.tag),
        )
    )  # fmt: skip
    # One arc welds two poles together: one event, so it stands beside the single faults.
    doubles = tuple(
        Mode(f"{a}-{b} and {c}-{e} welded", f"{d.tag} poles {a}-{b} and {c}-{e} welded by one arc", 0.05 / 3,
             (ModeEdit("siemens", f"{a}-{b}", 250.0), ModeEdit("siemens", f"{c}-{e}", 250.0), *mirrors), "replace", d.tag)
        for (a, b), (c, e) in ((POLES[0], POLES[1]), (POLES[1], POLES[2]), (POLES[0], POLES[2]))
    )  # fmt: skip
    return singles + doubles


def _lever(d: Device) -> str:
    """State variable of the mechanical interlock that this contactor was written with; empty: none."""
    return f"{d.tag} interlock" if d.ratings["interlocked with"] else ""


def _contactor_laws(d: Device) -> tuple[AnyLaw, ...]:
    lever = _lever(d)
    return _coil_laws(d) + ((InterlockLaw(lever, (d.tag, str(d.ratings["interlocked with"]))),) if lever else ())


def _interlock_modes(d: Device) -> tuple[Mode, ...]:
    lever = _lever(d)
    if not lever:
        return ()
    # A share of the mechanism's failures; of itself it shows only when both coils get volts. Judgement.
    item = f"mechanical interlock of {d.tag} and {d.ratings['interlocked with']}"
    return (Mode("interlock broken", f"{item} broken", 0.03, (ModeEdit("stuck", lever, "broken"),), "replace", item),)


def _contactor_modes(d: Device) -> tuple[Mode, ...]:
    lever = _interlock_modes(d)
    others = (
        *coil_modes(d),
        *_pole_modes(d),
        *(contact_modes(d, tuple(blocks_of(d)), 0.07, 0.03) or (_spare_mode(d),)),
    )
    left = 1 - sum(mode.share for mode in lever)
    return (*(dataclasses.replace(mode, share=mode.share * left) for mode in others), *lever)


def _spare_mode(d: Device) -> Mode:
    return Mode("slow", f"{d.tag} mechanism stiff", 0.10, (ModeEdit("threshold", d.tag, 1.5),), "replace", d.tag)


CONTACTOR = Kind(
    name="contactor",
    words="contactor",
    ratings=(
        *coil_ratings(),
        Rating("blocks", "blocks", "auxiliary contacts: 13-14: no", {}),
        Rating("interlocked with", "device", "the contactor that a lever keeps out while this one is in", ""),
    ),
    pins=lambda d: ("A1", "A2", "1", "2", "3", "4", "5", "6", *block_pins(d)),
    parts=lambda d: (coil_part(d, d.tag, "out", "in", "A1", "A2"), *_pole_parts(d), *block_parts(d, _ARMATURE)),
    laws=_contactor_laws,
    signs=_in_or_out,
    modes=_contactor_modes,
    flaws=coil_flaws,
    rows=pole_rows,
    faces=lambda d: {**_coil_face(d), **{f"pole {k + 1}": ab for k, ab in enumerate(POLES)}},
    weight=1.0,
)
