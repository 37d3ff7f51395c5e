"""How likely it is to see what was seen, if the computed value were true. The only room that knows noise.

Every rate here is a judgement, stated with its reason, to be replaced by a plant's own logs:

- a light called wrongly: 2 % asked one by one, 5 % when passed over in a "the others are as they should be", 10 % from an
  operator's memory;
- a live point read as nothing: 3 % while the tester is unproved (function, lead, reference, tip), 0.3 % once it was proved
  on a known live point;
- one reading off by a wrong point or a slip of the eye: 1 %; a whole batch spoiled by its reference or range: 2 %,
  0.4 % where one of its readings was live;
- next to nothing couples into a floating point: even chances, and nearly the same on a whole machine;
- plant volts: 4 % standard deviation around the computed value (108 to 127 V where 120 V is meant).

docs/explanation/belief.md says the same in a table, which a test holds against this module.
"""

from __future__ import annotations

import math
from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from troubleshoot.evidence import ways_round
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Seen, Source, Word
from troubleshoot.solve.meters import RANGES

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LIGHT_WRONG: dict[Source, float] = {
    "asked": 0.02, "unasked": 0.02, "by-exception": 0.05, "operator": 0.10, "baseline": 0.02, "live": 0.005,
}  # fmt: skip
FLICKER_SEEN = 0.7
"""Chance that who reads a module or walks round notices that something flickers or chatters, and does not write down what
stood there at one moment. All that flickers together does so in one rhythm: it is noticed on all of a sheet or on none."""
FLICKER_CALLED = 0.9
"""Chance that one who notices it calls any one light so, and that one who does not calls none so."""
ZERO_UNPROVED, ZERO_PROVED = 0.03, 0.003
SLIP = 0.01
BATCH_SPOILED, BATCH_SPOILED_LIVE = 0.02, 0.004
SUPPLY_SPREAD = 0.04
TOOL_SHARE: float = RANGES["ac volts"].share
TOOL_VOLTS = 0.4
"""Meter accuracy: share of the reading, and volts for the last digits of the AC range and what the leads pick up."""
NOTHING_BELOW, RIGHT_FROM, RIGHT_TO = 0.10, 0.80, 1.20
"""Where people's words change, as shares of what should be there."""
UNCOUPLED, UNCOUPLED_IN_RUN = 0.5, 0.1
"""Chance that next to nothing couples into a floating point: where it is not known what runs beside it, and where it is."""
CALM, ALIKE = 0.5, 0.95
"""Chance of a calm machine, on which little couples into anything, and share of a machine's floating points that do alike.
One chance for the machine: eight floating points that read nothing say once that little couples there, not eight times. With
an independent half for each, faults behind which conductors float lost to open wires by two to the power of the readings."""
SURPRISED = 0.1
"""Chance that a floating point reads as nobody reckoned: another machine's cable beside it."""
JUMPS_FROM = 0.15
"""Share of what should be there by which a display must jump before a person calls it unsteady. Common practice."""
CALLED_UNSTEADY = 0.6
"""Chance that a person calls a jumping reading unsteady and does not write down what stood there at one moment."""
OHM_DECADES = 0.15
"""Decades by which ohms spread: leads, films and tolerances multiply."""
NO_OHMS = 1e6
"""Above this an ohmmeter beside a real circuit says OL."""


@dataclass(frozen=True, slots=True)
class Predicted:
    """Computed values of one observable, one entry an outcome.

    value: volts, ohms or amperes for meters, (outcomes,); shown: what a light or a look shows, (outcomes,) of text.
    swing: half of how far the value swings where the machine does not come to rest, (outcomes,); 0 at rest.
    right: what a healthy machine reads here; scale: the largest supply volts in reach.
    span: least and most that it may show where it floats, (outcomes,) each (`solve.stray`); None: nothing floats.
    """

    value: Floats
    floating: Bools
    shown: npt.NDArray[np.str_] | None
    swing: Floats
    right: float
    scale: float
    span: tuple[Floats, Floats] | None = None

    @property
    def steady(self) -> Bools:
        """(outcomes,) whether a person sees a value that stands still."""
        return np.array(2 * self.swing <= JUMPS_FROM * nominal_of(self))


def jumps(low: float, high: float, predicted: Predicted) -> bool:
    """Whether a display that goes from `low` to `high` is called unsteady where `predicted` was to be read."""
    return high - low > JUMPS_FROM * nominal_of(predicted)


def classes(predicted: Predicted) -> npt.NDArray[np.intp]:
    """Class of each computed volts reading: 0 nothing, 1 low, 2 right, 3 high (against `nominal`); 4 floating; 5 unsteady."""
    nominal = nominal_of(predicted)
    share = np.abs(predicted.value) / nominal
    found = np.digitize(share, [NOTHING_BELOW, RIGHT_FROM, RIGHT_TO])
    return np.where(predicted.steady, np.where(predicted.floating, 4, found), 5).astype(np.intp)


def nominal_of(predicted: Predicted) -> float:
    """What "right" is measured against: the healthy reading, or the supply where that is nothing."""
    right = abs(predicted.right)
    return right if right > NOTHING_BELOW * predicted.scale else max(predicted.scale, 1e-9)


def likelihood(seen: Seen, predicted: Predicted, noticed: bool | None = None, calm: bool | None = None) -> Floats:
    """Chance (or density, the same measure for every outcome) of one observation under each outcome. (outcomes,).

    noticed: of a light or a look, whether who read it would have seen it flicker; calm: of a reading, whether little couples
    into what floats on this machine; None: nobody knows.
    """
    match seen.understood:
        case Interval() as number:
            return _number(number, seen, predicted, calm)
        case Word.COULDNT:
            return np.ones(len(predicted.value))
        case Word.NOTHING if isinstance(seen.what, Meter) and seen.what.mode == "amps":
            # A clamp that shows nothing is a number: what should flow there may be a quarter ampere, not the largest.
            return _number(Interval(0.0, 0.1, "A"), seen, predicted)
        case Word() as word if predicted.shown is None:
            return _word(word, seen, predicted, calm)
        case Word() | str() as said:
            return _shown(said.value if isinstance(said, Word) else said, seen, predicted, noticed)


def broad(seen: Seen, predicted: Predicted, healthy: int) -> float:
    """Chance of one observation when the description does not cover the fault, or the batch was spoiled.

    Most of a machine still does what it should: 0.7 as healthy, the rest anything. healthy: index of that outcome.
    """
    match seen.understood:
        case Word.COULDNT:
            return 1.0
        case Interval(unit="ohm"):
            anything = 0.1
        case Interval():
            anything = 1 / (1.3 * max(predicted.scale, 1.0))
        case Word() if predicted.shown is None:
            anything = 0.25
        case _:
            anything = 0.5
    return 0.7 * float(likelihood(seen, predicted)[healthy]) + 0.3 * anything


def _zero_rate(seen: Seen) -> float:
    return ZERO_PROVED if seen.proved else ZERO_UNPROVED


def _normal(x: float, middle: Floats, sigma: Floats) -> Floats:
    out: Floats = np.exp(-0.5 * ((x - middle) / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
    return out


def _swing(predicted: Predicted) -> Floats:
    """(outcomes,) half of how far a reading swings, never without end: a display shows what its range holds."""
    return np.minimum(predicted.swing, 2 * max(predicted.scale, nominal_of(predicted)))


def _sigma(value: Floats, spread: Floats) -> Floats:
    out: Floats = np.sqrt((SUPPLY_SPREAD * value) ** 2 + (TOOL_SHARE * value) ** 2 + TOOL_VOLTS**2 + spread**2)
    return out


def _number(number: Interval, seen: Seen, predicted: Predicted, calm: bool | None = None) -> Floats:
    if number.unit == "ohm":
        return _ohms(number, predicted, _open_from(seen))
    value = np.abs(predicted.value)
    x, spread = abs(number.middle), np.hypot((number.high - number.low) / 2, _swing(predicted))
    said = np.where(predicted.steady, 1.0, 1 - CALLED_UNSTEADY)
    anything = SLIP / (1.3 * max(predicted.scale, 1.0))
    if number.unit == "A":
        sigma = np.sqrt((0.15 * value) ** 2 + 0.3**2 + spread**2)
        return said * (1 - SLIP) * _normal(x, value, sigma) + SLIP * 0.05
    zero = _zero_rate(seen)
    held = (1 - SLIP - zero) * _normal(x, value, _sigma(value, spread)) + zero * _normal(
        x, np.zeros_like(value), np.full_like(value, 0.5)
    )
    if predicted.span is not None:
        held = np.where(predicted.floating, (1 - SLIP) * _stray(x, spread, predicted, calm), held)
    return said * held + anything


def _ghost(span: tuple[Floats, Floats], calm: bool | None) -> tuple[Floats, Floats, Floats]:
    """Of a point that floats, (outcomes,) each: chance that nothing couples into it, least and most that it else shows."""
    low, high = span
    none = np.where(low > 0, UNCOUPLED_IN_RUN, UNCOUPLED)
    if calm is not None:
        # Over a calm machine and one that is not, weighed, each keeps its own chance.
        none = none * (ALIKE if calm else 1 - ALIKE) / (CALM if calm else 1 - CALM)
    return none, low, np.maximum(high, low + 1.0)


def _stray(x: float, spread: Floats, predicted: Predicted, calm: bool | None) -> Floats:
    """Density of a floating reading: nothing, or anything within its span."""
    assert predicted.span is not None
    none, low, high = _ghost(predicted.span, calm)
    inside = (x >= low - spread) & (x <= high + spread)
    strange = SURPRISED * 1 / max(predicted.scale, 1.0) if x <= predicted.scale else 0.0
    couples = (1 - SURPRISED) * inside / (high - low + 2 * spread) + strange
    found: Floats = none * _normal(x, np.zeros_like(none), np.full_like(none, 1.0)) + (1 - none) * couples
    return found


def _open_from(seen: Seen) -> float:
    """Ohms from which a reading beside a real circuit is OL: an insulation tester still reads there."""
    tester = isinstance(seen.what, Meter) and seen.what.mode == "insulation"
    return RANGES["insulation"].top if tester else NO_OHMS


def _ohms(number: Interval, predicted: Predicted, open_from: float) -> Floats:
    # Ohms are judged by ratio: leads, films and tolerances multiply. 0.3 ohm is the leads.
    open_ = predicted.value > open_from
    closed = np.log10(np.where(open_, 1.0, predicted.value) + 0.3)
    x = math.log10(max(number.middle, 0.0) + 0.3)
    fits = np.where(open_, 0.0, np.exp(-0.5 * ((x - closed) / OHM_DECADES) ** 2))
    # The same measure: a density a decade, over that at the middle of what fits.
    round_about = OHM_DECADES * math.sqrt(2 * math.pi) * ways_round.density(number.middle, predicted.value)
    other = _way_round(predicted, open_from)
    return (1 - SLIP) * ((1 - other) * fits + other * round_about) + SLIP * 0.1


def _way_round(predicted: Predicted, open_from: float) -> Floats:
    """(outcomes,) chance that ohms round a parted conductor read otherwise than computed; a tester's 500 V find their way."""
    if open_from != NO_OHMS:
        return np.zeros(len(predicted.value))
    return ways_round.unknown(predicted.value, abs(predicted.right))


def _class_chances(seen: Seen, predicted: Predicted, calm: bool | None) -> Floats:
    """(4, outcomes): chance that a person calls the reading nothing, low, right, high."""
    nominal = nominal_of(predicted)
    value = np.abs(predicted.value)
    sigma = _sigma(value, _swing(predicted))
    cuts = [0.0, NOTHING_BELOW * nominal, RIGHT_FROM * nominal, RIGHT_TO * nominal, np.inf]
    below = [np.zeros_like(value), *(_phi((cut - value) / sigma) for cut in cuts[1:-1]), np.ones_like(value)]
    chances = np.stack([below[k + 1] - below[k] for k in range(4)])
    zero = _zero_rate(seen)
    chances = (1 - zero) * chances
    chances[0] += zero
    if predicted.span is not None:
        stray = stray_classes(predicted.span, nominal, predicted.scale, calm)
        chances = np.where(predicted.floating, stray, chances)
    found: Floats = np.where(predicted.steady, 1.0, 1 - CALLED_UNSTEADY) * chances
    return found


def stray_classes(span: tuple[Floats, Floats], nominal: float, scale: float, calm: bool | None = None) -> Floats:
    """(4, outcomes): chance that a person calls the reading of a floating point nothing, low, right, high.

    span: least and most that it may show, (outcomes,) volts each; nominal: volts that are called right; scale: the largest
    in reach; calm: as for `likelihood`.
    """
    none, low, high = _ghost(span, calm)
    cuts = np.array([0.0, NOTHING_BELOW * nominal, RIGHT_FROM * nominal, RIGHT_TO * nominal, 1e9])
    below = np.clip((cuts[:, None] - low) / (high - low), 0.0, 1.0)
    strange = np.diff(np.clip(cuts / max(scale, 1.0), 0.0, 1.0))[:, None]
    chances: Floats = (1 - none) * ((1 - SURPRISED) * np.diff(below, axis=0) + SURPRISED * strange)
    chances[0] += none
    return chances


def _phi(z: Floats) -> Floats:
    # Logistic stand-in for the normal integral, within 0.01 of it everywhere (Bowling et al. 2009, from memory).
    out: Floats = 1 / (1 + np.exp(-np.clip(1.702 * z, -60, 60)))
    return out


def _word(word: Word, seen: Seen, predicted: Predicted, calm: bool | None) -> Floats:
    count = len(predicted.value)

    def slipped(index: int) -> Floats:
        chance: Floats = _class_chances(seen, predicted, calm)[index] * (1 - SLIP) + SLIP / 4
        return chance

    if word is Word.UNSTEADY:
        wanders = np.where(predicted.floating, 0.35, 0.02)
        return np.where(predicted.steady, wanders, CALLED_UNSTEADY)
    if word is Word.OL:
        other = _way_round(predicted, _open_from(seen))
        computed = np.where(predicted.value > _open_from(seen), 0.97, SLIP)
        return (1 - other) * computed + other * ways_round.NONE_ROUND
    if seen.understood is Word.RIGHT and abs(predicted.right) <= NOTHING_BELOW * predicted.scale:
        # "Right" where nothing should be there is the word nothing.
        return slipped(0)
    index = {Word.NOTHING: 0, Word.OFF: 0, Word.LOW: 1, Word.DIM: 1, Word.RIGHT: 2, Word.ON: 2, Word.HIGH: 3}.get(word)
    if index is None:
        return np.ones(count)
    return slipped(index)


def _shown(said: str, seen: Seen, predicted: Predicted, noticed: bool | None) -> Floats:
    """noticed: whether a flicker was; None: nobody knows."""
    assert predicted.shown is not None
    wrong = LIGHT_WRONG[seen.source]
    if said == "dim":
        # No kind computes a dim light; people see one where a lamp ages, where volts are low, where it flickers.
        return np.where(predicted.steady, 0.1, 0.5)
    if noticed is None:
        ways = zip((FLICKER_SEEN, 1 - FLICKER_SEEN), (True, False), strict=True)
        return sum((share * _shown(said, seen, predicted, way) for share, way in ways), np.zeros(len(predicted.value)))
    same = predicted.shown == said
    called = FLICKER_CALLED if noticed else 1 - FLICKER_CALLED
    if said == "unsteady":
        return np.where(same, called, wrong)
    return np.where(predicted.steady, np.where(same, 1 - wrong, wrong), (1 - called) / 2)


def _reads_live(seen: Seen, predicted: Predicted) -> bool:
    if isinstance(seen.understood, Interval):
        return seen.understood.unit == "V" and abs(seen.understood.middle) >= 0.5 * predicted.scale > 0
    return seen.understood is Word.RIGHT and abs(predicted.right) >= 0.5 * predicted.scale > 0


def _sheet(batch: Sequence[Seen], predicted: Sequence[Predicted]) -> Floats:
    """Lights and looks that were read together. (outcomes,)."""
    ways = [
        share * np.prod([likelihood(seen, p, noticed) for seen, p in zip(batch, predicted, strict=True)], axis=0)
        for share, noticed in ((FLICKER_SEEN, True), (1 - FLICKER_SEEN, False))
    ]
    found: Floats = ways[0] + ways[1]
    return found


Weighed = tuple[Floats, float]
"""Of one batch: its likelihood under each outcome (outcomes,), and where what is wrong is not described."""


def group_likelihood(
    batches: Sequence[Sequence[Seen]], predictions: Sequence[Sequence[Predicted]], owner: npt.NDArray[np.intp],
    weight: Floats, suspects: int, healthy: int, outside: int, calm: bool | None = None,
    known: MutableMapping[tuple[tuple[Seen, ...], bool | None], Weighed] | None = None,
) -> Floats:  # fmt: skip
    """Chance of all batches of one situation under each suspect, log scale. (suspects,).

    owner, weight: (outcomes,) suspect and chance of each outcome; healthy: index of the healthy outcome; outside: index
    of the suspect that stands for everything not described. A batch of readings is spoiled as a whole (reference, range) or
    not; on a batch of lights and looks, which were read together, a flicker was noticed or not. calm: as for `likelihood`.
    known: what batches of this situation were weighed at before, kept there for the next time.
    """
    total = np.ones(len(owner))
    apart = 1.0
    known = {} if known is None else known
    for batch, predicted in zip(batches, predictions, strict=True):
        if not batch:
            continue
        key = (tuple(batch), calm)
        if key not in known:
            known[key] = _weighed(batch, predicted, healthy, calm)
        each, beside = known[key]
        total = total * each
        apart *= beside
    per = np.bincount(owner, weights=weight * total, minlength=suspects)
    per[outside] = apart
    out: Floats = np.log(np.maximum(per, 1e-300))
    return out


def _weighed(batch: Sequence[Seen], predicted: Sequence[Predicted], healthy: int, calm: bool | None) -> Weighed:
    if isinstance(batch[0].what, Light | Look):
        return _sheet(batch, predicted), math.prod(
            broad(seen, p, healthy) for seen, p in zip(batch, predicted, strict=True)
        )
    live = [_reads_live(seen, p) for seen, p in zip(batch, predicted, strict=True)]
    each: Floats = np.ones(1)
    spoiled = 1.0
    for k, (seen, p) in enumerate(zip(batch, predicted, strict=True)):
        # A live reading beside it, same leads and range, proves the tester for this one.
        proved = seen if seen.proved or not any(live[:k] + live[k + 1 :]) else replace(seen, proved=True)
        each = each * likelihood(proved, p, None, calm)
        spoiled *= broad(proved, p, healthy)
    rate = BATCH_SPOILED_LIVE if any(live) else BATCH_SPOILED
    return (1 - rate) * each + rate * spoiled, spoiled
