"""A proof run says what it proves, and prints what it does not."""

from __future__ import annotations

import os
from functools import lru_cache

import pytest
from measure.hazard_lists import shipped
from safety.machines import belt, machine_from, mixer, sign

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Look, Meter
from troubleshoot.machine import Machine
from troubleshoot.safety.doings import doings
from troubleshoot.safety.metering import moved_by_meter
from troubleshoot.safety.plans import plans
from troubleshoot.safety.proof import Proof, proof_run, undetected
from troubleshoot.solve.meter import read
from troubleshoot.solve.settle import settle


@lru_cache
def proof(name: str) -> tuple[Reasoner, Proof]:
    reasoner = {"belt": belt, "mixer": mixer}[name]()
    return reasoner, proof_run(reasoner)


@pytest.mark.parametrize(
    ("name", "blocks"),
    [
        ("belt", ["ES1 11-12 welded", "ES1 21-22 welded", "ES1 21-22 fallen off", "S2 11-12 welded", "FR1 95-96 welded",
                  "KM1 1-2 welded", "KM1 3-4 welded", "KM1 5-6 welded", "KM1 stuck in", "K1 13-14 welded"]),
        ("mixer", ["RED 1-2 welded", "1PB 3-4 welded", "OL-1 95-96 welded", "C9 43-44 welded", "C9 1-2 welded"]),
    ],
)  # fmt: skip
def test_every_stop_channel_that_stays_closed_is_shown_by_some_check(name: str, blocks: list[str]) -> None:
    _, run = proof(name)
    proved = {s for check in run.checks for s in check.proves}
    assert not set(blocks) - proved


def test_with_power_on_nothing_is_looked_at_that_needs_a_cover_off_or_a_gauge_in_the_hand() -> None:
    reasoner, run = proof("belt")
    signs = reasoner.machine.net.signs
    by_hand = {name for name, sign in signs.items() if sign.hands}
    asked = {what.name for check in run.checks for what, _ in check.expects if not isinstance(what, Meter)}
    assert by_hand
    assert not by_hand & asked


BRAKED = ("belt-7", "hoist", "latched-jog")
"""Machines as they are shipped that have a brake."""


@lru_cache
def shipped_proof(name: str) -> tuple[Reasoner, Proof]:
    if name == "belt-7":
        return proof("belt")
    reasoner = Reasoner(machine_from(shipped()[name].read_text(encoding="utf-8")))
    return reasoner, proof_run(reasoner)


def test_every_machine_shipped_that_has_a_brake_is_among_those_tried() -> None:
    assert {n for n, path in shipped().items() if "kind: brake" in path.read_text(encoding="utf-8")} == set(BRAKED)


@pytest.mark.parametrize("name", BRAKED)
def test_a_brake_that_does_not_hold_is_seen_at_every_stop_of_a_running_machine_without_opening_it(name: str) -> None:
    reasoner, run = shipped_proof(name)
    asked = {c.id: c for c in run.checks if Look("YB1 holds") in [what for what, _ in c.expects]}
    has = doings(reasoner.machine)
    stops = {f"stop {t}" for t in has.stops} | {f"emergency stop {t}" for t in has.emergency_stops}
    assert stops <= asked.keys()
    for check in asked.values():
        assert {"YB1 lining worn", "YB1 lining oily", "YB1 does not set"} <= set(check.proves)
        assert dict(check.expects)[Look("YB1 holds")] == "stops and stays"
    assert not {s.id for s in undetected(reasoner, run) if s.id.startswith("YB1 ")}
    # Worn or oily: somebody who only watches sees it run on.
    by_eye = {s.id for s in undetected(reasoner, run, behaviour_only=True)}
    assert not {"YB1 lining worn", "YB1 lining oily"} & by_eye


@pytest.mark.parametrize("name", BRAKED)
def test_how_a_load_comes_to_rest_is_asked_only_where_one_has_just_been_stopped(name: str) -> None:
    reasoner, run = shipped_proof(name)
    net = reasoner.machine.net
    for check in run.checks:
        acts = check.situation.situation.acts
        before, now = ({o.state["M1"] for o in settle(net, (), Situation("rest", some))} for some in (acts[:-1], acts))
        just_stopped = now == {"still"} and before <= {"turning", "turning backward"}
        asked = Look("YB1 holds") in [what for what, _ in check.expects]
        # Who tests an overload relay stands at the panel, not at the load.
        assert asked == (just_stopped and acts[-1].verb != "test"), check.id


def test_letting_a_jog_button_go_asks_whether_the_load_stays() -> None:
    _, run = shipped_proof("belt-7")
    check = next(c for c in run.checks if c.id == "jog S3 let go")
    assert Look("YB1 holds") in [what for what, _ in check.expects]
    for c in shipped_proof("hoist")[1].checks:
        assert (Look("YB1 holds") in [what for what, _ in c.expects]) == (
            c.id in ("hold S1", "hold S2", "emergency stop ES1")
        )


def test_behaviour_alone_passes_a_welded_emergency_stop_block_in_the_coil_circuit() -> None:
    # The machine stops through its other channel: that it stopped proves nothing of this one.
    reasoner, run = proof("belt")
    by_eye = {s.id for s in undetected(reasoner, run, behaviour_only=True)}
    whole = {s.id for s in undetected(reasoner, run)}
    assert "ES1 21-22 welded" in by_eye - whole
    assert whole < by_eye


def test_a_reading_that_proves_a_channel_is_otherwise_when_the_channel_is_welded() -> None:
    """The reading taken from a settle of its own, the meter in the network."""
    reasoner, run = proof("belt")
    net = reasoner.machine.net
    weld = next(s for s in reasoner.machine.suspects if s.id == "ES1 21-22 welded")
    check = next(c for c in run.checks if c.id == "emergency stop ES1")
    assert check.readings
    apart = 0
    for m in check.readings:
        usual = read(net, (), check.situation.situation, m.mode, m.red, m.black)[0][0].value
        wrong = read(net, weld.edits, check.situation.situation, m.mode, m.red, m.black)[0][0].value
        apart += abs(usual) < 3 and wrong > 100
    assert apart == 1


@pytest.mark.parametrize("name", ["belt", "mixer"])
def test_what_must_be_seen_is_what_a_whole_machine_shows_and_no_meter_moves_it(name: str) -> None:
    reasoner, run = proof(name)
    for check in run.checks:
        outcomes = settle(reasoner.machine.net, (), check.situation.situation)
        assert len(outcomes) == 1, check.id
        for what, words in check.expects:
            if isinstance(what, Meter):
                assert what.mode == "amps" or not moved_by_meter(reasoner, what, check.situation.situation)
            else:
                sign_ = reasoner.machine.net.signs[what.name]
                assert words == sign_.shows[outcomes[0].state[sign_.var]]
                assert sign_.needs is None or outcomes[0].state[sign_.needs.var] in sign_.needs.values


def test_the_run_asks_for_start_hold_stop_release_jog_brake_power_and_three_currents() -> None:
    _, run = proof("belt")
    ids = [c.id for c in run.checks]
    for needed in (
        "at rest", "start S1", "hold S1", "stop S2", "after stop S2", "emergency stop ES1", "no restart ES1",
        "overload FR1", "reset FR1", "jog S3", "jog S3 let go", "stop S3 jog", "after stop S3 jog", "power back",
    ):  # fmt: skip
        assert needed in ids
    hold = next(c for c in run.checks if c.id == "hold S1")
    assert len([m for m in hold.readings if m.mode == "amps"]) == 3
    state = {what.name: words for what, words in hold.expects if not isinstance(what, Meter)}
    assert state["YB1"] == "released"


def amps_read(name: str) -> dict[str, list[str]]:
    """Check to the pins of motors at which it reads amperes."""
    _, run = shipped_proof(name)
    found = {c.id: [str(m.black) for m in c.readings if m.mode == "amps"] for c in run.checks}
    return {check: pins for check, pins in found.items() if pins}


MORE = (
    ("reversing-conveyor", {"hold S1": ["M1:U1", "M1:V1", "M1:W1"], "hold S3": ["M1:U1", "M1:V1", "M1:W1"]}),
    # Six leads are three windings.
    ("star-delta-fan", {"hold S1": ["M1:U1", "M1:V1", "M1:W1"]}),
)
"""Machines that say no more; seconds each."""


@pytest.mark.parametrize(
    ("name", "read"),
    [
        ("belt-7", {"hold S1": ["M1:U1", "M1:V1", "M1:W1"]}),
        # The second motor stands while the first alone runs: it is read once it runs too.
        ("two-in-sequence", {"hold S1": ["M1:U1", "M1:V1", "M1:W1"], "hold S3": ["M2:U1", "M2:V1", "M2:W1"]}),
        # Backward goes through the poles of another contactor.
        ("hoist", {"start S1": ["M1:U1", "M1:V1", "M1:W1"], "start S2": ["M1:U1", "M1:V1", "M1:W1"]}),
        *(MORE if os.environ.get("TROUBLESHOOT_TESTS") == "all" else ()),
    ],
)  # fmt: skip
def test_three_currents_are_read_of_each_motor_while_it_turns_once_each_way(
    name: str, read: dict[str, list[str]]
) -> None:
    assert amps_read(name) == read
    reasoner, run = shipped_proof(name)
    for check in run.checks:
        for pin in amps_read(name).get(check.id, ()):
            (outcome,) = settle(reasoner.machine.net, (), check.situation.situation)
            assert outcome.state[pin.partition(":")[0]] in ("turning", "turning backward")


def test_a_dragging_second_motor_and_its_broken_belt_are_shown_by_its_currents() -> None:
    reasoner, run = shipped_proof("two-in-sequence")
    left = {s.id for s in undetected(reasoner, run)}
    assert not {"M2 drags", "M2 coupling broken", "M1 drags", "M1 coupling broken"} & left


def test_who_holds_the_button_is_not_asked_to_hold_the_clamp() -> None:
    _, run = shipped_proof("hoist")
    assert {c.id: c.situation.hands for c in run.checks if c.id in ("start S1", "start S2")} == {
        "start S1": 2,
        "start S2": 2,
    }


@lru_cache
def machine(name: str) -> Machine:
    return machine_from(shipped()[name].read_text(encoding="utf-8"))


def words(name: str) -> dict[str, str]:
    return {plan.id: plan.words for plan in plans(machine(name))}


def test_turning_the_mode_switch_while_it_runs_and_back_must_not_start_it_again() -> None:
    said = words("belt-7")
    assert said["stop S3 jog"] == "S3 in run again. Running, then S3 (run/jog switch) to jog: it stops."
    assert said["after stop S3 jog"] == "Turn S3 back to run: it must not start."


def test_a_mode_switch_that_starts_a_machine_by_itself_is_said_to() -> None:
    said = words("float-pump")
    assert said["turn S1 hand"].endswith("to hand: it starts by itself, keep clear.")
    assert said["turn S1 auto"] == "Turn S1 back to auto: it stops."
    assert said["after stop S1 off"] == "Turn S1 back to auto: it starts by itself, keep clear."


def test_an_overload_is_reset_on_every_machine_that_has_one_and_what_it_does_then_is_said() -> None:
    assert words("hoist")["reset FR1"] == "Let go of what runs it, reset FR1: it stays stopped."
    assert words("float-pump")["reset FR1"] == "Reset FR1: it starts by itself, keep clear."


def test_a_stop_button_that_also_jogs_is_tried_at_rest_and_let_go() -> None:
    said = words("latched-jog")
    assert said["jog S2"] == "At rest, hold S2 (stop and jog button) in: it jogs."
    assert said["jog S2 let go"] == "Let S2 go: it stops."
    assert not any(check.startswith("jog S2") for check in words("three-wire"))


@pytest.mark.parametrize("name", ["belt-7", "float-pump", "latched-jog", "hoist"])
def test_what_the_words_say_it_does_is_what_a_whole_machine_does(name: str) -> None:
    ends = {"it starts": True, "it jogs": True, "it starts by itself, keep clear": True, "it stops": False,
            "it must not start": False, "nothing starts": False, "it stays stopped": False, "no start by itself": False}  # fmt: skip
    tried = 0
    for plan in plans(machine(name)):
        does = next((d for d in ends if plan.words.endswith(f": {d}.")), None)
        if does is None:
            continue
        tried += 1
        (outcome,) = settle(machine(name).net, (), Situation("rest", plan.acts))
        assert (outcome.state["M1"] in ("turning", "turning backward")) == ends[does], plan.words
    assert tried >= 6


def test_the_overload_is_reset_only_after_stop_because_a_latched_bit_would_start_the_motor() -> None:
    _, run = proof("belt")
    acts = [str(a) for a in next(c for c in run.checks if c.id == "reset FR1").situation.situation.acts]
    assert acts.index("press S2") < acts.index("reset FR1")


@pytest.mark.parametrize("name", ["belt", "mixer"])
def test_proved_and_not_proved_make_the_whole(name: str) -> None:
    reasoner, run = proof(name)
    proved = {s for check in run.checks for s in check.proves}
    broken = {s.id for s in reasoner.machine.suspects if s.broken and s.edits}
    left = {s.id for s in undetected(reasoner, run)}
    assert proved | left == broken
    assert not proved & left
    assert len(run.not_proved) == len(left)


def test_a_broken_earth_wire_is_printed_as_not_proved() -> None:
    # A machine runs and stops as well without its protective conductor: only a test of its own shows that.
    _, run = proof("mixer")
    assert any("wire E open" in words for words in run.not_proved)


def test_a_circuit_without_roles_still_gets_its_first_check() -> None:
    run = proof_run(sign())
    assert [c.id for c in run.checks] == ["at rest"]


def test_a_check_that_goes_on_from_one_that_could_not_be_done_proves_nothing() -> None:
    _, run = proof("belt")
    assert {i: c.id for i, c in run.undone({"overload FR1"}).items()} == dict.fromkeys(
        ("overload FR1", "reset FR1"), "overload FR1"
    )
    assert list(run.undone({"emergency stop ES1"})) == ["emergency stop ES1", "no restart ES1"]
    assert list(run.undone({"at rest"})) == ["at rest"]
    assert run.undone(()) == {}


def test_a_check_is_a_stop_where_what_turned_stands_after_it() -> None:
    _, run = proof("belt")
    stops = {c.id for c in run.checks if c.stops}
    assert {c.id for c in run.checks if c.channel} <= stops
    assert "overload FR1" in stops
    assert not stops & {"at rest", "start S1", "hold S1", "power back"}


def test_a_switch_that_the_check_before_left_turned_is_turned_back_in_words() -> None:
    """Common practice, no published source: who jogged last stands there with the switch in jog."""
    _, run = proof("belt")
    jogged = next(c for c in run.checks if c.id == "stop S3 jog")
    assert jogged.words == "S3 in run again. Running, then S3 (run/jog switch) to jog: it stops."
    assert sum("again. Running" in c.words for c in run.checks) == 1
