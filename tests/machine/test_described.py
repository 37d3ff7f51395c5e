"""A machine is its circuit file and the program that the file carries or names; every error has its place."""

from __future__ import annotations

from pathlib import Path

import pytest

import troubleshoot
from troubleshoot.machine import CannotRead, Machine, describe

BELT = (Path(troubleshoot.__file__).parent / "machines" / "belt-7.yaml").read_text(encoding="utf-8")
LADDER = (Path(__file__).parent.parent / "program" / "ladders" / "belt.xml").read_bytes()
BEGIN = BELT.index("program:")
END = BELT.index("\nroles:")


def with_program(lines: str) -> str:
    return BELT[:BEGIN] + lines + BELT[END:]


def told(source: str, files: dict[str, bytes] | None = None) -> list[str]:
    found = describe(
        source, "plant/belt/circuit.yaml", lambda name: (files or {}).get(name, CannotRead("is not there"))
    )
    assert isinstance(found, tuple)
    return [str(problem) for problem in found]


def described(source: str, files: dict[str, bytes] | None = None) -> Machine:
    found = describe(source, "plant/belt/circuit.yaml", lambda name: (files or {})[name])
    assert isinstance(found, Machine), found
    return found


def test_the_same_program_as_text_as_a_carried_ladder_and_as_a_file_is_one() -> None:
    carried = "".join("    " + line for line in LADDER.decode().splitlines(keepends=True))
    whole = described(BELT).program
    assert whole is not None
    assert described(with_program("program:\n  lang: LD\n  text: |\n" + carried)).program == whole
    assert (
        described(with_program("program: {lang: LD, file: prog/belt.xml}"), {"prog/belt.xml": LADDER}).program == whole
    )


def test_a_text_file_beside_is_read_as_structured_text() -> None:
    source = with_program("program: {lang: ST, file: belt.st}")
    assert described(source, {"belt.st": b"%QX0.0 := %IX0.0;"}).program is not None
    assert told(source, {"belt.st": b"%QX0.0 := %IX0.0;\n%QX0.0 := strat;"}) == [
        "plant/belt/belt.st:2:11: strat is not declared"
    ]
    assert told(source, {"belt.st": "(* Band 7, D\u00fcse *)\n%QX0.0 := 1;".encode("latin-1")}) == [
        "plant/belt/belt.st:1:13: byte 0xfc is not UTF-8"
    ]


def test_another_program_is_another_machine_to_a_log() -> None:
    source = with_program("program: {lang: ST, file: belt.st}")
    one, two = (described(source, {"belt.st": text}) for text in (b"%QX0.0 := %IX0.0;", b"%QX0.0 := %IX0.1;"))
    assert one.content != two.content
    assert described(BELT).content == described(BELT.replace("nothing", "nothing")).content


def test_a_file_that_is_not_there_is_told() -> None:
    assert told(with_program("program: {lang: LD, file: belt.xml}")) == ["plant/belt/belt.xml:1:1: is not there"]
    found = describe(with_program("program: {lang: LD, file: belt.xml}"), "circuit.yaml")
    assert isinstance(found, tuple)


def test_errors_of_a_ladder_have_the_place_in_its_file() -> None:
    text = LADDER.decode().replace("<variable>estop_ok<", "<variable>estop_of<").encode()
    assert told(with_program("program: {lang: LD, file: belt.xml}"), {"belt.xml": text}) == [
        "plant/belt/belt.xml:29:15: estop_of is not declared (nearest: estop_ok)"
    ]


def test_errors_of_a_carried_program_have_line_and_column_of_the_circuit_file() -> None:
    source = BELT.replace("running := motor;", "running := moter;")
    line = next(k for k, text in enumerate(source.splitlines(), 1) if "moter" in text)
    column = source.splitlines()[line - 1].index("moter") + 1
    assert told(source) == [f"plant/belt/circuit.yaml:{line}:{column}: moter is not declared (nearest: motor)"]


@pytest.mark.parametrize(
    ("program", "says"),
    [
        ("{lang: ST}", "the program must have 'text' or 'file'"),
        ("{lang: ST, text: ';', file: a.st}", "'text' and 'file' are both given"),
        ("{lang: LD, file: ../belt.xml}", "must lie beside this file or in a folder below it"),
        ("{lang: LD, file: a/../../belt.xml}", "must lie beside this file or in a folder below it"),
        ("{lang: LD, file: /etc/passwd}", "must lie beside this file or in a folder below it"),
        ("{lang: LD, file: 'c:belt.xml'}", "must be parted by /"),
        ("{lang: LD, file: 'a\\belt.xml'}", "must be parted by /"),
        ("{lang: IL, file: a.il}", "'IL'"),
    ],
)
def test_a_program_is_carried_or_lies_beside_its_circuit_and_nowhere_else(program: str, says: str) -> None:
    (line,) = told(with_program(f"program: {program}"))
    assert says in line


def test_a_prior_that_names_no_suspect_is_an_error_at_its_line_with_the_nearest_that_is() -> None:
    text = BELT.rstrip() + '\npriors:\n  "KM1 coil open": 3.0\n  "KM1 coil opne": 2.0\n'
    (problem,) = told(text)
    assert f":{len(text.splitlines())}:" in problem
    assert "no suspect 'KM1 coil opne'" in problem
    assert "KM1 coil open" in problem
