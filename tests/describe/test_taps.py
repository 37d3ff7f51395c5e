"""Six taps, never a seventh, and not knowing is always an answer."""

from __future__ import annotations

import pytest
from describe.answers import answers
from hypothesis import given

from troubleshoot.describe.taps import CONTROLLER, QUESTIONS, STRAIGHT, asked, next_question, options_of


@given(answers())
def test_at_most_six_taps_describe_a_machine(said):
    assert len(said) <= 6
    assert next_question(said) is None
    assert set(said) == {q.id for q in asked(said)}


def test_without_a_controller_nobody_is_asked_for_its_relay():
    assert "relay" not in {q.id for q in asked({"buttons": STRAIGHT})}
    assert "relay" in {q.id for q in asked({"buttons": CONTROLLER})}


def test_without_a_controller_the_overload_contact_cannot_sit_at_its_input():
    assert CONTROLLER not in [o.id for o in options_of(QUESTIONS["overload"], {"buttons": STRAIGHT})]


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=lambda q: q.id)
def test_the_options_of_a_question_are_all_there_is(question):
    assert sum(o.share for o in question.options) == pytest.approx(1)
    assert len(question.options) <= 9  # one key each
