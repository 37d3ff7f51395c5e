"""The six questions about a machine that nobody described, and what may be answered. Not knowing is an answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

UNKNOWN: Final = "?"
"""The answer of somebody who does not know; every variant then stays alive."""

Answers = Mapping[str, str]
"""Question id to the id of an option, or `UNKNOWN`."""


@dataclass(frozen=True, slots=True)
class Option:
    """One way in which it may be."""

    id: str
    words: str
    share: float
    """Chance beforehand among the options of its question. Judgement, no published source."""


@dataclass(frozen=True, slots=True)
class Question:
    """One tap."""

    id: str
    words: str
    options: tuple[Option, ...]
    looks: str
    """How one sees it, or what happens where one does not know."""


STRAIGHT, CONTROLLER = "straight", "controller"

_QUESTIONS: Final = (
    Question("buttons", "Start and stop buttons: how do they reach the motor contactor?", (
        Option(STRAIGHT, "straight: wired to the contactor's coil", 0.45),
        Option(CONTROLLER, "through a controller (PLC)", 0.55),
    ), "A box with rows of small lights and many thin wires is a controller."),
    Question("relay", "Between the controller and the contactor's coil: is there a small relay?", (
        Option("yes", "yes, a relay, often plug-in", 0.7),
        Option("no", "no, the controller's output switches the coil itself", 0.3),
    ), "Follow the wire from the contactor's A1 back."),
    Question("volts", "Control voltage at the contactor's coil, and where does it come from?", (
        Option("24 supply", "24 V DC, from a supply in this panel", 0.22),
        Option("24 other", "24 V DC, from another panel", 0.03),
        Option("120 transformer", "110-120 V AC, from a transformer of its own", 0.27),
        Option("120 line", "110-120 V AC, one line and neutral", 0.2),
        Option("120 other", "110-120 V AC, from another panel", 0.05),
        Option("230 transformer", "230 V AC, from a transformer of its own", 0.08),
        Option("230 line", "230 V AC, one line and neutral", 0.12),
        Option("230 other", "230 V AC, from another panel", 0.03),
    ), "It is printed on the coil, beside A1 and A2."),
    Question("overload", "Overload relay, its contact 95-96: where does it sit?", (
        Option("before", "before the coil", 0.6),
        Option("after", "after the coil, in its return", 0.25),
        Option("controller", "at an input of the controller", 0.15),
    ), "Not knowing is fine: the readings will tell."),
    Question("brake", "Is there a brake on the motor?", (
        Option("none", "no brake", 0.55),
        Option("leads", "yes, fed from the motor's leads", 0.25),
        Option("own", "yes, with a feed of its own", 0.08),
        Option("rectifier", "yes, through a rectifier", 0.12),
    ), "A round cover at the fan end of the motor, with its own cable, is a brake."),
    Question("selector", "How does one choose what it does?", (
        Option("run/jog", "a run/jog switch", 0.4),
        Option("stop only", "no switch, start and stop only", 0.6),
    ), "Look at the operator's desk."),
)  # fmt: skip

QUESTIONS: Final = MappingProxyType({question.id: question for question in _QUESTIONS})
"""In the order in which they are asked."""


def options_of(question: Question, answers: Answers) -> tuple[Option, ...]:
    """The options that fit what was answered before: without a controller nothing sits at its inputs."""
    if question.id == "overload" and answers.get("buttons") == STRAIGHT:
        return tuple(o for o in question.options if o.id != CONTROLLER)
    return question.options


def asked(answers: Answers) -> tuple[Question, ...]:
    """The questions that make sense with these answers: without a controller nobody asks for its relay."""
    return tuple(q for q in QUESTIONS.values() if not (q.id == "relay" and answers.get("buttons") == STRAIGHT))


def next_question(answers: Answers) -> Question | None:
    """The first question that has no answer yet; None when all have."""
    return next((q for q in asked(answers) if q.id not in answers), None)
