"""Where wires meet: terminal strips, plugs and bars."""

from __future__ import annotations

from itertools import pairwise

from troubleshoot.circuit.kinds.base import (
    Branch,
    Control,
    Kind,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Spare,
    Switch,
    When,
    texts,
)
from troubleshoot.circuit.kinds.hands import FILM_OHMS
from troubleshoot.circuit.model import Device


def _pins(d: Device) -> tuple[str, ...]:
    return texts(d, "pins")


TERMINALS = Kind(
    name="terminals",
    words="terminal strip",
    ratings=(Rating("pins", "list", "terminal marks in order"),),
    pins=_pins,
    parts=lambda _: (),
    rows=lambda d: (_pins(d),),
)

BAR = Kind(
    name="bar",
    words="common bar (neutral, protective earth, 0 V)",
    ratings=(Rating("pins", "list", "terminal marks in order; all are one piece of metal"),),
    pins=_pins,
    parts=lambda d: tuple(Branch(p, p, "@bar", 1e-3, 1e-3) for p in _pins(d)),
)


def _poles(d: Device) -> tuple[str, ...]:
    return texts(d, "poles")


PLUG_OHMS = 5e-3
"""A good pin in its socket. Common practice."""


def _plug_parts(d: Device) -> tuple[Part, ...]:
    seated = (When(d.tag, ("in",)),)
    return (
        *(Switch(p, f"{p} socket", f"{p} plug", seated, PLUG_OHMS) for p in _poles(d)),
        # The cable side is where strands stray.
        *(Spare(f"{p} to {q}", f"{p} plug", f"{q} plug") for p, q in pairwise(_poles(d))),
    )


def _plug_modes(d: Device) -> tuple[Mode, ...]:
    # Plug contact: open 0.45, intermittent 0.35, short 0.20 (facts of connectors: MIL-HDBK-338B, from memory, rounded).
    poles = _poles(d)
    shorts = tuple(pairwise(poles))
    apart = 1.0 if not shorts else 0.80
    modes = [
        Mode("pulled", f"{d.tag} is pulled out", 0.03, (ModeEdit("left", d.tag, "pulled"),), "plug in", d.tag,
             broken=False)
    ]  # fmt: skip
    for p in poles:
        item = f"{d.tag} contact {p}"
        modes += [
            Mode(f"{p} open", f"{item} does not make", apart * 0.45 / 0.80 / len(poles), (ModeEdit("siemens", p, 0.0),),
                 "re-make", item),
            Mode(f"{p} loose", f"{item} makes badly", apart * 0.35 / 0.80 / len(poles),
                 (ModeEdit("times", p, PLUG_OHMS / FILM_OHMS),), "re-make", item),
        ]  # fmt: skip
    return (
        *modes,
        *(
            Mode(f"{p} to {q} short", f"{d.tag} contacts {p} and {q} touch", 0.20 / len(shorts),
                 (ModeEdit("siemens", f"{p} to {q}", 100.0),), "re-make", d.tag)
            for p, q in shorts
        ),
    )  # fmt: skip


PLUG = Kind(
    name="plug",
    words="plug and socket",
    ratings=(Rating("poles", "list", "contacts in order: terminals are '1 socket' (panel side) and '1 plug' (cable side)"),),
    pins=lambda d: tuple(pin for p in _poles(d) for pin in (f"{p} socket", f"{p} plug")),
    parts=_plug_parts,
    controls=lambda d: (Control(d.tag, ("in", "pulled"), "in"),),
    signs=lambda d: (Sign(d.tag, d.words, "look", d.tag, {"in": "plugged in", "pulled": "pulled out"}),),
    modes=_plug_modes,
    faces=lambda d: {f"contact {p}": (f"{p} socket", f"{p} plug") for p in _poles(d)},
    weight=0.6,
)  # fmt: skip
