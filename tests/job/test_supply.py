"""A reading that the described supply cannot give: work stops, the supply is asked for, and the true fault is never lost.

What a plant's supplies are: ANSI C84.1, CSA C235 and IEC 60038 (from memory).
"""

from __future__ import annotations

import pytest
from job.nights import Night, circuits
from job.strangers import Stranger

from troubleshoot.circuit.model import Circuit
from troubleshoot.describe.taps import SYSTEMS
from troubleshoot.job.supply import panel
from troubleshoot.machine.supply import main_supply, supplied


@pytest.fixture
def alone(tmp_path, monkeypatch) -> Stranger:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    return Stranger(tmp_path, {})


def described(person: Stranger, *keys: str) -> Stranger:
    """At the first thing to look at, on a machine with these answers."""
    person.type("pump 3 dead")
    person.press("1", *keys)
    person.press("y", "8")
    return person


STRAIGHT_480 = ("4", "1", "3", "1", "1", "2")
"""480Y/277, buttons straight to the coil, 120 V from a transformer, overload before the coil, no brake, no switch."""
NOBODY_KNOWS = ("0", "1", "0", "1", "1", "2")
"""The same, supply and control voltage not known."""


def unasked(person: Stranger, reading: str) -> None:
    """A reading nobody asked for counts like any other, so it is held to the same limit."""
    person.type(reading)


def to_the_meter(person: Stranger) -> None:
    for _ in range(12):
        if person.stage.step is not None and person.stage.step.kind == "measure":
            break
        person.press("enter")
    if person.sheet().needs_caution:
        person.press("c")


class TestAReadingAboveAllThatIsDescribed:
    @pytest.fixture
    def told(self, alone) -> Stranger:
        described(alone, *STRAIGHT_480)
        to_the_meter(alone)
        return alone

    def test_it_stops_the_card_and_is_no_evidence(self, told):
        before = told.state.evidence
        told.type("Q1:2 PE:1 347")
        assert "STOP. 347 V at Q1:2 to PE:1" in told.text
        assert told.state.evidence == before
        assert told.kinds[-1] == "note"
        assert told.sheet().entry is None

    def test_the_supplies_that_give_it_are_one_key_and_no_others_are_offered(self, told):
        told.type("Q1:2 PE:1 347")
        assert "1 the supply is 600 V (347 V to earth)" in told.text
        assert "208 V (120" not in told.text

    def test_taking_one_computes_the_cautions_anew_and_asks_them_again(self, told):
        first = told.log.events[-1]
        assert first.kind == "caution"
        told.type("Q1:2 PE:1 347")
        told.press("1")
        assert told.kinds[-1] == "amended"
        assert told.now.machine.circuit.devices["G1"].ratings["volts"] == (600.0, 347.0)
        assert told.now.machine.circuit.devices["T1"].ratings["in"] == 600.0
        assert told.state.answers["supply"] == "600"
        sheet = told.sheet()
        assert sheet.needs_caution
        caution = " ".join(line.text for line in sheet.lines)
        assert "600 V" in caution.replace("CAT III 600 V", "").replace("CAT IV 600 V", "") or "601 V" in caution
        assert "Nothing new" not in caution

    def test_a_slip_of_the_finger_is_one_key_too_and_changes_nothing(self, told):
        left = told.left()
        told.type("Q1:2 PE:1 347")
        told.press("m")
        assert told.sheet().entry is not None
        assert told.left() == pytest.approx(left)

    def test_none_of_these_ends_it_made_safe_and_keeps_why(self, told):
        told.type("Q1:2 PE:1 347")
        told.press("b")
        assert told.stage.name == "ended"
        assert "347 V" in told.text

    def test_more_than_the_meter_can_say_stops_as_well(self, told):
        told.type("Q1:2 PE:1 >500")
        assert "STOP. 500 V at Q1:2 to PE:1" in told.text

    def test_plant_volts_and_a_meter_may_lie_a_tenth_over(self, told):
        told.type("Q1:2 PE:1 304")
        assert told.kinds[-1] == "reading"

    def test_nothing_that_was_read_before_throws_the_true_fault_out(self, told):
        # The reader's turntable: every line read high by the same share. Once the supply is right they fit, and so
        # does the fault.
        fault = "KM1 coil open"
        told.type("Q1:2 PE:1 347")
        told.press("1")
        told.careful_until("repair", fault=fault)
        truth = next(s for s in told.now.machine.suspects if s.id == fault)
        assert told.stage.group == truth.group


def test_what_hands_found_at_the_panel_stays_when_an_answer_is_put_right_later() -> None:
    from troubleshoot.circuit.model import Pin
    from troubleshoot.describe.pattern import compose
    from troubleshoot.machine import Machine, describe
    from troubleshoot.machine.amending import Answered, Goes, amended

    said = {"supply": "480", "buttons": "straight", "volts": "120 transformer", "overload": "before", "brake": "none"}
    machine = describe(compose(said, machine="m"), "m")
    assert isinstance(machine, Machine)
    goes = Goes(Pin("S1", "14"), Pin("X1", "4"))
    changed = amended(machine, [goes, Answered(tuple({**said, "supply": "600"}.items()))])
    assert changed.circuit.devices["T1"].ratings["in"] == 600.0
    assert any({h.a, h.b} == {goes.pin, goes.to} for h in changed.circuit.hops)


class TestASupplyThatNobodyTold:
    @pytest.fixture
    def untold(self, alone) -> Stranger:
        described(alone, *NOBODY_KNOWS)
        to_the_meter(alone)
        return alone

    def test_it_is_nowhere_marked_as_told(self, untold):
        circuit = untold.now.machine.circuit
        assert {circuit.devices[t].known for t in ("G1", "T1", "M1", "KM1")} == {"assumed"}

    def test_its_cautions_count_with_the_highest(self, untold):
        caution = [e for e in untold.log.events if e.kind == "caution"][-1]
        assert any(f"{volts} V AC" in line for line in caution.data["text"] for volts in range(595, 640))

    @pytest.mark.parametrize(("read", "words"), [("120", "208 V (120 V to earth)"), ("277", "480 V (277 V to earth)")])
    def test_the_first_line_reading_asks_which_it_is_instead_of_being_judged_as_low(self, untold, read, words):
        before = untold.state.evidence
        untold.type(f"Q1:2 PE:1 {read}")
        assert "Which is it?" in untold.text
        assert f"the supply is {words}" in untold.text
        assert untold.state.evidence == before

    def test_a_dead_line_is_judged_as_any_other(self, untold):
        untold.type("F1:2 PE:1 0")
        assert untold.kinds[-1] == "reading"

    def test_that_it_is_what_it_was_counted_as_is_one_key_too_and_then_the_reading_counts(self, untold):
        untold.type("Q1:2 PE:1 120")
        row = next(line for line in untold.sheet().lines if "the supply is 600 V (347 V to earth)" in line.text)
        untold.press(row.key)
        assert untold.state.answers["supply"] == "600"
        if untold.sheet().needs_caution:
            untold.press("c")
        untold.type("Q1:2 PE:1 120")
        assert untold.kinds[-1] == "reading"


class TestASwitchAndAFloat:
    """A pump box, 230 V between its lines, controls between two of them: all of it can be answered."""

    @pytest.fixture
    def pump(self, alone) -> Stranger:
        alone.type("lift station pump 1 does not start")
        alone.press("1", "8", "1")
        row = next(line for line in alone.sheet().lines if "between two lines, no transformer" in line.text)
        alone.press(row.key, "0", "1", "4")
        return alone

    def test_the_answers_stay_and_no_caution_is_for_another_supply(self, pump):
        circuit = pump.now.machine.circuit
        assert circuit.devices["G1"].ratings["volts"] == (230.0, 133.0)
        assert circuit.devices["KM1"].ratings["coil"] == (230.0, "ac")
        assert pump.state.answers["volts"] == "lines"

    def test_the_supply_can_be_put_right_in_the_job(self, pump):
        pump.press("y", "8", "v", "0", "1")
        assert len([line for line in pump.sheet().lines if line.key]) == len(SYSTEMS)


@pytest.mark.parametrize("name", ["float-pump", "star-delta-fan"])
def test_controls_on_one_line_and_neutral_hang_between_two_lines_where_those_have_the_same_volts(name):
    from against import ready

    from troubleshoot.circuit.writing import write_circuit
    from troubleshoot.machine import Machine, describe
    from troubleshoot.solve.settle import settle

    circuit = ready.machine(name).circuit
    changed = describe(write_circuit(supplied(circuit, "230")), name)
    assert isinstance(changed, Machine)
    running = circuit.situations["running"].situation
    (was,) = settle(ready.machine(name).net, (), running)
    (now,) = settle(changed.net, (), running)
    motors = [d.tag for d in circuit.devices.values() if d.kind == "motor"]
    assert {m: was.state[m] for m in motors} == {m: now.state[m] for m in motors}


def test_where_no_other_supply_fits_a_ready_circuit_it_says_so_and_what_to_do():
    night = Night("K1 coil open")
    night.type("belt 7 dead")
    lines, _ = panel(night.desk, night.state, "")
    assert any("describe it anew" in text for text, _, _ in lines)


class TestProvingTheTester:
    def test_a_known_live_point_that_shows_too_much_does_not_prove_it(self, alone):
        described(alone, *STRAIGHT_480)
        alone.careful_until("isolate", fault="KM1 coil open")
        for _ in range(12):
            step = next(s for s in alone.stage.isolation.steps if s.id == alone.stage.next)
            if step.readings:
                break
            alone.press("y")
        assert step.id.startswith("prove")
        if alone.sheet().needs_caution:
            alone.press("c")
        alone.type(" ".join(["347"] * len(step.readings)))
        assert "STOP. 347 V" in alone.text
        assert "600 V (347 V to earth)" in alone.text
        assert not any(e.kind == "isolation" and e.data["step"] == step.id for e in alone.log.events)


class TestAnyMachine:
    """A machine from a file or a sister, without answers: the same limit, and the same one key."""

    def test_the_supply_of_a_described_machine_is_changed_by_one_key(self):
        night = Night("K1 coil open")
        night.type("belt 7 dead")
        night.press("y")
        night.press("8")
        while night.sheet().entry is None:
            night.press("enter")
        if night.sheet().needs_caution:
            night.press("c")
        night.type("Q1:2 Q1:4 480")
        assert "STOP. 480 V" in night.text
        assert night.sheet().keys

    @pytest.mark.parametrize("supply", SYSTEMS)
    def test_motors_and_transformers_follow_the_supply_and_control_volts_do_not(self, supply):
        from against import ready

        circuit = ready.machine("three-wire").circuit
        changed = supplied(circuit, supply)
        system = SYSTEMS[supply]
        old = main_supply(circuit)
        assert old is not None
        if (old.ratings["volts"], old.ratings["earthing"]) == (system.phases, system.earthing):
            assert changed is circuit
            return
        assert isinstance(changed, Circuit)
        motors = [d for d in changed.devices.values() if d.kind == "motor"]
        assert {d.ratings["volts"] for d in motors} == {system.line}
        assert changed.devices["T1"].ratings["in"] == system.line
        assert changed.devices["KM1"].ratings["coil"] == circuit.devices["KM1"].ratings["coil"]

    def test_a_machine_that_hangs_on_the_neutral_is_not_turned_into_one_that_cannot(self):
        belt = circuits()["belt-7"]
        assert supplied(belt, "480") is belt
