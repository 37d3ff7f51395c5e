"""What the hazard list finds, unaided, on the ready circuits: patterns that people of the trade know to be dangerous."""

from __future__ import annotations

from functools import cache

import pytest
from against import ready
from safety.machines import belt

from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.safety.doings import doings
from troubleshoot.safety.hazard_list import Listed, hazard_list
from troubleshoot.safety.hazards import hazards_of_act
from troubleshoot.safety.proof import proof_run


@cache
def reasoner(name: str) -> Reasoner:
    return Reasoner(ready.machine(name))


@cache
def listed(name: str) -> tuple[Listed, ...]:
    return hazard_list(reasoner(name))


class TestLatchedJog:
    WIRE = "32:S2:12>X3:4 open"

    def test_an_open_wire_to_the_stop_and_jog_button_starts_it_when_power_comes_on(self):
        (rest,) = [one for one in listed("latched-jog") if one.sort == "starts at rest"]
        closing = [
            one for one in listed("latched-jog") if str(one.act) == "close Q1" and one.sort == "starts by an act"
        ]
        assert self.WIRE in rest.suspects
        assert any(self.WIRE in one.suspects for one in closing)
        assert "wire 32 open" in rest.words, "and it is said, not only counted"

    def test_and_the_same_button_does_not_stop_it_then(self):
        stops = [one for one in listed("latched-jog") if one.sort == "does not stop" and str(one.act) == "press S2"]
        assert any(self.WIRE in one.suspects for one in stops)

    def test_a_stop_button_that_starts_what_stands_is_listed_though_nothing_is_wrong(self):
        assert any(one.healthy and str(one.act) == "press S2" for one in listed("latched-jog"))


@pytest.mark.parametrize("which", ["belt-7", "latched-jog"])
def test_with_the_bit_latched_resetting_a_tripped_overload_starts_it(which):
    found = listed(which) if which != "belt-7" else hazard_list(belt())
    assert any(one.healthy and one.sort == "restarts" and str(one.act) == "reset FR1" for one in found)


def test_a_hard_wired_three_wire_starter_does_not_restart_on_reset_with_nothing_wrong():
    """Its holding contact has let go: that is what it is for."""
    (run,) = doings(reasoner("three-wire").machine).runs
    at = f"{'; '.join(map(str, run.acts))}"
    assert at == "press S1; release S1"
    assert not any(one.healthy and one.sort == "restarts" for one in listed("three-wire"))


class TestHowAMachineRuns:
    def runs(self, name: str) -> list[str]:
        return ["; ".join(map(str, run.acts)) for run in doings(reasoner(name).machine).runs]

    def test_a_hoist_while_a_button_is_held_either_way(self):
        assert self.runs("hoist") == ["press S1", "press S2"]

    def test_a_sequence_with_both_machines(self):
        assert self.runs("two-in-sequence") == ["press S1; release S1; press S3; release S3"]

    def test_a_reversing_drive_either_way(self):
        assert self.runs("reversing-conveyor") == ["press S1; release S1", "press S3; release S3"]

    def test_a_pump_when_its_float_comes_up(self):
        assert self.runs("float-pump") == ["put B1 in high"]


def hazards(name: str, after: str, act: str):
    from troubleshoot.circuit.acts import parse_acts, reach
    from troubleshoot.circuit.model import Situation

    def parsed(text):
        found = parse_acts(text, reach(reasoner(name).machine.circuit.devices))
        assert isinstance(found, tuple), found
        return found

    return hazards_of_act(reasoner(name), reasoner(name).prior, Situation(acts=parsed(after)), *parsed(act))


def test_a_hoist_that_does_not_stop_when_its_button_is_let_go_or_at_its_limit_is_told():
    (let_go,) = [h for h in hazards("hoist", "press S1", "release S1") if h.kind == "does not stop"]
    assert {"S1 sticks", "KM1 stuck in"} <= set(let_go.suspects)
    (limit,) = [h for h in hazards("hoist", "press S1", "put B1 in reached") if h.kind == "does not stop"]
    assert {"B1 stuck at clear", "B1 11-12 welded"} <= set(limit.suspects)


def test_a_pump_starts_again_by_itself_on_reset_and_when_power_comes_back():
    for before, act in (("trip FR1", "reset FR1"), ("lose power", "restore power")):
        assert any(h.healthy and h.kind == "restarts" for h in hazards("float-pump", f"put B1 in high; {before}", act))


def test_the_proof_run_says_of_every_check_what_the_machine_does():
    checks = {c.id: c for name in ("hoist", "float-pump") for c in proof_run(reasoner(name)).checks}
    assert checks["hold S1"].words == "Let go of S1: it stops."
    assert checks["run"].words.startswith("Put B1 in high: it starts")
    for check in checks.values():
        moving = [seen for what, seen in check.expects if getattr(what, "name", "") == "M1"]
        if "it stops" in check.words or "must not start" in check.words or "no start" in check.words:
            assert moving == ["still"], check.words
        if "it starts" in check.words:
            assert moving in (["turns"], ["turns backward"]), check.words
