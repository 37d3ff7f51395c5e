"""Whatever is answered, the file that comes out passes the check, and the machine in it starts, stops and holds.

What such a machine does is common practice without a published source.
"""

from __future__ import annotations

import pytest
from describe.answers import answers
from hypothesis import example, given, settings

from troubleshoot.describe.pattern import compose
from troubleshoot.describe.taps import QUESTIONS, UNKNOWN, Answers
from troubleshoot.faults.doubt import edits_of
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.settle import settle

DOES = {
    "at rest": "still", "start held": "turning", "running": "turning", "stop held": "still", "stopped": "still",
    "emergency stop in": "still", "isolated": "still",
}  # fmt: skip


def made(said: Answers) -> Machine:
    read = describe(compose(said, machine="belt-12", title="Belt 12"), "circuit.yaml")
    assert isinstance(read, Machine), [str(p) for p in read]
    return read


@settings(max_examples=12)
@given(answers())
@example({})
@example(dict.fromkeys(QUESTIONS, UNKNOWN))
def test_every_combination_of_six_taps_passes_the_check_and_runs_in_every_variant(said):
    machine = made(said)
    wired = {"as written": (), **{v.name: edits_of(v) for v in machine.circuit.variants.values()}}
    for name, edits in wired.items():
        for situation, does in DOES.items():
            for outcome in settle(machine.net, edits, machine.circuit.situations[situation].situation):
                assert outcome.settled, (name, situation)
                assert outcome.state["M1"] == does, (name, situation)


@settings(max_examples=12)
@given(answers())
def test_nothing_that_a_pattern_holds_is_better_known_than_told(said):
    machine = made(said)
    assert {d.known for d in machine.circuit.devices.values()} <= {"assumed", "told"}
    assert {h.known for h in machine.circuit.hops} == {"assumed"}


def test_an_answer_is_told_and_what_nobody_answered_is_assumed():
    told = made({"buttons": "controller", "relay": "yes"}).circuit
    assert (told.devices["K1"].known, told.devices["A1"].known) == ("told", "told")
    assert made({"buttons": "controller"}).circuit.devices["K1"].known == "assumed"


def test_what_is_known_has_no_variants():
    said = {"buttons": "straight", "volts": "230 line", "overload": "after", "brake": "none", "selector": "stop only"}
    assert not made(said).circuit.variants


def test_with_the_overload_contact_not_known_both_places_stay_alive():
    circuit = made({"buttons": "straight", "volts": "120 line", "brake": "none", "selector": "stop only"}).circuit
    (other,) = circuit.variants.values()
    assert other.words == "the overload contact sits after the coil"
    # 95 leaves the wire before the coil and goes behind it: that is the whole difference.
    assert {str(p) for pair in other.join for p in pair} == {"KM1:14", "KM1:A1", "KM1:A2", "FR1:95", "FR1:96", "NB:5"}


@pytest.mark.parametrize("volts", [o.id for o in QUESTIONS["volts"].options])
@pytest.mark.parametrize("buttons", ["straight", "controller"])
def test_the_coil_has_the_control_volts_that_were_answered(volts, buttons):
    from troubleshoot.solve.meter import read

    machine = made(
        {
            "buttons": buttons,
            "relay": "yes",
            "volts": volts,
            "overload": "before",
            "brake": "none",
            "selector": "stop only",
        }
    )
    if buttons == "straight":
        machine = made(
            {"buttons": buttons, "volts": volts, "overload": "before", "brake": "none", "selector": "stop only"}
        )
    at = machine.circuit.situations["start held"].situation
    a1, a2 = (
        next(p for h in machine.circuit.hops for p in (h.a, h.b) if str(p) == name) for name in ("KM1:A1", "KM1:A2")
    )
    nominal = float(volts.split()[0])
    shown = read(machine.net, (), at, "dc volts" if nominal == 24 else "ac volts", a1, a2)[0][0].value
    # IEC 60947-4-1: a coil must work from 85 to 110 % of its rated volts (from memory).
    assert 0.85 * nominal <= abs(shown) <= 1.1 * nominal


def test_an_answer_that_no_question_has_is_refused():
    with pytest.raises(ValueError, match="no answer"):
        compose({"brake": "two of them"}, machine="x")


def test_a_feed_from_another_panel_stays_live_with_the_disconnect_open():
    from troubleshoot.job.desk import Desk

    machine = made(
        {"buttons": "straight", "volts": "120 other", "overload": "before", "brake": "none", "selector": "stop only"}
    )
    live = {str(p) for p in Desk(machine, {}).live_when_dead}
    assert {"F4:1", "F4:2", "ES1:11"} <= live
