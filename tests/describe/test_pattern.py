"""Whatever is answered, the file that comes out passes the check, and the machine in it starts, stops and holds.

What such a machine does is common practice without a published source.
"""

from __future__ import annotations

import pytest
from describe.answers import answers
from hypothesis import example, given, settings

from troubleshoot.describe.pattern import compose
from troubleshoot.describe.taps import HOA, LINES, QUESTIONS, SYSTEMS, UNKNOWN, Answers, counted_as
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
@example({"selector": HOA})
@example({"selector": HOA, "buttons": "controller", "relay": "no", "overload": "controller", "supply": "480"})
@example({"supply": "230", "buttons": "controller", "volts": LINES})
def test_every_combination_of_answers_passes_the_check_and_runs_in_every_variant(said):
    machine = made(said)
    wired = {"as written": (), **{v.name: edits_of(v) for v in machine.circuit.variants.values()}}
    for name, edits in wired.items():
        does_here = {k: v for k, v in DOES.items() if k != "emergency stop in"} if said.get("selector") == HOA else DOES
        for situation, does in does_here.items():
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
    told = made({"supply": "480", "buttons": "straight", "volts": "120 transformer"}).circuit
    assert {told.devices[tag].known for tag in ("G1", "S1", "S2", "T1", "KM1")} == {"told"}
    less = made({"buttons": "straight"}).circuit
    assert {less.devices[tag].known for tag in ("G1", "T1", "KM1")} == {"assumed"}


def test_no_rating_that_nobody_told_is_marked_told():
    # The primary volts of a transformer and the volts of a brake's coil follow from the supply, which was not told here.
    said = {"buttons": "controller", "relay": "yes", "volts": "120 transformer", "brake": "leads"}
    circuit = made(said).circuit
    assert {circuit.devices[tag].known for tag in ("G1", "T1", "YB1", "M1", "FR1", "K1", "PS1")} == {"assumed"}
    assert made({**said, "supply": "600"}).circuit.devices["YB1"].known == "told"
    # Behind a feed of its own nobody told the brake's volts, whatever the plant has.
    assert made({"supply": "600", "brake": "own"}).circuit.devices["YB1"].known == "assumed"


SUPPLIED = {"buttons": "straight", "overload": "before", "brake": "leads", "selector": "stop only"}


@pytest.mark.parametrize("supply", SYSTEMS)
@pytest.mark.parametrize("volts", ["24 supply", "120 transformer", "230 other", "110 supply", LINES])
def test_the_lines_have_the_volts_that_were_told_and_the_machine_runs(supply, volts):
    from troubleshoot.circuit.model import Pin
    from troubleshoot.solve.meter import read

    machine = made({**SUPPLIED, "supply": supply, "volts": volts})
    at = machine.circuit.situations["running"].situation
    (outcome,) = settle(machine.net, (), at)
    assert (outcome.state["M1"], outcome.state["YB1"]) == ("turning", "released")

    def shows(red: tuple[str, str], black: tuple[str, str]) -> float:
        return abs(read(machine.net, (), at, "ac volts", Pin(*red), Pin(*black))[0][0].value)

    system = SYSTEMS[supply]
    assert shows(("Q1", "2"), ("Q1", "4")) == pytest.approx(system.line, rel=0.03)
    if system.to_earth:
        to_earth = [shows(("Q1", pole), ("PE", "1")) for pole in "246"]
        assert min(to_earth) == pytest.approx(min(system.to_earth), rel=0.03)
        assert max(to_earth) == pytest.approx(max(system.to_earth), rel=0.03)


def test_a_supply_that_nobody_told_gives_no_caution_that_says_too_little():
    from troubleshoot.job.desk import Desk
    from troubleshoot.safety.volts import place_volts

    machine = made({**SUPPLIED, "volts": "120 transformer"})
    desk = Desk(machine, {})
    assert place_volts(desk.reasoner, desk.at_rest.situation, "panel").ac >= 600


def live_here_until(machine, source):
    """What is said to be live in this panel until that source is opened where it comes from; empty: there is no such step."""
    from troubleshoot.job.desk import Desk

    steps = {step.id: step.words for step in Desk(machine, {}).isolation(()).steps}
    words = steps.get(f"open {source}", "")
    assert bool(words) == (f"lock {source}" in steps)
    return set(words.partition("can be LIVE here: ")[2].rstrip(".").split(", ")) - {""}


def test_a_brake_with_a_breaker_elsewhere_has_a_source_of_its_own_that_is_opened_and_locked_too():
    def live(brake: str) -> set[str]:
        machine = made({**SUPPLIED, "supply": "480", "volts": "120 transformer", "brake": brake})
        return live_here_until(machine, "G3")

    assert {"F7", "KM1", "YB1"} <= live("elsewhere")
    assert not live("own")
    # Not knowing counts as live.
    assert {"F7", "KM1", "YB1"} <= live(UNKNOWN)
    machine = made({"brake": "elsewhere"})
    assert machine.circuit.devices["G3"].place != "panel"


def test_what_is_known_has_no_variants():
    said = {
        "supply": "400",
        "buttons": "straight",
        "volts": "230 line",
        "overload": "after",
        "brake": "none",
        "selector": "stop only",
    }
    assert not made(said).circuit.variants


def test_with_the_overload_contact_not_known_both_places_stay_alive():
    circuit = made(
        {"supply": "208", "buttons": "straight", "volts": "120 line", "brake": "none", "selector": "stop only"}
    ).circuit
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
    nominal = SYSTEMS[counted_as({"volts": volts})].line if volts == LINES else float(volts.split()[0])
    dc = volts.startswith("24") or volts.endswith("supply")
    shown = read(machine.net, (), at, "dc volts" if dc else "ac volts", a1, a2)[0][0].value
    # IEC 60947-4-1: a coil must work from 85 to 110 % of its rated volts (from memory).
    assert 0.85 * nominal <= abs(shown) <= 1.1 * nominal


def test_an_answer_that_no_question_has_is_refused():
    with pytest.raises(ValueError, match="no answer"):
        compose({"brake": "two of them"}, machine="x")


def test_a_feed_from_another_panel_is_opened_and_locked_there():
    machine = made(
        {"buttons": "straight", "volts": "120 other", "overload": "before", "brake": "none", "selector": "stop only"}
    )
    assert {"F4", "ES1", "KM1"} <= live_here_until(machine, "G2")


def test_between_two_lines_without_a_transformer_the_coil_has_the_line_volts_and_no_neutral():
    said = {
        "supply": "230",
        "buttons": "straight",
        "volts": LINES,
        "overload": "before",
        "brake": "none",
        "selector": HOA,
    }
    circuit = made(said).circuit
    assert circuit.devices["KM1"].ratings["coil"] == (230.0, "ac")
    assert not {"NB", "T1"} & set(circuit.devices)
    assert not any("G1:N" in (str(h.a), str(h.b)) for h in circuit.hops)


def test_with_a_float_all_other_answers_stay_and_nobody_is_sent_to_the_float_or_to_a_button():
    circuit = made(
        {"supply": "600", "volts": "24 supply", "overload": "after", "brake": "leads", "selector": HOA}
    ).circuit
    assert circuit.devices["G1"].ratings["volts"] == (600.0, 347.0)
    assert circuit.devices["KM1"].ratings["coil"] == (24.0, "dc")
    assert "YB1" in circuit.devices
    assert not {"S1", "S2", "ES1"} & set(circuit.devices)
    for complaint in circuit.complaints.values():
        named = circuit.situations.get(complaint.shows)
        assert named is None or all(act.device != "B1" for act in named.situation.acts), complaint.name
    assert circuit.devices["B1"].place == "panel"
    assert "gas" in circuit.devices["B1"].words
