"""A caution never says less than the worst that any suspect can put at the points."""

from __future__ import annotations

import dataclasses
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from safety.machines import after, belt, mixer, pin, sign

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.caution import WIDTH, caution
from troubleshoot.safety.levels import level_of
from troubleshoot.safety.volts import between, columns, healed, pins_of
from troubleshoot.solve.meter import read
from troubleshoot.solve.settle import settle

SITUATIONS = {
    "belt": (after(), after("press S1"), after("press S1", "release S1"), after("open Q1"), Situation("as-found")),
    "mixer": (after(), after("press 2PB", "release 2PB"), after("open SW-0")),
}
REASONERS = {"belt": belt, "mixer": mixer}
FORBIDDEN = re.compile(r"\b(jumper|bridge|bypass|defeat|override|force|short (it )?out|hold (it )?in by hand)\b", re.I)


def say(reasoner: Reasoner, mode: str, red: str, black: str, situation: Situation, **more: object):  # type: ignore[no-untyped-def]
    return caution(reasoner, [Meter(mode, pin(red), pin(black))], situation, person="Ann", **more)  # type: ignore[arg-type]


@given(data=st.data())
@settings(max_examples=120)
def test_no_caution_lies_below_the_true_maximum(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(REASONERS)))
    reasoner = REASONERS[name]()
    machine = reasoner.machine
    pins = sorted(p for tag in machine.circuit.devices for p in pins_of(machine, tag))
    red, black = data.draw(st.sampled_from(pins)), data.draw(st.sampled_from(pins))
    situation = data.draw(st.sampled_from(SITUATIONS[name]))
    suspect = data.draw(st.sampled_from(machine.suspects))
    said = caution(reasoner, [Meter("ac volts", red, black)], situation, person="Ann")
    a, b = machine.net.node(red), machine.net.node(black)
    for at in (situation, healed(situation)):
        # The suspect's own settle, not the tables that the caution was made from.
        for outcome in settle(machine.net, suspect.edits, at):
            for volts in (outcome.network.ac_v, outcome.network.dc_v):
                assert volts is not None
                for value in (volts[a], volts[b], volts[a] - volts[b]):
                    assert abs(value) <= said.at_points + 1e-6 <= said.volts + 2e-6
                    assert level_of(abs(value), 0) != "danger" or volts.dtype.kind != "c" or said.level == "danger"


@given(data=st.data())
@settings(max_examples=25)
def test_the_caution_holds_with_a_low_impedance_meter_in_the_network(data: st.DataObject) -> None:
    reasoner = mixer()
    machine = reasoner.machine
    pins = sorted(p for tag in machine.circuit.devices for p in pins_of(machine, tag))
    red, black = data.draw(st.sampled_from(pins)), data.draw(st.sampled_from(pins))
    if machine.net.node(red) == machine.net.node(black):
        return
    suspect = data.draw(st.sampled_from(machine.suspects))
    said = caution(reasoner, [Meter("low-impedance volts", red, black)], after(), person="Ann")
    for reading, _ in read(machine.net, suspect.edits, after(), "low-impedance volts", red, black):
        assert reading.value <= said.at_points + 1e-6


def test_m11_a_low_impedance_meter_across_an_open_start_button_starts_the_motor_and_is_warned_of() -> None:
    # Measured beforehand: 3 kilohm across the start contact puts 13.7 V on its input; 10 megohm puts 0.01 V there.
    low = say(belt(), "low-impedance volts", "S1:13", "S1:14", after())
    assert any("STARTS M1" in words for words in low.moves)
    high = say(belt(), "dc volts", "S1:13", "S1:14", after())
    assert not any("by itself" in words for words in high.moves)


def test_m4_healing_can_start_the_motor_and_pull_the_contactor_in() -> None:
    said = say(belt(), "ac volts", "K1:14", "NB:1", after("press S1", "release S1"))
    assert any("M1" in words and "START" in words and "bad joint" in words for words in said.moves)
    machine = belt().machine
    # Not from the caution's own tables: each suspect settled alone, then healed.
    pulls = 0
    for suspect in machine.suspects:
        if not suspect.edits or any(e.does == "left" for e in suspect.edits):
            continue
        before = settle(machine.net, suspect.edits, after("press S1", "release S1"))
        then = settle(machine.net, suspect.edits, after("press S1", "release S1", "heal"))
        pulls += all(o.state["KM1"] == "out" for o in before) and any(o.state["KM1"] == "in" for o in then)
    assert pulls > 0


def test_volts_that_only_appear_when_the_fault_heals_are_in_the_caution() -> None:
    """A dead 24 V supply fuse put right while the machine waits: the controller wakes unlatched and lights its red lamp."""
    machine = dataclasses.replace(belt().machine)
    few = tuple(s for s in machine.suspects if s.id == "F5 open" or not s.edits)
    vars(machine)["suspects"] = few
    assert len(few) == 2
    situation, lamp = after("press S1", "release S1"), pin("H2:X1")
    for suspect in few:
        for outcome in settle(machine.net, suspect.edits, situation):
            assert outcome.network.dc_v is not None
            assert abs(outcome.network.dc_v[machine.net.node(lamp)]) < 3
    healed_volts = between(machine, columns(Reasoner(machine), situation), [lamp], [])
    assert healed_volts.dc > 23


def test_a_jam_that_frees_lets_the_motor_turn() -> None:
    machine = belt().machine
    jam = next(s for s in machine.suspects if s.id == "M1 jammed")
    held, freed = after("press S1"), after("press S1", "heal")
    assert {o.state["M1"] for o in settle(machine.net, jam.edits, held)} == {"humming"}
    assert {o.state["M1"] for o in settle(machine.net, jam.edits, freed)} == {"turning"}


def test_m8_a_brake_that_may_be_lifted_with_the_motor_not_driving_is_named_with_its_load() -> None:
    said = say(belt(), "ac volts", "KM1:A1", "NB:1", after("press S1", "release S1", "press S2"))
    assert any("YB1" in words and "incline" in words for words in said.moves)


@pytest.mark.parametrize(
    ("ac", "dc", "level"),
    [
        (24.9, 0, "low"), (25, 0, "care"), (49.9, 0, "care"), (50, 0, "danger"), (208, 0, "danger"),
        (0, 59.9, "low"), (0, 60, "care"), (0, 120, "care"), (0, 121, "danger"), (0, -24, "low"),
    ],
)  # fmt: skip
def test_the_classes_are_those_of_the_standards(ac: float, dc: float, level: str) -> None:
    # IEC 60204-1 6.4 (25 V AC, 60 V DC), OSHA 29 CFR 1910.333(a)(1) (50 V), IEC 61140 (120 V DC). From memory.
    assert level_of(ac, dc) == level


def test_208_volts_between_phases_bring_the_restricted_approach_of_one_foot() -> None:
    # NFPA 70E Table 130.4(E)(a): from 151 V between phases on. From memory.
    assert any("0.3 m" in line for line in say(mixer(), "ac volts", "C9:1", "C9:3", after()).lines)
    assert not any("0.3 m" in line for line in say(sign(), "ac volts", "L5:X1", "L5:X2", after()).lines)


def test_24_volts_alone_are_low_and_42_between_phases_ask_for_care() -> None:
    assert say(sign(), "ac volts", "L5:X1", "L5:X2", after()).level == "low"
    assert say(sign(), "ac volts", "B1:L1", "B1:L2", after()).level == "care"


def test_a_point_tied_to_nothing_counts_as_the_supply_until_it_is_proved_dead() -> None:
    said = say(mixer(), "ac volts", "MTR:U1", "MTR:V1", after("open SW-0"))
    assert said.volts > 207
    assert "until proved dead" in " ".join(said.lines)


def test_with_the_disconnect_open_the_caution_names_what_stays_live() -> None:
    text = " ".join(say(mixer(), "ac volts", "SW-0:2", "GND:a", after("open SW-0")).lines)
    assert "STILL LIVE with SW-0 off" in text
    assert "SW-0:1" in text


def test_who_reads_at_the_machine_itself_clips_on_dead_and_keeps_the_hands_out() -> None:
    start = Situation("rest", (Act("press", "S1"),))
    at_it = caution(belt(), [Meter("ac volts", pin("YB1:1"), pin("YB1:2"))], start, person="RT", hands=2)
    text = " ".join(at_it.lines)
    assert "M1 and YB1 can move where you read. Power on now? Lock off first, clip the leads on dead," in text
    assert "both clear of the drive" not in text
    far = caution(belt(), [Meter("ac volts", pin("KM1:A1"), pin("NB:1"))], start, person="RT", hands=2)
    assert "both clear of the drive" in " ".join(far.lines)


def test_a_motor_that_was_seen_to_hum_has_its_seconds_said_second_and_its_brake_named() -> None:
    start = Situation("rest", (Act("press", "S1"),))
    reading = [Meter("ac volts", pin("M1:U1"), pin("M1:V1"))]
    said = caution(belt(), reading, start, person="RT", hands=2, stalled=("M1",))
    (fact,) = [f for f in said.facts if "HUMS" in f]
    assert "Hold Start 3 s at most" in fact
    assert "for one reading" in fact
    assert "YB1 may be what holds it" in fact
    assert not [f for f in caution(belt(), reading, start, person="RT", hands=2).facts if "HUMS" in f]


def test_a_machine_as_it_was_found_is_not_said_to_have_to_turn() -> None:
    said = caution(belt(), [Meter("dc volts", pin("F6:2"), pin("MB:1"))], Situation("as-found"), person="RT")
    assert not [f for f in said.facts if "should TURN" in f]


def test_low_volts_at_the_points_are_not_called_a_danger_but_what_is_in_reach_is() -> None:
    said = caution(belt(), [Meter("dc volts", pin("F6:2"), pin("MB:1"))], Situation(), person="RT")
    first = said.facts[0]
    assert first.startswith("DANGER in reach: up to")
    assert any(f.startswith("LOW VOLTS: up to 24 V DC at the points") for f in said.facts)


def test_what_is_new_comes_first_in_full_and_the_rest_stays_in_a_few_words() -> None:
    first = say(belt(), "ac volts", "K1:14", "NB:1", after())
    assert first.new == first.lines == first.shown[:-1]
    second = say(belt(), "low-impedance volts", "S1:13", "S1:14", after(), before=first)
    assert second.shown[0].startswith("NEW:")
    assert any("low impedance" in line for line in second.new)
    text = " ".join(second.shown)
    assert set(second.new) <= {line.removeprefix("NEW: ") for line in second.shown}
    for kept in ("As before", "the load can RUN", "CAT III 600 V meter", "PPE per site", "or in doubt stop", "V AC"):
        assert kept in text
    assert len(second.shown) < len(second.lines)


def test_nothing_new_is_said_in_one_line_and_volts_a_little_higher_are_no_news() -> None:
    first = say(belt(), "ac volts", "K1:14", "NB:1", after())
    again = say(belt(), "ac volts", "K1:14", "NB:1", after(), before=first)
    assert again.new == ("Nothing new since the last caution.",)
    assert again.shown[0] == again.new[0]
    assert len(again.shown) <= 5
    little = dataclasses.replace(first, facts=tuple(f.replace("120 V", "116 V") for f in first.facts))
    assert say(belt(), "ac volts", "K1:14", "NB:1", after(), before=little).new == again.new
    # 120 V after 100 V is news, and so is every word when the class of the volts has risen.
    lower = dataclasses.replace(first, facts=tuple(re.sub(r"\d+ V", "100 V", f) for f in first.facts))
    assert "V AC" in " ".join(say(belt(), "ac volts", "K1:14", "NB:1", after(), before=lower).new)
    tame = dataclasses.replace(first, level="low")
    assert say(belt(), "ac volts", "K1:14", "NB:1", after(), before=tame).shown == first.shown


def test_every_fact_of_a_caution_has_its_few_words_except_who_may_do_it() -> None:
    for situation in SITUATIONS["belt"]:
        said = say(belt(), "ac volts", "K1:14", "NB:1", situation, hands=2)
        silent = [fact for fact, short in zip(said.facts, said.brief, strict=True) if not short]
        assert silent == ["Ann: only if qualified for this; site rules first."]


def test_the_digest_is_of_what_was_drawn_and_belongs_to_points_and_person() -> None:
    one = say(belt(), "ac volts", "K1:14", "NB:1", after())
    other_points = say(belt(), "ac volts", "K1:13", "NB:1", after())
    other_person = caution(belt(), [Meter("ac volts", pin("K1:14"), pin("NB:1"))], after(), person="Bo")
    assert len({one.digest, other_points.digest, other_person.digest}) == 3


@pytest.mark.parametrize("name", sorted(REASONERS))
def test_every_live_caution_has_words_that_fit_and_never_names_a_way_round(name: str) -> None:
    reasoner = REASONERS[name]()
    machine = reasoner.machine
    for situation in SITUATIONS[name]:
        for tag in machine.circuit.devices:
            pins = pins_of(machine, tag)
            for mode in ("ac volts", "dc volts", "ohms"):
                said = caution(reasoner, [Meter(mode, pins[0], pins[-1])], situation, person="Ann", hands=2)  # type: ignore[arg-type]
                text = "\n".join(said.shown)
                assert said.lines
                assert all(0 < len(line) <= WIDTH for line in said.shown)
                assert not FORBIDDEN.search(text)
                for due in ("CAT III 600 V", "PPE per site assessment", "site rules", "stop and call", "qualified"):
                    assert due in text


def test_a_hostile_name_of_a_person_reaches_no_terminal() -> None:
    said = caution(
        belt(), [Meter("ac volts", pin("K1:14"), pin("NB:1"))], Situation("rest", (Act("press", "S1"),)),
        person="\x1b]0;x\x07Ann",
    )  # fmt: skip
    assert all(line.isprintable() for line in said.shown)
