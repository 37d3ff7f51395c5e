"""What the operator says moves suspicion mildly, and in the way a practitioner would move it. Common practice, no source."""

from __future__ import annotations

from typing import get_args

import pytest

from troubleshoot.evidence import told


@pytest.mark.parametrize("question", told.QUESTIONS.values(), ids=lambda q: q.id)
@pytest.mark.parametrize("sort", get_args(told.Sort))
def test_the_answers_to_a_question_are_one_whole_under_every_sort_of_fault(
    question: told.Question, sort: told.Sort
) -> None:
    total = sum(told.chance(question.id, answer.id, sort) for answer in question.answers)
    assert total == pytest.approx(1)


@pytest.mark.parametrize("question", told.QUESTIONS.values(), ids=lambda q: q.id)
def test_no_answer_excludes_a_sort_of_fault(question: told.Question) -> None:
    for answer in question.answers:
        chances = [told.chance(question.id, answer.id, sort) for sort in get_args(told.Sort)]
        assert min(chances) > 0
        assert max(chances) / min(chances) < 60


@pytest.mark.parametrize(
    ("answer", "more", "less"),
    [("itself", "wire", "part"), ("itself", "contact", "mechanical"), ("start", "contact", "trip"),
     ("reset", "mechanical", "program"), ("power", "program", "contact"), ("nothing", "part", "trip")],
)  # fmt: skip
def test_what_got_it_going_again_points_at(answer: str, more: told.Sort, less: told.Sort) -> None:
    assert told.chance("going", answer, more) > 1.3 * told.chance("going", answer, less)


def test_a_held_shaft_trips_in_seconds_a_drag_in_minutes_and_a_short_at_once() -> None:
    """IEC 60947-4-1, from memory: class 10 trips in 4 to 10 s from cold at 7.2 times its setting."""
    first = {sort: max(told.TRIPPED_AFTER.answers, key=lambda a: told.chance("tripped after", a.id, sort)).id
             for sort in ("mechanical", "trip", "short")}  # fmt: skip
    assert first == {"mechanical": "seconds", "trip": "minutes", "short": "at once"}
