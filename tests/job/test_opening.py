"""From the first words to a machine and a symptom: people say it as they say it."""

from __future__ import annotations

import pytest
from job.nights import circuits

from troubleshoot.job.opening import matches


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
