"""Somebody worked on it: what they may have left behind is among the suspects from that answer on, and only then."""

from __future__ import annotations

import random

import pytest
from job.nights import Night, desk

from troubleshoot.job.decided import Ui
from troubleshoot.job.rehearse import Bench, answer
from troubleshoot.job.stage import stage_of

SOMEBODY, NOBODY_KNOWS = "5", "8"


def opened(answer: str) -> Night:
    night = Night("KM1 coil open")
    night.type("conv dead")
    night.press("y")
    night.press(answer)
    return night


def test_only_that_answer_makes_the_list_longer() -> None:
    whole = desk().machine.suspects
    longer = desk().after_work.machine.suspects
    assert {s.id for s in whole} < {s.id for s in longer}
    assert opened(NOBODY_KNOWS).session._fitting(desk()) is desk()
    told = opened(SOMEBODY)
    assert told.session._fitting(desk()) is desk().after_work
    told.press("u")
    assert told.session._fitting(desk()) is desk(), "undone, it was never said"


@pytest.mark.parametrize("fault", ["KM1 wrong coil", "30:X3:2>A1:%IX0.0 moved to A1:%IX0.1", "X2:1 to X2:2 bridged"])
def test_what_was_left_behind_is_found_when_it_was_told(fault: str) -> None:
    longer = desk().after_work
    truth = next(s for s in longer.machine.suspects if s.id == fault)
    night = opened(SOMEBODY)
    bench = Bench(longer, (truth,), random.Random(0))
    for _ in range(90):
        stage = stage_of(longer, night.state)
        if stage.name == "repair":
            break
        night.session.give(answer(bench, night.state, stage, Ui()))
    assert (stage.name, stage.group) == ("repair", truth.group)
