"""What holds for every program: print and read give the same; an expression means what Python says it means."""

from __future__ import annotations

import re
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st
from program.strategies import POINTS, expressions, inputs

from troubleshoot.program.ladder import draw
from troubleshoot.program.model import (
    Assign,
    Call,
    Chain,
    Constant,
    Expression,
    If,
    Member,
    Program,
    Ref,
    Statement,
    Unary,
    Variable,
)
from troubleshoot.program.network import Contact, Part, holding_off, network, why_off
from troubleshoot.program.printing import expression_text, program_text
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import build, scan, start


def _negated(operand: Expression) -> Expression:
    """A sign in front of a positive constant is the constant's own: the reader makes one of the two."""
    if isinstance(operand, Constant) and operand.value > 0:
        return Constant(-operand.value, operand.type)
    return Unary("-", operand)


numbers: st.SearchStrategy[Expression] = st.recursive(
    st.one_of(st.integers(-32768, 32767).map(lambda n: Constant(n, "INT")), st.sampled_from(["n", "m"]).map(Ref)),
    lambda inner: st.one_of(
        inner.map(_negated),
        st.builds(
            lambda first, rest: Chain(first, tuple(rest)),
            inner,
            st.lists(st.tuples(st.sampled_from(["+", "-"]), inner), min_size=1, max_size=3),
        ),
        st.builds(
            lambda first, rest: Chain(first, tuple(rest)),
            inner,
            st.lists(st.tuples(st.sampled_from(["*", "/", "MOD"]), inner), min_size=1, max_size=3),
        ),
    ),
    max_leaves=8,
)
conditions = st.one_of(
    expressions,
    st.builds(
        lambda a, op, b: Chain(a, ((op, b),)), numbers, st.sampled_from(["<", ">", "<=", ">=", "=", "<>"]), numbers
    ),
    st.just(Member("t", "Q")),
)
simple: st.SearchStrategy[Statement] = st.one_of(
    st.builds(Assign, st.sampled_from(["%QX0.0", "q", "r"]).map(Ref), conditions),
    st.builds(Assign, st.sampled_from(["n", "m"]).map(Ref), numbers),
    st.builds(
        lambda on, ms: Call("t", (("IN", on), ("PT", Constant(ms, "TIME"))), (("Q", Ref("q")),)),
        conditions,
        st.integers(0, 10**6),
    ),
)
statements: st.SearchStrategy[Statement] = st.recursive(
    simple,
    lambda inner: st.builds(
        lambda arms, otherwise: If(tuple((c, tuple(body)) for c, body in arms), tuple(otherwise)),
        st.lists(st.tuples(conditions, st.lists(inner, max_size=2)), min_size=1, max_size=3),
        st.lists(inner, max_size=2),
    ),
    max_leaves=6,
)
VARIABLES = (
    Variable("q", "BOOL", "%QX0.1"),
    Variable("r", "BOOL", "", Constant(True, "BOOL"), retain=True),
    Variable("n", "INT", "", Constant(-3, "INT")),
    Variable("m", "INT"),
    Variable("t", "TON"),
)


@given(st.lists(statements, max_size=5), st.sampled_from(["", "belt"]))
def test_printing_and_reading_gives_the_same_program(body: list[Statement], name: str) -> None:
    written = build(name, VARIABLES, tuple(body))
    assert parse_program(program_text(written), "printed") == written


@given(expressions, inputs)
def test_a_boolean_expression_means_what_python_makes_of_it(node: Expression, bits: dict[str, bool]) -> None:
    """Witness: Python's own evaluator on the same text, whose OR, XOR, AND, NOT are here |, ^, &, and 1^."""
    text = expression_text(node)
    read = parse_program(f"%QX0.0 := {text};", "test")
    assert isinstance(read, Program)
    # Python's ^ binds tighter than |, and & tighter than ^, as in the standard; ~ binds tightest.
    python = text.replace("NOT ", "~").replace("AND", "&").replace("XOR", "^").replace("OR", "|")
    python = re.sub(r"%IX0\.([0-9])", r"b\1", python).replace("TRUE", "-1").replace("FALSE", "0")
    expected = eval(python, {}, {f"b{i}": -int(bits[point]) for i, point in enumerate(POINTS)})
    assert scan(read, start(read, cold=True), bits, 0).outputs["%QX0.0"] is (expected == -1)


@given(expressions, inputs)
def test_the_ladder_conducts_when_the_expression_is_true(node: Expression, bits: dict[str, bool]) -> None:
    read = build("", (), (Assign(Ref("%QX0.0"), node),))
    result = scan(read, start(read, cold=True), bits, 0)
    part = network(read, "%QX0.0")
    assert part is not None
    values = {**result.values, **bits}
    assert part.conducts(values) is result.outputs["%QX0.0"]


@given(expressions, inputs)
def test_closing_what_holds_a_network_off_is_the_only_way_and_nothing_closed_is_blamed(
    node: Expression, bits: dict[str, bool]
) -> None:
    read = build("", (), (Assign(Ref("%QX0.0"), node),))
    result = scan(read, start(read, cold=True), bits, 0)
    part = network(read, "%QX0.0")
    assert part is not None
    values = {**result.values, **bits}
    contacts = holding_off(part, values)
    assert bool(contacts) is not result.outputs["%QX0.0"]
    assert not any(contact.conducts(values) for contact in contacts)
    assert len(why_off(read, values, "%QX0.0")) == len(contacts)


@given(expressions, inputs, st.integers(40, 130))
def test_a_ladder_is_ascii_keeps_its_width_and_powers_its_coil_only_when_on(
    node: Expression, bits: dict[str, bool], width: int
) -> None:
    read = build("", (), (Assign(Ref("%QX0.0"), node),))
    result = scan(read, start(read, cold=True), bits, 0)
    values = {**result.values, **bits}
    lines = draw(read, "%QX0.0", width=width, values=values)
    assert lines
    assert all(line.isascii() and len(line) <= width for line in lines)
    coil = [line for line in lines if "( )" in line][-1]
    assert ("=( )" in coil) is result.outputs["%QX0.0"]


@given(st.text(max_size=200))
def test_no_text_makes_the_reader_fall_over(text: str) -> None:
    read = parse_program(text, "test")
    assert isinstance(read, Program) or read


@given(
    st.lists(
        st.sampled_from(
            [
                "IF",
                "THEN",
                "ELSE",
                "ELSIF",
                "END_IF",
                "VAR",
                "END_VAR",
                "a",
                "b",
                "t",
                ":",
                ";",
                ":=",
                "(",
                ")",
                ",",
                ".",
                "AND",
                "NOT",
                "5",
                "TRUE",
                "TON",
                "BOOL",
                "FOR",
                "%IX0.0",
                "@",
                "(*",
                "*)",
            ]
        ),
        max_size=40,
    )
)
def test_no_order_of_words_makes_the_reader_fall_over(words: list[str]) -> None:
    read = parse_program(" ".join(words), "test")
    assert isinstance(read, Program) or all(problem.at.line >= 1 for problem in read)


def _stays_off(part: Part, held: frozenset[Contact]) -> bool:
    """With these contacts open and every other one made."""
    if isinstance(part, Contact):
        return part in held
    states = [_stays_off(inner, held) for inner in part.parts]
    return any(states) if part.way == "series" else all(states)


def _contacts(part: Part) -> set[Contact]:
    return {part} if isinstance(part, Contact) else {c for inner in part.parts for c in _contacts(inner)}


@given(expressions, inputs)
def test_no_smaller_set_of_contacts_holds_a_network_off(node: Expression, bits: dict[str, bool]) -> None:
    """Witness: every set of open contacts, smallest first, by itself open and all others made."""
    read = build("", (), (Assign(Ref("%QX0.0"), node),))
    part = network(read, "%QX0.0")
    assert part is not None
    values = {**scan(read, start(read, cold=True), bits, 0).values, **bits}
    found = holding_off(part, values)
    opened = sorted((c for c in _contacts(part) if not c.conducts(values)), key=str)
    if part.conducts(values):
        assert found == ()
        return
    assert _stays_off(part, frozenset(found))
    smaller = (set_ for size in range(len(found)) for set_ in combinations(opened, size))
    assert not any(_stays_off(part, frozenset(each)) for each in smaller)


def test_a_contact_that_is_drawn_in_two_branches_is_one_reason() -> None:
    """Branch by branch the first open contact would be named in each: a and b, where c alone holds both off."""
    read = parse_program("%QX0.0 := (%IX0.0 AND %IX0.2) OR (%IX0.1 AND %IX0.2);", "test")
    assert isinstance(read, Program)
    values = dict.fromkeys(("%IX0.0", "%IX0.1", "%IX0.2", "%QX0.0"), False)
    assert why_off(read, values, "%QX0.0") == ("%IX0.2 is off",)
