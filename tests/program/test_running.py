"""A scan: inputs latched, statements from top to bottom, outputs at the end; start-up; the watchdog."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.program.model import Program
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import build, retained, scan, start

SEAL_IN = """
PROGRAM belt
  VAR
    start AT %IX0.0 : BOOL;
    stop_ok AT %IX0.1 : BOOL;   (* closed while the stop button is free *)
    motor AT %QX0.0 : BOOL;
  END_VAR
  motor := stop_ok AND (start OR motor);   // three-wire control
END_PROGRAM
"""


def program(text: str) -> Program:
    read = parse_program(text, "test")
    assert isinstance(read, Program), read
    return read


def test_three_wire_control_starts_holds_and_stops() -> None:
    ready = program(SEAL_IN)
    memory = start(ready, cold=True)
    seen = []
    for pressed, stop_free in [(False, True), (True, True), (False, True), (False, False), (False, True)]:
        result = scan(ready, memory, {"%IX0.0": pressed, "%IX0.1": stop_free}, 0)
        memory = result.memory
        seen.append(result.outputs["%QX0.0"])
    assert seen == [False, True, True, False, False]


def test_after_power_comes_back_a_seal_in_needs_start_again() -> None:
    ready = program(SEAL_IN)
    running = scan(ready, start(ready, cold=True), {"%IX0.0": True, "%IX0.1": True}, 0).memory
    for cold in (True, False):
        after = start(ready, cold=cold, retained=retained(ready, running))
        assert scan(ready, after, {"%IX0.1": True}, 0).outputs["%QX0.0"] is False


def test_a_retained_latch_restarts_the_machine_when_power_comes_back() -> None:
    """A program fault to look for (common practice, no published source)."""
    text = "VAR RETAIN m : BOOL; END_VAR m := %IX0.1 AND (%IX0.0 OR m); %QX0.0 := m;"
    ready = program(text)
    running = scan(ready, start(ready, cold=True), {"%IX0.0": True, "%IX0.1": True}, 0).memory
    warm = start(ready, cold=False, retained=retained(ready, running))
    assert scan(ready, warm, {"%IX0.1": True}, 0).outputs["%QX0.0"] is True
    assert scan(ready, start(ready, cold=True), {"%IX0.1": True}, 0).outputs["%QX0.0"] is False


def test_a_retained_counter_keeps_its_count_and_a_retained_timer_that_ran_starts_over() -> None:
    text = "VAR RETAIN c : CTU; t : TON; END_VAR c(CU := %IX0.0, PV := 9); t(IN := %IX0.0, PT := T#1s);"
    ready = program(text + " %QX0.0 := c.CV = 1; %QX0.1 := t.Q;")
    running = scan(ready, start(ready, cold=True), {"%IX0.0": True}, 0).memory
    warm = start(ready, cold=False, retained=retained(ready, running))
    assert scan(ready, warm, {"%IX0.0": True}, 1000).outputs == {"%QX0.0": True, "%QX0.1": False}


def test_a_variable_written_twice_keeps_the_last_value() -> None:
    ready = program("%QX0.0 := TRUE; %QX0.0 := %IX0.0;")
    assert scan(ready, start(ready, cold=True), {}, 0).outputs == {"%QX0.0": False}


def test_who_reads_above_the_first_writing_sees_the_scan_before() -> None:
    ready = program("%QX0.0 := %MX0.0; %MX0.0 := %IX0.0;")
    first = scan(ready, start(ready, cold=True), {"%IX0.0": True}, 0)
    assert first.outputs == {"%QX0.0": False}
    assert scan(ready, first.memory, {"%IX0.0": True}, 0).outputs == {"%QX0.0": True}


def test_a_point_may_be_called_by_its_name_and_by_its_address() -> None:
    ready = program("VAR lamp AT %Q0.0 : BOOL; END_VAR %QX0.0 := %I0.0; %QX0.1 := lamp;")
    assert scan(ready, start(ready, cold=True), {"%IX0.0": True}, 0).outputs == {"%QX0.0": True, "%QX0.1": True}


def test_the_input_image_is_not_remembered() -> None:
    ready = program("%QX0.0 := %IX0.0 AND FALSE;")
    begin = start(ready, cold=True)
    assert scan(ready, begin, {"%IX0.0": True}, 0).memory == scan(ready, begin, {}, 0).memory


def test_values_are_shown_by_declared_name_by_pin_and_by_bare_address() -> None:
    ready = program(
        "VAR Start AT %IX0.0 : BOOL; t : TON; n : INT := 7; END_VAR t(IN := START, PT := t#2s); %MX0.0 := t.q;"
    )
    values = scan(ready, start(ready, cold=True), {"%IX0.0": True}, 0).values
    assert values == {"Start": True, "n": 7, "t.IN": True, "t.PT": 2000, "t.Q": False, "%MX0.0": False}


def test_a_scan_that_takes_too_long_trips_the_watchdog_and_all_outputs_go_off() -> None:
    ready = program("%QX0.0 := TRUE; %QX0.1 := %IX0.0 OR %IX0.1;")
    on = scan(ready, start(ready, cold=True), {"%IX0.0": True}, 0)
    assert on.outputs == {"%QX0.0": True, "%QX0.1": True}
    tripped = scan(ready, on.memory, {"%IX0.0": True}, 0, budget=3)
    assert tripped.overrun
    assert "watchdog" in tripped.fault
    assert tripped.outputs == {"%QX0.0": False, "%QX0.1": False}


def test_the_inside_of_an_if_costs_nothing_while_it_is_not_run() -> None:
    ready = program("IF %IX0.0 THEN " + "%QX0.0 := %IX0.1;" * 50 + " END_IF;")
    begin = start(ready, cold=True)
    assert not scan(ready, begin, {}, 0, budget=10).overrun
    assert scan(ready, begin, {"%IX0.0": True}, 0, budget=10).overrun


def test_division_by_zero_stops_the_controller_with_all_outputs_off() -> None:
    ready = program("VAR n, z : INT; END_VAR\n%QX0.0 := TRUE;\nn := 5 / z;")
    result = scan(ready, start(ready, cold=True), {}, 0)
    assert result.fault == "division by zero on line 3"
    assert not result.overrun
    assert result.outputs == {"%QX0.0": False}


@pytest.mark.parametrize(
    ("expression", "value"),
    [
        ("7 / 2", 3), ("-7 / 2", -3), ("7 MOD 3", 1), ("-7 MOD 3", -1), ("2 + 3 * 4", 14), ("(2 + 3) * 4", 20),
        ("10 - 3 - 2", 5), ("32767 + 1", -32768), ("16#FF", 255), ("2#1010", 10), ("1_000", 1000), ("-(-5)", 5),
    ],
)  # fmt: skip
def test_int_arithmetic(expression: str, value: int) -> None:
    ready = program(f"VAR n : INT; END_VAR n := {expression};")
    assert scan(ready, start(ready, cold=True), {}, 0).values["n"] == value


@pytest.mark.parametrize(
    ("literal", "ms"),
    [
        ("T#5s", 5000),
        ("t#500ms", 500),
        ("TIME#1m30s", 90_000),
        ("T#1h_2m", 3_720_000),
        ("T#1.5s", 1500),
        ("T#-2s", -2000),
    ],
)
def test_time_literals(literal: str, ms: int) -> None:
    ready = program(f"VAR d : TIME; END_VAR d := {literal};")
    assert scan(ready, start(ready, cold=True), {}, 0).values["d"] == ms


def test_if_takes_the_first_arm_that_is_true() -> None:
    ready = program(
        "IF %IX0.0 THEN %QX0.0 := TRUE; %QX0.1 := FALSE; ELSIF %IX0.1 THEN %QX0.1 := TRUE; ELSE %QX0.0 := FALSE; END_IF"
    )
    memory, seen = start(ready, cold=True), []
    for bits in ("11", "01", "00", "10"):
        result = scan(ready, memory, {"%IX0.0": bits[0] == "1", "%IX0.1": bits[1] == "1"}, 0)
        memory = result.memory
        seen.append("".join(str(int(on)) for on in result.outputs.values()))
    assert seen == ["10", "11", "01", "10"]


def test_a_program_with_a_branch_left_out_is_built_from_the_same_statements() -> None:
    whole = program("%QX0.0 := %IX0.0; %QX0.1 := %IX0.0;")
    without = build(whole.name, whole.variables, whole.statements[:1])
    assert scan(without, start(without, cold=True), {"%IX0.0": True}, 0).outputs == {"%QX0.0": True}
    assert whole != without


@given(st.lists(st.tuples(st.booleans(), st.booleans(), st.integers(0, 3000)), max_size=30))
def test_a_scan_is_a_function_of_its_arguments(steps: list[tuple[bool, bool, int]]) -> None:
    ready = program(
        "VAR t : TON; p : TP; c : CTU; END_VAR t(IN := %IX0.0, PT := T#1s); p(IN := %IX0.1, PT := T#700ms);"
        "c(CU := p.Q, R := t.Q, PV := 2); %QX0.0 := t.Q XOR c.Q;"
    )
    now, memory = 0, start(ready, cold=True)
    for first, second, wait in steps:
        now += wait
        inputs = {"%IX0.0": first, "%IX0.1": second}
        once, again = scan(ready, memory, inputs, now), scan(ready, memory, inputs, now)
        assert once == again
        assert hash(once.memory) == hash(again.memory)
        memory = once.memory
