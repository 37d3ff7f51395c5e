"""The hazard list of every shipped machine, found a second time by playing faults through the independent oracle.

Nothing of `safety` is used but its answer: `against.played` says again which acts are tried, what counts as turning and
when it counts as a hazard. Witness: `against.dense`, LAPACK under a settling loop of its own. Ordinarily a few faults of
each machine; all of them with TROUBLESHOOT_TESTS=all.
"""

from __future__ import annotations

import os
import random
import re
from functools import cache, cached_property

import pytest
from against.played import NOTHING_WRONG, Played, Told
from measure.hazard_lists import shipped

from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.faults.suspects import Suspect
from troubleshoot.machine import Machine, describe
from troubleshoot.safety import hazard_list as hazard_lists
from troubleshoot.safety import hazards
from troubleshoot.safety.hazard_list import Listed, hazard_list
from troubleshoot.safety.motion import chance_of

ALL = os.environ.get("TROUBLESHOOT_TESTS") == "all"
FAMILIES = (
    {"brake"}, {"contactor"}, {"push button", "emergency stop", "pull cord", "selector", "process switch"},
    {"motor", "overload", "safety relay", "relay", "timer relay"}, {"plc", "fuse", "dc supply", "control transformer"},
)  # fmt: skip
"""Kinds of device: of each family one fault is drawn, and one of the rest, which are the wires."""
PATHS = shipped()


class Sampled(Machine):
    """A machine of whose suspects only some are considered."""

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        *faults, outside = Machine.suspects.func(self)
        if ALL:
            return (*faults, outside)
        kinds = {tag: device.kind for tag, device in self.circuit.devices.items()}
        families: dict[int, list[Suspect]] = {}
        for fault in faults:
            kind = kinds.get(fault.id.partition(" ")[0], "")
            families.setdefault(next((k for k, f in enumerate(FAMILIES) if kind in f), -1), []).append(fault)
        dice = random.Random(self.name)
        return (*(dice.choice(family) for family in families.values()), outside)


@cache
def machine(name: str) -> Machine:
    found = describe(PATHS[name].read_bytes(), PATHS[name].name)
    assert isinstance(found, Machine), "\n".join(map(str, found))
    return Sampled(found.circuit, found.program, found.content, found.program_doubted, found.wiring)


@cache
def listed(name: str) -> tuple[Listed, ...]:
    return hazard_list(Reasoner(machine(name)))


@cache
def played(name: str) -> Played:
    return Played(machine(name), [s.id for s in machine(name).suspects[:-1]])


def told(lines: tuple[Listed, ...]) -> set[Told]:
    return {
        Told(one.sort, str(one.act or ""), str(one.situation), cause)
        for one in lines if one.sort != "meter"
        for cause in ([NOTHING_WRONG] if one.healthy else one.suspects)
    }  # fmt: skip


def apart(name: str, ours: set[Told]) -> tuple[list[Told], list[Told]]:
    """What the oracle sees and the list does not say; what the list says and the oracle never sees."""
    surely, perhaps = played(name).told()
    return sorted(surely - ours), sorted(ours - perhaps)


@pytest.mark.parametrize("name", sorted(PATHS))
def test_the_list_is_what_the_oracle_plays_out(name: str, record_property) -> None:
    ours = told(listed(name))
    surely, perhaps = played(name).told()
    faults, situations = len(played(name).ids), len(played(name).played[0][1])
    words = f"{name}: {faults} faults in {situations} situations, {len(ours)} hazards, {len(perhaps - surely)} in doubt"
    record_property("hazards", words)
    print(words)
    assert ours, "a list of nothing compares nothing"
    missing, without_cause = apart(name, ours)
    assert not missing, f"not listed, {len(missing)}:\n" + "\n".join(map(str, missing[:40]))
    assert not without_cause, f"listed without cause, {len(without_cause)}:\n" + "\n".join(map(str, without_cause[:40]))


@pytest.mark.parametrize("name", sorted(PATHS))
def test_a_meter_that_moves_the_machine_is_one_that_the_oracle_sees_move_it(name: str) -> None:
    laid = r"laid across (\S+) and (\S+) \("
    ours = {found.groups() for one in listed(name) if one.sort == "meter" if (found := re.search(laid, one.words))}
    assert ours == played(name).meters()


class TestABreakInTheListIsSeen:
    """Otherwise equal lists would say little."""

    @pytest.mark.parametrize("verb", ["refit", "heal", "reset", "restore power", "close"])
    def test_an_act_that_is_not_tried(self, verb: str, monkeypatch) -> None:
        tried = hazard_lists.dangerous_acts
        monkeypatch.setattr(hazard_lists, "dangerous_acts", lambda r: [one for one in tried(r) if one[1].verb != verb])
        missing, without_cause = apart("float-pump", told(hazard_list(Reasoner(machine("float-pump")))))
        assert {one.act.removesuffix(one.act.removeprefix(verb)) for one in missing} == {verb}
        assert not without_cause

    def test_a_brake_that_is_forgotten(self, monkeypatch) -> None:
        known = hazards.movables
        monkeypatch.setattr(hazards, "movables", lambda m: [one for one in known(m) if one.change != "brake free"])
        missing, _ = apart("belt-7", told(hazard_list(Reasoner(machine("belt-7")))))
        assert {one.sort for one in missing} == {"brake free"}

    def test_what_turned_before_taken_for_the_doing_of_the_act(self, monkeypatch) -> None:
        monkeypatch.setattr(hazards, "grown", lambda before, after, moved: chance_of(after, moved))
        _, without_cause = apart("float-pump", told(hazard_list(Reasoner(machine("float-pump")))))
        assert without_cause
