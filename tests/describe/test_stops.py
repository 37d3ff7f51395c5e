"""Several emergency stops and pull cords in series: described where they stand, and everything that follows knows each.

That machines have more than one, in series in every channel, is common practice without a published source; that each
channel is proved by itself follows from how such a circuit fails (ISO 13849-1, category 3: from memory).
"""

from __future__ import annotations

import pytest
from describe.answers import answers
from describe.test_pattern import DOES, made
from hypothesis import given, settings

from troubleshoot.describe.stops import (
    AT_DOOR,
    OPERATED,
    STOPS,
    Stop,
    another_stop,
    stands_at,
    stop_said,
    stops_in,
)
from troubleshoot.describe.taps import CONTROLLER, HOA, STRAIGHT, UNKNOWN, fitted
from troubleshoot.faults.doubt import edits_of
from troubleshoot.job.desk import Desk
from troubleshoot.machine import Machine
from troubleshoot.safety.doings import channels
from troubleshoot.solve.settle import settle

THREE = {STOPS: "boot pit; elevator head; cord belt side", OPERATED: AT_DOOR}
ELEVATOR = {
    "supply": "480", "buttons": STRAIGHT, "volts": "120 transformer", "overload": "after", "brake": "none",
    "selector": "stop only",
}  # fmt: skip
THROUGH_CONTROLLER = {**ELEVATOR, "buttons": CONTROLLER, "relay": "yes", "overload": "before"}


@settings(max_examples=8)
@given(answers())
def test_with_three_stops_every_pattern_passes_the_check_and_does_the_same_in_every_variant(said):
    machine = made({**said, **THREE})
    assert machine.circuit.roles["emergency stop"] == ("ES1", "ES2", "ES3")
    wired = {"as written": (), **{v.name: edits_of(v) for v in machine.circuit.variants.values()}}
    two_wire = said.get("selector") == HOA
    for name, edits in wired.items():
        for situation, does in DOES.items():
            if two_wire and situation == "emergency stop in":
                continue
            for outcome in settle(machine.net, edits, machine.circuit.situations[situation].situation):
                assert outcome.state["M1"] == does, (name, situation)


@pytest.mark.parametrize("said", [ELEVATOR, THROUGH_CONTROLLER, {**ELEVATOR, "selector": HOA}, {}])
def test_each_of_them_stops_the_motor_by_itself(said):
    machine = made({**said, **THREE})
    tried = [c.tag for c in channels(machine) if c.tag.startswith("ES")]
    assert tried == ["ES1", "ES2", "ES3"]
    for channel in channels(machine):
        for outcome in settle(machine.net, (), channel.at.situation):
            assert outcome.state["M1"] == "still", channel.tag


def test_each_stands_where_it_was_said_and_is_looked_at_by_its_place():
    machine = made({**ELEVATOR, **THREE})
    places = {tag: machine.circuit.devices[tag].place for tag in ("ES1", "ES2", "ES3", "S1", "S2")}
    assert places == {"ES1": "boot pit", "ES2": "elevator head", "ES3": "belt side", "S1": "panel", "S2": "panel"}
    assert machine.net.signs["ES2"].words == "emergency stop mushroom head, elevator head"
    assert machine.net.signs["ES3"].words == "pull cord flag, belt side"
    assert "desk" not in machine.circuit.places, "nothing stands there any more"
    for hop in machine.circuit.hops:
        a, b = (machine.circuit.devices[p.device].place for p in (hop.a, hop.b))
        assert not (a != b and not hop.field), f"{hop.id} leaves its place"


def test_each_block_of_each_stop_is_in_series_and_a_controller_sees_every_one():
    machine = made({**THROUGH_CONTROLLER, **THREE})
    running = machine.circuit.situations["running"].situation
    for tag in ("ES1", "ES2", "ES3"):
        for block in ("11-12", "21-22"):
            suspect = next(s for s in machine.suspects if s.id == f"{tag} {block} open")
            for outcome in settle(machine.net, suspect.edits, running):
                assert outcome.state["M1"] == "still", suspect.id


def test_a_welded_block_of_any_stop_is_shown_by_a_reading_of_the_proof_run():
    """Behaviour alone cannot show it: the other channel stops the motor all the same."""
    proof = Desk(made({**THROUGH_CONTROLLER, **THREE}), {}).proof
    for tag in ("ES1", "ES2", "ES3"):
        (check,) = (c for c in proof.checks if c.id == f"emergency stop {tag}")
        assert check.channel
        assert check.readings, tag
        assert f"{tag} 21-22 welded" in check.proves
    assert not [words for words in proof.not_proved if "welded" in words and words.startswith("ES")]


def test_a_pull_cord_is_pulled_and_reset_also_where_it_is_the_only_one():
    machine = made({**ELEVATOR, STOPS: "cord belt side"})
    words = {c.id: c.words for c in Desk(machine, {}).proof.checks}
    assert words["emergency stop ES1"].startswith("Running, then pull ES1 (pull cord, belt side): it stops.")
    assert words["no restart ES1"].startswith("Reset ES1 again")


def test_after_a_failed_stop_none_of_them_is_trusted_until_each_is_proved():
    from dataclasses import replace

    from troubleshoot.job.state import State
    from troubleshoot.job.stopping import distrusted

    desk = Desk(made({**ELEVATOR, **THREE}), {})
    state = replace(State(), complaint="wont-stop")
    assert set(distrusted(desk, state)) == {"S2", "ES1", "ES2", "ES3"}
    proved = replace(state, proof={"emergency stop ES2": True})
    assert "ES2" not in distrusted(desk, proved)
    assert {"ES1", "ES3"} <= set(distrusted(desk, proved))


def test_a_float_machine_has_an_emergency_stop_only_where_somebody_said_so():
    assert "ES1" not in made({**ELEVATOR, "selector": HOA}).circuit.devices
    assert {"ES1", "ES2"} <= set(made({**ELEVATOR, "selector": HOA, STOPS: "wet well; panel"}).circuit.devices)


def test_what_was_said_of_the_stops_stays_when_another_answer_changes():
    assert fitted({**THROUGH_CONTROLLER, **THREE, "supply": UNKNOWN})[STOPS] == THREE[STOPS]


@pytest.mark.parametrize(
    ("typed", "cord", "place"),
    [("boot pit", False, "boot pit"), ("cord tail end", True, "tail end"), ("Pull cord along the belt", True, "the belt"),
     ("rope, north side", True, "north side"), (" head ", False, "head")],
)  # fmt: skip
def test_a_place_is_typed_in_plain_words(typed, cord, place):
    assert stop_said(typed) == Stop(place, cord=cord)


@pytest.mark.parametrize("typed", ["", "cord", "...", "a: b", "x" * 40, "pit; head"])
def test_what_is_no_place_is_refused_with_words(typed):
    said = stop_said(typed)
    assert isinstance(said, str)
    assert said.endswith((".", "?"))


def test_what_was_said_comes_back_as_it_was():
    assert [s.said for s in stops_in(THREE)] == ["boot pit", "elevator head", "cord belt side"]


@pytest.mark.parametrize("name", ["belt-7", "hoist", "reversing-conveyor", "safety-relay-conveyor", "star-delta-fan"])
def test_a_further_stop_can_be_put_behind_one_of_a_ready_circuit(name):
    from against import ready
    from job.nights import circuits

    from troubleshoot.circuit.writing import write_circuit
    from troubleshoot.machine import describe

    source = circuits()["belt-7"] if name == "belt-7" else ready.machine(name).circuit
    more = describe(write_circuit(another_stop(source, "ES1", Stop("far end"))), "c.yaml")
    assert isinstance(more, Machine), [str(p) for p in more]
    tag = next(t for t in more.circuit.roles["emergency stop"] if t not in source.roles["emergency stop"])
    (channel,) = (c for c in channels(more) if c.tag == tag) if channels(more) else (None,)
    for outcome in settle(more.net, (), channel.at.situation) if channel else ():
        assert outcome.state[channel.motor] == "still"


def test_nothing_is_put_behind_what_is_no_stop_and_a_known_place_is_not_made_twice():
    circuit = made(ELEVATOR).circuit
    assert another_stop(circuit, "S2", Stop("pit")) is circuit
    assert another_stop(circuit, "XX", Stop("pit")) is circuit
    assert stands_at(circuit, "S1", "the motor").devices["S1"].place == "motor"
    assert stands_at(circuit, "S1", "the box door").devices["S1"].place == "panel"
    assert stands_at(circuit, "S1", "where it is operated") == circuit
