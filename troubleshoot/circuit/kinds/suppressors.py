"""What takes the kick of a coil: RC, diode and varistor, across the coil or across the contact that switches it."""

from __future__ import annotations

import math

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Given,
    Kind,
    Law,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Switch,
    When,
    number,
)
from troubleshoot.circuit.model import Device

CONDUCTS = Band(0.7, 0.7)
"""Forward drop of a silicon diode, volts."""
STILL = Band(1e-3, 1e-3)
"""A conducting diode with less than a millivolt across it carries nothing."""
DIODE_OHMS = 0.1
"""A conducting diode on a shorted supply: under a volt at its limit. Common practice."""
VARISTOR_OHMS = 200e6
"""A varistor below its working volts leaks a microampere. Common practice."""
SHORTED_S = 10.0


def _sort(d: Device) -> str:
    return str(d.ratings["type"])


def _way(d: Device) -> str:
    return f"{d.tag} fitted"


def _parts(d: Device) -> tuple[Part, ...]:
    match _sort(d):
        case "diode":
            ways = (("diode", d.tag, "right way round"), ("reversed", f"{d.tag} reversed", "wrong way round"))
            return (
                Branch("body", "1", "2", 1e9 + 0j, 1e9),
                *(
                    Switch(name, "1", "2", (When(var, ("conducting",)), When(_way(d), (way,))), DIODE_OHMS)
                    for name, var, way in ways
                ),
            )
        case "varistor":
            return (Branch("body", "1", "2", complex(VARISTOR_OHMS), VARISTOR_OHMS),)
        case _:
            return (Branch("body", "1", "2", complex(number(d, "ohms")), math.inf, farads=number(d, "farads")),)


def _laws(d: Device) -> tuple[AnyLaw, ...]:
    if _sort(d) != "diode":
        return ()
    # 1 is the cathode, the end with the ring, and belongs to plus: the diode conducts when 2 is the higher one.
    return (
        Law(d.tag, "2", "1", "dc", "blocking", "conducting", CONDUCTS, STILL, signed=True),
        Law(f"{d.tag} reversed", "1", "2", "dc", "blocking", "conducting", CONDUCTS, STILL, signed=True),
        Given(_way(d), "right way round"),
    )


def _modes(d: Device) -> tuple[Mode, ...]:
    # Diode: short 0.51, open 0.29, drift 0.20 (MIL-HDBK-338B, from memory); capacitors and varistors likewise short
    # more often than they open (judgement). Open shows only in burnt contacts later, and in a leak that is gone.
    short = (ModeEdit("siemens", "body", SHORTED_S),)
    bare: tuple[ModeEdit, ...] = (ModeEdit("siemens", "body", 0.0),)
    if _sort(d) == "diode":
        bare += (ModeEdit("stuck", d.tag, "blocking"),)
    turned: tuple[Mode, ...] = ()
    if _sort(d) == "diode":
        turned = (
            Mode("reversed", f"{d.tag} fitted the wrong way round", 0.10,
                 (ModeEdit("stuck", _way(d), "wrong way round"),), "turn round", d.tag),
        )  # fmt: skip
    left = 1 - sum(mode.share for mode in turned)
    return (
        Mode("short", f"{d.tag} shorted", 0.60 * left, short, "replace", d.tag),
        Mode("open", f"{d.tag} open: nothing takes the coil's kick", 0.40 * left, bare, "replace", d.tag),
        *turned,
    )


SUPPRESSOR = Kind(
    name="suppressor",
    words="suppressor",
    ratings=(
        Rating(
            "type", "choice", "RC, diode (terminal 1, the ring, to plus) or varistor", None, ("RC", "diode", "varistor")
        ),
        Rating("farads", "farads", "capacitor of an RC", 33e-9),
        Rating("ohms", "ohms", "resistor of an RC", 100.0),
    ),
    pins=lambda _: ("1", "2"),
    parts=_parts,
    laws=_laws,
    modes=_modes,
    faces=lambda _: {"suppressor": ("1", "2")},
    weight=0.1,
)
