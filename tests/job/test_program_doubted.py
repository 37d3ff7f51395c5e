"""A program that somebody changed: found by what lights and meter leave, confirmed by comparing, put right with care."""

from __future__ import annotations

import pytest
from job.nights import Night, desk, suspect

from troubleshoot.job.rehearse import rehearse

CHANGED = [
    "A1 force %IX0.1 off",
    "A1 program line 127: start missing in motor",
    "A1 program line 126: estop_ok inverted in stop_chain",
    "A1 program line 121: motor at %QX0.1",
]


@pytest.mark.parametrize("by", ["tree", "engine"])
@pytest.mark.parametrize("fault", CHANGED)
def test_a_changed_program_is_found_and_put_right(fault: str, by: str) -> None:
    played = rehearse(desk(), "wont-start", suspect(fault), by=by)
    assert played.found, (played.named, played.ranked[:3])
    assert played.ended == "mended"


def test_it_is_compared_before_it_is_named_and_the_rung_to_compare_is_drawn() -> None:
    night = Night("A1 program line 127: start missing in motor")
    night.type("belt 7 dead")
    for _ in range(40):
        if "Compare, without a meter" in night.text:
            break
        night.careful()
    lines = night.lines()
    assert "Compare, without a meter: program of A1 beside its copy." in lines
    assert "| stop_chain   start             motor |" in lines
    assert "|----| |-----+--| |------------+--( )--|" in lines
    assert not any("list of forced points" in line for line in lines)
    night.careful_until("repair")
    assert "Seen with your own eyes." in night.text
    assert "Do: load the copy of the program of A1." in night.text
    assert "A1 back in run with the copy WILL start M1 (belt motor) at once with S1 pressed." in night.text
    assert "From then on S1 WILL start M1 (belt motor), which it did not before." in night.text
    assert "Everybody clear of M1 (belt motor)" in night.text
    assert "whoever may load this controller" in night.text


@pytest.mark.parametrize("by", ["tree", "engine"])
@pytest.mark.parametrize("seed", [0, 2])
def test_a_seal_contact_inverted_is_found_also_by_who_writes_down_what_stood_there_at_one_moment(
    by: str, seed: int
) -> None:
    """Everything chatters: whether a person notices that is one thing for all lights of a sheet, not one for each."""
    fault = suspect("A1 program line 127: motor inverted in motor")
    played = rehearse(desk(), "wont-hold", fault, by=by, seed=seed, notices=False)
    assert played.found, (played.named, played.ranked[:3])
    assert played.ended == "mended"


def test_a_look_round_never_asks_for_the_comparison() -> None:
    asked = {item.name for item in (*desk().looks(), *desk().lights())}
    assert not {"A1 program", "A1 forces"} & asked
