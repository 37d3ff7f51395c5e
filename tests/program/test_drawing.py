"""A drawn ladder is read back by eye: power is followed over its characters, and comes through when the program says so.

Witness: a walk over the drawing's columns and rows that knows nothing of expressions or networks.
Symbols: IEC 61131-3, textual ladder elements (from memory).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from hypothesis import given, settings
from hypothesis import strategies as st
from program.strategies import POINTS, expressions, inputs

from troubleshoot.program.ladder import WIDTH, draw
from troubleshoot.program.model import Assign, Chain, Expression, Program, Ref
from troubleshoot.program.network import Contact, Part, network
from troubleshoot.program.running import build, scan, start

WIRE = "-="


def drawn(node: Expression) -> Program:
    return build("", (), (Assign(Ref("%QX0.0"), node),))


def rungs(lines: Sequence[str]) -> list[list[str]]:
    """The numbered networks, then the one that was asked for."""
    found: list[list[str]] = [[]]
    for line in lines:
        if line.strip(" |"):
            found[-1].append(line)
        elif not line:
            found.append([])
    return [rung for rung in found if rung]


def label(rung: Sequence[str], row: int, column: int) -> str:
    """The word that stands above a symbol."""
    above = rung[row - 1]
    word = next((m[0] for m in re.finditer(r"[^\s|]+", above) if m.start() <= column < m.end()), "")
    assert word, f"nothing stands above column {column} of {rung[row]!r}"
    return word


def comes_through(rung: Sequence[str], states: Mapping[str, bool], used: list[str]) -> bool:
    """Whether power from the left rail reaches the coil."""
    first = next(k for k, line in enumerate(rung) if re.match(r"\|[-=+]", line))
    open_, seen, reached = [(first, 1)], set(), False
    while open_:
        row, column = open_.pop()
        if (row, column) in seen or not (0 <= row < len(rung) and column < len(rung[row])):
            continue
        seen.add((row, column))
        rest = rung[row][column:]
        if rest[0] in WIRE:
            open_.append((row, column + 1))
        elif rest[0] == "+":
            open_.append((row, column + 1))
            for way in (-1, 1):  # an upright from here: bars, up to the next crossing
                at = row + way
                while 0 <= at < len(rung) and column < len(rung[at]) and rung[at][column] == "|":
                    at += way
                if 0 <= at < len(rung) and column < len(rung[at]) and rung[at][column] == "+":
                    open_.append((at, column))
        elif rest.startswith("( )"):
            reached = True
        elif rest.startswith(("| |", "|/|")):
            name = label(rung, row, column + 1)
            used.append(name)
            if states[name] is (rest[1] == " "):
                open_.append((row, column + 3))
        elif written := re.match(r"\[(TRUE|FALSE)\]", rest):
            used.append(written[1])
            if written[1] == "TRUE":
                open_.append((row, column + written.end()))
    return reached


def contacts(part: Part) -> int:
    return 1 if isinstance(part, Contact) else sum(map(contacts, part.parts))


def symbols(lines: Sequence[str]) -> int:
    """Contacts drawn, those that stand for a numbered network left out."""
    found = sum(len(re.findall(r"(?<=[-=+])(?:\| \||\|/\||\[[^]]+\])(?=[-=+])", line)) for line in lines)
    return found - sum(len(re.findall(r"\(\d+\)", line)) for line in lines) // 2


def read_by_eye(lines: Sequence[str], bits: Mapping[str, bool]) -> bool:
    states = dict(bits)
    through = False
    for rung in rungs(lines):
        through = comes_through(rung, states, [])
        number = re.search(r"(\(\d+\))[ |]*$", rung[0])
        if number:
            states[number[1]] = through
    return through


@settings(deadline=None, max_examples=200)
@given(expressions, inputs)
def test_power_followed_by_eye_comes_through_when_the_program_says_so(node: Expression, bits: dict[str, bool]) -> None:
    read = drawn(node)
    on = scan(read, start(read, cold=True), bits, 0).outputs["%QX0.0"]
    assert read_by_eye(draw(read, "%QX0.0"), bits) is on


@settings(deadline=None, max_examples=200)
@given(expressions, inputs, st.sampled_from([40, 60, WIDTH, 100]))
def test_no_line_is_wider_than_asked_and_no_contact_is_left_out(
    node: Expression, bits: dict[str, bool], width: int
) -> None:
    read = drawn(node)
    part = network(read, "%QX0.0")
    assert part is not None
    values = {**scan(read, start(read, cold=True), bits, 0).values, **bits}
    for live in (None, values):
        lines = draw(read, "%QX0.0", width=width, values=live)
        assert max(map(len, lines)) <= width
        assert symbols(lines) == contacts(part)
        assert all(line.isascii() for line in lines)


@settings(deadline=None, max_examples=200)
@given(expressions, inputs)
def test_a_live_conductor_is_double_up_to_what_stops_it_and_the_coil_says_on_or_off(
    node: Expression, bits: dict[str, bool]
) -> None:
    read = drawn(node)
    result = scan(read, start(read, cold=True), bits, 0)
    values = {**result.values, **bits}
    last = rungs(draw(read, "%QX0.0", values=values))[-1]
    on = result.outputs["%QX0.0"]
    coil = next(line for line in last if "( )" in line)
    assert ("=( )" in coil or "= ( )" in coil or re.search(r"=+\( \)", coil) is not None) is on
    assert re.search(r" (on|off) ", last[last.index(coil) + 1])[1] == ("on" if on else "off")


def test_seventy_two_columns_are_the_width_where_none_is_asked() -> None:
    read = drawn(Chain(Ref(POINTS[0]), tuple(("AND", Ref(POINTS[k % 8])) for k in range(1, 30))))
    lines = draw(read, "%QX0.0")
    assert WIDTH == 72
    assert max(map(len, lines)) <= 72
    assert "(1)" in lines[0]
    assert sum(line.count("%IX0.") for line in lines) == 30
