"""From the first words to a machine and a symptom: people say it as they say it."""

from __future__ import annotations

import pytest
from job.nights import circuits

from troubleshoot.job.opening import matches, unknown_machine


@pytest.mark.parametrize(
    ("said", "machine", "complaint"),
    [
        ("conv dead", "belt-7", "wont-start"),
        ("belt 7 dead", "belt-7", "wont-start"),
        ("the belt won't start", "belt-7", "wont-start"),
        ("belt 7 stops when I let go", "belt-7", "wont-hold"),
        ("Belt 7 keeps running!", "belt-7", "wont-stop"),
        ("conveyor 7 nothing happens", "belt-7", "wont-start"),
    ],
)
def test_the_machine_and_the_symptom_are_found_from_few_words(said: str, machine: str, complaint: str) -> None:
    best = matches(said, circuits())[0]
    assert (best.machine, best.complaint) == (machine, complaint)
    assert best.sure


def test_words_that_name_no_machine_are_never_sure_of_one() -> None:
    assert not any(m.sure for m in matches("zzz qqq", circuits()))


def test_a_number_is_another_machine_not_a_likeness() -> None:
    """Belt 9 is not belt 7: a person sent to the wrong panel is in danger."""
    found = {m.machine: m for m in matches("9 dead", circuits())}
    assert found["belt-7"].machine_score < 55


@pytest.mark.parametrize(
    "said",
    [
        "keg conveyor K-2 starts but drops out",
        "K2 drops out when I let go of start",
        "brewery keg conveyor K-2 runs only while I hold start",
        "mixer 7 dead",
        "saw dead",
        "roller hums",
    ],
)
def test_a_machine_named_otherwise_than_any_known_one_is_none_of_them(said: str) -> None:
    called = unknown_machine(said, circuits())
    assert called
    assert called in said


@pytest.mark.parametrize(
    "said",
    [
        "belt7 dead",
        "conveyer 7 dead",
        "parcel belt dead",
        "harrow lane belt dead",
        "old belt 7 dead",
        "7 dead",
        "motor hums",
    ],
)
def test_a_known_machine_by_part_of_its_name_is_not_asked_about(said: str) -> None:
    assert unknown_machine(said, circuits()) is None
