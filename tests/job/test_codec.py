"""What goes into a log comes out of it the same: through the canonical line, not only through our own dicts."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from job.nights import circuits, desk

from troubleshoot.circuit.model import Act, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Word
from troubleshoot.job.codec import (
    get_item,
    get_pin,
    get_situation,
    get_step,
    get_understood,
    put_item,
    put_pin,
    put_situation,
    put_step,
    put_understood,
)
from troubleshoot.log.event import make_event


def through_a_log(value: object) -> object:
    """As a log would keep it: spelled as one canonical line, and frozen as `Event.data` is."""
    event = make_event(1, "note", "2026-11-25T03:10:22.480+01:00", 0, {"value": value}, "0" * 64)
    return json.loads(json.dumps(event.plain()))["value"]


NAMES = st.text(min_size=1, max_size=12)
PINS = st.builds(Pin, NAMES, NAMES)
METERS = st.builds(Meter, st.sampled_from(["ac volts", "dc volts", "low-impedance volts", "ohms", "amps"]), PINS, PINS)
ITEMS = st.one_of(METERS, st.builds(Light, NAMES), st.builds(Look, NAMES))
ACTS = st.builds(Act, st.sampled_from(["press", "release", "put", "open", "close", "trip", "reset"]), NAMES, NAMES)
SITUATIONS = st.builds(
    NamedSituation, NAMES, NAMES,
    st.builds(Situation, st.sampled_from(["rest", "as-found"]), st.lists(ACTS, max_size=3).map(tuple),
              st.frozensets(st.tuples(NAMES, NAMES), max_size=3)),
    st.integers(1, 2),
)  # fmt: skip
FINITE = st.floats(allow_nan=False, allow_infinity=False, width=32)
UNDERSTOOD = st.one_of(
    st.sampled_from(Word), NAMES,
    st.tuples(FINITE, FINITE).map(lambda pair: Interval(min(pair), max(pair), "V")),
)  # fmt: skip


@given(PINS)
def test_a_point(pin: Pin) -> None:
    assert get_pin(through_a_log(put_pin(pin))) == pin  # type: ignore[arg-type]


@given(ITEMS)
def test_what_was_looked_at_or_metered(item: Meter | Light | Look) -> None:
    assert get_item(through_a_log(put_item(item))) == item  # type: ignore[arg-type]


@given(SITUATIONS)
def test_the_state_of_the_machine(named: NamedSituation) -> None:
    assert get_situation(through_a_log(put_situation(named))) == named  # type: ignore[arg-type]


@given(UNDERSTOOD)
def test_what_was_understood(value: Interval | Word | str) -> None:
    assert get_understood(through_a_log(put_understood(value))) == value


@given(st.lists(ITEMS, min_size=1, max_size=3).map(tuple), SITUATIONS, st.lists(NAMES, max_size=3).map(tuple))
def test_a_chosen_step(items: tuple[Meter | Light | Look, ...], named: NamedSituation, ahead: tuple[str, ...]) -> None:
    step = Step("measure", "own test", items, named, "words", "why", ahead, "K1", "engine", 60.0, 1.5)
    assert get_step(through_a_log(put_step(step))) == step  # type: ignore[arg-type]


@pytest.mark.parametrize("machine", ["belt-7", "fan-2"])
def test_every_situation_of_a_machine_and_every_trip_of_its_engine(machine: str) -> None:
    for named in circuits()[machine].situations.values():
        assert get_situation(through_a_log(put_situation(named))) == named  # type: ignore[arg-type]
    found = desk(machine)
    for step in found.planner.trips(found.reasoner.belief(()), [found.shows("wont-start")]):
        assert get_step(through_a_log(put_step(step))) == step  # type: ignore[arg-type]


def test_two_words_that_are_written_alike_are_told_apart() -> None:
    """A light that shows ``low`` and a meter that reads low are not the same thing said."""
    assert get_understood(put_understood(Word.LOW)) is Word.LOW
    assert get_understood(put_understood("low")) == "low"
    assert put_understood(Word.LOW) != put_understood("low")
