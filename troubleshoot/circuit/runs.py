"""Conductors that lie side by side over some metres, in one conduit or one cable: what couples them, per metre.

Belongs here: the usual capacitances and how they share out in a bundle. What they do to a reading is for `solve`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class Usual:
    """Capacitance of one conductor, farads per metre."""

    to_neighbour: float
    """To one neighbour that touches it."""
    to_earth: float


USUAL: Final = MappingProxyType({"conduit": Usual(50e-12, 60e-12), "cable": Usual(100e-12, 100e-12)})
"""Single wires in a shared metal conduit or trunking (20 to 100 and 30 to 150 pF/m are met); cores of a control cable
(60 to 200; 150 to 400 to all others and earth together). Common practice, no published source."""


def touching(conductors: int) -> float:
    """Share of the pairs in a bundle of so many conductors that touch: the chance that two of them do.

    Nobody knows which wire lies beside which, so every pair is given this share of a touching neighbour's capacitance;
    1 for two and for three. Source: most contacts that n equal discs can have, floor(3 n - sqrt(12 n - 3)), Harborth
    (1974), from memory.
    """
    if conductors < 3:
        return 1.0
    contacts = math.floor(3 * conductors - math.sqrt(12 * conductors - 3) + 1e-9)
    return contacts / (conductors * (conductors - 1) / 2)


__all__ = ["USUAL", "Usual", "touching"]
