"""Every error of a program is named once, where it stands, with what was probably meant."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from troubleshoot.program.model import Program
from troubleshoot.program.reading import parse_program

HEAD = "VAR start AT %IX0.0 : BOOL; lamp AT %QX0.0 : BOOL; b : BOOL; n : INT; d : TIME; t : TON; c : CTU; END_VAR\n"


def problems(text: str) -> list[str]:
    read = parse_program(text, "belt.st", first_line=10)
    assert isinstance(read, tuple), "was taken"
    return [str(problem) for problem in read]


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("lamp := strat;", "11:9: strat is not declared (nearest: start)"),
        ("lmap := b;", "11:1: lmap is not declared (nearest: lamp)"),
        ("start := b;", "11:1: start (%IX0.0) is an input; a program can only read it"),
        ("%IX0.7 := b;", "11:1: %IX0.7 is an input; a program can only read it"),
        ("lamp := n;", "11:9: lamp is BOOL, what it is given is INT"),
        ("n := T#5s;", "11:6: n is INT, what it is given is TIME"),
        ("lamp := start AND n;", "11:19: AND joins BOOL, this is INT"),
        ("lamp := NOT n;", "11:9: NOT takes BOOL, this is INT"),
        ("lamp := n > d;", "11:13: > compares INT with TIME"),
        ("d := d * d;", "11:10: * does not go with TIME and TIME"),
        ("IF n THEN b := TRUE; END_IF", "11:4: a condition is BOOL, this is INT"),
        ("lamp := t;", "11:9: t is a TON; its value is t.Q or t.ET"),
        ("lamp := t.QQ;", "11:9: a TON has no QQ (nearest: Q)"),
        ("t(INN := b);", "11:10: a TON has no input INN (nearest: IN)"),
        ("t(IN := n);", "11:9: t.IN is BOOL, what it is given is INT"),
        ("t(IN := b, Q => start);", "11:17: start (%IX0.0) is an input; a program can only read it"),
        ("t.Q := b;", "11:1: t.Q is an output of the TON; it cannot be assigned"),
        ("b(IN := b);", "11:1: b is BOOL, not a function block; it cannot be called"),
        ("tt(IN := b);", "11:1: tt is not declared (nearest: t)"),
        ("n := 40000;", "11:6: 40000 does not fit an INT (-32768 to 32767)"),
        ("n := 32768;", "11:6: 32768 does not fit an INT"),
        ("d := T#5x;", "11:6: 'T#5x' is not a time; write T#5s, T#500ms or T#1m30s"),
        ("lamp := start ADN b;", "11:15: 'ADN' cannot stand here; an operator, '.' or ';' is expected (nearest: AND)"),
        ("lamp = start;", "11:6: '=' compares; to assign write ':='"),
        ("lamp := start @ b;", "11:15: '@' has no meaning in Structured Text"),
        ("n := 1.5;", "11:6: 1.5 is a REAL; only BOOL, INT and TIME are read here"),
        ("n := n ** 2;", "11:8: ** is not in the part of Structured Text that is read here"),
        ("WHILE b DO n := n + 1; END_WHILE;", "11:1: WHILE is not in the part of Structured Text that is read here"),
        ("IF b TEHN n := 1; END_IF;", "11:6: 'TEHN' cannot stand here; an operator, '.' or THEN is expected (nearest: THEN)"),
        ("IF b THEN n := 1;", "11:17: the program ends too early; END_IF is missing"),
        ("lamp := b\nn := 1;", "11:10: ';' is missing here"),
        ("(* never closed", "11:1: this comment is never closed with *)"),
        ("lamp := %QW1;", "11:9: %QW1 is not the address of a bit, like %IX0.0, %QX0.0 or %MX0.0"),
        ("VAR e : BOL; END_VAR", "11:5: e: BOL is not a type known here (nearest: BOOL)"),
        ("VAR B : BOOL; END_VAR", "11:5: B is declared twice, first on line 10"),
        ("VAR i AT %IX0.5 : INT; END_VAR", "11:5: i: %IX0.5 is one bit, so its type is BOOL, not INT"),
        ("VAR i AT %IX0.5 : BOOL := TRUE; END_VAR",
         "11:5: i: an input is read from %IX0.5; it has no initial value, RETAIN or CONSTANT"),
        ("VAR CONSTANT k : INT := 5; END_VAR k := 6;", "11:36: k is a CONSTANT; it cannot be assigned"),
        ("VAR k : INT := TRUE; END_VAR", "11:5: k is INT, its initial value is BOOL"),
    ],
)  # fmt: skip
def test_one_slip_is_one_message_at_its_place(statement: str, says: str) -> None:
    assert problems(HEAD + statement) == [f"belt.st:{says}"]


def test_all_errors_are_reported_at_once_in_file_order() -> None:
    found = problems(
        HEAD + "lamp := strat;\nn = 5;\nlamp := n;\nFOR i := 1 TO 5 DO x := 1; END_FOR;\nd := T#9y;\nb := 1;\n"
    )
    assert [line.split(":")[1] for line in found] == ["11", "12", "13", "14", "15"]


def test_no_more_than_fifty_errors_are_reported() -> None:
    assert len(problems("x := (;\n" * 500)) == 50
    assert len(problems("".join(f"%QX0.0 := x{i};\n" for i in range(500)))) == 50


@pytest.mark.parametrize(
    "text",
    [
        "", ";", "PROGRAM p END_PROGRAM", "program P\nvar b : bool; end_var\nb := true;\nend_program;",
        "%QX0.0 := %IX0.0 & NOT %IX0.1;", "// only a comment", "(* a (* nested *) comment *) %QX0.0 := TRUE;",
        "\ufeff%QX0.0 := BOOL#1;\r\n%QX0.1 := %IX0.0;", HEAD + "b := 1; b := b = 0;", HEAD + "c(CU := b, PV := INT#3);",
        HEAD + "t.IN := b; t(); d := t.ET + T#1s; n := -n;", HEAD + "IF b THEN ; ELSIF lamp THEN n := 1; ELSE END_IF;",
    ],
)  # fmt: skip
def test_what_the_standard_allows_is_taken(text: str) -> None:
    assert isinstance(parse_program(text, "test"), Program)


def test_or_binds_loosest_then_xor_then_and_then_comparison() -> None:
    one = parse_program("VAR a, b, c, d : BOOL; n : INT; END_VAR a := b OR c XOR d AND n > 2 + 3 * 4;", "test")
    two = parse_program(
        "VAR a, b, c, d : BOOL; n : INT; END_VAR a := b OR (c XOR (d AND (n > (2 + (3 * 4)))));", "test"
    )
    assert isinstance(one, Program)
    assert one == two


@pytest.mark.parametrize("end", [";", ""])
@pytest.mark.parametrize(
    "expression",
    ["(" * 5000 + "%IX0.0" + ")" * 5000, " OR ".join(["%IX0.0"] * 5000), "NOT " * 5000 + "%IX0.0",
     "(%IX0.0 OR " * 5000 + "%IX0.0" + ")" * 5000, "(" * 5000],
    ids=["brackets", "terms", "NOTs", "nested ORs", "open brackets"],
)  # fmt: skip
def test_hostile_lengths_are_read_or_refused_without_recursion(expression: str, end: str) -> None:
    # How long it takes, and that it is linear, is measured in tests/bench/test_program_bench.py.
    read = parse_program(f"%QX0.0 := {expression}{end}", "test")
    taken = end == ";" and (
        (expression.endswith(")))") and " OR " not in expression) or expression.startswith("%IX0.0 OR")
    )
    assert isinstance(read, Program) is taken


def test_ifs_are_nested_sixty_deep_and_no_deeper() -> None:
    def nested(depth: int) -> str:
        return "IF %IX0.0 THEN " * depth + "%QX0.0 := TRUE;" + " END_IF;" * depth

    assert isinstance(parse_program(nested(60), "test"), Program)
    assert "IF inside IF" in problems(nested(61))[0]


def test_every_prefix_of_a_program_is_read_or_refused() -> None:
    text = "PROGRAM p VAR a AT %IX0.0 : BOOL; t : TON; END_VAR t(IN := a, PT := T#5s); IF t.Q THEN %QX0.0 := a; END_IF END_PROGRAM"
    taken = [end for end in range(len(text) + 1) if isinstance(parse_program(text[:end], "test"), Program)]
    assert taken == [0, len(text)]


def test_the_parser_is_not_loaded_before_a_program_is_read(fresh_python: Callable[[str], str]) -> None:
    assert "lark" not in fresh_python("import troubleshoot.program.reading, sys; print(*sys.modules)").split()
