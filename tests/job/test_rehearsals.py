"""A careful person finds and proves every kind of fault, led by the tree and led by the engine."""

from __future__ import annotations

import pytest
from job.nights import desk, suspect

from troubleshoot.job.rehearse import rehearse

FAULTS = [
    "KM1 coil open", "12:K1:14>FR1:95 open", "FR1 95-96 open", "ES1 left in", "FR1 tripped", "S1 13-14 open",
    "A1 %IX0.1 dead", "K1 coil short", "F4 open", "13:FR1:96>KM1:A1 to earth", "YB1 coil open", "M1 winding V open",
    "N:NB:3>PS1:N open",
]  # fmt: skip


@pytest.mark.parametrize("by", ["tree", "engine"])
@pytest.mark.parametrize("fault", FAULTS)
def test_the_repair_is_named_first_and_proved(fault: str, by: str) -> None:
    truth = suspect(fault)
    played = rehearse(desk(), "wont-start", truth, by=by)
    assert played.found, (played.named, played.ranked[:3])
    assert played.ended == "mended"
    assert played.confirmed or not truth.broken or "%IX" in fault


@pytest.mark.parametrize(
    ("first", "second"),
    [("F4 open", "KM1 coil open"), ("ES1 left in", "12:K1:14>FR1:95 open"), ("S1 13-14 open", "FR1 95-96 open")],
)
def test_a_second_fault_is_found_after_the_first_was_mended(first: str, second: str) -> None:
    played = rehearse(desk(), "wont-start", suspect(first), also=(suspect(second),))
    mended = [e.data["group"] for e in played.events if e.kind == "repaired"]
    assert mended == [suspect(first).group, suspect(second).group]
    assert played.ended == "mended"


def test_the_same_seed_gives_the_same_night() -> None:
    one, two = (rehearse(desk(), "wont-start", suspect("KM1 coil open"), seed=3) for _ in range(2))
    assert [e.data for e in one.events] == [e.data for e in two.events]


def test_a_contactor_that_failed_to_stop_asks_for_a_second_name_at_hand_back() -> None:
    """A stop that failed is a failed safety function: one person alone does not hand the machine back."""
    from troubleshoot.diagnosis.reasoner import Repaired
    from troubleshoot.job.state import State

    welded, open_ = suspect("KM1 1-2 and 3-4 welded"), suspect("KM1 coil open")
    assert desk().stop_failed(State(repaired=(Repaired(welded.group, welded.id),)))
    assert not desk().stop_failed(State(repaired=(Repaired(open_.group, open_.id),)))
