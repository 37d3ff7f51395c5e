"""What opens a circuit to protect or to isolate: disconnect, fuse, thermal overload relay."""

from __future__ import annotations

import math

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Control,
    CurrentLaw,
    HeatLaw,
    Kind,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Switch,
    When,
    number,
)
from troubleshoot.circuit.model import Device

POLES = (("1", "2"), ("3", "4"), ("5", "6"))


def pole_rows(_: Device) -> tuple[tuple[str, ...], ...]:
    """Line side and load side of three poles."""
    return tuple(zip(*POLES, strict=True))


def _pole_modes(d: Device, share: float) -> tuple[Mode, ...]:
    return tuple(
        Mode(f"{a}-{b} open", f"{d.tag} pole {a}-{b} does not close", share / 3,
             (ModeEdit("siemens", f"{a}-{b}", 0.0),), "replace", f"{d.tag}")
        for a, b in POLES
    )  # fmt: skip


DISCONNECT = Kind(
    name="disconnect",
    words="main disconnect, three poles",
    ratings=(),
    pins=lambda _: ("1", "2", "3", "4", "5", "6"),
    parts=lambda d: tuple(Switch(f"{a}-{b}", a, b, (When(d.tag, ("on",)),), 2e-3) for a, b in POLES),
    controls=lambda d: (Control(d.tag, ("on", "off"), "on"),),
    signs=lambda d: (Sign(d.tag, f"{d.words} handle", "look", d.tag, {"on": "on", "off": "off"}),),
    rows=pole_rows,
    modes=lambda d: (
        *_pole_modes(d, 1.0),
        Mode("off", f"{d.tag} left off", 0.04, (ModeEdit("left", d.tag, "off"),), "switch on", d.tag, broken=False),
    ),
    faces=lambda _: {f"pole {k + 1}": ab for k, ab in enumerate(POLES)},
    weight=0.2,
)


def _fuse_laws(d: Device) -> tuple[AnyLaw, ...]:
    # gG rough curve: 3.5 In melts in 5 s, the time in which a person presses, looks and reads (IEC 60269, from memory).
    return (CurrentLaw(d.tag, "link", 3.5 * number(d, "amps"), "whole", "blown"),)


FUSE = Kind(
    name="fuse",
    words="fuse",
    ratings=(Rating("amps", "amps", "rated current"),),
    pins=lambda _: ("1", "2"),
    parts=lambda d: (Switch("link", "1", "2", (When(d.tag, ("whole",)),), 5e-3),),
    laws=_fuse_laws,
    modes=lambda d: (
        Mode("open", f"fuse {d.tag} open", 0.95, (ModeEdit("left", d.tag, "blown"),), "find the cause, then replace",
             f"fuse {d.tag}"),
        Mode("holder", f"fuse {d.tag} makes bad contact in its holder", 0.05, (ModeEdit("siemens", "link", 1 / 200),),
             "clean", f"holder of fuse {d.tag}"),
    ),
    faces=lambda _: {"link": ("1", "2")},
    # 0.05 spontaneous (IEC 62061 shares) and a share of "fuse open, cause gone or elsewhere" (common practice).
    weight=0.4,
)  # fmt: skip


def _breaker_poles(d: Device) -> tuple[tuple[str, str], ...]:
    return POLES[: int(str(d.ratings["poles"]))]


MAGNETIC = {"B": 4.0, "C": 7.5, "D": 15.0}
"""Middle of the instantaneous tripping ranges 3-5, 5-10 and 10-20 times rated current (IEC 60898-1, from memory)."""


def _breaker_modes(d: Device) -> tuple[Mode, ...]:
    poles = _breaker_poles(d)
    return (
        Mode("off", f"{d.tag} left off", 0.04, (ModeEdit("left", d.tag, "off"),), "switch on", d.tag, broken=False),
        Mode("tripped", f"{d.tag} has tripped", 0.04, (ModeEdit("left", d.tag, "tripped"),), "find the cause, then reset",
             d.tag, broken=False),
        *(
            Mode(f"{a}-{b} open", f"{d.tag} pole {a}-{b} does not close", 1.0 / len(poles),
                 (ModeEdit("siemens", f"{a}-{b}", 0.0),), "replace", d.tag)
            for a, b in poles
        ),
    )  # fmt: skip


BREAKER = Kind(
    name="breaker",
    words="circuit breaker",
    ratings=(
        Rating("amps", "amps", "rated current"),
        Rating("poles", "choice", "number of poles", "1", ("1", "2", "3")),
        Rating("curve", "choice", "instantaneous tripping (IEC 60898-1)", "C", ("B", "C", "D")),
    ),
    pins=lambda d: tuple(p for ab in _breaker_poles(d) for p in ab),
    parts=lambda d: tuple(Switch(f"{a}-{b}", a, b, (When(d.tag, ("on",)),), 5e-3) for a, b in _breaker_poles(d)),
    # All poles share one mechanism: whichever carries too much opens them all.
    laws=lambda d: tuple(
        CurrentLaw(d.tag, f"{a}-{b}", MAGNETIC[str(d.ratings["curve"])] * number(d, "amps"), "on", "tripped")
        for a, b in _breaker_poles(d)
    ),
    controls=lambda d: (Control(d.tag, ("on", "off", "tripped"), "on"),),
    signs=lambda d: (
        Sign(d.tag, f"{d.words} handle", "look", d.tag, {"on": "on", "off": "off", "tripped": "tripped"}),
    ),
    modes=_breaker_modes,
    faces=lambda d: {f"pole {k + 1}": ab for k, ab in enumerate(_breaker_poles(d))},
    weight=0.2,
)


def _overload_parts(d: Device) -> tuple[Part, ...]:
    amps = number(d, "set")
    heater = 2.0 / amps**2  # about 2 W a pole at rated current: common practice
    return (
        *(Branch(f"{a}-{b}", a, b, heater, heater) for a, b in POLES),
        Switch("95-96", "95", "96", (When(d.tag, ("set",)),), 0.02),
        Switch("97-98", "97", "98", (When(d.tag, ("tripped", "tested")),), 0.02),
    )


CLASS_SECONDS = {
    "5": Band(0.5, 5.0), "10A": Band(2.0, 10.0), "10": Band(4.0, 10.0), "20": Band(6.0, 20.0), "30": Band(9.0, 30.0),
}  # fmt: skip
"""Trip times at 7.2 times the set current from cold, three poles alike (IEC 60947-4-1, table of trip classes; from memory
but for 10A to 30, which a maker's page quotes)."""
TRIPS = 1.15**2
"""Heat of a trip, 1 being that of the set current: it stands 1.05 for ever and trips at 1.2 (IEC 60947-4-1, limits of
operation, from memory); halfway."""
COOLS = 0.9
"""Heat under which it can be reset: a minute or two after a trip of class 10. Common practice says one to five minutes."""
COLD_STRIP_HOLDS, LOST_PHASE_FELT = -0.2, 0.15
"""How the coldest pole counts. A plain relay must trip with two poles at 1.32 and one dead; one that feels a lost phase at
1.15, and not with two at 1.0 and one at 0.9 (IEC 60947-4-1, from memory); in between, judgement."""


def _overload_laws(d: Device) -> tuple[AnyLaw, ...]:
    at_72 = CLASS_SECONDS[str(d.ratings["class"])]
    share = math.log(7.2**2 / (7.2**2 - TRIPS))
    return (
        HeatLaw(
            d.tag, tuple(f"{a}-{b}" for a, b in POLES), number(d, "set"), Band(at_72.low / share, at_72.high / share),
            TRIPS, COOLS, "set", "tripped", LOST_PHASE_FELT if d.ratings["phase loss"] == "felt" else COLD_STRIP_HOLDS,
            d.ratings["reset"] == "automatic",
        ),
    )  # fmt: skip


def _overload_modes(d: Device) -> tuple[Mode, ...]:
    contact = f"{d.tag} contact 95-96"
    return (
        Mode("tripped", f"{d.tag} has tripped", 0.12, (ModeEdit("left", d.tag, "tripped"),), "find the cause, then reset",
             d.tag, broken=False),
        Mode("95-96 open", f"{contact} open without a trip", 0.50, (ModeEdit("siemens", "95-96", 0.0),), "replace",
             contact),
        Mode("95-96 film", f"{contact} makes badly", 0.15, (ModeEdit("times", "95-96", 0.02 / 200),), "replace", contact),
        Mode("95-96 welded", f"{contact} does not open", 0.20, (ModeEdit("siemens", "95-96", 50.0),), "replace", contact),
        *(
            Mode(f"heater {a}-{b} open", f"{d.tag} heater {a}-{b} open", 0.05, (ModeEdit("siemens", f"{a}-{b}", 0.0),),
                 "replace", f"{d.tag} heaters")
            for a, b in POLES
        ),
    )  # fmt: skip


OVERLOAD = Kind(
    name="overload",
    words="thermal overload relay",
    ratings=(
        Rating("set", "amps", "current it is set to"),
        Rating("class", "choice", "trip class (IEC 60947-4-1)", "10", tuple(CLASS_SECONDS)),
        Rating(
            "phase loss",
            "choice",
            "trips sooner when a line is lost, as most newer ones do",
            "not felt",
            ("felt", "not felt"),
        ),
        Rating("reset", "choice", "manual or automatic reset", "manual", ("manual", "automatic")),
    ),
    pins=lambda _: ("1", "2", "3", "4", "5", "6", "95", "96", "97", "98"),
    parts=_overload_parts,
    laws=_overload_laws,
    controls=lambda d: (Control(d.tag, ("set", "tripped", "tested"), "set"),),
    signs=lambda d: (
        Sign(d.tag, f"{d.words} flag", "look", d.tag, {"set": "normal", "tripped": "tripped", "tested": "tested"}),
    ),
    modes=_overload_modes,
    rows=pole_rows,
    faces=lambda _: {"trip": ("95", "96"), **{f"heater {k + 1}": ab for k, ab in enumerate(POLES)}},
    weight=0.5,
)
