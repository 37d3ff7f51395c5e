"""What a lesson and a whole job share: what is said before it, what leaving means, what comes of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from troubleshoot.job.sheet import LiveKey
from troubleshoot.practice.debrief import Result

HOW: Final = (
    "Two pages, and one key between them, the dot: the question, as in any job, and the panel, with hands, eyes and a "
    "meter. What you find on the panel you answer in your own words.",
    "Leads off before the knob turns, as on any meter: on its way it passes ohms, and on a live point that ends it.",
    "What should be there, and what is left, is shown once you have said what you expect.",
    "An act that could hurt somebody ends it, with the reason. No clock runs. Left half-way, it is gone on with from the "
    "course.",
)
"""What is said before every exercise."""
BEGIN: Final = LiveKey("enter", "begin", "begins the exercise")
LEAVING: Final = "the exercise is kept as it stands; the course goes on with it"
"""What leaving means here."""
TAKEN_UP_LESSON: Final = (
    "Taken up again where it was. The panel and its locks stand as you left them, so what was answered counts; a caution that "
    "was read is read again."
)
TAKEN_UP: Final = (
    "Taken up again where it was. The panel stands as you left it; cautions and isolation are asked again."
)


@dataclass(frozen=True, slots=True)
class Kept:
    """What comes of an exercise beside its log."""

    done: Callable[[Result], str] = lambda result: ""
    """Takes the result where progress is kept; says what comes next, or nothing."""
