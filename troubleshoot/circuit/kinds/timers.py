"""Timer relays: contacts that follow the coil after a time, and contacts that follow it at once."""

from __future__ import annotations

from collections.abc import Mapping

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Blocks,
    DelayLaw,
    Kind,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    When,
    blocks_of,
    number,
)
from troubleshoot.circuit.kinds.hands import block_parts
from troubleshoot.circuit.kinds.magnets import coil_flaws, coil_law, coil_part, coil_ratings, contact_modes
from troubleshoot.circuit.model import Device

_ARMATURE = ("out", "in")


def _late(d: Device) -> str:
    """State variable of the delayed contacts."""
    return f"{d.tag} timer"


def _blocks(d: Device) -> Blocks:
    return {**blocks_of(d), **blocks_of(d, "at once")}


def _pins(d: Device) -> tuple[str, ...]:
    return tuple(dict.fromkeys(("A1", "A2", *(p for ab in _blocks(d) for p in ab))))


def _parts(d: Device) -> tuple[Part, ...]:
    return (
        coil_part(d, d.tag, "out", "in", "A1", "A2"),
        *block_parts(d, _ARMATURE, var=_late(d)),
        *block_parts(d, _ARMATURE, rating="at once"),
    )


def _laws(d: Device) -> tuple[AnyLaw, ...]:
    up, down = (When(d.tag, (state,)) for state in ("in", "out"))
    after = number(d, "time")
    on_delay = d.ratings["delay"] == "on"
    return (
        coil_law(d, d.tag, "out", "in", "A1", "A2"),
        DelayLaw(_late(d), "out", "in", (up,), after if on_delay else 0.0),
        DelayLaw(_late(d), "in", "out", (down,), 0.0 if on_delay else after),
    )


def _signs(d: Device) -> tuple[Sign, ...]:
    return (
        Sign(f"{d.tag} supply light", f"{d.words} supply light", "light", d.tag, {"out": "off", "in": "on"}),
        Sign(f"{d.tag} output light", f"{d.words} output light", "light", _late(d), {"out": "off", "in": "on"}),
    )


def _modes(d: Device) -> tuple[Mode, ...]:
    late, coil = _late(d), f"{d.tag}"
    # The coil's share is the timing electronics' as well. Common practice.
    return (
        Mode("dead", f"{d.tag} has no life in it", 0.20, (ModeEdit("siemens", "coil", 0.0), ModeEdit("stuck", coil, "out")),
             "replace", d.tag),
        Mode("does not time out", f"{d.tag} is fed and its delayed contacts never move", 0.25, (ModeEdit("stuck", late, "out"),),
             "replace", d.tag),
        Mode("stays timed out", f"{d.tag} delayed contacts stay moved", 0.05, (ModeEdit("stuck", late, "in"),), "replace",
             d.tag),
        *contact_modes(d, tuple(_blocks(d)), 0.35, 0.15),
    )  # fmt: skip


def _faces(d: Device) -> Mapping[str, tuple[str, str]]:
    return {"coil": ("A1", "A2"), **{f"{a}-{b}": (a, b) for a, b in _blocks(d)}}


def _flaws(d: Device) -> tuple[str, ...]:
    both = [f"{a}-{b}" for a, b in blocks_of(d) if (a, b) in blocks_of(d, "at once")]
    return (*coil_flaws(d), *(f"contact {pair} is among 'blocks' and among 'at once'" for pair in both))


TIMER = Kind(
    name="timer relay",
    words="timer relay",
    ratings=(
        *coil_ratings(3.0, 3.0),
        Rating("delay", "choice", "on: moves a time after it is fed; off: moves back a time after it is fed no more",
               choices=("on", "off")),
        Rating("time", "seconds", "the time it is set to"),
        Rating("blocks", "blocks", "delayed contacts: 15-18: no, 15-16: nc, 67-68: no"),
        Rating("at once", "blocks", "contacts that follow the coil without delay", {}),
    ),
    pins=_pins,
    parts=_parts,
    laws=_laws,
    signs=_signs,
    modes=_modes,
    faces=_faces,
    flaws=_flaws,
    weight=1.0,
)  # fmt: skip
