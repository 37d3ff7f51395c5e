"""From an exercise to the runner that plays it."""

from __future__ import annotations

from collections.abc import Callable

from troubleshoot.job.desk import Desk
from troubleshoot.job.plant import ProofAhead
from troubleshoot.job.runner import Runner
from troubleshoot.log.writer import Log
from troubleshoot.practice.course import Course
from troubleshoot.practice.exercise import BY_NUMBER, Exercise
from troubleshoot.practice.frame import Kept
from troubleshoot.practice.session import Practice


def runner_of(
    exercise: Exercise, desk: Desk, log: Callable[[], Log], who: str, kept: Kept,
    ahead: Callable[[str, bool], ProofAhead] | None = None,
) -> Runner:  # fmt: skip
    """A lesson or a whole job. log: opened last, so that an exercise that cannot be leaves no file; with events in it the
    exercise is gone on with.

    Raises `exercise.Nothing` where the machine has nothing for this lesson, KeyError for a fault it has not.
    """
    if BY_NUMBER[exercise.level].lesson and not exercise.faults:
        return Course(exercise, desk, log, who, kept=kept)
    exercise.suspects(desk)
    return Practice(exercise, desk, log(), who, kept=kept, ahead=ahead)
