"""A rung is drawn with the standard's textual symbols, and what holds it off is said in words.

Symbols: IEC 61131-3, textual ladder elements (from memory).
"""

from __future__ import annotations

from troubleshoot.program.ladder import draw
from troubleshoot.program.model import Program
from troubleshoot.program.network import why_off
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import scan, start

BELT = """VAR
  estop_ok AT %IX0.0 : BOOL; start AT %IX0.1 : BOOL; stop_ok AT %IX0.2 : BOOL; motor AT %QX0.0 : BOOL;
  idle AT %QX0.1 : BOOL; t : TON; n : INT;
END_VAR
motor := estop_ok AND stop_ok AND (start OR motor);
idle := NOT motor;
t(IN := start, PT := T#5s);
%QX0.2 := t.Q AND n > 3;
IF start THEN %QX0.3 := TRUE; ELSIF NOT stop_ok THEN %QX0.3 := FALSE; END_IF;
"""


def program(text: str = BELT) -> Program:
    read = parse_program(text, "test")
    assert isinstance(read, Program), read
    return read


def values_with(ready: Program, *on: str) -> dict[str, bool | int]:
    return dict(scan(ready, start(ready, cold=True), dict.fromkeys(on, True), 0).values)


def test_a_seal_in_is_drawn_as_two_branches() -> None:
    assert draw(program(), "motor", width=80) == (
        "| estop_ok  stop_ok   start   motor |",
        "|---| |-------| |---+--| |--+--( )--|",
        "|                   | motor |       |",
        "|                   +--| |--+       |",
    )


def test_power_is_drawn_up_to_the_contact_that_stops_it() -> None:
    ready = program()
    assert draw(ready, "motor", width=80, values=values_with(ready, "%IX0.0", "%IX0.1")) == (
        "| estop_ok  stop_ok   start    motor |",
        "|===| |=======| |---+--| |---+--( )--|",
        "|  closed     open  | closed |  off  |",
        "|                   | motor  |       |",
        "|                   +--| |---+       |",
        "|                      open          |",
    )


def test_a_normally_closed_contact_has_its_stroke() -> None:
    assert draw(program(), "idle", width=80)[1] == "|--|/|---( )--|"


def test_a_comparison_is_written_out() -> None:
    assert "[n > 3]" in draw(program(), "%QX0.2", width=80)[1]


def test_what_is_too_wide_is_cut_into_numbered_networks() -> None:
    ready = program("%QX0.0 := " + " AND ".join(f"%IX0.{i}" for i in range(12)) + ";")
    lines = draw(ready, "%QX0.0", width=60)
    assert max(map(len, lines)) <= 60
    assert sum("( )" in line for line in lines) == 3
    assert sum(line.count("%IX0.") for line in lines) == 12


def test_five_thousand_branches_are_drawn_without_recursion() -> None:
    ready = program("%QX0.0 := " + " OR ".join(["%IX0.0"] * 5000) + ";")
    assert len(draw(ready, "%QX0.0", width=80)) >= 10_000


def test_nothing_is_drawn_for_what_no_statement_drives() -> None:
    assert draw(program(), "start", width=80) == ()
    assert draw(program(), "nosuch", width=80) == ()


def test_with_the_emergency_stop_out_that_one_contact_holds_the_motor_off() -> None:
    ready = program()
    assert why_off(ready, values_with(ready, "%IX0.1", "%IX0.2"), "motor") == ("estop_ok (%IX0.0) is off",)


def test_with_the_chain_healthy_it_is_the_start_and_the_seal() -> None:
    ready = program()
    assert why_off(ready, values_with(ready, "%IX0.0", "%IX0.2"), "%QX0.0") == (
        "start (%IX0.1) is off",
        "motor (%QX0.0) is off, so it does not hold itself in",
    )


def test_what_is_on_needs_no_reason_and_a_closed_normally_closed_contact_is_not_blamed() -> None:
    ready = program()
    running = values_with(ready, "%IX0.0", "%IX0.1", "%IX0.2")
    assert why_off(ready, running, "motor") == ()
    assert why_off(ready, running, "idle") == ("motor (%QX0.0) is on, and its contact |/| opens",)


def test_a_timer_that_runs_is_said_to_be_timing() -> None:
    ready = program()
    assert why_off(ready, {**values_with(ready, "%IX0.1"), "n": 9}, "%QX0.2") == (
        "t.Q is off: the on-delay timer is timing, 5 s",
    )


def test_a_latch_made_with_if_is_a_network_too() -> None:
    ready = program()
    assert why_off(ready, values_with(ready, "%IX0.2"), "%QX0.3") == (
        "start (%IX0.1) is off",
        "%QX0.3 is off, so it does not hold itself in",
    )


def test_an_output_that_nothing_drives_is_said_to_be_so() -> None:
    ready = program("VAR lamp AT %QX0.0 : BOOL; END_VAR %QX0.1 := TRUE;")
    values = dict(scan(ready, start(ready, cold=True), {}, 0).values)
    assert why_off(ready, values, "lamp") == ("nothing in the program drives lamp",)
