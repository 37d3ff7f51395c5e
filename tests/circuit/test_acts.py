"""What a hand can do, read from words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.circuit.acts import parse_acts, reach
from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Act
from troubleshoot.text.problem import Position, Problem

CAN = {
    "Q1": ("on", "off"),
    "S1": ("free", "pressed"),
    "S3": ("jog", "run", "run in test"),
    "FR1": ("set", "tripped", "tested"),
    "K1": (),
    "F1": ("whole", "blown"),
    "Q2": ("on", "off", "tripped"),
    "B9": ("free", "pulled"),
}


def test_acts_are_read_in_the_order_they_are_done():
    said = "put S3 in run; press S1; release S1; open Q1; close Q1; test FR1; reset FR1; wait 5 s; lose power; restore power"
    assert parse_acts(said, CAN) == (
        Act("put", "S3", "run"),
        Act("press", "S1"),
        Act("release", "S1"),
        Act("open", "Q1"),
        Act("close", "Q1"),
        Act("test", "FR1"),
        Act("reset", "FR1"),
        Act("wait", value="5"),
        Act("lose power"),
        Act("restore power"),
    )


def test_what_protects_trips_and_is_put_right_and_a_cord_is_pulled_and_reset():
    said = "trip FR1; reset FR1; trip Q2; close Q2; refit F1; pull B9; reset B9"
    assert parse_acts(said, CAN) == (
        Act("trip", "FR1"),
        Act("reset", "FR1"),
        Act("trip", "Q2"),
        Act("close", "Q2"),
        Act("refit", "F1"),
        Act("pull", "B9"),
        Act("reset", "B9"),
    )


@pytest.mark.parametrize("nothing", ["", "  ", ";", " ; ;"])
def test_no_text_is_no_acts(nothing):
    assert parse_acts(nothing, CAN) == ()


@pytest.mark.parametrize(
    ("said", "seconds"), [("wait 5 s", "5"), ("wait 250 ms", "0.25"), ("wait 2 min", "120"), ("wait 1.5s", "1.5")]
)
def test_a_wait_is_kept_in_seconds(said, seconds):
    assert parse_acts(said, CAN) == (Act("wait", value=seconds),)


def test_a_position_may_itself_say_in():
    assert parse_acts("put S3 in run in test", CAN) == (Act("put", "S3", "run in test"),)


@pytest.mark.parametrize(
    ("said", "what", "near"),
    [
        ("press K1", "K1 cannot be pressed", "S1"),
        ("press Q1", "Q1 cannot be pressed", "S1"),
        ("open S1", "S1 cannot be opened by hand", "Q1"),
        ("reset Q1", "Q1 cannot be reset", None),
        ("press S9", "no device 'S9' in this circuit", "S1"),
        ("press", "the device is missing", None),
        ("put S3 in rum", "S3 has no position 'rum'", "run"),
        ("put K1 in on", "K1 has nothing that a hand can move", None),
        ("put S3", "'put S3' does not say in which position", "put S3 in run"),
        ("wait", "'wait' must be a number with a unit, like 20 s, not ''", None),
        ("wait 5", "'wait' has no unit: write 5 s", None),
        ("pres S1", "'pres S1' is not something a hand can do here", "press S1"),
        ("loose power", "'loose power' is not something a hand can do here", "lose power"),
        ("refit FR1", "FR1 cannot be refitted", "F1"),
        ("refit F2", "no device 'F2' in this circuit", "F1"),
        ("trip F1", "F1 cannot be tripped", "FR1"),
        ("put F1 in blown", "F1 has nothing that a hand can move", None),
        ("pull S1", "S1 cannot be pulled", None),
        ("press B9", "B9 cannot be pressed", None),
        ("refi F1", "'refi F1' is not something a hand can do here", "refit F1"),
        ("pul B9", "'pul B9' is not something a hand can do here", "pull B1"),
        ("heal KM1", "'heal KM1' is not something a hand can do here", None),
        ("Press S1", "'Press S1' is not something a hand can do here", "press S1"),
    ],
)
def test_what_cannot_be_done_is_said_with_what_was_probably_meant(said, what, near):
    assert parse_acts(said, CAN) == Problem(Position("acts", 1, 1), what, near)


def test_a_wrong_act_is_pointed_at_where_it_stands():
    wrong = parse_acts("press S1; press S9", CAN, Position("typed", 3, 5))
    assert isinstance(wrong, Problem)
    assert str(wrong).startswith("typed:3:15: no device")


@given(
    st.lists(
        st.one_of(
            st.sampled_from(
                ["press S1", "release S1", "open Q1", "test FR1", "reset FR1", "lose power", "put S3 in jog"]
            ),
            st.integers(1, 10**6).map(lambda s: f"wait {s} s"),
        )
    )
)
def test_acts_written_out_read_back_the_same(said):
    acts = parse_acts("; ".join(said), CAN)
    assert [str(act) for act in acts] == said


@given(st.text(max_size=60))
def test_any_text_is_acts_or_a_printable_problem(said):
    read = parse_acts(said, CAN)
    assert not isinstance(read, Problem) or str(read).isprintable()


def test_real_heads_latch_breakers_open_and_overloads_are_reset():
    circuit = load_circuit(
        "machine: m\n"
        "devices:\n"
        "  ES1: {kind: emergency stop, blocks: {'11-12': nc}}\n"
        "  Q1: {kind: disconnect}\n"
        "  FR1: {kind: overload, set: 4.8 A}\n"
        "  F1: {kind: fuse, amps: 2 A}\n"
        "  Q2: {kind: breaker, amps: 6 A}\n"
        "  B9: {kind: pull cord, blocks: {'11-12': nc}}\n"
        "wires: [{number: '1', run: [ES1:11, FR1:95]}]\nroles: {}\ncomplaints: {}\n",
        "m.yaml",
    )
    assert not isinstance(circuit, tuple), circuit
    can = reach(circuit.devices, KINDS)
    said = (
        "press ES1; release ES1; open Q1; close Q1; test FR1; reset FR1; trip Q2; close Q2; refit F1; pull B9; reset B9"
    )
    acts = parse_acts(said, can)
    assert isinstance(acts, tuple), acts
    assert len(acts) == 11
    assert [str(act) for act in acts] == said.split("; ")


@pytest.mark.parametrize(
    ("said", "how"),
    [("push S1", "press S1"), ("hold S1", "press S1"), ("turn S3 in run", "put S3 in run"), ("pause 5 s", "wait 5 s")],
)
def test_another_word_for_what_a_hand_does_is_answered_with_ours(said, how):
    found = parse_acts(said, CAN)
    assert isinstance(found, Problem)
    assert found.nearest == how
