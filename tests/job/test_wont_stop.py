"""It does not stop: off first, then who saw what, then what is closed that must be open, and every stop proved by itself."""

from __future__ import annotations

from pathlib import Path

import pytest
from job.nights import Night, desk

from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.due import live_readings
from troubleshoot.job.rehearse import rehearse

RELAY = "K1 13-14 welded"
POLES = "KM1 1-2 and 3-4 welded"
BUTTON = "S2 11-12 welded"


def begun(fault: str, folder: Path | None = None) -> Night:
    """In memory the first line says that nothing is recorded."""
    night = Night(fault, folder=folder)
    night.type("belt 7 wont stop")
    return night


def to_the_search(night: Night) -> None:
    night.press("y")
    night.press("y")
    night.press(str(len([r for r in night.lines() if r[:1].isdigit()])))
    night.careful_until("search", "isolate")


# ------------------------------------------------------------------------------------------------------ stop it first


def test_the_first_line_is_to_open_the_disconnect_and_nothing_stands_before_it() -> None:
    night = begun(RELAY)
    assert night.lines()[1] == "OPEN Q1 (main disconnect) NOW. Did it stop?"
    assert not night.sheet().needs_caution
    assert night.state.complaint == "wont-stop"


@pytest.mark.parametrize("key", ["y", "b"])
def test_once_it_stands_the_power_is_off_and_people_are_asked_for(key: str) -> None:
    night = begun(RELAY)
    night.press(key)
    assert not night.state.power
    assert "Is everybody clear" in night.text
    assert "power OFF, NOT locked" in night.sheet().title


def test_a_disconnect_that_was_opened_to_stop_it_is_not_asked_for_again_nor_is_the_stop_that_failed() -> None:
    night = begun(RELAY)
    to_the_search(night)
    night.careful_until("isolate")
    while "now   Your own lock" not in "\n".join(night.lines()):
        night.careful()
    assert "done Stop: it stopped, by opening Q1." in night.text
    assert "done Open Q1: open already." in night.text
    assert "with S2" not in night.text


def test_a_machine_that_runs_on_with_its_disconnect_open_is_nobodys_to_touch() -> None:
    night = begun(RELAY)
    night.press("m")
    assert "its feed must go" in night.text
    assert "nobody reaches in" in night.text
    assert night.stage.name == "stop"
    night.press("y")
    assert night.stage.name == "people"


def test_one_question_splits_and_nobody_is_asked_to_run_it_again_to_find_out() -> None:
    night = begun(RELAY)
    night.press("y")
    night.press("y")
    assert "would not restart" not in night.text, "that is no answer about a machine that would not stop"
    night.press("6")
    assert "Do NOT run it again to find out." in night.text
    assert [r for r in night.lines() if r[:3] in ("1  ", "2  ")] == [
        "1  S2 stop button      did NOT stop it",
        "2  ES1 emergency stop  not tried",
    ]
    night.press("2")
    assert "2  ES1 emergency stop  stopped it  <- you" in night.lines()
    before = dict(night.desk.reasoner.groups(night.desk.belief(night.state)))
    night.press("enter")
    after = dict(night.desk.reasoner.groups(night.desk.belief(night.state)))
    assert after["KM1"] < before["KM1"] / 3, "the emergency stop opened the contactor: it is not welded"
    assert after["K1"] > before["K1"]


def test_both_failed_means_the_contactor() -> None:
    night = begun(POLES)
    night.press("y")
    night.press("y")
    night.press("6")
    night.press("2")
    night.press("2")
    night.press("enter")
    groups = [g for g, _ in night.desk.reasoner.groups(night.desk.belief(night.state))]
    assert groups[0] == "KM1"


def test_where_stop_worked_the_complaint_is_the_emergency_stop() -> None:
    night = begun("ES1 21-22 welded")
    night.press("y")
    night.press("y")
    night.press("6")
    night.press("1")
    night.press("1")
    night.press("2")
    night.press("2")
    rows = [r for r in night.lines() if r[:3] in ("1  ", "2  ")]
    assert [r.split("  ")[-2].strip() for r in rows] == ["stopped it", "did NOT stop it"]
    night.press("enter")
    assert night.state.evidence[0].at == night.state.evidence[-1].at
    assert night.desk.reasoner.groups(night.desk.belief(night.state))[0][0] != "S2 block 11-12"


# ----------------------------------------------------------------------------------------------- dead before anything


def test_what_is_closed_is_found_dead_and_the_machine_is_never_run_for_it() -> None:
    played = rehearse(desk(), "wont-stop", next(s for s in desk().machine.suspects if s.id == POLES))
    assert played.found
    assert played.ended == "mended"
    repaired = next(k for k, e in enumerate(played.events) if e.kind == "repaired")
    before = played.events[:repaired]
    assert not [e for e in before if e.kind == "power"], "power was put on before the contactor was found welded"
    assert [e.data["step"] for e in before if e.kind == "isolation"][:2] == ["tell", "lock Q1"]


@pytest.mark.parametrize("fault", [RELAY, POLES, BUTTON, "A1 %QX0.0 stuck on", "A1 %IX0.2 stuck on"])
def test_no_step_of_the_search_presses_start(fault: str) -> None:
    played = rehearse(desk(), "wont-stop", next(s for s in desk().machine.suspects if s.id == fault))
    assert played.found
    for event in played.events:
        if event.kind == "repaired":
            break
        if event.kind in ("looked", "reading"):
            acts = event.data["situation"]["acts"]
            assert ["press", "S1", ""] not in [list(a) for a in acts], event.data["step"]


def test_the_search_never_asks_for_a_live_reading_while_the_power_is_off() -> None:
    night = begun(BUTTON)
    to_the_search(night)
    for _ in range(60):
        if night.stage.name == "repair":
            break
        if not night.state.power and night.stage.name in ("search", "confirm"):
            step = night.stage.step
            assert isinstance(step, Step)
            assert live_readings(night.desk, night.stage) is None
            assert all(i.mode == "ohms" for i in step.items if isinstance(i, Meter))
        night.careful()
    assert night.stage.name == "repair"


def test_a_look_with_the_disconnect_open_does_not_say_that_it_may_start() -> None:
    night = begun(BUTTON)
    to_the_search(night)
    assert "What is pulled in or pushed in although the power is off?" in night.text
    assert "It may start" not in night.text
    assert "locked" not in night.text, "nobody has put a lock on yet"


def test_before_power_it_says_how_many_of_what_is_left_start_by_themselves() -> None:
    night = begun("A1 %QX0.0 stuck on")
    to_the_search(night)
    night.careful_until("power")
    words = night.text
    assert "faults still likely start it the moment power is back" in words
    assert "Motor leads off by an electrician" in words


# ----------------------------------------------------------------------------------------------------------- hand back


def test_handing_back_waits_for_every_stop_by_itself_and_a_second_name() -> None:
    night = begun(RELAY)
    to_the_search(night)
    night.careful_until("proof")
    while "emergency stop" not in (night.stage.check.id if night.stage.check else ""):
        night.careful()
    night.press("n")
    night.press("1")
    night.press("2")
    night.careful_until("handback")
    assert "NOT to be handed back" in night.text
    assert "push ES1" in night.text
    assert not night.sheet().entry
    assert "y" not in night.live()
    while "cannot" in {e.kind for e in night.log.events if e.n in night.state.undoable}:
        night.press("u")
    night.careful_until("handback")
    assert "A stop had failed: a second person signs here. Type their name." in night.text
    night.type("Ana")
    assert "needs a second person" in night.text
    night.type("Jo Smit")
    assert night.state.ended == "mended"


class TestItIsNotRunningAfterAll:
    """Words taken for a runaway on a dead machine: one key out, and nothing is left open behind it."""

    @pytest.fixture
    def stopping(self) -> Night:
        night = Night("K1 coil open")
        night.type("belt 7 wont stop")
        assert "OPEN" in night.text
        return night

    def test_one_key_asks_what_it_is_then_and_the_job_goes_on_as_that(self, stopping):
        stopping.press("d")
        assert "what is it then?" in stopping.text
        row = next(line for line in stopping.sheet().lines if "won't start" in line.text)
        stopping.press(row.key)
        assert stopping.state.complaint == "wont-start"
        assert "Is everybody clear" in stopping.text
        assert [e.kind for e in stopping.log.events] == ["opened", "complaint"]
        stopping.press("u")
        assert "OPEN" in stopping.text
        assert stopping.state.complaint == "wont-stop"

    def test_undo_leads_there_as_well(self, stopping):
        stopping.press("u")
        assert "what is it then?" in stopping.text
        stopping.press("escape")
        assert "OPEN" in stopping.text

    def test_the_symptoms_of_a_machine_that_stands_come_first(self, stopping):
        stopping.press("d")
        rows = [line.text for line in stopping.sheet().lines if line.key]
        assert "won't start" in rows[0]
        assert any("starts by itself" in row for row in rows[-3:])

    def test_leaving_before_anything_was_said_leaves_no_job_to_go_on_with(self, stopping):
        stopping.session.close()
        assert stopping.log.events[-1].kind == "ended"

    def test_leaving_after_something_was_said_leaves_it_open(self, stopping):
        stopping.press("y")
        stopping.session.close()
        assert stopping.log.events[-1].kind == "stopped"
