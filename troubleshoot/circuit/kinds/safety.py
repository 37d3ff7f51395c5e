"""The two-channel safety relay: two channels, reset with feedback loop, safety contacts, its lights.

By what such relays have in common (stop category 0 of IEC 60204-1; manual reset of ISO 13849-1, 5.2.2; from memory): the
safety contacts open with either channel; they close again only once both channels have been open and closed, and the
reset has been pressed and let go with the feedback loop closed. Terminals by common practice: A1-A2 supply, S11-S12 and
S21-S22 channels, S33-S34 reset and feedback loop in series.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    CurrentLaw,
    DelayLaw,
    Kind,
    Law,
    LimitLaw,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Source,
    Switch,
    When,
    blocks_of,
    coil_of,
    number,
)
from troubleshoot.circuit.kinds.hands import CONTACT_OHMS, block_faces, block_pins
from troubleshoot.circuit.kinds.magnets import DC_DROP, DC_PICK, contact_modes
from troubleshoot.circuit.model import Device

RAIL_VOLTS: Final = 24.0
"""Volts of the channels and of the reset, made inside where the supply is AC. Common practice."""
CHANNEL_OHMS: Final = 1000.0
"""A channel's relay: some 24 mA. Common practice."""
RESET_OHMS: Final = 3300.0
RAIL_AMPS: Final = 0.5
"""A short between the channels, or to earth, draws more than this and shuts the rail off. Common practice."""
FUSE_OHMS: Final = 1.0
OPEN: Final = ("open", "ready", "pressed", "one channel")
"""States of the outputs in which the safety contacts are open and the break contacts closed."""


def _outputs(d: Device) -> str:
    return f"{d.tag} outputs"


def _channels(d: Device) -> tuple[str, str]:
    return f"{d.tag} channel 1", f"{d.tag} channel 2"


def _reset(d: Device) -> str:
    return f"{d.tag} reset"


def _rail(d: Device) -> str:
    return f"{d.tag} rail"


def _watches(d: Device) -> bool:
    return d.ratings["cross fault"] == "seen"


def _second(d: Device) -> tuple[tuple[str, str], tuple[str, str]]:
    """(feed of S21, ends of the relay at S22): of the other polarity where a short between the channels must be seen."""
    return (("@minus", "S21"), ("@plus", "S22")) if _watches(d) else (("@plus", "S21"), ("S22", "@minus"))


def _parts(d: Device) -> tuple[Part, ...]:
    volts, current = coil_of(d, "supply")
    supply = volts**2 / number(d, "power")
    if current == "dc":
        # A resettable fuse inside; its 0 V is the panel's, so that an earth fault on a channel is a short as well.
        rail: tuple[Part, ...] = (
            Switch("rail", "A1", "@plus", (When(_rail(d), ("ok",)), When(d.tag, ("on",))), FUSE_OHMS),
            Branch("0 V", "A2", "@minus", 0.1, 0.1),
        )
    else:
        on = When(d.tag, ("on", "limiting"))
        rail = (Source("rail", "@plus", "@minus", "dc", RAIL_VOLTS, FUSE_OHMS, on, limit=RAIL_AMPS),)
    feed, relay = _second(d)
    return (
        Branch("supply", "A1", "A2", complex(supply), supply if current == "dc" else 0.1 * supply),
        *rail,
        Branch("S11", "@plus", "S11", 0.1, 0.1),
        Branch("channel 1", "S12", "@minus", complex(CHANNEL_OHMS), CHANNEL_OHMS),
        Branch("S21", *feed, 0.1, 0.1),
        Branch("channel 2", *relay, complex(CHANNEL_OHMS), CHANNEL_OHMS),
        Branch("S33", "@plus", "S33", 0.1, 0.1),
        Branch("reset", "S34", "@minus", complex(RESET_OHMS), RESET_OHMS),
        *_contacts(d),
    )


def _contacts(d: Device) -> tuple[Part, ...]:
    closed: dict[tuple[str, ...], tuple[str, ...]] = {("no",): ("closed",), ("nc",): OPEN}
    return tuple(
        Switch(f"{a}-{b}", a, b, (When(_outputs(d), closed[how]),), CONTACT_OHMS)
        for (a, b), how in blocks_of(d).items()
    )


def _sequence(d: Device) -> tuple[DelayLaw, ...]:
    one, two = _channels(d)
    out, reset = _outputs(d), _reset(d)
    both = (When(one, ("on",)), When(two, ("on",)))
    lost = tuple(
        DelayLaw(out, now, "one channel", (When(channel, ("off",)),))
        for now in ("closed", "pressed", "ready")
        for channel in (one, two)
    )
    back = DelayLaw(out, "one channel", "open", (When(one, ("off",)), When(two, ("off",))))
    free, pressed = When(reset, ("off",)), When(reset, ("on",))
    if d.ratings["reset"] == "automatic":
        return (DelayLaw(out, "open", "closed", (*both, pressed)), *lost, back)
    # Monitored: a button that is stuck, or bridged, never lets go and never closes anything.
    return (
        DelayLaw(out, "open", "ready", (*both, free)),
        *lost,
        back,
        DelayLaw(out, "ready", "pressed", (*both, pressed)),
        DelayLaw(out, "pressed", "closed", (*both, free)),
    )


def _laws(d: Device) -> tuple[AnyLaw, ...]:
    volts, current = coil_of(d, "supply")
    one, two = _channels(d)
    _, (a, b) = _second(d)

    def relay(var: str, plus: str, minus: str) -> Law:
        pick, drop = (Band(RAIL_VOLTS * band.low, RAIL_VOLTS * band.high) for band in (DC_PICK, DC_DROP))
        return Law(var, plus, minus, "dc", "off", "on", pick, drop)

    # Works from 85 % of its supply (IEC 60947-5-1, from memory); how far below it lives on is common practice.
    power = Law(
        d.tag, "A1", "A2", current, "off", "on", Band(0.65 * volts, 0.85 * volts), Band(0.45 * volts, 0.60 * volts)
    )
    short: AnyLaw = LimitLaw(d.tag, "rail", RAIL_AMPS)
    if current == "dc":
        short = CurrentLaw(_rail(d), "rail", RAIL_AMPS, "ok", "shut", fast=True, again=When(d.tag, ("off",)))
    return (
        power,
        short,
        relay(one, "S12", "@minus"),
        relay(two, a, b),
        relay(_reset(d), "S34", "@minus"),
        *_sequence(d),
    )


def _signs(d: Device) -> tuple[Sign, ...]:
    one, two = _channels(d)
    lit = {"on": "on", "off": "off"}
    fed = When(d.tag, ("on", "limiting"))
    return (
        Sign(f"{d.tag} POWER", f"{d.words} power light", "light", d.tag, {**lit, "limiting": "dim"}, d.tag),
        Sign(f"{d.tag} CH1", f"{d.words} channel 1 light", "light", one, lit, d.tag, fed),
        Sign(f"{d.tag} CH2", f"{d.words} channel 2 light", "light", two, lit, d.tag, fed),
        Sign(f"{d.tag} OUT", f"{d.words} output light", "light", _outputs(d), {**dict.fromkeys(OPEN, "off"), "closed": "on"},
             d.tag, fed),
    )  # fmt: skip


def _modes(d: Device) -> tuple[Mode, ...]:
    one, two = _channels(d)
    # Failures of such a relay are found by itself, and it then stays open; common practice, no published source.
    return (
        Mode("dead", f"{d.tag} has no life in it", 0.25, (ModeEdit("stuck", d.tag, "off"), ModeEdit("siemens", "rail", 0.0)),
             "replace", d.tag),
        Mode("channel 1 dead", f"{d.tag} does not see its channel 1", 0.10,
             (ModeEdit("siemens", "channel 1", 0.0), ModeEdit("stuck", one, "off")), "replace", d.tag),
        Mode("channel 2 dead", f"{d.tag} does not see its channel 2", 0.10,
             (ModeEdit("siemens", "channel 2", 0.0), ModeEdit("stuck", two, "off")), "replace", d.tag),
        Mode("reset dead", f"{d.tag} does not see its reset", 0.10,
             (ModeEdit("siemens", "reset", 0.0), ModeEdit("stuck", _reset(d), "off")), "replace", d.tag),
        Mode("locked", f"{d.tag} has found a fault in itself and stays open", 0.20,
             (ModeEdit("stuck", _outputs(d), "open"),), "replace", d.tag),
        *contact_modes(d, tuple(blocks_of(d)), 0.20, 0.05),
    )  # fmt: skip


def _faces(d: Device) -> Mapping[str, tuple[str, str]]:
    return {
        "supply": ("A1", "A2"),
        "channel 1": ("S11", "S12"),
        "channel 2": ("S21", "S22"),
        "reset": ("S33", "S34"),
        **block_faces(d),
    }


def _flaws(d: Device) -> tuple[str, ...]:
    listed = [f"{a}-{b}" for (a, b), how in blocks_of(d).items() if how not in (("no",), ("nc",))]
    return tuple(f"contact {pair} of a safety relay is no or nc" for pair in listed)


SAFETY_RELAY = Kind(
    name="safety relay",
    words="two-channel safety relay",
    ratings=(
        Rating("supply", "coil", "supply volts and kind of current: 24 V DC"),
        Rating("power", "watts", "what it takes beside its channels", 2.0),
        Rating("reset", "choice", "monitored: pressed and let go; automatic: closes by itself", "monitored",
               ("monitored", "automatic")),
        Rating("cross fault", "choice", "whether a short between the two channels is seen", "seen", ("seen", "not seen")),
        Rating("blocks", "blocks", "safety contacts (no) and signalling contacts (nc)",
               {("13", "14"): ("no",), ("23", "24"): ("no",), ("31", "32"): ("nc",)}),
    ),
    pins=lambda d: ("A1", "A2", "S11", "S12", "S21", "S22", "S33", "S34", *block_pins(d)),
    parts=_parts,
    laws=_laws,
    signs=_signs,
    modes=_modes,
    faces=_faces,
    flaws=_flaws,
    weight=1.0,
)  # fmt: skip
