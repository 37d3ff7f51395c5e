"""Program suspects of the demo machine in every named situation, by the independent oracle and by way of text.

The ordinary run takes every fourth of them, ``TROUBLESHOOT_TESTS=all`` takes every one.

Witness: `against.dense` with a controller of its own, which runs the changed program as printed and read again; the solver
gets nothing but the edit. So a slip in how an edit reaches the scan, or a change that does not say in text what it does,
shows.
"""

from __future__ import annotations

import numpy as np
import pytest
from against import belt7
from against.dense import Panel
from against.from_text import FromText
from against.ready import ALL

from troubleshoot.machine import Machine, describe
from troubleshoot.program import changes
from troubleshoot.program.printing import program_text
from troubleshoot.solve.settle import MOST_OUTCOMES, settle_many

AT_EVERY_TERMINAL_V = 1e-6
"""As for all other suspects."""


@pytest.fixture(scope="module")
def machine() -> Machine:
    found = describe(belt7.MACHINE.read_text(encoding="utf-8"), "belt-7.yaml", program_doubted=True)
    assert isinstance(found, Machine)
    return found


def test_a_program_suspect_ends_as_the_oracle_says(machine, record_property):
    made = {c.id: c.made(machine.program) for c in changes(machine.program, machine.points)}
    doubted = [s for s in machine.suspects if s.sort == "program"]
    assert len(doubted) == len(made) > 30
    situations = [named.situation for named in machine.circuit.situations.values()]
    at = Panel(machine.circuit, FromText("")).pins()
    columns = np.array([at[name] for name in machine.net.nodes])
    worst = 0.0
    for suspect in doubted if ALL else doubted[::4]:
        changed = next(e.slot for e in suspect.edits if e.does == "program")
        panel = Panel(machine.circuit, FromText(program_text(made[changed])))
        ours = settle_many(machine.net, [(suspect.edits, situation) for situation in situations])
        for outcomes, situation in zip(ours, situations, strict=True):
            theirs = {
                (tuple(sorted(a.state.items())), a.memory, a.settled): a
                for a in panel.answers(suspect.edits, situation)
            }
            assert len(outcomes) == min(len(theirs), MOST_OUTCOMES), suspect.id
            for outcome in outcomes:
                key = (tuple(sorted(outcome.state.items())), outcome.memory, outcome.settled)
                assert key in theirs, f"{suspect.id}, {situation}: the oracle knows no such end"
                for mine, other in (
                    (outcome.network.ac_v, theirs[key].volts.ac),
                    (outcome.network.dc_v, theirs[key].volts.dc),
                ):
                    worst = max(worst, float(np.abs(mine - other[columns]).max()))
    record_property("largest difference, volts", worst)
    assert worst < AT_EVERY_TERMINAL_V


def test_two_changes_at_once_are_both_there(machine):
    """Inverted and forced: the later change is looked for in the program that the earlier one left."""
    inverted, forced = "line 129: motor inverted in stopped", "force %IX0.1 on"
    both = machine._scanner.changed((inverted, forced)).program
    text = program_text(both)
    assert "stopped := motor;" in text
    assert "(TRUE OR motor AND run_mode)" in text
