"""A machine's own past as a gentle hand on its priors: what was found there before, and confirmed, is suspected sooner.

Gamma-Poisson shrinkage. A repair group with the prior chance p is expected n_exp = N p times among N confirmed repairs
of this machine. How many times as often as that it really fails, is taken to be Gamma-distributed around 1 with shape
`SHAPE`; after n times its mean is

    factor = (SHAPE + n) / (SHAPE + n_exp)

kept between `LEAST` and `MOST`. One repair hardly moves anything, ten do, and nothing is ever ruled out. The form is the
usual one for counts of rare events (W. DuMouchel, The American Statistician 53 (1999) 177-190, from memory); shape and
bounds are judgement, no published source. Only repairs that a test confirmed count: a part that was changed on suspicion
would otherwise teach the program its own guesses.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from troubleshoot.faults.suspects import OUTSIDE, Suspect

SHAPE: Final = 1.0
"""Repairs' worth of doubt that this machine is unlike others."""
LEAST, MOST = 0.5, 5.0
"""Whatever the past, a suspect is never less likely than half, never more likely than five times as usual."""


def factors(suspects: Sequence[Suspect], counts: Mapping[str, int]) -> dict[str, float]:
    """Repair group to how many times as likely as usual it is, by the machine's own past; of broken parts alone.

    counts: confirmed repairs of this machine by group. Groups that this description does not know count as repairs of
    something else. Empty where there is no past. Times the priors they sum to what the priors do.
    """
    total = sum(max(0, n) for n in counts.values())
    prior: defaultdict[str, float] = defaultdict(float)
    for suspect in suspects:
        if _counts(suspect):
            prior[suspect.group] += suspect.prior
    whole = sum(prior.values())
    if not total or not whole:
        return {}
    raw = {g: (SHAPE + max(0, counts.get(g, 0))) / (SHAPE + total * p / whole) for g, p in prior.items()}
    # One scale for all, so that the bounds hold for what comes out: the sum grows with it, from LEAST to MOST times the whole.
    low, high = 0.0, MOST / min(raw.values())
    for _ in range(80):
        scale = (low + high) / 2
        if sum(p * _bounded(scale * raw[g]) for g, p in prior.items()) < whole:
            low = scale
        else:
            high = scale
    return {group: _bounded(high * times) for group, times in raw.items()}


def _bounded(times: float) -> float:
    return min(MOST, max(LEAST, times))


def _counts(suspect: Suspect) -> bool:
    return suspect.broken and suspect.id != OUTSIDE


def with_history(suspects: Sequence[Suspect], counts: Mapping[str, int]) -> tuple[Suspect, ...]:
    """The suspects with the machine's past in their priors, in their order.

    The chance of something outside the model stays as it is, and so does that of broken parts and of conditions
    together: what was confirmed are broken parts, and a stop left in leaves no confirmed repair behind.
    """
    times = factors(suspects, counts)
    return tuple(replace(s, prior=s.prior * times[s.group]) if _counts(s) and times else s for s in suspects)
