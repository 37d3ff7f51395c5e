"""Making a machine safe that has two sources, sheet by sheet: each fits the screen, each source is opened and locked."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from safety.machines import machine_from

from troubleshoot.circuit.model import Pin
from troubleshoot.describe.pattern import compose
from troubleshoot.diagnosis.confirm import isolated
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.due import caution_of
from troubleshoot.job.sheet import Sheet
from troubleshoot.job.stage import stage_of
from troubleshoot.job.state import State
from troubleshoot.job.view import view


@cache
def desk() -> Desk:
    """Buttons straight to the contactor, control voltage from another panel."""
    answers = {
        "buttons": "straight",
        "volts": "120 other",
        "overload": "before",
        "brake": "none",
        "selector": "stop only",
    }
    return Desk(machine_from(compose(answers, machine="fan-9")), {})


def sheets() -> list[tuple[str, Sheet, State]]:
    """Every sheet from the first step to the ohms behind them, each caution unread and read."""
    ohms = Step(
        "measure", "own", (Meter("ohms", Pin("X1", "3"), Pin("KM1", "14")),), isolated(desk().reasoner)[0], "Ohms of wire 14"
    )  # fmt: skip
    state = State(who="Ana", complaint="wont-start", people_clear=True, asked=frozenset({"last"}), chosen=ohms)
    out = []
    for _ in range(40):
        stage = stage_of(desk(), state)
        if stage.name != "isolate":
            return out
        assert stage.isolation is not None
        step = next(s for s in stage.isolation.steps if s.id == stage.next)
        out.append((step.id, view(desk(), state, Ui(), 80, 9), state))
        waiting = caution_of(desk(), state, stage)
        if waiting is not None and state.accepted != waiting[1]:
            state = replace(state, accepted=waiting[1])
            continue
        state = replace(
            state, isolation={**state.isolation, step.id: "done"}, tested=state.tested | frozenset(step.readings),
            power=state.power and step.id in ("tell", "stop"),
        )  # fmt: skip
    raise AssertionError("no end of it")


def test_each_source_is_opened_and_locked_before_the_tester_is_taken_up() -> None:
    ids = list(dict.fromkeys(i for i, _, _ in sheets()))
    for needed in ("open Q1", "lock Q1", "open G2", "lock G2"):
        assert ids.index(needed) < ids.index("prove before")


def test_with_one_of_two_locks_on_the_title_does_not_say_locked() -> None:
    titles = {i: sheet.title for i, sheet, _ in sheets()}
    assert "power OFF, NOT locked" in titles["open G2"]
    assert "power OFF, NOT locked" in titles["lock G2"]
    assert "power OFF, locked" in titles["prove before"]


def test_every_sheet_of_it_fits_80_by_24_with_its_caution_whole() -> None:
    for name, sheet, _ in sheets():
        assert len(sheet.lines) <= 21, f"{name}:\n" + "\n".join(line.text for line in sheet.lines)
        assert all(len(line.text) <= 80 for line in sheet.lines)
