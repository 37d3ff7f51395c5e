"""Scene (a): a dead belt that nobody described, drawings wrong, at ten past three. A script of what is typed and shown."""

from __future__ import annotations

from pathlib import Path

import pytest
from job.nights import circuits
from job.strangers import Stranger

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit
from troubleshoot.describe.taps import QUESTIONS


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    return tmp_path


@pytest.fixture
def alone(folder) -> Stranger:
    """A plant in which nothing is described."""
    return Stranger(folder, {})


@pytest.fixture
def beside_belt_7(folder) -> Stranger:
    """A plant in which belt 7 is described and nothing else."""
    return Stranger(folder, {"belt-7": circuits()["belt-7"]})


def tapped(person: Stranger, *keys: str) -> Stranger:
    person.type("belt 12 dead")
    person.press("1", *keys)
    return person


WITH_CONTROLLER = ("1", "2", "1", "4", "0", "1", "2")
"""208 V between lines, controller, relay, 120 V from line and neutral, overload contact not known, no brake, no switch."""


class TestTheDoor:
    @pytest.mark.parametrize("said", ["belt 7 dead", "belt 12 dead", "the mixer won't start", "dead", "???", "1 2 3"])
    def test_no_word_meets_an_error_or_a_form_in_an_empty_plant(self, alone, said):
        alone.type(said)
        assert "I don't know" in alone.text
        assert {"1", "3"} <= alone.live()
        assert not any(word in alone.text.casefold() for word in ("error", "yaml", "situation", "belief", "must"))

    @pytest.mark.parametrize(
        "said",
        [
            "pump 3 single phase dead",
            "fan 2, single-phase, hums",
            "1 phase saw 4 dead",
            "saw 4 capacitor start motor hums",
        ],
    )
    def test_a_single_phase_motor_is_said_to_be_beyond_it_with_what_to_do(self, alone, said):
        alone.type(said)
        assert (
            "I know three-phase ones only: describe none here, leave with Esc and go by its own drawing." in alone.text
        )
        alone.press("1")
        assert "I know three-phase ones only" in alone.text
        alone.press("escape")
        alone.press("escape")
        assert "three-phase" not in alone.text

    @pytest.mark.parametrize(
        "said", ["belt 12 dead", "motor 3 is single-phasing", "pump 3 lost a phase", "belt 1 phase loss relay tripped"]
    )
    def test_a_three_phase_motor_that_lost_a_phase_is_none(self, alone, said):
        alone.type(said)
        assert "three-phase" not in alone.text

    def test_it_says_what_is_not_known_and_offers_three_ways(self, beside_belt_7):
        beside_belt_7.type("belt 12 dead")
        assert "I don't know belt 12 yet." in beside_belt_7.text
        assert "1 go now" in beside_belt_7.text
        assert "2 it is like another machine (belt 7?)" in beside_belt_7.text
        assert "3 pick a starter pattern" in beside_belt_7.text

    def test_a_machine_that_is_known_is_not_asked_about(self, beside_belt_7, folder):
        from job.nights import desk

        beside_belt_7.session._plant = beside_belt_7.session._plant.__class__(
            beside_belt_7.plant.circuits, (), desk, lambda *_: beside_belt_7.log, "Ana"
        )
        beside_belt_7.type("belt 7 dead")
        assert "Is everybody clear" in beside_belt_7.text

    @pytest.mark.parametrize("said", ["keg conveyor K-2 starts but drops out", "mixer 7 dead"])
    def test_a_machine_named_otherwise_goes_to_the_door_and_the_known_one_is_one_key(self, beside_belt_7, said):
        beside_belt_7.type(said)
        assert "I don't know" in beside_belt_7.text
        assert "it is Belt 7, parcel conveyor, Harrow Lane depot, known already" in beside_belt_7.text

    @pytest.mark.parametrize("said", ["conveyor dead", "the belt keeps running"])
    def test_a_job_on_the_wrong_machine_is_left_by_one_key_on_its_first_screen(self, beside_belt_7, said):
        from job.nights import desk

        beside_belt_7.session._plant = beside_belt_7.session._plant.__class__(
            beside_belt_7.plant.circuits, (), desk, lambda *_: beside_belt_7.log, "Ana"
        )
        beside_belt_7.type(said)
        assert "o it is another machine: describe it" in beside_belt_7.text
        beside_belt_7.press("o")
        assert "I don't know" in beside_belt_7.text
        assert {e.kind: e.data.get("how") for e in beside_belt_7.log.events}["ended"] == "not begun"

    def test_it_is_no_longer_offered_once_something_was_told(self, alone):
        tapped(alone, *WITH_CONTROLLER)
        assert "o" in alone.live()
        alone.press("y")
        assert "o" not in alone.live()

    def test_another_name_can_be_said_at_the_door(self, alone):
        alone.type("belt 12 dead")
        alone.type("pump 3 dead")
        assert "I don't know pump 3 yet." in alone.text

    def test_escape_goes_back_to_the_front_page(self, alone):
        alone.type("belt 12 dead")
        alone.press("escape")
        assert "What is wrong?" in alone.text


class TestTheTaps:
    def test_each_is_one_screen_with_single_keys_and_not_knowing_is_one_of_them(self, alone):
        alone.type("belt 12 dead")
        alone.press("1")
        for number, key in enumerate(WITH_CONTROLLER, 1):
            assert f"question {number} of 7" in alone.title
            assert "0 don't know" in alone.text
            assert alone.sheet().entry is None
            alone.press(key)
        assert "Is everybody clear" in alone.text

    def test_undo_takes_back_one_answer(self, alone):
        alone.type("belt 12 dead")
        alone.press("1", "0", "2", "1")
        assert "question 4 of 7" in alone.title
        alone.press("u")
        assert "question 3 of 7" in alone.title

    def test_going_now_leaves_the_rest_not_known(self, alone):
        tapped(alone, "0", "1", "g")
        assert "Is everybody clear" in alone.text
        answers = next(e for e in alone.log.events if e.kind == "described").data["answers"]
        assert answers["buttons"] == "straight"
        assert set(answers.values()) == {"straight", "?"}

    def test_forward_and_reverse_takes_that_ready_circuit_behind_the_supply_that_was_told(self, alone, folder):
        tapped(alone, "5", "1", "0", "0", "1", "3")
        assert "Is everybody clear" in alone.text
        copy = load_circuit((folder / "belt-12/circuit.yaml").read_text(encoding="utf-8"), "circuit.yaml")
        assert isinstance(copy, Circuit)
        assert "reverse" in " ".join(copy.situations)
        (motor,) = (d for d in copy.devices.values() if d.kind == "motor")
        assert motor.ratings["volts"] == 600.0

    def test_nobody_is_sent_into_a_live_panel_for_an_answer(self):
        for question in QUESTIONS.values():
            assert "follow" not in question.looks.casefold()
            assert "beside A1" not in question.looks

    def test_a_symptom_that_has_a_tree_is_known_on_a_machine_that_nobody_described(self, alone):
        alone.type("belt 12 hums")
        alone.press("1", *WITH_CONTROLLER)
        assert "Is everybody clear" in alone.text
        assert alone.state.complaint == "hums"

    def test_a_runaway_is_stopped_before_any_question_at_the_door(self, alone):
        alone.type("belt 12 will not shut off")
        assert alone.sheet().lines[0].text.startswith("Does it not stop? Open its disconnect NOW.")
        alone.press("escape")
        alone.type("belt 12 is not running")
        assert "disconnect NOW" not in alone.text

    def test_at_the_door_a_digit_acts_at_once(self, alone):
        alone.type("belt 12 dead")
        entry = alone.sheet().entry
        assert entry is not None
        assert entry.rows_first


class TestTheFirstSuggestion:
    def test_the_machine_is_saved_at_once_and_passes_the_check(self, alone, folder):
        tapped(alone, *WITH_CONTROLLER)
        text = (folder / "belt-12/circuit.yaml").read_text(encoding="utf-8")
        assert isinstance(load_circuit(text, "circuit.yaml"), Circuit)
        assert alone.kinds == ["opened", "described"]

    def test_twelve_keys_lead_from_the_first_words_to_the_first_thing_to_look_at(self, alone):
        tapped(alone, *WITH_CONTROLLER)
        alone.press("y", "8")
        assert alone.text.startswith(("NOT RECORDED", "Walk round once"))
        assert "Walk round once and look; switch nothing yet." in alone.text
        assert alone.keys <= 12

    def test_the_description_is_less_sure_than_a_seen_one(self, alone):
        tapped(alone, *WITH_CONTROLLER)
        assert alone.now.machine.suspects[-1].prior > 0.1

    @pytest.mark.parametrize(
        "fault", ["K1 coil open", "KM1 coil open | overload after", "FR1 95-96 open | overload after"]
    )
    def test_the_fault_is_found_whichever_way_it_is_wired(self, alone, fault):
        tapped(alone, *WITH_CONTROLLER)
        alone.careful_until("repair", fault=fault)
        truth = next(s for s in alone.now.machine.suspects if s.id == fault)
        assert alone.stage.group == truth.group

    def test_after_a_passed_proof_it_is_handed_back(self, alone):
        tapped(alone, *WITH_CONTROLLER)
        alone.careful_until("handback", fault="K1 coil open")
        assert "Ready to hand back" in alone.text


class TestOtherWays:
    def test_a_sister_is_copied_and_all_of_it_is_marked_so(self, beside_belt_7, folder):
        beside_belt_7.type("belt 12 dead")
        beside_belt_7.press("2", "1")
        assert "Is everybody clear" in beside_belt_7.text
        copy = load_circuit((folder / "belt-12/circuit.yaml").read_text(encoding="utf-8"), "circuit.yaml")
        assert isinstance(copy, Circuit)
        assert {d.known for d in copy.devices.values()} == {"copied"}
        assert beside_belt_7.now.machine.suspects[-1].prior == pytest.approx(0.10, abs=0.005)

    def test_a_starter_pattern_is_taken_as_assumed(self, alone, folder):
        alone.type("mixer 4 dead")
        alone.press("3")
        assert "three-wire" in " ".join(alone.text.casefold().split())
        row = next(line for line in alone.sheet().lines if "Three-wire starter with control transformer" in line.text)
        alone.press(row.key)
        copy = load_circuit((folder / "mixer-4/circuit.yaml").read_text(encoding="utf-8"), "circuit.yaml")
        assert isinstance(copy, Circuit)
        assert {h.known for h in copy.hops} == {"assumed"}

    def test_the_shell_has_the_same_door(self, folder):
        person = Stranger(folder, {"belt-7": circuits()["belt-7"]}, describe=True)
        assert "A new machine" in person.text
        person.type("belt 7 dead")
        assert "I don't know belt 7 yet." in person.text

    def test_the_shell_can_name_the_pattern(self, folder):
        person = Stranger(folder, {}, describe=True, pattern="three-wire")
        person.type("mixer 4 dead")
        assert "Is everybody clear" in person.text

    def test_without_a_folder_to_keep_it_in_it_says_so_and_stays_at_the_door(self, alone, folder):
        def full(machine: str, text: str, made_from: str) -> Circuit:
            raise OSError("No space left")

        from dataclasses import replace

        alone.session._page._plant = replace(alone.plant, save=full)
        with pytest.raises(OSError, match="No space"):
            tapped(alone, "g")
        assert "question 1" in alone.title


class TestNotWiredLikeThat:
    @pytest.fixture
    def at_the_meter(self, alone) -> Stranger:
        """At the first readings, their caution read."""
        tapped(alone, *WITH_CONTROLLER)
        bench_fault = "FR1 95-96 open | overload after"
        truth = next(s for s in alone.now.machine.suspects if s.id == bench_fault)
        for _ in range(40):
            step = alone.stage.step
            if step is not None and step.kind == "measure" and not alone.sheet().needs_caution:
                return alone
            import random

            from troubleshoot.job.decided import Ui
            from troubleshoot.job.rehearse import Bench, answer
            from troubleshoot.job.sheet import Typed

            said = answer(Bench(alone.now, (truth,), random.Random(0)), alone.state, alone.stage, Ui())
            assert not isinstance(said, Typed)
            alone.press(said.key)
        raise AssertionError("no reading was ever asked")

    def test_one_key_asks_where_and_shows_the_points_of_the_card(self, at_the_meter):
        at_the_meter.press("v")
        assert "Where is it otherwise?" in at_the_meter.text
        for meter in at_the_meter.stage.step.items:
            assert str(meter.red) in at_the_meter.text

    def test_the_other_way_that_was_kept_open_is_one_key(self, at_the_meter):
        at_the_meter.press("v")
        at_the_meter.press(at_the_meter.key_of("the overload contact sits after the coil"))
        assert at_the_meter.kinds[-1] == "amended"
        assert "the overload contact sits after the coil" in at_the_meter.text
        assert not any(name.startswith("overload") for name in at_the_meter.now.machine.circuit.variants)

    def test_an_empty_point_is_two_keys_and_the_earlier_readings_are_judged_again(self, at_the_meter):
        before, evidence = at_the_meter.left(), at_the_meter.state.evidence
        at_the_meter.press("v", "1", "1")
        assert at_the_meter.kinds[-1] == "amended"
        assert at_the_meter.state.evidence == evidence
        assert at_the_meter.left() != before

    def test_the_caution_is_asked_again_for_the_machine_as_it_is_described_now(self, at_the_meter):
        at_the_meter.press("v", "1", "1")
        step = at_the_meter.stage.step
        assert step is None or step.kind != "measure" or at_the_meter.sheet().needs_caution

    def test_undo_takes_it_back_and_everything_is_as_before(self, at_the_meter):
        before = at_the_meter.left()
        at_the_meter.press("v", "1", "1", "u")
        assert at_the_meter.left() == pytest.approx(before)
        assert at_the_meter.kinds[-2:] == ["amended", "retract"]

    def test_it_is_still_so_after_leaving_and_coming_back(self, at_the_meter):
        at_the_meter.press("v", "1", "1")
        left = at_the_meter.left()
        at_the_meter.comes_back()
        assert at_the_meter.left() == pytest.approx(left)

    def test_a_wrong_first_answer_is_answered_again(self, at_the_meter):
        at_the_meter.press("v", "0", "4", "6")
        assert at_the_meter.now.machine.circuit.devices["KM1"].ratings["coil"] == (230.0, "ac")
        assert at_the_meter.state.answers["volts"] == "230 transformer"

    def test_words_say_it_as_well_as_keys(self, at_the_meter):
        at_the_meter.press("v")
        at_the_meter.type("k1:14")
        at_the_meter.type("x1:3")
        circuit = at_the_meter.now.machine.circuit
        assert any({str(h.a), str(h.b)} == {"K1:14", "X1:3"} for h in circuit.hops)

    def test_a_point_that_is_not_there_is_answered_with_the_nearest(self, at_the_meter):
        at_the_meter.press("v")
        at_the_meter.type("K1:41")
        assert "nearest is K1:" in at_the_meter.text

    def test_the_key_is_there_on_a_machine_that_is_known_but_only_in_the_help(self, beside_belt_7):
        from job.nights import Night

        night = Night("K1 coil open")
        night.type("belt 7 dead")
        night.press("y")
        night.press("8")
        (key,) = [k for k in night.sheet().keys if k.key == "v"]
        assert not key.shown


class TestNamesComeWithTheHands:
    @pytest.fixture
    def at_a_card(self, alone) -> Stranger:
        tapped(alone, *WITH_CONTROLLER)
        alone.press("y", "8")
        # A reading nobody asked for: relay contact, start held by nobody.
        for _ in range(12):
            if alone.stage.step is not None and alone.stage.step.kind == "measure":
                break
            alone.press("enter")
        if alone.sheet().needs_caution:
            alone.press("c")
        return alone

    def test_the_card_says_that_the_marks_are_not_read_yet(self, at_a_card):
        assert "Marks not read yet: go by the words." in at_a_card.text

    def test_a_printed_mark_is_one_word_and_stands_on_the_screen_from_then_on(self, at_a_card):
        row = at_a_card.stage.step.items[0].red
        at_a_card.type(f"1 = TB9:{row.pin}")
        assert at_a_card.kinds[-1] == "alias"
        assert f"TB9:{row.pin}" in at_a_card.text
        at_a_card.press("u")
        assert "TB9" not in at_a_card.text

    def test_what_was_named_and_amended_is_in_the_file_for_the_next_job(self, at_a_card, folder):
        device = at_a_card.stage.step.items[0].red.device
        at_a_card.type(f"1 = TB9:{at_a_card.stage.step.items[0].red.pin}")
        at_a_card.press("e", "4")
        at_a_card.type("whether it drops out, Kim")
        assert "kept for next time" in at_a_card.text
        again = load_circuit((folder / "belt-12/circuit.yaml").read_text(encoding="utf-8"), "circuit.yaml")
        assert isinstance(again, Circuit)
        assert "TB9" in again.devices
        assert device not in again.devices
        assert (folder / "belt-12/circuit-before-1.yaml").is_file()


class TestTheBlackBox:
    """What else is in the stop chain nobody knows; it is opened up, by halves, only when suspicion falls on it."""

    @pytest.fixture
    def suspected(self, alone) -> Stranger:
        tapped(alone, "1", "2", "1", "4", "1", "1", "2")
        alone.careful_until("repair", fault="CH1 1-2 open")
        return alone

    def test_it_is_found_as_a_whole_and_offers_to_be_looked_into(self, suspected):
        assert suspected.stage.group == "CH1 between 1 and 2"
        assert "v look inside: follow its wire numbers" in suspected.text

    def test_a_terminal_half_way_makes_two_halves_and_the_next_reading_is_at_it(self, suspected):
        suspected.press("v")
        suspected.press(suspected.key_of("look inside CH1"))
        suspected.type("X3/7")
        groups = suspected.left()
        assert {"CH1 between 1 and X3/7", "CH1 between X3/7 and 2"} <= set(groups)
        assert groups["CH1 between 1 and X3/7"] == pytest.approx(groups["CH1 between X3/7 and 2"], rel=0.5)
        suspected.careful_until("repair", fault="CH1 X3/7-2 open")
        assert suspected.stage.group == "CH1 between X3/7 and 2"
        read = [e for e in suspected.log.events if e.kind in ("reading", "isolation") and "X3/7" in str(dict(e.data))]
        assert read


class TestSeveralStops:
    def test_at_the_door_each_is_typed_by_its_place_and_u_takes_the_last_one_back(self, alone):
        alone.type("elevator 3 won't start")
        alone.press("1", "4", "s")
        assert "So far: one mushroom, where it is operated" in alone.text
        for place in ("boot pit", "head", "elevator head"):
            alone.type(place)
        alone.press("u")
        alone.press("u")
        alone.type("elevator head")
        alone.type("boot pit")
        assert "There is a mushroom, boot pit already." in alone.text
        alone.press("1", "enter")
        assert "stops: 2, first mushroom, boot pit" in alone.text
        alone.press("1", "3", "2", "1", "2", "y")
        devices = alone.now.machine.circuit.devices
        assert [devices[t].place for t in ("ES1", "ES2", "S1", "S2")] == ["boot pit", "elevator head", "panel", "panel"]

    def test_undo_at_the_door_takes_an_answer_back_and_leaves_the_stops(self, alone):
        alone.type("elevator 3 dead")
        alone.press("1", "4", "s")
        alone.type("boot pit")
        alone.press("enter", "u")
        assert "question 1 of 7" in alone.title
        assert "stops: 1, first mushroom, boot pit" in alone.text

    def test_the_break_between_two_of_them_is_found_by_their_places(self, alone):
        alone.type("elevator 3 won't start")
        alone.press("1", "4", "1", "s")
        alone.type("boot pit")
        alone.type("elevator head")
        alone.press("1", "enter", "3", "2", "1", "2", "y")
        alone.careful_until("isolate", fault="ES1 11-12 open", most=30)
        assert "ES1" in alone.stage.group
        assert "ES2" not in alone.stage.group

    @pytest.fixture
    def begun(self, alone) -> Stranger:
        alone.type("elevator 3 won't start")
        alone.press("1", "4", "1", "3", "2", "1", "2", "y", "8", "enter", "1", "2", "enter", "c")
        return alone

    def test_while_the_job_goes_on_one_more_is_a_key_and_a_place_and_is_looked_at_at_once(self, begun, folder):
        begun.press("v")
        begun.press(begun.key_of("one more emergency stop or pull cord than ES1"))
        begun.type("cord belt side")
        assert begun.now.machine.circuit.roles["emergency stop"] == ("ES1", "ES2")
        assert "ES2 pull cord flag, belt side" in begun.text
        begun.press("e", "1")
        kept = load_circuit((folder / "elevator-3/circuit.yaml").read_text(encoding="utf-8"), "circuit.yaml")
        assert isinstance(kept, Circuit)
        assert kept.devices["ES2"].kind == "pull cord"

    def test_a_device_stands_where_it_is_said_to_stand_and_u_takes_it_back(self, begun):
        begun.press("v")
        begun.type("ES1")
        begun.type("at the boot pit")
        assert begun.now.machine.circuit.devices["ES1"].place == "boot pit"
        begun.press("u")
        assert begun.now.machine.circuit.devices["ES1"].place == "desk"

    def test_a_row_of_terminals_that_is_not_there_is_said_and_its_wires_go_past_it(self, begun):
        begun.press("v")
        begun.type("X1")
        begun.press("2")
        circuit = begun.now.machine.circuit
        assert "X1" not in circuit.devices
        assert {"F4:2", "CH1:1"} in [{str(h.a), str(h.b)} for h in circuit.hops]

    def test_what_is_no_place_is_refused_and_the_panel_stays(self, begun):
        begun.press("v")
        begun.press(begun.key_of("one more emergency stop"))
        begun.type("x" * 60)
        assert "At most 24 letters" in begun.text

    def test_the_rows_of_that_panel_act_at_once_and_no_letter_of_theirs_begins_a_name(self, begun):
        begun.press("v")
        sheet = begun.sheet()
        assert sheet.entry is not None
        assert sheet.entry.digits_act
        assert sheet.entry.begins is not None
        assert not {line.key for line in sheet.lines if line.key.isalpha()} & sheet.entry.begins

    def test_the_more_volts_beside_a_point_are_named_with_their_terminal_and_wire(self, alone):
        alone.type("elevator 3 won't start")
        alone.press("1", "4", "1", "3", "2", "1", "2", "y", "8", "enter", "1", "2", "enter")
        assert "387 V AC at the points, between KM1:A1 and KM1:3 (wire 2L2) beside it." in alone.text

    def test_a_grain_elevator_does_not_groan(self, alone):
        alone.type("Grain dryer elevator 3 won't start")
        alone.press("1", "g")
        assert alone.state.complaint == "wont-start"
