"""What outlives a shift: temporary things, what could not be done, a page for the next one, and jobs that wait."""

from __future__ import annotations

from pathlib import Path

import pytest
from job.nights import Night, desk, suspect

from troubleshoot.cli.machines_on_disk import open_jobs
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.rehearse import rehearse

WIRE = "12:K1:14>FR1:95 open"
RELAY = "K1 13-14 open"


def at_the_first_trip(fault: str = WIRE, folder: Path | None = None) -> Night:
    night = Night(fault, folder=folder)
    night.type("conv dead")
    night.press("y")
    night.press("8")
    while night.stage.step is None or night.stage.step.kind != "measure":
        night.careful()
    return night


def more(night: Night, row: str) -> None:
    night.press("e")
    night.press(row)


def noted(night: Night, what: str) -> None:
    more(night, "8")
    night.press("k")
    night.type(what)
    night.press("escape")


def say_cannot(night: Night, row: str) -> None:
    night.press("n")
    night.press(row)
    if "for what?" in night.text:
        night.press("2")


# ----------------------------------------------------------------------------------------------------- temporary things


def test_a_temporary_thing_is_one_tap_or_a_few_words_and_is_seen_before_power() -> None:
    night = at_the_first_trip()
    more(night, "8")
    night.press("g")
    night.press("k")
    night.type("wire 12 lifted at K1:14")
    assert [t.what for t in night.state.temporary] == ["cover or guard off", "wire 12 lifted at K1:14"]
    night.press("escape")
    night.careful_until("putback")
    assert "wire 12 lifted at K1:14" in night.text
    night.press("2")
    assert night.stage.name == "power"
    before = night.lines().index("CAUTION  Before power goes back on:")
    assert night.lines()[before + 1] == "Still temporary: cover or guard off."


@pytest.mark.parametrize(
    "what", ["wire 13 lifted at KM1:A1", "fuse out", "jumper on", "F6:2 bridged", "meter or leads left on"]
)
def test_power_is_not_offered_while_something_in_the_circuit_is_not_as_it_will_be(what: str) -> None:
    night = at_the_first_trip()
    night.careful_until("repair")
    noted(night, what)
    night.careful()
    seen = set()
    while night.stage.name != "power":
        seen.add(night.stage.name)
        assert "power is back on" not in night.text
        night.careful()
    assert "putback" in seen
    assert not night.state.temporary


def test_what_is_proved_with_a_wire_off_is_not_proved_and_the_wire_goes_back_only_behind_an_isolation() -> None:
    night = at_the_first_trip()
    night.careful_until("handback")
    assert night.state.proof
    noted(night, "wire 13 lifted at KM1:A1")
    assert night.stage.name == "isolate", "with the power on nothing is put back"
    night.careful_until("putback")
    assert not night.state.power
    assert any({str(m.red), str(m.black)} & {"KM1:A1"} for m in night.state.tested), "dead where the hand goes"
    night.press("1")
    assert night.state.proof == {}
    assert night.stage.name == "power"
    night.careful_until("handback")
    assert "Proof: 14 of 14 checks passed." in night.text


def test_a_forced_value_is_taken_off_before_the_proof_run_but_needs_no_isolation() -> None:
    night = at_the_first_trip()
    night.careful_until("repair")
    noted(night, "value forced")
    night.careful()
    night.careful_until("power")
    night.press("c")
    assert night.stage.name == "putback"
    assert night.state.power
    night.press("1")
    assert night.stage.name == "proof"


def test_putting_a_wire_back_with_the_power_on_asks_for_the_isolation_first() -> None:
    night = at_the_first_trip()
    noted(night, "wire 13 lifted at KM1:A1")
    more(night, "8")
    night.press("1")
    assert night.state.temporary
    night.press("escape")
    assert night.stage.name == "isolate"
    night.careful_until("putback")
    night.press("1")
    assert not night.state.temporary


def test_a_slip_of_a_key_is_no_temporary_thing() -> None:
    night = at_the_first_trip()
    more(night, "8")
    night.press("k")
    night.type("xx")
    assert "says nothing of what is temporary" in night.text
    assert night.state.temporary == ()


def test_nothing_is_handed_back_while_something_is_temporary() -> None:
    night = at_the_first_trip()
    more(night, "8")
    night.press("g")
    night.press("escape")
    night.careful_until("handback")
    assert "NOT to be handed back: still temporary." in night.text
    assert "y" not in night.live()
    night.press("1")
    assert "Proved. Ready to hand back." in night.text
    night.press("y")
    assert night.state.ended == "mended"
    assert [e.kind for e in night.log.events if e.kind in ("temporary", "put back")] == ["temporary", "put back"]


# ------------------------------------------------------------------------------------------------------------- can't


def test_without_a_helper_the_tree_asks_nothing_that_needs_one() -> None:
    night = at_the_first_trip()
    assert night.stage.step is not None
    assert night.stage.step.situation.hands == 2
    say_cannot(night, "3")
    for _ in range(90):
        if night.stage.name in ("repair", "waiting"):
            break
        if night.stage.step is not None:
            assert night.stage.step.situation.name != "start held"
        night.careful()
    else:
        raise AssertionError(night.text)


def test_a_refusal_as_unsafe_is_a_good_decision_and_is_not_offered_again() -> None:
    night = at_the_first_trip()
    assert night.stage.step is not None
    refused = {str(i.red) for i in night.stage.step.items if isinstance(i, Meter)}
    say_cannot(night, "6")
    assert "A good decision. It will not be asked again." in night.text
    more(night, "9")
    assert "refused as unsafe, a good decision" in night.text
    assert "1" not in night.live()
    night.press("escape")
    assert night.stage.step is not None
    assert not refused & {str(i.red) for i in night.stage.step.items if isinstance(i, Meter)}


def test_what_hangs_on_people_is_asked_again_when_it_can_be_done_now() -> None:
    night = at_the_first_trip()
    before = night.stage.step
    say_cannot(night, "3")
    assert night.stage.step != before
    more(night, "9")
    assert "needs a second person, while nobody helps" in night.text
    night.press("1")
    night.press("escape")
    assert night.stage.step == before


@pytest.mark.parametrize(
    ("row", "lapses"), [("1", False), ("2", False), ("3", True), ("4", True), ("5", True), ("6", False)]
)
def test_who_takes_it_up_anew_is_asked_again_what_hung_on_people_meter_or_hour(
    row: str, lapses: bool, tmp_path: Path
) -> None:
    night = at_the_first_trip(folder=tmp_path)
    say_cannot(night, row)
    assert len(night.state.cannot) == 1
    night.leave_and_come_back()
    assert (night.state.cannot == ()) is lapses


def test_what_needs_a_permit_becomes_the_exact_list_of_readings_wanted_under_it() -> None:
    night = at_the_first_trip()
    for _ in range(80):
        if night.stage.name == "waiting":
            break
        if (
            night.stage.name in ("search", "confirm")
            and night.stage.step
            and night.stage.step.kind in ("measure", "confirm")
        ):
            say_cannot(night, "2")
        else:
            night.careful()
    assert night.stage.name == "waiting", night.text
    wanted = [i for step in night.stage.wanted for i in step.items if isinstance(i, Meter)]
    assert wanted
    assert "What is left needs a permit or another trade. Wanted then, all of it:" in night.text
    for meter in wanted:
        assert f"{meter.red} to {meter.black}: should be" in night.text
    night.press("y")
    assert night.state.ended == "waiting: permit"
    assert [row[0] for row in night.state.wanted] == [f"{m.red} to {m.black}" for m in wanted]
    assert f"Wanted: {wanted[0].red} to {wanted[0].black}, should be" in night.text


def test_nothing_is_replaced_on_suspicion_while_a_helper_could_tell() -> None:
    """With nobody to hold Start the volts at rest leave several parts; none of them is named for repair."""
    night = at_the_first_trip("KM1 coil open")
    say_cannot(night, "3")
    for _ in range(80):
        if night.stage.name in ("repair", "waiting"):
            break
        night.careful()
    if night.stage.name == "repair":
        assert night.stage.chance >= 0.9 or night.state.confirmed.get(night.stage.group)


def test_a_permit_for_a_panel_is_said_once_and_nothing_in_it_is_asked_again() -> None:
    night = at_the_first_trip("KM1 coil open")
    night.press("n")
    night.press("2")
    assert "1 for all of panel PB7" in night.text
    night.press("1")
    for _ in range(40):
        if night.stage.name == "waiting":
            break
        step = night.stage.step
        if step is not None:
            devices = night.desk.machine.circuit.devices
            assert not [m for m in step.items if isinstance(m, Meter) and devices[m.red.device].place == "panel"]
        night.careful()
    assert "What is left needs a permit" in night.text
    assert [e.kind for e in night.log.events].count("cannot") == 1


# ------------------------------------------------------------------------------------------------------------ hand over


def test_the_page_for_the_next_shift_says_state_locks_temporary_done_and_next_in_one_page(tmp_path: Path) -> None:
    night = at_the_first_trip(folder=tmp_path)
    more(night, "8")
    night.press("b")
    night.press("escape")
    night.careful_until("isolate")
    while "lock Q1" not in night.state.isolation:
        night.careful()
    more(night, "7")
    page = night.lines()
    assert len(page) <= 21
    assert "State: power OFF; lock of Ana on Q1. Yours goes on first, then theirs comes off." in night.text
    assert "TEMPORARY: value forced (by Ana)" in page
    assert "Changed: nothing yet." in page
    assert any(line.startswith("Next: ") for line in page)
    night.type("JS; told the shift lead 07:00")
    (event,) = [e for e in night.log.events if e.kind == "handover"]
    assert list(event.data["page"])
    assert event.data["to"] == "JS; told the shift lead 07:00"


def test_nothing_proved_dead_carries_over_to_another_name(tmp_path: Path) -> None:
    night = at_the_first_trip(folder=tmp_path)
    night.careful_until("repair")
    assert night.state.tested
    more(night, "7")
    night.type("JS")
    assert night.stage.name == "handed"
    assert "your own lock, your own tester, all of it again" in night.text
    night.press("y")
    night.type("JS")
    assert night.state.who == "JS"
    assert not night.state.tested
    assert not night.state.isolation
    assert not night.state.tester_proved
    assert "power OFF, lock of Ana, NOT yours" in night.sheet().title
    assert night.stage.name == "people", "whoever is new has seen nobody clear yet"
    night.press("y")
    assert night.stage.name == "isolate"


def test_a_handover_needs_a_name_and_can_be_taken_back() -> None:
    night = at_the_first_trip()
    more(night, "7")
    night.type("?")
    assert "Who takes it over?" in night.text
    night.type("JS")
    assert night.stage.name == "handed"
    night.press("y")
    night.type("1")
    assert "Your own name or initials, please." in night.text


# -------------------------------------------------------------------------------------------------------------- endings


@pytest.mark.parametrize(
    ("row", "how"),
    [("1", "made safe"), ("3", "waiting: permit"), ("4", "watching"), ("5", "not found"), ("6", "waiting: person")],
)
def test_not_every_job_ends_mended(row: str, how: str) -> None:
    night = at_the_first_trip()
    more(night, row)
    if row == "4":
        night.type("amps each shift, Kim")
    assert night.state.ended == how


def test_waiting_for_a_part_says_which_with_its_rating_and_when_it_comes() -> None:
    night = at_the_first_trip()
    more(night, "2")
    assert "Most likely: " in night.text
    night.type("contactor 120 V coil, stores open at 06:00")
    assert night.state.ended == "waiting: part"
    event = night.log.events[-1]
    assert event.data["note"] == "contactor 120 V coil, stores open at 06:00"
    assert "coil 120 V AC" in str(event.data["part"])


@pytest.mark.parametrize(("row", "open_still"), [("1", True), ("3", True), ("4", True), ("5", False)])
def test_a_job_that_waits_stays_on_the_first_page(
    row: str, open_still: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    folder = tmp_path / "belt-7" / "jobs"
    folder.mkdir(parents=True)
    night = at_the_first_trip(folder=folder)
    more(night, row)
    if row == "4":
        night.type("amps each shift, Kim")
    night.session.close()
    found = open_jobs()
    assert bool(found) is open_still
    if open_still:
        assert found[0].words.endswith(night.state.ended)
        night.leave_and_come_back()
        assert night.state.ended == ""
        night.careful_until("handback")


# ----------------------------------------------------------------------------------------------------------- two faults


def test_after_a_repair_that_was_not_all_it_says_what_that_explains_and_what_is_kept() -> None:
    both = rehearse(desk(), "wont-start", suspect("F6 open"), also=(suspect("K1 13-14 open"),))
    assert both.ended == "mended"
    assert len([e for e in both.events if e.kind == "repaired"]) >= 2
    night = Night("F6 open")
    night.bench.faults = (suspect("F6 open"), suspect("K1 13-14 open"))
    night.type("conv dead")
    night.press("y")
    night.press("8")
    while not night.state.repaired:
        night.careful()
    night.careful_until("search")
    said = []
    for _ in range(20):
        said.append(night.text)
        if "There is something else too." in night.text:
            break
        night.careful()
    assert "There is something else too." in said[-1], said[0]
    assert "Explained by it, put aside:" in said[-1]


# ------------------------------------------------------------------------------------------------- what operators know


def test_what_stopped_by_itself_is_asked_what_got_it_going_again_and_a_dead_one_is_not() -> None:
    night = Night(WIRE)
    night.type("conv dead")
    night.press("y")
    night.press("1")
    assert "What got it going again, the times before?" in night.text
    before = dict(night.desk.reasoner.groups(night.desk.belief(night.state)))
    night.press("3")
    after = dict(night.desk.reasoner.groups(night.desk.belief(night.state)))
    assert after["M1 shaft and load"] > 2 * before["M1 shaft and load"]
    other = Night(WIRE)
    other.type("conv dead")
    other.press("y")
    other.press("2")
    assert "What got it going again" not in other.text


def test_what_tripped_is_asked_after_how_long() -> None:
    night = Night(WIRE)
    night.type("conv dead")
    night.press("y")
    night.press("3")
    assert "How long after the start did it trip?" in night.text
    night.press("2")
    assert "What got it going again, the times before?" in night.text
    night.press("6")
    assert any(line.startswith("Walk round once") for line in night.lines())
