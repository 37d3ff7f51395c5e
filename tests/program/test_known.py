"""What the lights settle about a program is so, whatever the controller remembers; the rest is left open."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from program.xml_ladders import INPUTS, Drawn, ladders, networks, tc6_file

from troubleshoot.program.known import known_by_lights
from troubleshoot.program.lights import read_against
from troubleshoot.program.model import Program
from troubleshoot.program.plcopen import read_ladder
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import scan, start

HEAD = """VAR a AT %IX0.0 : BOOL; b AT %IX0.1 : BOOL; q AT %QX0.0 : BOOL; bit : BOOL; t : TON; o : TOF; p : TP; c : CTU; l : SR;
END_VAR """


def program(body: str) -> Program:
    read = parse_program(HEAD + body, "t")
    assert isinstance(read, Program), read
    return read


@pytest.mark.parametrize(
    ("body", "on", "expected"),
    [
        # On-delay, off-delay and pulse (IEC 61131-3, standard timers, from memory).
        ("t(IN := a, PT := T#5s); q := t.Q;", (), False),
        ("t(IN := a, PT := T#5s); q := t.Q;", ("%IX0.0",), None),
        ("o(IN := a, PT := T#5s); q := o.Q;", ("%IX0.0",), True),
        ("o(IN := a, PT := T#5s); q := o.Q;", (), None),
        ("p(IN := a, PT := T#5s); q := p.Q;", ("%IX0.0",), None),
        ("c(CU := a, R := b, PV := 3); q := c.Q;", ("%IX0.0",), None),
        ("c(CU := a, R := b, PV := 3); q := c.Q;", ("%IX0.1",), False),
        ("l(S1 := a, R := b); q := l.Q1;", ("%IX0.0", "%IX0.1"), True),
        ("l(S1 := a, R := b); q := l.Q1;", ("%IX0.1",), False),
        ("l(S1 := a, R := b); q := l.Q1;", (), None),
        # A latch of the program's own: the stop decides, without it nobody knows.
        ("IF a THEN bit := TRUE; END_IF; IF b THEN bit := FALSE; END_IF; q := bit;", ("%IX0.1",), False),
        ("IF a THEN bit := TRUE; END_IF; IF b THEN bit := FALSE; END_IF; q := bit;", (), None),
        ("bit := (a OR bit) AND NOT b; q := bit;", (), None),
        ("bit := (a OR bit) AND NOT b; q := bit;", ("%IX0.0",), True),
        ("q := bit;", (), False),
    ],
)
def test_what_only_the_past_knows_is_left_open(body: str, on: tuple[str, ...], expected: bool | None) -> None:
    lights = {point: point in on for point in ("%IX0.0", "%IX0.1", "%QX0.0")}
    (one,) = read_against(program(body), lights)
    assert one.expected is expected
    assert one.agrees or expected is True


def test_a_latch_that_runs_is_never_called_wrong() -> None:
    """Start is released long since; the seal is in a bit that has no light."""
    (one,) = read_against(
        program("bit := (a OR bit) AND NOT b; q := bit;"), {"%IX0.0": False, "%IX0.1": False, "%QX0.0": True}
    )
    assert one.agrees
    assert one.words == "q is on; a latch, a count or a timer without a light decides it"


def test_a_bit_of_the_program_leads_on_to_the_input_behind_it() -> None:
    read = program("bit := NOT b AND a; q := bit AND a;")
    (one,) = read_against(read, {"%IX0.0": True, "%IX0.1": True, "%QX0.0": False})
    assert one.held_off == ("bit is off",)
    assert [inner.words for inner in one.held[0].by] == ["b (%IX0.1) is on, and its contact |/| opens"]
    assert one.held[0].by[0].line == 2


def test_an_edge_block_called_twice_in_a_scan_sees_an_edge_every_time() -> None:
    text = "VAR a AT %IX0.0 : BOOL; q AT %QX0.0 : BOOL; e : R_TRIG; END_VAR e(CLK := NOT a); e(CLK := a); q := e.Q;"
    read = parse_program(text, "t")
    assert isinstance(read, Program)
    memory = start(read, cold=True)
    for _ in range(3):
        result = scan(read, memory, {"%IX0.0": True}, 0)
        memory = result.memory
    assert result.outputs == {"%QX0.0": True}
    assert read_against(read, {"%IX0.0": True, "%QX0.0": True})[0].agrees


@settings(max_examples=200, deadline=None)
@given(ladders(), st.lists(st.fixed_dictionaries({name: st.booleans() for name in INPUTS}), min_size=1, max_size=6))
def test_whatever_the_lights_settle_is_so_in_a_controller_that_runs_it(
    ladder: list[Drawn], steps: list[dict[str, bool]]
) -> None:
    read = read_ladder(tc6_file(ladder, networks(ladder)), "l.xml")
    assert isinstance(read, Program)
    memory = start(read, cold=True)
    for inputs in steps:
        before = memory
        for _ in range(6):
            before, result = memory, scan(read, memory, inputs, 0)
            memory = result.memory
    assume(memory == before)  # its lights are steady
    lights = {**inputs, **result.outputs}
    known = known_by_lights(read, lights)
    wrong = {
        n: (v, result.values[n])
        for n, v in known.items()
        if v is not None and n in result.values and result.values[n] != v
    }
    assert wrong == {}
    assert all(one.agrees for one in read_against(read, lights))
