"""What an ohmmeter reads on the way round a parted conductor: the model knows it roughly, and the meter finds it or not.

Where a good path is open, the meter's few volts go round it, through what hangs beside it. A coil or a winding is rated and
reads so. The input of an electronic supply or of a module, a lamp, a diode in a plug, a film on a contact reads anything
from its kilohms up to OL at the voltage of an ohmmeter. So such a reading is no point but a spread: far above the good value
it says "open", and little about which way round. Common practice, no published source.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from troubleshoot.solve.meters import OPEN_OHMS

Floats = npt.NDArray[np.float64]

FAR: Final = 10.0
"""Times the good value, leads included, from which a reading says that the path is open, whatever it is."""
LEADS: Final = 2.0
"""Ohms that leads and joints may add to a good value."""
ELECTRONIC_OHMS: Final = 1000.0
"""From here on it is a way through electronics, a lamp, a film; below, through coils and windings, which are rated."""
UNKNOWN_ELECTRONIC, UNKNOWN_RATED = 0.5, 0.1
"""Chance that the way round reads otherwise than computed: through electronics; through coils, or computed as none at all."""
NONE_ROUND: Final = 0.4
"""Chance that an unknown way round is none to an ohmmeter: OL."""


def far_from(right: float) -> float:
    """Ohms from which a reading is far above a good value of `right` ohms. inf where good is open already."""
    return FAR * (right + LEADS) if right < OPEN_OHMS / FAR else math.inf


def unknown(value: Floats, right: float) -> Floats:
    """(outcomes,) chance that a computed reading is a way round that reads otherwise. value, right: ohms; right: the good one."""
    electronic = (value >= ELECTRONIC_OHMS) & (value < OPEN_OHMS)
    share = np.where(electronic, UNKNOWN_ELECTRONIC, UNKNOWN_RATED)
    found: Floats = np.where(value > far_from(right), share, 0.0)
    return found


def below(ohms: float, value: Floats) -> Floats:
    """(outcomes,) chance that an unknown way round reads below `ohms`: by ratio alike from the lesser of a kilohm and the
    computed value up to where the meter shows OL; the rest is OL."""
    low = np.log10(np.minimum(value, ELECTRONIC_OHMS))
    share = (math.log10(max(ohms, 1e-3)) - low) / (math.log10(OPEN_OHMS) - low)
    found: Floats = (1 - NONE_ROUND) * np.clip(share, 0.0, 1.0)
    return found


def density(ohms: float, value: Floats) -> Floats:
    """(outcomes,) density of `below`, a decade."""
    low = np.minimum(value, ELECTRONIC_OHMS)
    inside = (ohms >= low) & (ohms <= OPEN_OHMS)
    found: Floats = np.where(inside, (1 - NONE_ROUND) / (math.log10(OPEN_OHMS) - np.log10(low)), 0.0)
    return found
