"""The hazard list of every shipped machine, found a second time by playing faults through the independent oracle.

Nothing of `safety` is used but its answer: `against.played` says again which acts are tried, what counts as turning and
when it counts as a hazard. Witness: `against.dense`, LAPACK under a settling loop of its own. Ordinarily a few faults of
each machine; all of them with TROUBLESHOOT_TESTS=all.
"""

from __future__ import annotations

import os
import random
import re
from dataclasses import dataclass
from functools import cache, cached_property

import pytest
from against.played import NOTHING_WRONG, Played, Told
from measure.hazard_lists import shipped

from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.faults.suspects import Suspect
from troubleshoot.machine import Machine, describe
from troubleshoot.safety.hazard_list import Listed, hazard_list

ALL = os.environ.get("TROUBLESHOOT_TESTS") == "all"
FEW = 3
"""Faults of each machine drawn from those that hold something, and as many from all others."""
PATHS = shipped()


@dataclass(frozen=True)
class Sampled(Machine):
    """A machine of whose suspects only some are considered."""

    few: int = FEW

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        *faults, outside = Machine.suspects.func(self)
        holding = [s for s in faults if any(e.does in ("stuck", "left") or e.value == "forced" for e in s.edits)]
        others = [s for s in faults if s not in holding]
        if ALL:
            return (*faults, outside)
        dice = random.Random(self.name)
        return (*dice.sample(holding, self.few), *dice.sample(others, self.few), outside)


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


@pytest.mark.parametrize("name", sorted(PATHS))
def test_the_list_is_what_the_oracle_plays_out(name: str, record_property) -> None:
    ours = told(listed(name))
    surely, perhaps = played(name).told()
    faults, situations = len(played(name).ids), len(played(name).played[0][1])
    words = f"{name}: {faults} faults in {situations} situations, {len(ours)} hazards, {len(perhaps - surely)} in doubt"
    record_property("hazards", words)
    print(words)
    assert ours, "a list of nothing compares nothing"
    missing, without_cause = sorted(surely - ours), sorted(ours - perhaps)
    assert not missing, f"not listed, {len(missing)}:\n" + "\n".join(map(str, missing[:40]))
    assert not without_cause, f"listed without cause, {len(without_cause)}:\n" + "\n".join(map(str, without_cause[:40]))


@pytest.mark.parametrize("name", sorted(PATHS))
def test_a_meter_that_moves_the_machine_is_one_that_the_oracle_sees_move_it(name: str) -> None:
    laid = r"laid across (\S+) and (\S+) \("
    ours = {found.groups() for one in listed(name) if one.sort == "meter" if (found := re.search(laid, one.words))}
    assert ours == played(name).meters()
