"""How many small mistakes in a room its tests notice: mutants of the code, each tried against the tests that run it.

    python tests/measure/mutation.py log --size 150 --seed 1
    python tests/measure/mutation.py safety
    python tests/measure/mutation.py loaders --only 'circuit/load.py:41'

One pytest process collects the tests and finds out, with coverage, which test runs which line. Then each mutant is a
fork of it: the code of one function is exchanged, its tests run, the quickest first, until one fails. So a mutant
costs no start and no import. What that leaves out: statements at the top of a module (tables, constants, fields),
and the wording of sentences (a text with a blank in it). A test that reads its machine while it is collected has read it
with sound code, which can only make the score worse. Needs `fork`.

A survivor is either a missing test or changes nothing that anybody can see; a person has to say which.
"""

from __future__ import annotations

import argparse
import ast
import gc
import json
import math
import os
import random
import select
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import coverage
import pytest
from hypothesis import Phase, settings

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "troubleshoot"

ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    # name: modules, tests
    "log": (("log/*.py",), ("tests/log",)),
    "safety": (("safety/*.py",), ("tests/safety", "tests/against/test_hazards_against.py")),
    "loaders": (
        (
            "text/yamlnodes.py",
            "text/xmlnodes.py",
            "text/problem.py",
            "text/names.py",
            "circuit/load*.py",
            "circuit/reading.py",
            "circuit/rows.py",
            "trees/load*.py",
            "trees/lint.py",
            "trees/roles.py",
            "trees/rows.py",
            "program/reading.py",
            "program/grammar.py",
            "program/tokens.py",
            "program/plcopen.py",
            "program/rungs.py",
            "program/checking.py",
            "program/slots.py",
            "machine/described.py",
        ),
        (
            "tests/text",
            "tests/circuit",
            "tests/trees/test_load.py",
            "tests/trees/test_broken.py",
            "tests/trees/test_schema.py",
            "tests/program",
            "tests/machine/test_described.py",
        ),
    ),
}


# ------------------------------------------------------------------------------------------------------------ mutants


@dataclass(frozen=True)
class Mutant:
    """One small mistake. Lines are those of the source, from 1."""

    module: str
    function: str
    """Qualified name of the outermost function: its code is what gets exchanged."""
    first_line: int
    """Where that function begins, its decorators included."""
    index: int
    """Place among the mutants of the module."""
    lines: tuple[int, int]
    statement: tuple[int, int]
    operator: str
    words: str

    @property
    def name(self) -> str:
        return f"{self.module}:{self.lines[0]}"


_COMPARE: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}

Change = tuple[ast.AST, str, str, Any]
"""Node whose lines count, operator, words, and what makes the change in place."""


def _changes(function: ast.AST) -> Iterator[Change]:
    """Every mutant of one function, in an order that depends on the source alone."""
    skip: set[int] = set()
    for node in ast.walk(function):
        match node:
            case ast.FunctionDef() | ast.AsyncFunctionDef():
                for part in (node.returns, node.args, *node.decorator_list):
                    if part is not None:
                        skip |= {id(one) for one in ast.walk(part)}
                if ast.get_docstring(node, clean=False) is not None:
                    skip |= {id(one) for one in ast.walk(node.body[0])}
            case ast.AnnAssign():
                skip |= {id(one) for one in ast.walk(node.annotation)}
            case ast.Assert():  # for the type checker
                skip |= {id(one) for one in ast.walk(node)}
            case ast.Expr(value=ast.Call(func=ast.Name(id="assert_never"))):
                skip |= {id(one) for one in ast.walk(node)}
            case ast.Expr(value=ast.Constant()):
                skip |= {id(one) for one in ast.walk(node)}
    for node in ast.walk(function):
        if id(node) not in skip:
            yield from _of_node(node)


def _of_node(node: ast.AST) -> Iterator[Change]:
    def put(field: str, value: Any, at: Any = node) -> Any:
        return lambda: setattr(at, field, value)

    match node:
        case ast.Compare():
            for k, op in enumerate(node.ops):
                for other in _COMPARE[type(op)]:
                    ops: list[ast.cmpop] = [*node.ops[:k], other(), *node.ops[k + 1 :]]
                    yield node, "comparison", f"{type(op).__name__} -> {other.__name__}", put("ops", ops)
        case ast.BoolOp():
            other_op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield node, "boolean", f"-> {type(other_op).__name__}", put("op", other_op)
        case ast.BinOp() | ast.AugAssign() if type(node.op) in _ARITHMETIC:
            if isinstance(node, ast.BinOp) and isinstance(node.left, ast.Constant) and isinstance(node.left.value, str):
                return
            swapped = _ARITHMETIC[type(node.op)]
            yield node, "arithmetic", f"{type(node.op).__name__} -> {swapped.__name__}", put("op", swapped())
        case ast.Constant(value=bool()):
            yield node, "constant", f"-> {not node.value}", put("value", not node.value)
        case ast.Constant(value=int() | float()):
            yield node, "constant", f"{node.value} -> {node.value + 1}", put("value", node.value + 1)
        case ast.Constant(value=str()) if node.value and " " not in node.value:
            yield node, "constant", f"{node.value!r} -> {node.value + '~'!r}", put("value", node.value + "~")
        case ast.Constant(value=bytes()) if node.value:
            yield node, "constant", f"{node.value!r} + b'~'", put("value", node.value + b"~")
        case ast.comprehension() if node.ifs:
            for k, test in enumerate(node.ifs):
                ifs = [*node.ifs[:k], _no(test), *node.ifs[k + 1 :]]
                yield test, "condition", "negated", put("ifs", ifs)
        case ast.ExceptHandler(type=ast.Tuple(elts=elts)) if len(elts) > 1:
            for k, one in enumerate(elts):
                fewer = [*elts[:k], *elts[k + 1 :]]
                yield node.type, "exception", f"without {ast.unparse(one)}", put("elts", fewer, node.type)
        case ast.ExceptHandler(type=ast.expr() as caught):
            never = ast.copy_location(ast.Name("GeneratorExit", ast.Load()), caught)
            yield caught, "exception", f"not {ast.unparse(caught)}", put("type", never)
    match node:
        case ast.If() | ast.While() | ast.IfExp():
            yield node.test, "condition", "negated", put("test", _no(node.test))
    for field in ("body", "orelse", "finalbody"):
        block = getattr(node, field, None)
        if not isinstance(block, list):
            continue
        for k, statement in enumerate(block):
            match statement:
                case ast.Return(value=ast.expr() as value) if not (
                    isinstance(value, ast.Constant) and value.value is None
                ):
                    nothing = ast.copy_location(ast.Constant(None), value)
                    yield statement, "return", "-> None", put("value", nothing, statement)
                case ast.Expr(value=ast.Call() | ast.Yield() | ast.YieldFrom() as value):
                    if isinstance(value, ast.Call) and ast.unparse(value.func) == "assert_never":
                        continue
                    if isinstance(value, ast.Yield | ast.YieldFrom):  # still a generator
                        gone: ast.stmt = ast.Expr(ast.YieldFrom(ast.Tuple([], ast.Load())))
                    else:
                        gone = ast.Pass()
                    yield statement, "statement", "removed", _at(block, k, gone)
                case ast.Raise() | ast.AugAssign() | ast.Break() | ast.Continue() | ast.Delete():
                    yield statement, "statement", "removed", _at(block, k, ast.Pass())
                case ast.Assign() | ast.AnnAssign() if statement.value is not None:
                    if not (isinstance(statement.value, ast.Constant) and statement.value.value is None):
                        if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Tuple):
                            continue  # nothing to unpack: every test falls over it
                        nothing = ast.copy_location(ast.Constant(None), statement.value)
                        yield statement, "statement", "assigns None", put("value", nothing, statement)
    if isinstance(node, ast.Match) and len(node.cases) > 1:
        for case in node.cases:
            if case.guard is not None:
                yield case.guard, "condition", "negated", put("guard", _no(case.guard), case)
            never = ast.copy_location(ast.Constant(False), case.body[0])
            yield case.body[0], "case", "never taken", put("guard", never, case)


def _no(test: ast.expr) -> ast.expr:
    if isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not):
        return test.operand
    return ast.copy_location(ast.UnaryOp(ast.Not(), test), test)


def _at(block: list[ast.stmt], k: int, new: ast.stmt) -> Any:
    return lambda: block.__setitem__(k, ast.copy_location(new, block[k]))


def _functions(body: list[ast.stmt], inside: str = "") -> Iterator[tuple[str, int, ast.AST]]:
    """The outermost functions: qualified name, first line with decorators, node."""
    for node in body:
        if isinstance(node, ast.ClassDef):
            bases = {ast.unparse(base) for base in node.bases}
            if "Protocol" not in bases:
                yield from _functions(node.body, f"{inside}{node.name}.")
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = min([node.lineno, *(one.lineno for one in node.decorator_list)])
            yield f"{inside}{node.name}", first, node


def _each(tree: ast.Module) -> Iterator[tuple[str, int, ast.AST, Change]]:
    for name, first, node in _functions(tree.body):
        for change in _changes(node):
            yield name, first, node, change


def mutants_of(path: Path) -> list[Mutant]:
    source = path.read_text(encoding="utf-8")
    tree = ast.parse(source)
    unwatched = {k for k, line in enumerate(source.splitlines(), 1) if "pragma: no cover" in line}
    module = str(path.relative_to(PACKAGE))
    made: list[Mutant] = []
    for index, (name, first, node, (where, operator, words, _)) in enumerate(_each(tree)):
        span = (where.lineno, where.end_lineno or where.lineno)  # type: ignore[attr-defined]
        around = [
            (one.lineno, one.end_lineno or one.lineno)
            for one in ast.walk(node)
            if isinstance(one, ast.stmt) and one.lineno <= span[0] and (one.end_lineno or 0) >= span[1]
        ]
        statement = min(around, key=lambda at: at[1] - at[0], default=span)
        if span[0] not in unwatched:
            made.append(Mutant(module, name, first, index, span, statement, operator, words))
    return made


def code_of(mutant: Mutant) -> CodeType:
    """The mutated code of the function."""
    path = PACKAGE / mutant.module
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for index, (_, _, _, (_, _, _, change)) in enumerate(_each(tree)):
        if index == mutant.index:
            change()
            break
    ast.fix_missing_locations(tree)
    todo = [compile(tree, str(path), "exec", dont_inherit=True)]
    for code in todo:
        for const in code.co_consts:
            if isinstance(const, CodeType):
                if const.co_qualname == mutant.function and const.co_firstlineno == mutant.first_line:
                    return const
                todo.append(const)
    raise LookupError(mutant)


# -------------------------------------------------------------------------------------------------------------- trying


class Trying:
    """A plugin that takes over the test loop once everything is collected."""

    def __init__(self, asked: argparse.Namespace) -> None:
        self.asked = asked
        modules, _ = ROOMS[asked.room]
        self.files = sorted({path for pattern in modules for path in PACKAGE.glob(pattern)})
        self.failed = False

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.failed = self.failed or report.failed

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        # Here, for tests/conftest.py has loaded its own by now. The smallest counterexample is nobody's question, and a
        # mutant that only the hundredth example finds is noticed by luck.
        quick = settings(settings.get_profile("ci"), max_examples=25, phases=(Phase.explicit, Phase.generate))
        settings.register_profile("mutants", quick)
        settings.load_profile("mutants")
        items = {item.nodeid: item for item in session.items}
        runs, seconds = self._which_runs_what(list(items.values()))
        functions: dict[tuple[str, str, int], list[FunctionType]] = {}
        for one in gc.get_objects():
            if isinstance(one, FunctionType):
                code = one.__code__
                functions.setdefault((code.co_filename, code.co_qualname, code.co_firstlineno), []).append(one)
        everyone = [mutant for path in self.files for mutant in mutants_of(path)]
        sample = random.Random(self.asked.seed).sample(everyone, min(self.asked.size, len(everyone)))
        if self.asked.only:
            sample = [one for one in everyone if any(one.name == only for only in self.asked.only)]
        told = Counter[str]()
        out = Path(self.asked.out).open("a", encoding="utf-8") if self.asked.out else None  # noqa: SIM115
        for number, mutant in enumerate(sample, 1):
            path = str(PACKAGE / mutant.module)
            reached = runs.get(path, {})
            chosen = _at_lines(reached, mutant.lines) or _at_lines(reached, mutant.statement)
            order = sorted(chosen, key=lambda name: seconds[name])
            holders = functions.get((path, mutant.function, mutant.first_line), [])
            what, by = "not run", ""
            if order and holders:
                what, by = self._try(mutant, holders, [items[name] for name in order], sum(seconds[n] for n in order))
            told[what] += 1
            row = {"at": mutant.name, "in": mutant.function, "operator": mutant.operator, "words": mutant.words}
            row |= {"found": what, "by": by, "tests": len(order)}
            if out:
                print(json.dumps(row), file=out, flush=True)
            if what in ("survived", "not run"):
                print(f"\n{what}: {mutant.name} {mutant.function}: {mutant.operator} {mutant.words}", flush=True)
            elif number % 25 == 0:
                print(f"\n{number} of {len(sample)}: {dict(told)}", flush=True)
            if time.monotonic() > self.asked.until:
                print(
                    "\nstopped: the time asked for is over; the sample is in random order, so its beginning is one too"
                )
                break
        tried = sum(told.values())
        killed = told["killed"] + told["too long"]
        low, high = interval(killed, tried)
        print(f"\n{self.asked.room}: {killed} of {tried} mutants noticed, {100 * killed / max(tried, 1):.1f} %")
        print(f"95 % interval {100 * low:.1f} to {100 * high:.1f} %; {len(everyone)} mutants exist; {dict(told)}")
        return True

    def _which_runs_what(self, items: list[pytest.Item]) -> tuple[dict[str, dict[int, set[str]]], dict[str, float]]:
        """Lines of each file with the tests that run them, and how long each passing test takes, in seconds."""
        folder = Path(tempfile.mkdtemp(prefix="mutation-"))
        kept = folder / "told.json"
        if (pid := os.fork()) == 0:
            watch = coverage.Coverage(
                data_file=str(folder / "cov"), include=[str(path) for path in self.files], config_file=False
            )
            seconds: dict[str, float] = {}
            watch.start()
            for item in items:
                watch.switch_context(item.nodeid)
                self.failed, began = False, time.process_time()
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
                if not self.failed:
                    seconds[item.nodeid] = time.process_time() - began
            watch.stop()
            watch.save()
            kept.write_text(json.dumps(seconds), encoding="utf-8")
            os._exit(0)
        os.waitpid(pid, 0)
        seconds = json.loads(kept.read_text(encoding="utf-8"))
        data = coverage.CoverageData(str(folder / "cov"))
        data.read()
        runs: dict[str, dict[int, set[str]]] = {}
        for path in data.measured_files():
            by_line = data.contexts_by_lineno(path)
            runs[path] = {line: {one for one in names if one in seconds} for line, names in by_line.items()}
        print(
            f"\n{len(seconds)} of {len(items)} tests pass without a mutant, {sum(seconds.values()):.0f} s", flush=True
        )
        return runs, seconds

    def _try(
        self, mutant: Mutant, holders: list[FunctionType], items: list[pytest.Item], usual_s: float
    ) -> tuple[str, str]:
        """`killed` and by which test, `survived`, or `too long`, which counts as noticed."""
        code = code_of(mutant)
        come, go = os.pipe()
        if (pid := os.fork()) == 0:
            os.setsid()
            sys.setrecursionlimit(1000)
            for one in holders:
                one.__code__ = code
            for item in items:
                self.failed = False
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
                if self.failed:
                    os.write(go, item.nodeid.encode())
                    os._exit(1)
            os._exit(0)
        os.close(go)
        # Nothing is decided by a slow machine: twenty times the usual and a minute more.
        ready, _, _ = select.select([come], [], [], 60 + 20 * usual_s)
        if not ready:
            os.killpg(pid, signal.SIGKILL)
        by = os.read(come, 4096).decode() if ready else ""
        os.close(come)
        _, status = os.waitpid(pid, 0)
        if not ready:
            return "too long", ""
        return ("survived", "") if status == 0 else ("killed", by)


def _at_lines(reached: dict[int, set[str]], lines: tuple[int, int]) -> set[str]:
    return set().union(*(reached.get(line, set()) for line in range(lines[0], lines[1] + 1)))


def interval(hits: int, of: int) -> tuple[float, float]:
    """Wilson's interval of a share, 95 %."""
    if not of:
        return 0.0, 1.0
    z, share = 1.959964, hits / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(0.0, middle - half), min(1.0, middle + half)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("room", choices=sorted(ROOMS))
    asked.add_argument("--size", type=int, default=150, help="how many mutants, drawn without putting back")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--minutes", type=float, default=600, help="draw no new mutant after so long")
    asked.add_argument("--only", action="append", help="only the mutants at FILE:LINE, e.g. log/event.py:88")
    asked.add_argument("--out", help="a line of JSON for each mutant goes to this file")
    asked.add_argument("--tests", action="append", help="other tests than the room's own")
    found = asked.parse_args()
    found.until = time.monotonic() + 60 * found.minutes
    os.environ["CI"] = os.environ.get("CI", "1")  # Hypothesis draws the same examples each time
    os.chdir(ROOT)
    tests = found.tests or ROOMS[found.room][1]
    options = ["-n", "0", "-p", "no:cacheprovider", "-p", "no:terminal"]
    return int(pytest.main([*options, *tests], plugins=[Trying(found)]))


if __name__ == "__main__":
    sys.exit(main())
