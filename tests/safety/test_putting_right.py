"""What putting a program right may move is what the settled circuit does; who must stand clear is told every time."""

from __future__ import annotations

from functools import cache

import pytest
from safety.machines import BELT

from troubleshoot.circuit.model import Act
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.faults.suspects import Suspect
from troubleshoot.machine import Machine, describe
from troubleshoot.safety.doings import after
from troubleshoot.safety.putting_right import putting_right
from troubleshoot.solve.settle import settle

SEALED = "motor := stop_chain AND (start OR (motor AND run_mode));"
STOP, RUN, PRESS = Act("put", "A1", "stopped"), Act("put", "A1", "running"), Act("press", "S1")


@cache
def reasoner(line: str = SEALED) -> Reasoner:
    text = BELT.read_text(encoding="utf-8")
    assert SEALED in text
    found = describe(text.replace(SEALED, line).encode(), "belt.yaml")
    assert isinstance(found, Machine), found
    return Reasoner(found)


def suspect(of: Reasoner, words: str) -> Suspect:
    return next(s for s in of.machine.suspects if words in s.id)


def turns(of: Reasoner, *acts: Act, wrong: Suspect | None = None) -> bool:
    """Whether the motor turns in the settled circuit, here asked directly."""
    outcomes = settle(of.machine.net, wrong.edits if wrong else (), after(*acts))
    return any(state["M1"] == "turning" for one in outcomes for state in one.states)


def test_a_missing_start_branch_says_that_the_button_starts_it_again() -> None:
    said = putting_right(reasoner(), suspect(reasoner(), "start missing"))
    assert said[0] == "A1 back in run with the copy WILL start M1 (belt motor) at once with S1 pressed."
    assert said[1] == "From then on S1 WILL start M1 (belt motor), which it did not before."
    assert said[-1].startswith("Everybody clear of M1 (belt motor) and what it drives at drive end")
    assert said[-1].endswith("Only whoever may load this controller; site rules first.")
    assert any("can start M1 (belt motor), if besides S1 sticks pressed" in line for line in said)


def test_a_machine_that_runs_by_a_switch_alone_starts_as_soon_as_the_right_program_runs() -> None:
    by_switch = reasoner("motor := stop_chain AND run_mode;")
    said = putting_right(by_switch, suspect(by_switch, "run_mode inverted"))
    assert said[0] == "A1 back in run with the copy WILL start M1 (belt motor) at once."
    assert turns(by_switch, STOP, RUN)


def test_loading_under_a_program_that_lets_it_run_stops_it_and_says_so() -> None:
    wrong = suspect(reasoner(), "motor inverted in running")
    assert "Loading stops A1, and so M1 (belt motor), if it runs." in putting_right(reasoner(), wrong)
    assert turns(reasoner(), PRESS, Act("release", "S1"), wrong=wrong)
    assert not turns(reasoner(), PRESS, Act("release", "S1"), STOP, wrong=wrong)


def test_a_force_that_drives_the_motor_stops_it_when_it_is_taken_off() -> None:
    said = putting_right(reasoner(), suspect(reasoner(), "force %QX0.0 on"))
    assert "Taking off the force stops M1 (belt motor), if it runs." in said
    assert not any("WILL start" in line for line in said)
    assert said[-1].endswith("Only whoever may force points of this controller; site rules first.")


@pytest.mark.parametrize("fault", [s.id for s in reasoner().machine.suspects if s.sort == "program"])
def test_it_names_every_start_that_the_circuit_makes_and_no_other(fault: str) -> None:
    of = reasoner()
    wrong = suspect(of, fault)
    said = putting_right(of, wrong)
    assert said
    assert "Everybody clear of M1 (belt motor)" in said[-1]
    forced = "force" in fault
    if forced:
        held = not turns(of, PRESS, wrong=wrong) and turns(of, PRESS, Act("heal"), wrong=wrong)
        alone = not turns(of, wrong=wrong) and turns(of, Act("heal"), wrong=wrong)
    else:
        held = not turns(of, PRESS, STOP, wrong=wrong) and turns(of, PRESS, STOP, RUN)
        alone = not turns(of, STOP, wrong=wrong) and turns(of, STOP, RUN)
    at_once = [line for line in said if " WILL start M1 (belt motor) at once" in line]
    assert bool(at_once) is (held or alone)
    assert any(line.endswith("at once.") for line in at_once) is alone
    held_back = not turns(of, PRESS, wrong=wrong) and turns(of, PRESS)
    assert any(line.startswith("From then on") for line in said) is held_back


def test_what_is_no_program_has_nothing_of_it() -> None:
    assert putting_right(reasoner(), suspect(reasoner(), "S1 13-14 open")) == ()
