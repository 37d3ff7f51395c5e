"""Answers to the questions at the door, drawn at random as a person could give them."""

from __future__ import annotations

from hypothesis import strategies as st

from troubleshoot.describe.taps import UNKNOWN, Answers, next_question, options_of


@st.composite
def answers(draw: st.DrawFn) -> Answers:
    said: dict[str, str] = {}
    while (question := next_question(said)) is not None:
        composed = [o.id for o in options_of(question, said) if not o.pattern]
        said[question.id] = draw(st.sampled_from([*composed, UNKNOWN]))
    return said
