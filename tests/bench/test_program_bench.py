"""How long a scan of 500 networks takes, and reading a program: each against plain Python doing as much.

Asked for with ``pytest -n 0 tests/bench``. Two groups. The scan: our closures, against the same 500 boolean assignments as one
Python function, the least that this interpreter can do. The reading: 5,000 nested brackets and 5,000 terms, against
the standard library's tokenizer over the same text, and against 50 of them a hundredfold: linear time shows as a ratio near 1.
"""

from __future__ import annotations

import io
import tokenize
from collections.abc import Callable, Mapping

import pytest

from troubleshoot.program import Program, parse_program, scan, start

pytest.importorskip("pytest_benchmark")

NETWORKS = 500


def _networks() -> list[tuple[str, str]]:
    """Target and expression of each: six contacts, a branch, a seal, what the one above left."""
    out = []
    for k in range(NETWORKS):
        before = max(0, k - 1)
        mine, above = f"%MX{k // 8}.{k % 8}", f"%MX{before // 8}.{before % 8}"
        out.append(
            (
                mine,
                f"%IX0.{k % 8} AND NOT %IX1.{k * 3 % 8} AND (%IX0.{(k + 1) % 8} OR {mine}) AND (%IX1.{k % 7} OR NOT {above})",
            )
        )
    return out


def _program() -> Program:
    read = parse_program("".join(f"{target} := {value};\n" for target, value in _networks()), "bench")
    assert isinstance(read, Program)
    return read


INPUTS: Mapping[str, bool] = {f"%IX{a}.{b}": (a + b) % 2 == 1 for a in (0, 1) for b in range(8)}


def _plain() -> Callable[[dict[str, bool]], None]:
    """The same assignments as a Python function over local names; made from our own text, for a clock only."""
    names = {point: f"v{k}" for k, point in enumerate([*INPUTS, *(target for target, _ in _networks())])}

    def put(text: str) -> str:
        for point in sorted(names, key=len, reverse=True):
            text = text.replace(point, names[point])
        return text.replace("AND", "and").replace("NOT", "not").replace("OR", "or")

    lines = ["def run(image):"]
    lines += [f"    {name} = image[{point!r}]" for point, name in names.items()]
    lines += [f"    {put(target)} = {put(value)}" for target, value in _networks()]
    lines += [f"    image[{point!r}] = {name}" for point, name in names.items()]
    made: dict[str, Callable[[dict[str, bool]], None]] = {}
    exec("\n".join(lines), made)
    return made["run"]


@pytest.mark.benchmark(group="scan of 500 networks")
def test_a_scan_of_the_program(benchmark):
    read = _program()
    memory = start(read, cold=True)
    result = benchmark(lambda: scan(read, memory, INPUTS, 0))
    assert not result.fault


@pytest.mark.benchmark(group="scan of 500 networks")
def test_the_same_assignments_as_a_python_function(benchmark):
    run, image = _plain(), dict.fromkeys([*INPUTS, *(target for target, _ in _networks())], False)
    benchmark(lambda: run(dict(image) | INPUTS))
    # The two agree: what is measured is the same work.
    once = dict(image) | INPUTS
    run(once)
    read = _program()
    values = scan(read, start(read, cold=True), INPUTS, 0).values
    assert {target: once[target] for target, _ in _networks()} == {t: values[t] for t, _ in _networks()}


def _brackets(count: int) -> str:
    return f"%QX0.0 := {'(' * count}%IX0.0{')' * count};"


def _terms(count: int) -> str:
    return f"%QX0.0 := {' OR '.join(['%IX0.0'] * count)};"


@pytest.mark.benchmark(group="reading 5000 of a kind")
@pytest.mark.parametrize("text", [_brackets(5000), _terms(5000)], ids=["brackets", "terms"])
def test_reading_one_long_statement(benchmark, text):
    assert isinstance(benchmark(lambda: parse_program(text, "bench")), Program)


@pytest.mark.benchmark(group="reading 5000 of a kind")
@pytest.mark.parametrize("make", [_brackets, _terms], ids=["brackets", "terms"])
def test_reading_as_much_in_a_hundred_short_statements(benchmark, make):
    text = make(50) * 100
    assert isinstance(benchmark(lambda: parse_program(text, "bench")), Program)


@pytest.mark.benchmark(group="reading 5000 of a kind")
def test_cutting_the_terms_into_tokens_by_the_standard_library(benchmark):
    text = _terms(5000).replace("%", "").replace(":=", "=")
    benchmark(lambda: list(tokenize.generate_tokens(io.StringIO(text).readline)))
