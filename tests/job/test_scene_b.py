"""Ten past three, belt 7 is dead, its file is there: one job from the first words to the hand-back, screen by screen.

Wire 12 is open between the interposing relay and the overload contact. Nobody in the job knows; what lights, looks and
meter show is computed with that wire open, and only what a person chooses to say is written here.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from job.nights import Night

from troubleshoot.job.sheet import Role
from troubleshoot.log.verify import verify

FAULT = "12:K1:14>FR1:95 open"


@pytest.fixture
def night(tmp_path: Path) -> Night:
    return Night(FAULT, folder=tmp_path)


def in_order(text: str, *parts: str) -> None:
    at = 0
    for part in parts:
        found = text.find(part, at)
        assert found >= 0, f"{part!r} is not there, or too early, in:\n{text}"
        at = found + len(part)


def to_the_first_trip(night: Night) -> None:
    night.type("conv dead")
    night.press("y")
    night.press("8")
    while night.stage.step is None or night.stage.step.kind != "measure":
        night.careful()


def to_the_second_trip(night: Night) -> None:
    to_the_first_trip(night)
    night.press("c")
    night.type(night.readings())


def to_the_isolation(night: Night) -> None:
    to_the_second_trip(night)
    night.careful_until("isolate")


# ------------------------------------------------------------------------------------------------------- the first words


def test_conv_dead_finds_the_conveyor_among_the_machines_and_its_symptom(night: Night) -> None:
    assert night.lines()[0] == "What is wrong? Say it as it was told to you: machine and what it does."
    night.type("conv dead")
    assert night.lines()[0] == 'Belt 7, parcel conveyor, Harrow Lane depot: "conv dead"'
    assert night.state.machine == "belt-7"
    assert night.state.complaint == "wont-start"
    assert night.sheet().saved == 1


def test_nothing_goes_on_before_everybody_is_clear(night: Night) -> None:
    night.type("conv dead")
    assert "Is everybody clear: nobody in it, on it, under it?" in night.lines()
    night.press("m")
    assert "Get everybody clear first" in night.text
    assert "Is everybody clear: nobody in it, on it, under it?" in night.lines()
    night.press("y")
    assert night.lines()[0] == "Ask whoever ran it: What did it do last?"


def test_the_operator_is_asked_while_what_the_power_keeps_is_still_there(night: Night) -> None:
    night.type("conv dead")
    night.press("y")
    assert "5  somebody worked on it" in night.lines()
    assert "Switch nothing off yet: flags, lights and what was latched go with the power." in night.text
    night.press("2")
    assert any(line.startswith("Walk round once and look") for line in night.lines())


# ------------------------------------------------------------------------------------------------------------- looking


def test_the_walk_is_one_screen_and_enter_takes_all_of_it_as_shown(night: Night) -> None:
    night.type("conv dead")
    night.press("y")
    night.press("8")
    in_order(
        night.text, "Walk round once and look; switch nothing yet. Different? Press its key; press again for the next. All as shown: Enter.",
        "1 ES1 emergency stop head out", "2 S3 run/jog switch position run", "3 FR1 overload relay flag normal",
        "4 Q1 main disconnect handle on", "5 M1 belt motor still",
    )  # fmt: skip
    night.press("enter")
    assert night.log.events[-1].kind == "looked"
    assert {s.source for s in night.state.evidence[1:]} == {"by-exception"}


def test_what_is_different_is_marked_by_its_number_and_stands_out_in_words(night: Night) -> None:
    night.type("conv dead")
    night.press("y")
    night.press("8")
    night.press("enter")
    assert "7 ( ) %QX0.0 interposing relay off" in night.text
    night.press("7")
    assert "7 (*) %QX0.0 interposing relay ON <-" in night.text
    night.press("7")
    assert "7 (~) %QX0.0 interposing re UNSTEADY" in night.text
    night.press("7")  # once more round: off again, and it stays said by the person
    assert "7 ( ) %QX0.0 interposing relay OFF<-" in night.text


def test_every_light_is_read_again_with_start_held_and_the_sheet_says_that_it_may_start(night: Night) -> None:
    night.type("conv dead")
    night.press("y")
    night.press("8")
    while "Have Start held" not in night.text:
        night.careful()
    first = night.sheet().lines[0]
    assert (first.role, first.text) == (
        Role.CAUTION,
        "It may start: stand clear. How it is done: Start held by a helper.",
    )
    assert "4 (*) %IX0.1 start on" in night.text


# ------------------------------------------------------------------------------------------------------- the first trip


def test_the_caution_is_drawn_first_and_nothing_can_be_typed_before_it_is_read(night: Night) -> None:
    to_the_first_trip(night)
    sheet = night.sheet()
    assert sheet.needs_caution
    assert sheet.entry is not None
    assert sheet.entry.locked
    assert sheet.lines[0].text.startswith("CAUTION")
    assert sheet.lines[0].role is Role.DANGER
    cautions = [line.role in (Role.CAUTION, Role.DANGER) for line in sheet.lines]
    assert cautions == sorted(cautions, reverse=True), "a caution is drawn below something else"
    in_order(night.text, "CAUTION", "Points: ")
    drawn = " ".join(line.text for line, is_caution in zip(sheet.lines, cautions, strict=True) if is_caution)
    for part in ("START", "TURN", "211 V", "CAT III", "KM1:A1", "KM1:A2", "F4:2", "NB:1"):
        assert part in drawn, part
    before = len(night.log.events)
    night.force("0 0 120")
    assert len(night.log.events) == before
    assert "The caution comes first: read it, then press c." in night.text
    night.press("c", drawn_ms=120)  # a key that was typed ahead, or held down
    assert len(night.log.events) == before
    night.press("c", drawn_ms=300)
    assert night.log.events[-1].kind == "caution"
    assert not night.sheet().needs_caution


def test_the_trip_says_where_black_stays_where_red_goes_and_what_should_be_there(night: Night) -> None:
    to_the_first_trip(night)
    night.press("c")
    in_order(
        night.text, "CAUTION read.", "Start held by a helper, at panel PB7:",
        "Black lead on NB:1 and leave it there. Red on:",
        "1 KM1:A1 motor contactor should be 115-124 V AC",
        "2 KM1:A2 motor contactor should be nothing",
        "3 F4:2 control fuse should be 115-124 V AC",
        "[F4 1-2]-10-[ES1 21-22]-11-[K1 13-14]-12-[FR1 95-96]-13-(KM1 A1-A2)",
        "all right: KM1",
        "left: motor contactor KM1",
    )  # fmt: skip
    assert "black lead: NB:1" in night.sheet().title
    assert "panel OPEN" in night.sheet().title


def test_the_reason_is_one_key_and_the_caution_stays_beside_it(night: Night) -> None:
    to_the_first_trip(night)
    night.press("w")
    assert (
        "Why: Volts at the coil split the job in two halves, the rung before it and the contactor itself." in night.text
    )
    assert night.sheet().needs_caution
    assert night.lines()[0].startswith("CAUTION")
    night.press("w")
    assert "Why:" not in night.text


def test_a_letter_o_among_digits_is_asked_back_and_nothing_is_written(night: Night) -> None:
    to_the_first_trip(night)
    night.press("c")
    before = len(night.log.events)
    night.type("12O V 0 120")
    assert "'12O' has a letter O in it: did you mean 120?" in night.text
    assert len(night.log.events) == before
    assert night.sheet().entry is not None
    assert not night.sheet().entry.locked


def test_another_test_is_offered_with_its_reason_and_the_tree_keeps_the_place(night: Night) -> None:
    to_the_first_trip(night)
    asked = night.lines()
    night.press("x")
    in_order(night.text, "Other tests, best first. The tree keeps your place.", "1 ", "2 ", "3 ")
    assert night.text.count(" min.") == 3
    night.press("2")
    assert night.lines() != asked
    assert night.sheet().needs_caution
    night.press("t")
    assert "Back to the tree." in night.text
    assert night.lines()[:-1] == asked


def test_the_readings_are_read_back_as_understood_and_the_list_gets_shorter(night: Night) -> None:
    to_the_first_trip(night)
    left = int(night.text.split(" left: ")[0].split()[-1])
    night.press("c")
    night.type(night.readings())
    assert "Understood: 1: nothing (0 V) 2: nothing (0 V) 3: 120.0 V" in night.text
    assert int(night.text.split(" left: ")[0].split()[-1]) < left


# ------------------------------------------------------------------------------------------------------ the second trip


def test_volts_on_one_side_of_a_wire_and_none_on_the_other_end_the_search_at_it(night: Night) -> None:
    to_the_second_trip(night)
    in_order(night.text, "Points: ", "X1:1", "X1:2", "K1:14", "NB:1")
    night.press("c")
    shown = [float(word) for word in night.readings().replace("V", "").split()]
    assert shown == pytest.approx([120, 120, 120], abs=1)  # what the machine computes is what the person types
    night.type("120 120 120")
    night.careful_until("isolate")
    assert night.state.trips <= 4
    assert "Confirm wire 12, K1:14 to FR1:95 before touching it: make it safe first." in night.text


def test_the_second_caution_names_first_what_is_new_and_needs_its_own_key(night: Night) -> None:
    to_the_second_trip(night)
    assert night.sheet().needs_caution
    assert night.lines()[0].startswith("CAUTION")
    in_order(night.text, "CAUTION", "Points: ", "X1:2", "NB:1")
    assert "Helper" not in night.lines()[0]  # the helper stood there on the first trip already


def test_a_reading_that_nobody_asked_for_counts_and_is_marked_so(night: Night) -> None:
    to_the_second_trip(night)
    night.force("K1:14 NB:1 120")
    assert "Understood: 1: 120 V" in night.text
    last = night.log.events[-1]
    assert (last.kind, last.data["source"]) == ("reading", "unasked")
    assert night.state.evidence[-1].source == "unasked"
    assert "K1:14" not in [line.split()[1] for line in night.lines() if line[:1].isdigit()]  # it is not asked again
    assert night.sheet().needs_caution or night.stage.step.kind == "look"


def test_two_points_without_a_value_become_the_next_trip_with_its_caution(night: Night) -> None:
    to_the_second_trip(night)
    night.force("K1:14 NB:1")
    assert night.sheet().needs_caution
    assert "Points: K1:14 to NB:1" in night.text
    assert "t" in night.live()


def test_away_from_the_panel_black_goes_on_earth_where_one_stands_and_each_row_says_its_place(night: Night) -> None:
    to_the_second_trip(night)
    night.force("ES1:21 NB:1")
    assert (
        "Black on earth where you stand (its PE, or bare metal of the box; NB:1 is tied to it), red on: 1 ES1:21"
        in night.text
    )
    assert "Black on NB:1" not in night.text


def test_a_terminal_that_is_not_there_is_answered_with_the_nearest(night: Night) -> None:
    to_the_second_trip(night)
    before = len(night.log.events)
    night.force("K1:41 NB:1 120")
    assert "There is no terminal K1:41; nearest is K1:14." in night.text
    assert len(night.log.events) == before


def test_what_nothing_explains_is_said_in_words_and_can_be_taken_back(night: Night) -> None:
    to_the_second_trip(night)
    asked = night.lines()
    night.force("KM1:A1 NB:1 60")
    assert (
        "No single fault I know gives 60 V at KM1:A1 to NB:1 with all the rest. "
        "Check the meter lead, the wire number or the drawing." in night.text
    )
    night.press("u")
    assert "Taken back. Nothing is lost: the log keeps both." in night.text
    assert night.log.events[-2].data["said"] == "60"
    strip = len(asked) - 1  # the last line is what was said to the words before
    assert night.lines()[:strip] == asked[:strip]


def test_what_cannot_be_reached_is_not_asked_again_and_the_job_still_ends_at_the_wire(night: Night) -> None:
    to_the_second_trip(night)
    night.press("n")
    assert night.lines()[0] == "Can't do that? Say why; it is as good an answer as any."
    night.press("1")
    assert "Noted; looking for another way." in night.text
    assert night.log.events[-1].data["reason"] == "reach"
    given_up = set(night.log.events[-1].data["targets"])
    assert given_up == {"X1:1", "X1:2", "K1:14"}
    while night.stage.name == "search":
        step = night.stage.step
        assert step is not None
        assert not given_up & {str(item.red) for item in step.items if hasattr(item, "red")}
        night.careful()
    night.careful_until("repair")
    assert night.stage.group in ("wire 12, K1:14 to FR1:95", "FR1", "K1", "FR1 contact 95-96", "K1 13-14")


# ----------------------------------------------------------------------------------------------------- quit and resume


def test_after_leaving_the_same_question_is_asked_and_its_caution_again(night: Night) -> None:
    to_the_second_trip(night)
    asked = [line for line in night.lines() if line[:1].isdigit()]
    night.press("c")
    assert not night.sheet().needs_caution
    night.leave_and_come_back()
    assert "Taken up where it was left. Cautions and isolation are asked again." in night.text
    assert night.sheet().needs_caution
    assert [line for line in night.lines() if line[:1].isdigit()] == asked


def test_isolation_does_not_outlive_the_session(night: Night) -> None:
    to_the_isolation(night)
    first = night.text
    for _ in range(4):
        night.press("y")
    assert "Step 5 of 12" in night.text
    night.leave_and_come_back()
    assert "Step 1 of 11" in night.text, "it stands open: there is nothing to stop"
    assert "Step 1 of 12" in first


# ---------------------------------------------------------------------------------------------------- dead and confirmed


def test_confirming_waits_behind_every_step_of_the_isolation(night: Night) -> None:
    to_the_isolation(night)
    asked = []
    while night.stage.name == "isolate":
        asked.append(next(line for line in night.lines() if line.startswith("now ")).removeprefix("now   "))
        assert any("STAYS LIVE: Q1:1, Q1:3, Q1:5 (main disconnect)" in line for line in night.lines())
        if night.sheet().needs_caution:
            assert night.lines()[0].startswith("CAUTION")
            night.press("c")
            continue
        night.careful()
    steps = list(dict.fromkeys(asked))
    starts = (
        "Tell everybody", "Stop the machine with S2", "Open Q1", "Your own lock and tag on Q1", "M1 (belt motor) stands",
        "YB1 (belt brake) is set", "Wait until PS1", "All clear? Press S1", "Prove the tester on", "Test dead, card 1 of 2",
        "Test dead, card 2 of 2", "Prove the tester again",
    )  # fmt: skip
    assert len(steps) == len(starts)
    assert all(said.startswith(start) for said, start in zip(steps, starts, strict=True)), steps
    assert night.stage.name == "confirm"
    in_order(
        night.text, "Confirm wire 12, K1:14 to FR1:95 before touching it, locked off and proved dead, at panel PB7:",
        "K1:14", "should be under 1 ohm", "faulty, like: 1 OL",
    )  # fmt: skip
    assert "power OFF, locked" in night.sheet().title


def test_the_title_calls_the_power_off_only_from_the_open_disconnect_on(night: Night) -> None:
    to_the_isolation(night)
    for _ in ("tell", "stop"):
        night.press("y")
        assert "power ON" in night.sheet().title
    night.press("y")
    assert "power OFF, NOT locked" in night.sheet().title
    night.press("y")
    assert "power OFF, locked" in night.sheet().title


def test_a_conductor_that_is_not_dead_stops_everything(night: Night) -> None:
    """NFPA 70E 120.6 and OSHA 1910.333(b)(2)(iv): no work before every conductor is tested dead."""
    to_the_isolation(night)
    while "Test dead" not in next(line for line in night.lines() if line.startswith("now ")):
        night.careful()
    if night.sheet().needs_caution:
        night.press("c")
    before = len(night.log.events)
    assert night.stage.isolation is not None
    card = next(s for s in night.stage.isolation.steps if s.id == night.stage.next)
    night.type(" ".join(["120"] + ["0"] * (len(card.readings) - 1)))
    assert "NOT DEAD: 120 V at" in night.text
    assert "Touch nothing" in night.text
    assert [event.kind for event in night.log.events[before:]] == ["failed"], "in the record, and no step further"


def test_after_the_confirming_test_the_repair_names_the_wire_and_both_its_ends(night: Night) -> None:
    to_the_isolation(night)
    night.careful_until("confirm")
    night.careful_until("repair")
    in_order(
        night.text, "Found: wire 12 open between K1:14 and FR1:95.", "Confirmed by its own test.",
        "Do: re-make wire 12, K1:14 to FR1:95.", "Both ends of the wire",
    )  # fmt: skip


def test_a_part_is_named_with_its_ratings_before_anybody_walks_to_the_stores(tmp_path: Path) -> None:
    night = Night("K1 coil open", folder=tmp_path)
    night.type("conv dead")
    night.careful_until("repair")
    assert "Do: replace K1." in night.text
    assert "Part: K1 interposing relay, relay: coil 24 V DC" in night.text
    assert "Keep the old part and tag it." in night.text


# ------------------------------------------------------------------------------------------------- power and the proof


def test_what_can_happen_is_said_before_power_comes_back(night: Night) -> None:
    to_the_isolation(night)
    night.careful_until("repair")
    night.type("ferrule had slipped off")
    assert night.lines()[0] == "CAUTION  Before power goes back on:"
    assert "WILL start M1 (belt motor)" in night.text
    in_order(night.text, "Tools, leads, covers counted;", "own lock last")
    assert night.sheet().needs_caution
    night.press("c", drawn_ms=100)
    assert "Read what can happen first." in night.text
    assert not night.state.power
    night.press("c")
    assert night.state.power
    assert night.lines()[0].startswith("Proof run, 1 of 14: Power on, nobody at the buttons")


def test_the_proof_proves_each_stop_by_a_reading_and_says_what_it_has_not_proved(night: Night) -> None:
    to_the_isolation(night)
    night.careful_until("repair")
    night.type("ferrule had slipped off")
    night.press("c")
    metered: dict[str, str] = {}
    while night.stage.name == "proof":
        check = night.stage.check
        assert check is not None
        meters = [item for item, _ in check.expects if hasattr(item, "red")]
        if meters:
            metered[check.words] = " ".join(str(meter.red) for meter in meters)
            assert any(f"{meter.red}" in line for meter in meters for line in night.lines())
            if night.sheet().needs_caution:
                night.press("c")
            assert night.sheet().entry is not None
        night.careful()
    stops = [words for words in metered if words.endswith("it stops.")]
    assert any("S2 (stop button)" in words for words in stops)
    assert any("ES1 (emergency stop)" in words for words in stops)
    assert any("FR1 (overload relay)" in words for words in stops)
    assert night.lines()[0] == "Proved. Ready to hand back."
    in_order(
        night.text, 'Complaint: "conv dead"', "Found: wire 12 open between K1:14 and FR1:95, confirmed.",
        "Done: re-make wire 12, K1:14 to FR1:95 (ferrule had slipped off).", "Proof: 14 of 14 checks passed.",
        "NOT PROVED by this run (", "Show the operator. Say what is not proved.",
    )  # fmt: skip
    night.press("y")
    assert night.lines()[0] == "This job has ended: mended."
    assert night.sheet().done


def test_three_currents_in_the_proof_are_answered_with_how_uneven_they_are(night: Night) -> None:
    """Unbalance as NEMA MG 1 has it: the farthest from the mean, in percent of it."""
    to_the_isolation(night)
    night.careful_until("repair")
    night.careful()
    night.press("c")
    while not (night.stage.check and night.stage.check.id == "hold S1"):
        night.careful()
    if night.sheet().needs_caution:
        night.press("c")
    check = night.stage.check
    amps = [night.desk.reasoner.expected(m, check.situation.situation).value for m in check.readings]
    assert len(amps) == 3
    typed = [round(a * share, 3) for a, share in zip(amps, (1, 1, 0.7), strict=True)]
    night.type(" ".join(map(str, typed)))
    mean = sum(typed) / 3
    percent = 100 * (mean - min(typed)) / mean
    assert mean - min(typed) > max(typed) - mean
    assert f"Currents {percent:.0f} % uneven: read the three line volts" in night.text
    assert "This check has NOT passed." in night.text


def test_uneven_currents_do_not_pass_and_stand_on_the_page_that_is_handed_over(night: Night) -> None:
    """NEMA MG 1 14.36 (from memory): currents 6 to 10 times as uneven as the volts, full power up to 1 % of volts."""
    to_the_isolation(night)
    night.careful_until("power")
    night.press("c")
    while not (night.stage.check and night.stage.check.id == "hold S1"):
        night.careful()
    if night.sheet().needs_caution:
        night.press("c")
    night.type("6.7 6.6 4.2")
    assert night.state.proof["hold S1"] is False
    night.careful_until("handback")
    assert night.lines()[0] == "The proof run is through."
    assert "28 % uneven, over 10 %" in night.text
    assert "Proof: 13 of 14 checks passed." in night.text
    assert "(currents 28 % uneven)" in night.desk.not_proved(night.state)[0]
    night.press("y")
    assert any("28 % uneven" in words for words in night.log.events[-1].data["not_proved"])


def test_one_word_answers_a_card_of_a_dead_test_on_which_nothing_shows_and_the_rows_stay_to_be_read(
    night: Night,
) -> None:
    to_the_isolation(night)
    while "Test dead" not in next(line for line in night.lines() if line.startswith("now ")):
        night.careful()
    rows = [line for line in night.lines() if line[:1].isdigit()]
    assert rows
    before = len(night.log.events)
    night.type("0")
    assert "every conductor to earth and between" in night.text
    assert len(night.log.events) == before, "one nothing is not all of them"
    night.type("all 0")
    last = night.log.events[-1]
    assert last.kind == "isolation"
    assert len(last.data["readings"]) == len(last.data["understood"]) >= 5


def test_a_stop_whose_reading_is_wrong_does_not_pass_the_proof(night: Night) -> None:
    to_the_isolation(night)
    night.careful_until("repair")
    night.careful()
    night.press("c")
    while "emergency stop) in: it stops" not in night.text:
        night.careful()
    if night.sheet().needs_caution:
        night.press("c")
    night.type("120")
    assert night.log.events[-1].data["passed"] is False
    assert night.stage.name != "handback"
    assert night.stage.name in ("search", "confirm", "isolate", "repair", "stuck", "power")


def test_the_whole_job_is_in_a_log_that_verifies_and_gives_the_same_job_again(night: Night, tmp_path: Path) -> None:
    night.type("conv dead")
    night.careful_until("ended")
    assert night.sheet().saved == len(night.log.events)
    ended = night.lines()
    night.session.close()
    assert verify(tmp_path / "night.jsonl").whole
    assert ended[0] == "This job has ended: mended."
    assert any("wire 12 open between K1:14 and FR1:95, confirmed" in line for line in ended)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_every_sheet_of_the_job_fits_its_width(night: Night, width: int) -> None:
    night.type("conv dead")
    for _ in range(80):
        sheet = night.sheet(width)
        assert all(len(line.text) <= width for line in sheet.lines)
        if sheet.done:
            return
        night.careful()
    raise AssertionError("the job did not end")
