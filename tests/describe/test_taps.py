"""Seven questions, never an eighth, and not knowing is always an answer."""

from __future__ import annotations

import pytest
from describe.answers import answers
from hypothesis import given

from troubleshoot.describe.taps import (
    CONTROLLER,
    HOA,
    QUESTIONS,
    STRAIGHT,
    SYSTEMS,
    UNKNOWN,
    asked,
    counted_as,
    fitted,
    next_question,
    options_of,
)
from troubleshoot.job.describing import OPTIONS


@given(answers())
def test_at_most_seven_questions_describe_a_machine(said):
    assert len(said) <= 7
    assert next_question(said) is None
    assert set(said) - {"relay"} == {q.id for q in asked(said)} - {"relay"}


def test_without_a_controller_nobody_is_asked_for_its_relay():
    assert "relay" not in {q.id for q in asked({"buttons": STRAIGHT})}
    assert "relay" in {q.id for q in asked({"buttons": CONTROLLER})}


def test_without_a_controller_the_overload_contact_cannot_sit_at_its_input():
    assert CONTROLLER not in [o.id for o in options_of(QUESTIONS["overload"], {"buttons": STRAIGHT})]


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=lambda q: q.id)
def test_the_options_of_a_question_are_all_there_is(question):
    assert sum(o.share for o in question.options) == pytest.approx(1)
    # One key each.
    assert all(len(options_of(question, {"supply": s})) <= len(OPTIONS) for s in (*SYSTEMS, UNKNOWN))


def test_the_first_question_is_for_the_supply():
    assert next(iter(QUESTIONS)) == "supply"


def test_control_volts_from_one_line_and_neutral_need_a_supply_that_has_them():
    lines = {
        s: [o.id for o in options_of(QUESTIONS["volts"], {"supply": s}) if o.id.endswith(" line")]
        for s in (*SYSTEMS, UNKNOWN)
    }
    assert lines["208"] == lines["240 high"] == ["120 line"]
    assert lines["400"] == ["230 line"]
    assert not any(lines[s] for s in ("230", "230 none", "480", "600", "480 none", "600 none"))
    assert lines[UNKNOWN] == ["120 line", "230 line"]


@given(answers())
def test_a_supply_that_nobody_told_counts_as_the_highest_that_fits(said):
    counted = SYSTEMS[counted_as(said)]
    volts = said["volts"]
    fits = [s for s in SYSTEMS.values() if not volts.endswith(" line") or volts == f"{s.neutral} line"]
    assert counted.line == max(s.line for s in fits)


def test_when_an_answer_changes_what_no_longer_fits_is_not_known():
    said = {"supply": "208", "buttons": STRAIGHT, "volts": "120 line", "overload": "before"}
    assert fitted({**said, "supply": "480"})["volts"] == UNKNOWN
    assert fitted({**said, "supply": "240 high"})["volts"] == "120 line"
    assert fitted({**said, "buttons": CONTROLLER})["relay"] == UNKNOWN


def test_a_float_that_starts_it_has_no_relay_to_be_asked_for():
    assert "relay" not in {q.id for q in asked({"selector": HOA})}


def test_no_answer_to_any_question_drops_the_others_without_saying_so():
    for question in QUESTIONS.values():
        for option in question.options:
            assert not option.pattern or "only the supply" in option.words
