"""Which question to the operator is due, and which of its answers make sense here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Told
from troubleshoot.job.state import State
from troubleshoot.safety.doings import UNBIDDEN

FOLLOWS: Final[Mapping[str, tuple[told.Question, ...]]] = {
    "stopped": (told.GOING,), "tripped": (told.TRIPPED_AFTER, told.GOING), "bang": (), "jam": (told.GOING,),
}  # fmt: skip
"""What is asked next after an answer to "what did it do last?"."""


BY_COMPLAINT: Final[Mapping[str, tuple[told.Question, ...]]] = {
    "trips-overload": (told.TRIPPED_AFTER, told.LOAD, told.HOT), "hums": (told.LOAD, told.HOT),
    "brake-drags": (told.HOT, told.LOAD), "brake-slips": (told.HOT,), "stops-itself": (told.NOW, told.GOING),
}  # fmt: skip
"""What is asked whatever it did last: eyes and nose where the load may hold it, and of what comes and goes whether it is
there now and what got it going again."""


def due_question(state: State) -> told.Question | None:
    """The question for whoever ran it that has not been put yet; None when all have."""
    if told.LAST.id not in state.asked:
        return told.LAST
    answer = next(
        (str(s.understood) for s in state.evidence if isinstance(s.what, Told) and s.what.question == told.LAST.id), ""
    )
    own = BY_COMPLAINT.get(state.complaint, ())
    # Whether it stands as it failed comes first: it may be started again while somebody talks.
    due = (*(q for q in own if q is told.NOW), *FOLLOWS.get(answer, ()), *own)
    return next((q for q in due if q.id not in state.asked), None)


def answers_of(question: told.Question, state: State) -> tuple[told.Said, ...]:
    """Its answers, without those that make no sense of a machine that would not stop."""
    unbidden = state.complaint in UNBIDDEN
    return tuple(a for a in question.answers if not (unbidden and a.id in told.OF_A_DEAD_MACHINE))
