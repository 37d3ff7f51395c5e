"""The standard's function blocks behave as its tables and timing diagrams say.

Source of every table here: IEC 61131-3, standard function blocks (bistable, edge detection, counters, timers), from
memory.
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from troubleshoot.program.model import Program
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import Memory, next_event_ms, scan, start


def program(text: str) -> Program:
    read = parse_program(text, "test")
    assert isinstance(read, Program), read
    return read


def played(text: str, steps: Iterable[tuple[int, str]], *, first_scan_edges: bool = True) -> list[str]:
    """Outputs %QX0.0, %QX0.1 ... as 0 and 1 after each scan; a step is (milliseconds, inputs as 0 and 1)."""
    ready = program(text)
    memory, seen = start(ready, cold=True, first_scan_edges=first_scan_edges), []
    for now, bits in steps:
        result = scan(ready, memory, {f"%IX0.{i}": bit == "1" for i, bit in enumerate(bits)}, now)
        memory = result.memory
        seen.append("".join(str(int(on)) for on in result.outputs.values()))
    return seen


def each_scan(bits: str) -> list[tuple[int, str]]:
    return [(10 * i, step) for i, step in enumerate(bits.split())]


RISE = "VAR r : R_TRIG; END_VAR r(CLK := %IX0.0, Q => %QX0.0);"
FALL = "VAR f : F_TRIG; END_VAR f(CLK := %IX0.0, Q => %QX0.0);"


def test_a_rising_edge_lasts_one_scan() -> None:
    assert played(RISE, each_scan("0 1 1 0 1")) == ["0", "1", "0", "0", "1"]


def test_a_falling_edge_lasts_one_scan() -> None:
    assert played(FALL, each_scan("1 0 0 1 0")) == ["0", "1", "0", "0", "1"]


def test_an_input_already_on_at_a_cold_start_is_a_rising_edge_by_the_standard() -> None:
    assert played(RISE, each_scan("1 1")) == ["1", "0"]
    assert played(FALL, each_scan("0 0")) == ["1", "0"]


def test_a_controller_without_first_scan_edges_waits_for_the_change() -> None:
    assert played(RISE, each_scan("1 1 0 1"), first_scan_edges=False) == ["0", "0", "0", "1"]
    assert played(FALL, each_scan("0 0 1 0"), first_scan_edges=False) == ["0", "0", "0", "1"]


@pytest.mark.parametrize(
    ("kind", "pins", "both"),
    [("SR", "S1 := %IX0.0, R := %IX0.1", "1"), ("RS", "S := %IX0.0, R1 := %IX0.1", "0")],
)
def test_a_latch_holds_and_its_dominant_side_wins(kind: str, pins: str, both: str) -> None:
    text = f"VAR l : {kind}; END_VAR l({pins}); %QX0.0 := l.Q1;"
    assert played(text, each_scan("00 10 00 01 00 11")) == ["0", "1", "1", "0", "0", both]


@pytest.mark.parametrize("before", "01")
@pytest.mark.parametrize("bits", ["00", "01", "10", "11"])
@pytest.mark.parametrize(("kind", "pins"), [("SR", "S1 := %IX0.0, R := %IX0.1"), ("RS", "S := %IX0.0, R1 := %IX0.1")])
def test_the_whole_table_of_a_latch(kind: str, pins: str, bits: str, before: str) -> None:
    """SR: Q1 := S1 OR (NOT R AND Q1); RS: Q1 := NOT R1 AND (S OR Q1)."""
    put, clear, kept = (bit == "1" for bit in bits + before)
    text = f"VAR l : {kind}; END_VAR l({pins}); %QX0.0 := l.Q1;"
    wanted = put or (kept and not clear) if kind == "SR" else (put or kept) and not clear
    assert played(text, [(0, "10" if kept else "01"), (10, bits)])[-1] == str(int(wanted))


@pytest.mark.parametrize(("kind", "seen"), [("TON", "0110"), ("TOF", "0110"), ("TP", "0000")])
def test_a_timer_of_no_time_at_all_is_a_wire_and_a_pulse_of_no_time_never_comes(kind: str, seen: str) -> None:
    text = f"VAR t : {kind}; END_VAR t(IN := %IX0.0, PT := T#0s, Q => %QX0.0);"
    assert "".join(played(text, each_scan("0 1 1 0"))) == seen


def test_an_off_delay_that_is_running_is_started_over_by_its_input() -> None:
    text = "VAR t : TOF; END_VAR t(IN := %IX0.0, PT := T#1s, Q => %QX0.0);"
    assert "".join(played(text, [(0, "1"), (10, "0"), (900, "1"), (910, "0"), (1800, "0"), (1910, "0")])) == "111110"


def test_a_pulse_ends_in_time_although_its_input_stays_and_comes_again_only_after_it_went() -> None:
    text = "VAR t : TP; END_VAR t(IN := %IX0.0, PT := T#1s, Q => %QX0.0);"
    steps = [(0, "1"), (500, "1"), (1000, "1"), (2500, "1"), (2600, "0"), (2700, "1"), (3699, "0"), (3700, "0")]
    assert "".join(played(text, steps)) == "11000110"


def test_a_counter_that_is_held_in_reset_does_not_count() -> None:
    text = "VAR c : CTU; END_VAR c(CU := %IX0.0, R := %IX0.1, PV := 1, Q => %QX0.0);"
    assert "".join(played(text, each_scan("01 11 01 11 00 10"))) == "000001"


def test_a_down_counter_loads_before_it_counts_and_goes_on_below_nothing() -> None:
    ready = program("VAR c : CTD; n : INT; END_VAR c(CD := %IX0.0, LD := %IX0.1, PV := 1, Q => %QX0.0); n := c.CV;")
    memory, seen = start(ready, cold=True), []
    for bits in ("11", "00", "10", "00", "10"):
        result = scan(ready, memory, {f"%IX0.{i}": bit == "1" for i, bit in enumerate(bits)}, 0)
        memory = result.memory
        seen.append((result.values["n"], result.outputs["%QX0.0"]))
    assert seen == [(1, False), (1, False), (0, True), (0, True), (-1, True)]


@pytest.mark.parametrize(("edges", "count"), [(True, 1), (False, 0)])
def test_a_counter_counts_an_input_already_on_at_start_as_edges_have_it(edges: bool, count: int) -> None:
    ready = program("VAR c : CTU; n : INT; END_VAR c(CU := %IX0.0, R := FALSE, PV := 5); n := c.CV;")
    memory = start(ready, cold=True, first_scan_edges=edges)
    assert scan(ready, memory, {"%IX0.0": True}, 0).values["n"] == count


ON_DELAY = "VAR t : TON; END_VAR t(IN := %IX0.0, PT := T#1s, Q => %QX0.0);"


def test_an_on_delay_comes_after_its_time_and_goes_at_once() -> None:
    steps = [(0, "1"), (999, "1"), (1000, "1"), (5000, "1"), (5001, "0"), (5002, "1"), (6001, "1"), (6002, "1")]
    assert played(ON_DELAY, steps) == ["0", "0", "1", "1", "0", "0", "0", "1"]


def test_an_on_delay_starts_over_when_its_input_drops_before_the_time() -> None:
    assert played(ON_DELAY, [(0, "1"), (900, "0"), (950, "1"), (1900, "1"), (1950, "1")]) == list("00001")


def test_an_off_delay_comes_at_once_and_goes_after_its_time() -> None:
    text = "VAR t : TOF; END_VAR t(IN := %IX0.0, PT := T#1s, Q => %QX0.0);"
    steps = [(0, "0"), (10, "1"), (20, "0"), (900, "1"), (950, "0"), (1949, "0"), (1950, "0")]
    assert played(text, steps) == ["0", "1", "1", "1", "1", "1", "0"]


def test_a_pulse_lasts_its_time_whatever_the_input_does_and_is_not_started_again_meanwhile() -> None:
    text = "VAR t : TP; END_VAR t(IN := %IX0.0, PT := T#1s, Q => %QX0.0);"
    steps = [(0, "1"), (100, "0"), (200, "1"), (999, "1"), (1000, "1"), (3000, "1"), (3001, "0"), (3002, "1")]
    assert played(text, steps) == ["1", "1", "1", "1", "0", "0", "0", "1"]


@pytest.mark.parametrize("kind", ["TON", "TOF", "TP"])
def test_elapsed_time_runs_to_the_preset_and_no_further(kind: str) -> None:
    ready = program(f"VAR t : {kind}; e : TIME; END_VAR t(IN := %IX0.0, PT := T#1s); e := t.ET;")
    memory, seen = start(ready, cold=True), []
    for now, on in [
        (0, kind == "TOF"),
        (100, kind != "TOF"),
        (600, kind != "TOF"),
        (1100, kind != "TOF"),
        (9000, kind != "TOF"),
    ]:
        result = scan(ready, memory, {"%IX0.0": on}, now)
        memory = result.memory
        seen.append(result.values["e"])
    assert seen == [0, 0, 500, 1000, 1000]


def test_a_counter_counts_edges_up_and_its_reset_goes_before() -> None:
    text = "VAR c : CTU; END_VAR c(CU := %IX0.0, R := %IX0.1, PV := 2, Q => %QX0.0);"
    assert played(text, each_scan("00 10 10 00 10 00 11 01 00 10")) == list("0000110000")


def test_a_counter_counts_down_from_its_load_value() -> None:
    text = "VAR c : CTD; END_VAR c(CD := %IX0.0, LD := %IX0.1, PV := 2, Q => %QX0.0);"
    assert played(text, each_scan("01 00 10 00 10 00 01")) == list("0000110")


@pytest.mark.parametrize(("kind", "end", "pin"), [("CTU", 32767, "CU"), ("CTD", -32768, "CD")])
def test_a_counter_stops_at_the_end_of_its_range(kind: str, end: int, pin: str) -> None:
    ready = program(f"VAR c : {kind}; n : INT; END_VAR c({pin} := %IX0.0, PV := 5); n := c.CV;")
    memory = start(ready, cold=True)
    for now in range(2 * 32768 + 10):
        result = scan(ready, memory, {"%IX0.0": now % 2 == 1}, now)
        memory = result.memory
    assert result.values["n"] == end


def test_the_next_event_is_when_the_running_timer_is_due() -> None:
    ready = program(ON_DELAY)
    idle = scan(ready, start(ready, cold=True), {}, 50).memory
    assert next_event_ms(ready, idle, 50) is None
    running = scan(ready, idle, {"%IX0.0": True}, 100).memory
    assert next_event_ms(ready, running, 100) == 1100
    done = scan(ready, running, {"%IX0.0": True}, 1100).memory
    assert next_event_ms(ready, done, 1100) is None


def test_a_timer_that_the_program_steps_over_is_not_waited_for_again_and_again() -> None:
    ready = program("VAR t : TON; END_VAR IF %IX0.1 THEN t(IN := %IX0.0, PT := T#1s); END_IF; %QX0.0 := t.Q;")
    running = scan(ready, start(ready, cold=True), {"%IX0.0": True, "%IX0.1": True}, 0).memory
    stepped_over = scan(ready, running, {"%IX0.0": True}, 1000).memory
    assert next_event_ms(ready, stepped_over, 1000) is None


def test_memory_holds_nothing_of_the_clock_while_no_timer_runs() -> None:
    ready = program(ON_DELAY)

    def settled(begin: int, on: bool) -> Memory:
        memory = scan(ready, start(ready, cold=True), {"%IX0.0": on}, begin).memory
        return scan(ready, memory, {"%IX0.0": on}, begin + 2000).memory

    assert settled(0, False) == settled(777_000, False)
    assert settled(0, True) == settled(777_000, True)
    assert hash(settled(0, True)) == hash(settled(777_000, True))
    assert settled(0, True) != settled(0, False)


def test_a_clock_set_back_does_not_end_a_delay() -> None:
    assert played(ON_DELAY, [(5000, "1"), (1000, "1"), (6000, "1")]) == ["0", "0", "1"]
