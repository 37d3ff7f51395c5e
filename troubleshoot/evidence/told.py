"""What people say about it, as evidence: answers to a few questions, weighed by the sort of suspect.

The figures are judgement (common practice, no published source), kept mild on purpose: an operator's memory moves the
suspicion, it decides nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Sort = Literal["condition", "trip", "short", "wire", "contact", "mechanical", "program", "wiring", "part"]
"""Sorts of suspect that people's answers can tell apart."""


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
        Said("nothing", "nothing did: it is dead since", 0.67, {
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
OF_A_DEAD_MACHINE: Final = frozenset({"stopped", "break"})
"""Answers that make no sense of a machine that would not stop."""

QUESTIONS: Final[Mapping[str, Question]] = {q.id: q for q in (LAST, GOING, TRIPPED_AFTER)}
COMPLAINT: Final = "complaint"
SHOWN, NOT_SHOWN, A_DOOR = 0.95, 0.02, 0.0005
"""Chance of the complaint where the suspect makes the machine move otherwise than it should, and where it does not. The
last: where the suspect is nothing but what is complained of (the overload has tripped, the fuse has blown), which is a door
to a cause and no cause."""


def chance(question: str, answer: str, sort: Sort) -> float:
    """Chance of an answer under one sort of suspect, of all answers to that question; 1 for an answer nobody knows.

    The figures of a table are weights: under every sort they are brought to one whole.
    """
    weights = {said.id: said.chance.get(sort, said.usual) for said in QUESTIONS[question].answers}
    return weights[answer] / sum(weights.values()) if answer in weights else 1.0
