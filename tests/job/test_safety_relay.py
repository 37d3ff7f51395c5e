"""A job on a machine behind a safety relay, with points of the controller in groups: every room knows the new kinds."""

from __future__ import annotations

import os
from functools import lru_cache

import pytest
from against import press3
from against.small import machine_of

from troubleshoot.job.desk import Desk
from troubleshoot.job.rehearse import rehearse


@lru_cache(maxsize=1)
def desk() -> Desk:
    return Desk(machine_of(press3.FILE.read_text(encoding="utf-8")), {})


FAULTS = ["KS1 channel 1 dead"]
if os.environ.get("TROUBLESHOOT_TESTS") == "all":  # a minute: the cord is found behind everything else
    FAULTS.append("B9 left pulled")


@pytest.mark.parametrize("fault", FAULTS)
def test_the_repair_is_named_first_and_the_machine_handed_back(fault: str) -> None:
    truth = next(s for s in desk().machine.suspects if s.id == fault)
    played = rehearse(desk(), "wont-start", truth, by="engine")
    assert played.found, (played.named, played.ranked[:3])
    assert played.ended == "mended"


def test_the_path_to_every_input_is_drawn_whatever_its_terminal_is_called() -> None:
    paths = desk().rungs(desk().at_rest.situation)
    ends = {str(pin) for path in paths for pin in (path[0], path[-1])}
    assert {"A1:DI1", "A1:DI4"} <= ends
