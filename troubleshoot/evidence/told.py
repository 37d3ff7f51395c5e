"""What people say about it, as evidence: answers to a few questions, weighed by the sort of suspect.

The figures are judgement (common practice, no published source), kept mild on purpose: an operator's memory moves the
suspicion, it decides nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Sort = Literal["condition", "trip", "short", "wire", "contact", "mechanical", "program", "wiring", "part"]
"""Sorts of suspect that people's answers can tell apart."""
Signs = tuple[tuple[str, str, float], ...]
"""Question, answer, chance: what one suspect answers."""


@dataclass(frozen=True, slots=True)
class Said:
    """One answer: its words and how likely it is under each sort of suspect (others: `usual`)."""

    id: str
    words: str
    usual: float
    chance: Mapping[Sort, float]


@dataclass(frozen=True, slots=True)
class Question:
    """A question for whoever ran the machine."""

    id: str
    words: str
    answers: tuple[Said, ...]
    whom: str = "Ask whoever ran it"


WORKED_ON: Final = "worked on"
LAST: Final = Question(
    "last",
    "What did it do last?",
    (
        Said("stopped", "stopped by itself while running", 0.30, {"condition": 0.15, "trip": 0.35, "wiring": 0.10}),
        Said(
            "break",
            "would not restart after a stop or break",
            0.30,
            {"condition": 0.45, "trip": 0.10, "short": 0.15, "wiring": 0.15},
        ),
        Said(
            "tripped",
            "tripped or blew something",
            0.08,
            {"trip": 0.45, "short": 0.40, "mechanical": 0.25, "wiring": 0.05},
        ),
        Said("bang", "bang, flash or smell", 0.03, {"short": 0.20, "mechanical": 0.12, "trip": 0.10, "wiring": 0.02}),
        Said(
            WORKED_ON,
            "somebody worked on it",
            0.08,
            {"wire": 0.20, "condition": 0.20, "program": 0.30, "wiring": 0.60},
        ),
        Said("jam", "a jam was cleared", 0.06, {"trip": 0.25, "mechanical": 0.30, "condition": 0.15, "wiring": 0.02}),
        Said("loaded", "somebody loaded or changed the program", 0.02, {"program": 0.45}),
    ),
)
"""Asked first: who worked on it last shift is worth more than three readings."""

GOING: Final = Question(
    "going",
    "What got it going again, the times before?",
    (
        Said("itself", "it went again by itself", 0.08, {
            "wire": 0.25, "contact": 0.20, "condition": 0.12, "trip": 0.05, "mechanical": 0.05, "short": 0.02,
        }),
        Said("start", "pressing Start was enough", 0.12, {
            "wire": 0.20, "contact": 0.25, "trip": 0.05, "mechanical": 0.08, "short": 0.03, "wiring": 0.05,
        }),
        Said("reset", "the overload or a breaker was reset", 0.05, {
            "trip": 0.50, "mechanical": 0.50, "short": 0.10, "condition": 0.08,
        }),
        Said("power", "power off and on again", 0.08, {
            "program": 0.35, "wire": 0.06, "contact": 0.06, "trip": 0.05, "mechanical": 0.04, "short": 0.05,
        }),
        Said("nothing", "nothing yet: it is the first time, or dead since", 0.67, {
            "wire": 0.45, "contact": 0.45, "trip": 0.35, "mechanical": 0.33, "program": 0.45, "condition": 0.60,
            "short": 0.80,
        }),
    ),
)  # fmt: skip
"""Asked of what stopped by itself or tripped: up to two bits, without touching anything."""
TRIPPED_AFTER: Final = Question(
    "tripped after",
    "How long after the start did it trip?",
    (
        Said(
            "at once", "at once, with the start", 0.25, {"short": 0.70, "mechanical": 0.15, "trip": 0.05, "wire": 0.15}
        ),
        Said("seconds", "within half a minute", 0.25, {"short": 0.15, "mechanical": 0.50, "wire": 0.35}),
        Said("minutes", "after minutes", 0.30, {"short": 0.05, "trip": 0.50, "wire": 0.20}),
        Said("hours", "after hours, or now and then", 0.20, {"short": 0.10, "mechanical": 0.05, "wire": 0.30}),
    ),
)
"""A held shaft trips a class 10 overload in seconds from cold (IEC 60947-4-1, from memory: 4 to 10 s at 7.2 times its
setting), a drag in minutes, a short at once."""
LOAD: Final = Question(
    "load",
    "Look at what it drives, from outside the guard: how does the load look?",
    (
        Said("usual", "as usual", 0.80, {"mechanical": 0.60}),
        Said("much", "more than usual on it", 0.10, {"mechanical": 0.10}),
        Said("jammed", "something is stuck or piled up in it", 0.06, {"mechanical": 0.15}),
        Said("stands", "it does not move although the motor turns", 0.04, {"mechanical": 0.15}),
    ),
    "At the machine",
)
HOT: Final = Question(
    "hot",
    "Nose, and the back of a hand near it, never on it: what is hot, dusty or smells?",
    (
        Said("nothing", "nothing", 0.70, {"mechanical": 0.35, "short": 0.45, "trip": 0.50}),
        Said("drum", "the brake: drum or disc, dust", 0.05, {"mechanical": 0.10}),
        Said("motor", "the motor", 0.12, {"mechanical": 0.30, "trip": 0.30, "wire": 0.15}),
        Said("gear", "gear, bearing, coupling or belt", 0.05, {"mechanical": 0.20}),
        Said(
            "panel", "something in the panel", 0.08, {"short": 0.40, "contact": 0.15, "wire": 0.15, "mechanical": 0.05}
        ),
    ),
    "At the machine",
)
"""Eyes and nose before the meter, asked where a load may hold the motor: most of what holds it has no voltage at all. What
single suspects answer stands with their kinds. Common practice, no published source."""
NOW: Final = Question(
    "now",
    "Does it do it at this moment?",
    (Said("failing", "yes: it stands as it failed, nothing touched since", 0.5, {}),
     Said("working", "no: it runs now", 0.5, {})),
    "Before anything is touched",
)  # fmt: skip
"""Tells nothing about what is wrong; it says what every reading after it is worth."""
COMES_AND_GOES: Final = frozenset({"stops-itself"})
"""Complaints of something that is not there all the time."""
OF_A_DEAD_MACHINE: Final = frozenset({"stopped", "break"})
"""Answers that make no sense of a machine that would not stop."""

QUESTIONS: Final[Mapping[str, Question]] = {q.id: q for q in (LAST, GOING, TRIPPED_AFTER, LOAD, HOT, NOW)}
COMPLAINT: Final = "complaint"
SHOWN, NOT_SHOWN, A_DOOR = 0.95, 0.02, 0.0005
"""Chance of the complaint where the suspect makes the machine move otherwise than it should, and where it does not. The
last: where the suspect is nothing but what is complained of (the overload has tripped, the fuse has blown), which is a door
to a cause and no cause."""


def chance(question: str, answer: str, sort: Sort, signs: Signs = ()) -> float:
    """Chance of an answer under one suspect, of all answers to that question; 1 for an answer nobody knows.

    signs: what the suspect itself answers otherwise than its sort. The figures of a table are weights: under every suspect
    they are brought to one whole.
    """
    weights = {said.id: said.chance.get(sort, said.usual) for said in QUESTIONS[question].answers}
    own = {a: p for q, a, p in signs if q == question}
    if own:
        rest = sum(w for a, w in weights.items() if a not in own)
        weights = {a: own.get(a, w * (1 - sum(own.values())) / rest) for a, w in weights.items()}
    return weights[answer] / sum(weights.values()) if answer in weights else 1.0


AFTER_S: Final[Mapping[str, tuple[float, float]]] = {
    "at once": (0.0, 2.0), "seconds": (2.0, 30.0), "minutes": (30.0, 3600.0), "hours": (3600.0, math.inf),
}  # fmt: skip
"""Seconds that the answers to `TRIPPED_AFTER` mean."""
TIME_SPREAD: Final = 1.6
"""Factor by which a remembered time is off either way. Common practice, no published source."""
TIME_WRONG: Final = 0.2
"""Chance that the time is remembered of another trip, or guessed."""


def chance_after(answer: str, first: float, last: float, otherwise: float) -> float:
    """Chance of an answer to `TRIPPED_AFTER` where the relay trips between `first` and `last` seconds, computed.

    otherwise: its chance where nothing is computed. Between the two ends every logarithm of the time is as likely.
    """
    low, high = math.log(max(first, 0.1) / TIME_SPREAD), math.log(max(last, first, 0.1) * TIME_SPREAD)
    begin, end = (math.log(max(s, 1e-3)) for s in AFTER_S[answer])
    share = max(0.0, min(high, end) - max(low, begin)) / (high - low)
    return (1 - TIME_WRONG) * share + TIME_WRONG * otherwise
