"""A load that drags, is too heavy or is not there: what the motor takes, when the overload trips, what hands and eyes find."""

from __future__ import annotations

import math

import pytest
from against.dense import Panel
from trees.played import number, reasoner

from troubleshoot.circuit.kinds import KINDS, by_hand
from troubleshoot.circuit.kinds.drive import DRAG, HEAVY
from troubleshoot.diagnosis.reasoner import before_waiting
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Look
from troubleshoot.job.desk import Desk
from troubleshoot.safety.doings import by_role

MACHINE = "hoist"


def outcome(fault: str, situation: str = "running"):
    found = reasoner(MACHINE)
    at = {**by_role(found.machine), **found.machine.circuit.situations}[situation].situation
    table = found.table(at)
    return table.outcomes[int((table.owner == number(MACHINE, fault)).argmax())], found.machine.net, at


def heater_ratio(fault: str) -> float:
    from troubleshoot.solve.network import amps_through

    one, net, _ = outcome(fault)
    law = net.heats[0]
    return max(abs(amps_through(net, one.network, net.element_index[p])[0]) / law.amps for p in law.parts)


def test_a_load_half_again_as_heavy_takes_about_half_again_the_current_of_torque():
    """Air-gap power goes with torque at nearly constant speed (any textbook on induction machines): I rises with it, less
    than in proportion, because the magnetising current does not."""
    whole, heavy, drags = (heater_ratio(f) for f in ("something not in this model", "M1 load too heavy", "M1 drags"))
    assert 1.2 * whole < heavy < HEAVY * 1.15 * whole
    usual = float(reasoner(MACHINE).machine.circuit.devices["M1"].ratings["load torque"])
    assert drags < (usual + DRAG) / usual * 1.15 * whole
    assert drags > 1.1 * whole


def test_a_broken_coupling_leaves_the_magnetising_current():
    """No-load current of small four-pole motors is 0.44 to 0.76 of rated: the table's own I0 over In."""
    whole, loose = heater_ratio("something not in this model"), heater_ratio("M1 coupling broken")
    assert 0.3 * whole < loose < 0.85 * whole


def test_a_held_shaft_trips_within_class_10_and_a_drag_after_minutes():
    """IEC 60947-4-1, from memory: class 10 trips in 4 to 10 s at 7.2 times, within 4 min at 1.5 times from warm."""
    found = reasoner(MACHINE)
    running = by_role(found.machine)["running a while"].situation
    times = found.trip_seconds(before_waiting(running))
    jam, drag = times[number(MACHINE, "M1 jammed")], times[number(MACHINE, "M1 load too heavy")]
    assert jam is not None
    assert drag is not None
    assert 2 < jam[0] < jam[1] < 30
    assert 60 < drag[0] < drag[1] < 1200
    assert times[number(MACHINE, "M1 coupling broken")] is None
    assert times[-1] is None


def test_the_time_to_trip_is_weighed_by_what_this_machine_would_take():
    assert told.chance_after("seconds", 7, 18, 0.25) > 0.8
    assert told.chance_after("minutes", 7, 18, 0.3) == pytest.approx(told.TIME_WRONG * 0.3, abs=0.15)
    assert told.chance_after("minutes", 160, 400, 0.3) > 0.8
    total = sum(told.chance_after(a, 20, 60, 0.25) for a in told.AFTER_S)
    assert total == pytest.approx(1, abs=1e-6)
    assert math.isinf(told.AFTER_S["hours"][1])


@pytest.mark.parametrize(
    ("fault", "sign", "shows"),
    [
        ("YB1 gap worn", "YB1 gap", "over its plate"), ("YB1 lining oily", "YB1 lining", "oily or glazed"),
        ("YB1 lining worn", "YB1 lining", "worn thin"), ("YB1 hand release on", "YB1 hand release", "on"),
        ("YB1 drags", "M1 shaft", "rubs at the brake"), ("M1 drags", "M1 shaft", "stiff"),
        ("M1 jammed", "M1 shaft", "stuck"), ("M1 coupling broken", "M1 shaft", "turns alone"),
    ],
)  # fmt: skip
def test_what_has_no_voltage_is_found_by_hand_or_eye(fault, sign, shows):
    one, _, at = outcome(fault, "isolated")
    assert reasoner(MACHINE).predict(Look(sign), at).shown is not None
    table = reasoner(MACHINE).table(at)
    shown = reasoner(MACHINE).predict(Look(sign), at).shown
    assert str(shown[int((table.owner == number(MACHINE, fault)).argmax())]) == shows
    assert one.settled


def test_gap_lining_and_shaft_are_touched_and_the_hand_release_is_seen():
    circuit = reasoner(MACHINE).machine.circuit
    assert by_hand(circuit, "YB1 gap")
    assert by_hand(circuit, "YB1 lining")
    assert by_hand(circuit, "M1 shaft")
    assert not by_hand(circuit, "YB1 hand release")
    assert not by_hand(circuit, "M1")


def test_mechanical_suspects_say_how_the_load_looks_and_what_is_hot():
    """Sign tables: common practice, no published source. A sign must be an answer of its question."""
    answers = {(q.id, a.id) for q in told.QUESTIONS.values() for a in q.answers}
    device = reasoner(MACHINE).machine.circuit.devices
    signed = [m for tag in ("M1", "YB1") for m in KINDS[device[tag].kind].modes(device[tag]) if m.signs]
    assert len(signed) > 8
    assert {(q, a) for m in signed for q, a, _ in m.signs} <= answers
    for mode in signed:
        for question in {q for q, _, _ in mode.signs}:
            total = sum(told.chance(question, a.id, "mechanical", mode.signs) for a in told.QUESTIONS[question].answers)
            assert total == pytest.approx(1)


@pytest.mark.parametrize("name", ["hoist", "belt-7"])
def test_a_load_runs_on_where_the_oracle_leaves_its_brake_off_or_its_lining_worn(name):
    """Witness: `against.dense` settles every fault of the brake and of what feeds it a second time, by a loop of its own."""
    found = reasoner(name)
    net = found.machine.net
    stopped = by_role(found.machine)["started then stopped"].situation
    table = found.table(stopped)
    said = found.predict(Look("YB1 holds"), stopped).shown
    assert said is not None
    panel = Panel(net.circuit, net.scanner)
    faults = [s for s in found.machine.suspects if s.id.startswith("YB1 ") or s.id == "KM1 stuck in"]
    seen = set()
    for fault in faults:
        rests = {
            "stops and stays" if a.state["YB1"] == "set" and a.state["YB1 lining"] == "same" else "runs on"
            for a in panel.answers(fault.edits, stopped)
        }
        ours = {str(word) for word in said[table.owner == number(name, fault.id)]}
        assert ours == rests or "unsteady" in ours, fault.id
        seen |= {(fault.id, word) for word in ours}
    assert {("YB1 lining worn", "runs on"), ("YB1 does not set", "runs on"), ("YB1 hand release on", "runs on"),
            ("KM1 stuck in", "runs on"), ("YB1 coil open", "stops and stays")} <= seen  # fmt: skip


def test_whether_a_load_stays_is_no_part_of_walking_round_a_machine_that_stands():
    signs = reasoner(MACHINE).machine.net.signs
    assert signs["YB1 holds"].kind == "stop"
    assert not signs["YB1 holds"].hands
    assert Look("YB1") in Desk(reasoner(MACHINE).machine, {}).looks()
    assert Look("YB1 holds") not in Desk(reasoner(MACHINE).machine, {}).looks()
