"""The questions about a machine that nobody described, seven at most, and what may be answered. Not knowing is an answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from troubleshoot.describe.stops import stops_kept

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
    pattern: str = ""
    """The ready circuit that is taken instead: a machine of this sort is not the one the other answers compose."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question, answered by one key."""

    id: str
    words: str
    options: tuple[Option, ...]
    looks: str
    """How one sees it, or what happens where one does not know."""


STRAIGHT, CONTROLLER = "straight", "controller"
LINES: Final = "lines"
"""Control volts that are the supply's own, between two of its lines."""
FEEDBACK: Final = "feedback"
"""Answer that is never asked for: ``yes`` where somebody saw that an input of the controller watches the contactor."""
HOA: Final = "hand/off/auto"
"""A switch and a float start it, or another contact: no buttons."""


@dataclass(frozen=True, slots=True)
class System:
    """A supply as plants have it. Standard volts: ANSI C84.1, CSA C235, IEC 60038 (from memory)."""

    volts: str
    """As the circuit file writes it: line to line, line to neutral."""
    line: float
    """Volts between two lines."""
    to_earth: tuple[float, ...]
    """Volts of its lines to earth; empty where nothing ties them to it."""
    frequency: str
    earthing: str
    neutral: str = ""
    """Control volts that one line and the neutral give; empty where they give none that coils are made for."""

    @property
    def phases(self) -> tuple[float, float]:
        """Volts line to line and line to neutral, as `volts` says."""
        line, phase = self.volts.split("Y/")
        return float(line), float(phase)

    @property
    def hertz(self) -> float:
        """`frequency` as a number."""
        return float(self.frequency.split()[0])


SYSTEMS: Final = MappingProxyType({
    "208": System("208Y/120", 208, (120,), "60 Hz", "star point", "120"),
    "240 high": System("240Y/139", 240, (120, 208), "60 Hz", "high leg", "120"),
    "400": System("400Y/230", 400, (230,), "50 Hz", "star point", "230"),
    "480": System("480Y/277", 480, (277,), "60 Hz", "star point"),
    "600": System("600Y/347", 600, (347,), "60 Hz", "star point"),
    "480 none": System("480Y/277", 480, (), "60 Hz", "none"),
    "600 none": System("600Y/347", 600, (), "60 Hz", "none"),
    "230": System("230Y/133", 230, (133,), "50 Hz", "star point"),
    "230 none": System("230Y/133", 230, (), "50 Hz", "none"),
})  # fmt: skip
"""By the answer to the question for the supply."""
HIGHEST_FIRST: Final = ("600", "480", "400", "240 high", "230", "208")
"""What a supply that nobody told counts as: the highest that fits the other answers, so that no caution says too little."""

_QUESTIONS: Final = (
    Question("supply", "What does the plant feed this panel with, between two lines?", (
        Option("208", "208 V (120 V to earth)", 0.23),
        Option("240 high", "240 V delta, high leg (120 V to earth, one line 208 V)", 0.07),
        Option("400", "400 V (230 V to earth)", 0.16),
        Option("480", "480 V (277 V to earth)", 0.32),
        Option("600", "600 V (347 V to earth)", 0.1),
        Option("480 none", "480 V, nothing earthed", 0.05),
        Option("600 none", "600 V, nothing earthed", 0.03),
        Option("230", "230 V (133 V to earth)", 0.02),
        Option("230 none", "230 V, nothing earthed", 0.02),
    ), "On the plate of panel or motor. Don't know counts as the highest that fits."),
    Question("buttons", "Start and stop buttons: how do they reach the motor contactor?", (
        Option(STRAIGHT, "straight: wired to the contactor's coil", 0.45),
        Option(CONTROLLER, "through a controller (PLC)", 0.55),
    ), "A box with rows of small lights and many thin wires is a controller."),
    Question("relay", "Between the controller and the contactor's coil: is there a small relay?", (
        Option("yes", "yes, a relay, often plug-in", 0.7),
        Option("no", "no, the controller's output switches the coil itself", 0.3),
    ), "The drawing tells. Don't open a live panel to look: 0 is fine."),
    Question("volts", "Control voltage at the contactor's coil, and where does it come from?", (
        Option("24 supply", "24 V DC, from a supply in this panel", 0.18),
        Option("24 other", "24 V DC, from another panel", 0.03),
        Option("120 transformer", "110-120 V AC, from a transformer of its own", 0.25),
        Option("120 line", "110-120 V AC, one line and neutral", 0.18),
        Option("120 other", "110-120 V AC, from another panel", 0.05),
        Option("230 transformer", "230 V AC, from a transformer of its own", 0.08),
        Option("230 line", "230 V AC, one line and neutral", 0.1),
        Option("230 other", "230 V AC, from another panel", 0.03),
        Option("48 supply", "48 V DC, from a supply in this panel", 0.01),
        Option("110 supply", "110 V DC, from a supply in this panel", 0.01),
        Option(LINES, "the supply's own volts, between two lines, no transformer", 0.08),
    ), "On the drawing or a spare coil. Don't open a live panel to look: 0 is fine."),
    Question("overload", "Overload relay, its contact 95-96: where does it sit?", (
        Option("before", "before the coil", 0.6),
        Option("after", "after the coil, in its return", 0.25),
        Option("controller", "at an input of the controller", 0.15),
    ), "Not knowing is fine: the readings will tell."),
    Question("brake", "Is there a brake on the motor?", (
        Option("none", "no brake", 0.55),
        Option("leads", "yes, straight from the motor's leads", 0.25),
        Option("rectifier", "yes, from the motor's leads through a rectifier", 0.12),
        Option("own", "yes, own fuse in this panel, dead with its disconnect open", 0.04),
        Option("elsewhere", "yes, own breaker elsewhere, live with the disconnect open", 0.04),
    ), "A round cover at the motor's fan end is a brake. Don't know counts as live."),
    Question("selector", "How does one choose what it does?", (
        Option("run/jog", "a run/jog switch", 0.33),
        Option("stop only", "no switch, start and stop only", 0.5),
        Option("reversing", "forward and reverse, two contactors (a ready circuit, of your answers only the supply)", 0.1,
               "reversing-conveyor"),
        Option(HOA, "hand/off/auto: a float or another contact starts it", 0.07),
    ), "Look at the operator's desk."),
)  # fmt: skip

QUESTIONS: Final = MappingProxyType({question.id: question for question in _QUESTIONS})
"""In the order in which they are asked."""


def options_of(question: Question, answers: Answers) -> tuple[Option, ...]:
    """The options that fit what was answered before: nothing at the inputs of no controller, no 120 V from 480Y/277."""
    if question.id == "overload" and answers.get("buttons") == STRAIGHT:
        return tuple(o for o in question.options if o.id != CONTROLLER)
    system = SYSTEMS.get(answers.get("supply", UNKNOWN))
    if question.id == "volts" and system is not None:
        return tuple(o for o in question.options if not o.id.endswith(" line") or o.id == f"{system.neutral} line")
    if question.id == "selector" and answers.get("buttons") == CONTROLLER:
        return tuple(
            replace(o, words=f"{o.words} (described without the controller)") if o.id == HOA else o
            for o in question.options
        )
    return question.options


def counted_as(answers: Answers) -> str:
    """The supply that a description without a told one counts with: the highest that fits the control volts."""
    volts = answers.get("volts", UNKNOWN)
    return next(s for s in HIGHEST_FIRST if not volts.endswith(" line") or volts == f"{SYSTEMS[s].neutral} line")


def asked(answers: Answers) -> tuple[Question, ...]:
    """The questions that make sense with these answers: without a controller nobody asks for its relay."""
    straight = answers.get("buttons") == STRAIGHT or answers.get("selector") == HOA
    return tuple(q for q in QUESTIONS.values() if not (q.id == "relay" and straight))


def fitted(answers: Answers) -> dict[str, str]:
    """Answers after one of them was changed: what no longer fits is not known any more, what makes no sense is gone."""
    kept = {q.id: answers.get(q.id, UNKNOWN) for q in asked(answers)} | feedback_in(answers) | stops_kept(answers)
    for question in asked(kept):
        if kept[question.id] not in [o.id for o in options_of(question, kept)]:
            kept[question.id] = UNKNOWN
    return kept


def feedback_in(answers: Answers) -> dict[str, str]:
    """That an input watches the contactor, where that was said and there is a controller."""
    return {FEEDBACK: "yes"} if answers.get(FEEDBACK) == "yes" and answers.get("buttons") == CONTROLLER else {}


def next_question(answers: Answers) -> Question | None:
    """The first question that has no answer yet; None when all have."""
    return next((q for q in asked(answers) if q.id not in answers), None)
