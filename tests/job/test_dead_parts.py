"""Dead is what stands behind every disconnect open and a finished isolation, never what something is called."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from job.nights import Night, desk

import troubleshoot
from troubleshoot.circuit.model import Act, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.confirm import is_dead, isolated
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.stage import stage_of
from troubleshoot.machine import Machine, describe

TEXT = (Path(troubleshoot.__file__).parent / "machines/belt-7.yaml").read_text(encoding="utf-8")


def with_a_second_disconnect() -> Machine:
    """Belt 7 with a disconnect of its own in the feed of the 24 V supply; the file gives only the first the role."""
    text = TEXT.replace(
        "  F1: {kind: fuse", "  Q9: {kind: disconnect, at: panel, words: second disconnect}\n  F1: {kind: fuse", 1
    )
    text = text.replace("run: ['F5:2', 'PS1:L']", "run: ['F5:2', 'Q9:1']", 1)
    text = text.replace(
        "  - {number: '24', run", "  - {number: '21', run: ['Q9:2', 'PS1:L']}\n  - {number: '24', run", 1
    )
    found = describe(text, "two.yaml")
    assert isinstance(found, Machine), found
    return found


def called_isolated(*acts: Act) -> NamedSituation:
    return NamedSituation("isolated", "locked off", Situation("rest", acts))


def test_one_of_two_disconnects_open_is_not_dead_whatever_it_is_called() -> None:
    machine = with_a_second_disconnect()
    assert machine.disconnects == ("Q1", "Q9")
    assert not is_dead(machine, called_isolated(Act("open", "Q1")))
    assert is_dead(machine, called_isolated(Act("open", "Q1"), Act("open", "Q9")))


def test_a_disconnect_that_was_closed_again_is_not_dead() -> None:
    assert not is_dead(desk().machine, called_isolated(Act("open", "Q1"), Act("close", "Q1")))


def test_the_program_itself_opens_every_disconnect_before_it_calls_anything_dead() -> None:
    machine = with_a_second_disconnect()
    for named in isolated(Reasoner(machine)):
        assert is_dead(machine, named)
        assert {"Q1", "Q9"} <= {a.device for a in named.situation.acts if a.verb == "open"}


def test_an_ohmmeter_is_never_asked_for_on_live_parts_whoever_asks_it_and_in_whatever_state() -> None:
    """A tree or a plant file may ask ohms with the power on: it is asked only behind a finished isolation."""
    night = Night("KM1 coil open")
    night.type("belt 7 dead")
    night.careful_until("search")
    held = desk().shows("wont-start")
    ohms = Step(
        "measure", "own ohms", (Meter("ohms", Pin("KM1", "A1"), Pin("KM1", "A2")),), held, "Ohms with Start held"
    )
    for power in (True, False):
        state = replace(night.state, chosen=ohms, power=power)
        stage = stage_of(desk(), state)
        assert stage.name == "isolate", "not a live caution, and not power back on"
        assert stage.step == ohms


def test_a_tester_that_fails_after_the_dead_test_is_in_the_record_and_the_dead_test_begins_again() -> None:
    night = Night("KM1 coil open")
    night.type("belt 7 dead")
    while not night.stage.next.startswith("prove after"):
        night.careful()
    tested, step = night.state.tested, night.stage.next
    assert tested
    night.type("0")
    assert "the tester is not proved" in night.text
    assert not night.state.tested
    assert night.stage.name == "isolate"
    assert night.stage.next.startswith("prove before"), "not the step after it, and not the part"
    failed = [e for e in night.log.events if e.kind == "failed"]
    assert [e.data["step"] for e in failed] == [step]
    assert "not proved" in failed[0].data["why"]
    night.press("u")  # a slip of the key
    assert night.state.tested == tested
    assert night.stage.next == step


def test_volts_found_in_a_dead_test_are_in_the_record_and_the_test_is_asked_again() -> None:
    night = Night("KM1 coil open")
    night.type("belt 7 dead")
    while not night.stage.next.startswith("dead"):
        night.careful()
    step = night.stage.next
    if night.sheet().needs_caution:
        night.press("c")
    night.type(" ".join("120" for s in night.stage.isolation.steps if s.id == step for _ in s.readings))
    assert "NOT DEAD" in night.text
    assert night.stage.next == step
    (failed,) = (e for e in night.log.events if e.kind == "failed")
    assert failed.data["why"].startswith("NOT DEAD")
