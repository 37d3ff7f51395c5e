"""Rows of answers in any order, by any hands: no live reading before its caution, no dead work before dead is proved."""

from __future__ import annotations

import os
from collections import Counter

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test
from job import sequences
from job.sequences import play
from job.warned import trespasses

from troubleshoot.job import decide as decide_room
from troubleshoot.job import rehearse as rehearse_room
from troubleshoot.job.folding import fold
from troubleshoot.job.state import State

RUNS = int(os.environ.get("TROUBLESHOOT_SEQUENCES", "60"))
"""Rows drawn by seed; more with TROUBLESHOOT_SEQUENCES=100000, or tests/measure/many_sequences.py."""


@pytest.mark.parametrize("honest", [True, False], ids=["by what was read", "by any suspicion"])
def test_no_row_of_answers_reads_live_before_its_caution_or_works_dead_before_it_is_proved(honest):
    tally: Counter[str] = Counter()
    for seed in range(RUNS // (3 if honest else 1)):
        play("fan-2", tally, seed, honest=honest)
    # Rows that never come to a meter would prove nothing.
    assert tally["entries of readings behind a caution"] >= 10
    assert tally["readings typed before their caution"] >= 1


def test_the_same_drawn_by_a_machine_that_makes_what_breaks_it_small():
    tally: Counter[str] = Counter()
    run_state_machine_as_test(sequences.sequences("fan-2", tally), settings=settings(
        max_examples=15, deadline=None, stateful_step_count=10, suppress_health_check=list(HealthCheck),
    ))  # fmt: skip
    assert tally["sequences"] >= 15


def test_a_program_that_asks_for_no_caution_is_caught(monkeypatch):
    def none_stands(*_: object) -> None:
        return None

    for where in (decide_room, sequences, rehearse_room):
        monkeypatch.setattr(where, "caution_of", none_stands)
    events = sequences.careful.__wrapped__("fan-2", "KM1 coil open", "wont-start")[-1][0]
    found = trespasses(sequences.shared_desk("fan-2"), events)
    assert any("read live with no caution accepted for it" in words for words in found)


def test_power_that_was_said_to_be_on_and_is_taken_back_leaves_nothing_proved_dead():
    """Words are taken back, not volts: it may have had its power for a while. Found by such rows of answers."""
    steps = sequences.careful("fan-2", "KM1 coil open", "wont-start")
    events = next(list(e) for e, _ in steps if e[-1].kind == "power")
    before: State = fold(events[:-1])
    assert before.isolation
    assert before.tested
    taken_back = sequences.Event(len(events) + 1, "retract", {"of": [events[-1].n]})
    after = fold([*events, taken_back])
    assert not after.isolation
    assert not after.tested
    assert not after.power  # as it was before: off, and to be proved so


def test_folding_on_is_folding_all_of_it():
    for fault in sequences.FAULTS["fan-2"]:
        events = sequences.careful("fan-2", fault, "wont-start")[-1][0]
        folded = sequences.Folded()
        for upto in range(1, len(events) + 1):
            folded = folded.on(events[:upto])
            assert folded.state == fold(events[:upto])
