"""What people type first leads to the symptom they mean, and never to a runaway where they told of a dead machine.

Over every symptom of every ready machine at once, so that no machine's short list makes it easy. The words are invented,
in the way of a shop floor; which symptom they mean is common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from against import ready
from job.nights import ROOT, circuits

from troubleshoot.circuit.model import Circuit
from troubleshoot.job.opening import ENOUGH, matches
from troubleshoot.job.saying import runs_on, senses
from troubleshoot.safety.doings import UNBIDDEN

CASES = [
    tuple(part.strip() for part in line.split("|"))
    for line in (Path(__file__).parent / "cases/complaints.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]


@cache
def machines() -> dict[str, Circuit]:
    return {"belt-7": circuits()["belt-7"], **{name: ready.machine(name).circuit for name in ready.NAMES}}


@cache
def every_symptom() -> Circuit:
    """One machine that can have every symptom any ready machine has, each with all its words."""
    found = {}
    for circuit in machines().values():
        for name, one in circuit.complaints.items():
            words = (*(found[name].words if name in found else ()), *one.words)
            found[name] = replace(one, words=tuple(dict.fromkeys(words)))
    # Those two name the machine they are about; the corpus here names none.
    left = {name: one for name, one in found.items() if name not in ("feeder-wont-start", "wont-change-over")}
    return replace(circuits()["belt-7"], complaints=left)


def test_the_corpus_is_as_large_as_it_has_to_be_and_holds_every_symptom_of_every_tree() -> None:
    assert len(CASES) >= 120
    trees = {path.stem for path in (ROOT / "trees").glob("*.yaml")}
    assert trees <= {symptom for _, symptom in CASES}


@pytest.mark.parametrize(("said", "symptom"), CASES, ids=[said for said, _ in CASES])
def test_peoples_words_lead_to_the_symptom_they_mean(said: str, symptom: str) -> None:
    (found,) = matches(said, {"m": every_symptom()})
    if symptom == "ask":
        assert found.complaint_score < ENOUGH, found.complaint
    else:
        assert (found.complaint, found.complaint_score >= ENOUGH) == (symptom, True)


@pytest.mark.parametrize(("said", "symptom"), CASES, ids=[said for said, _ in CASES])
def test_on_no_machine_do_they_open_a_runaway_that_was_not_told(said: str, symptom: str) -> None:
    assert runs_on(said) == (symptom in UNBIDDEN)
    if symptom not in UNBIDDEN:
        for found in matches(said, machines()):
            assert not (found.complaint in UNBIDDEN and found.complaint_score >= ENOUGH), found.machine


@pytest.mark.parametrize("name", ["belt-7", *ready.NAMES])
def test_every_word_of_a_machines_own_complaints_means_that_complaint(name: str) -> None:
    circuit = machines()[name]
    for complaint in circuit.complaints.values():
        for words in complaint.words:
            (found,) = matches(words, {"m": circuit})
            assert found.complaint == complaint.name or found.complaint_score < ENOUGH, words


def test_a_machine_and_a_negation_are_told_apart_from_the_same_machine_running_on() -> None:
    for words in ("not running", "isnt running", "wont go", "wont pump", "running slow"):
        assert not runs_on(f"pump 3 {words}")
    for words in ("keeps running", "wont stop", "will not shut off", "still running"):
        assert runs_on(f"pump 3 {words}")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("elevator 3 won't start, nothing happens, green light dark", {"wont-start"}),
        ("press START and nothing at all, green light dark", {"wont-start"}),
        ("the green light is dark", {"light-lies"}),
        ("run light does not work", {"light-lies"}),
    ],
)
def test_a_lamp_that_is_dark_besides_does_not_hide_what_the_machine_does(said, told):
    assert senses(said) == told
