"""What is wrong, where, and what was probably meant."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.text.problem import MOST_PROBLEMS, Position, Problem, in_file_order, nearest


def test_a_problem_reads_file_line_column_what_and_nearest():
    at = Position("belt-7.yaml", 12, 3)
    assert str(Problem(at, "no terminal 'K1:41'", "K1:14")) == "belt-7.yaml:12:3: no terminal 'K1:41' (nearest: K1:14)"
    assert str(Problem(at, "the file is empty")) == "belt-7.yaml:12:3: the file is empty"


def test_a_problem_is_safe_to_print_whatever_the_file_is_called():
    at = Position("x\x1b]0;gone\x07\n.yaml", 1, 1)
    assert str(Problem(at, "no device '\x9b31m'", "\u202eK1")).isprintable()


@pytest.mark.parametrize(
    ("said", "known", "meant"),
    [
        ("K1:41", ["K1:A1", "K1:13", "K1:14"], "K1:14"),
        ("k1:14", ["K1:13", "K1:14"], "K1:14"),
        ("contctor", ["contactor", "control fuse", "motor"], "contactor"),
        ("pushbutton", ["push button", "plc"], "push button"),
        ("overload", ["thermal overload relay", "relay"], "thermal overload relay"),
        ("strat", ["start", "stop"], "start"),
        ("xyzzy", ["start", "stop", "K1"], None),
        ("q", ["K", "M"], None),
        ("", ["start"], None),
        ("start", [], None),
        ("conveyor belt of the north hall", ["start", "stop"], None),
    ],
)
def test_the_nearest_is_what_a_colleague_would_have_guessed(said, known, meant):
    assert nearest(said, known) == meant


@given(st.text(max_size=400), st.lists(st.text(max_size=20), max_size=8))
def test_the_nearest_is_one_of_the_known_or_none(said, known):
    assert nearest(said, known) in (None, *known)


@given(
    st.lists(
        st.builds(Problem, st.builds(Position, st.just("f"), st.integers(1, 99), st.integers(1, 99)), st.text()),
        max_size=120,
    )
)
def test_problems_come_in_file_order_each_once_and_at_most_fifty(problems):
    told = in_file_order(problems)
    assert [(p.at.line, p.at.column) for p in told] == sorted((p.at.line, p.at.column) for p in told)
    assert len(told) == len(set(told)) == min(MOST_PROBLEMS, len(set(problems)))
