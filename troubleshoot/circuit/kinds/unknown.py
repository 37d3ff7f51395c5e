"""A black box in a circuit: a chain with two ends that nobody has looked into, and the marks met inside it so far."""

from __future__ import annotations

from itertools import pairwise

from troubleshoot.circuit.kinds.base import Given, Kind, Mode, ModeEdit, Rating, Switch, When, texts
from troubleshoot.circuit.kinds.hands import FILM_OHMS
from troubleshoot.circuit.model import Device

CHAIN_OHMS = 0.3
"""A few contacts and their wires while all are closed. Common practice."""
OPEN, BAD = 0.7, 0.3
"""Shares of a chain that does not make and of one that makes badly. Judgement, after contacts and hops together."""
CONTACTS = 2
"""Nought to three door switches, pull cords and interlocks stand in most stop chains. Common practice."""
PER_CONTACT = 0.5
"""Weight of one unknown contact with its wires, beside a relay's 1.0. Judgement, after a selector's 0.5."""


def _marks(d: Device) -> tuple[str, ...]:
    return ("1", *texts(d, "inside"), "2")


def _segments(d: Device) -> tuple[tuple[str, str], ...]:
    return tuple(pairwise(_marks(d)))


def _modes(d: Device) -> tuple[Mode, ...]:
    count = len(_segments(d))
    modes: list[Mode] = []
    for a, b in _segments(d):
        name, item = f"{a}-{b}", f"{d.tag} between {a} and {b}"
        modes += [
            Mode(f"{name} open", f"{d.tag} is open somewhere between {a} and {b}", OPEN / count,
                 (ModeEdit("siemens", name, 0.0),), "find, halving by wire numbers (v),", item),
            Mode(f"{name} film", f"{d.tag} makes badly somewhere between {a} and {b}", BAD / count,
                 (ModeEdit("times", name, CHAIN_OHMS / FILM_OHMS),), "find, halving by wire numbers (v),", item),
        ]  # fmt: skip
    return tuple(modes)


def _flaws(d: Device) -> tuple[str, ...]:
    inside = texts(d, "inside")
    return tuple(f"'inside' holds {mark!r}, which is an end of it" for mark in inside if mark in ("1", "2"))


UNKNOWN_CHAIN = Kind(
    name="unknown chain",
    words="chain that nobody has looked into",
    ratings=(Rating("inside", "list", "marks met inside it so far, from end 1 to end 2", ()),),
    pins=_marks,
    parts=lambda d: tuple(Switch(f"{a}-{b}", a, b, (When(d.tag, ("made",)),), CHAIN_OHMS) for a, b in _segments(d)),
    laws=lambda d: (Given(d.tag, "made"),),
    modes=_modes,
    faces=lambda d: {f"{a}-{b}": (a, b) for a, b in _segments(d)},
    flaws=_flaws,
    weight=CONTACTS * PER_CONTACT,
)
