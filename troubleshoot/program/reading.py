"""The door: text of a program to a `Program`, or everything that is wrong with it."""

from __future__ import annotations

from typing import Final

from troubleshoot.program.checking import check
from troubleshoot.program.grammar import parse
from troubleshoot.program.model import Program
from troubleshoot.program.running import build
from troubleshoot.program.tokens import Source
from troubleshoot.text.problem import Position, Problem, in_file_order

LONGEST: Final = 1_000_000
"""Characters; ten times the largest program of a machine this size (own choice)."""


def parse_program(text: str, file: str, first_line: int = 1) -> Program | tuple[Problem, ...]:
    """A program in the subset of IEC 61131-3 Structured Text, ready to scan.

    text: with or without ``PROGRAM name ... END_PROGRAM``. file, first_line: for messages, where the text stands.
    Returns the program, or its problems in file order: all syntax errors (one a statement), or when there are none
    all errors of names and types. Time grows with the length of the text and with nothing else. Raises nothing.
    """
    if len(text) > LONGEST:
        return (Problem(Position(file, first_line, 1), f"longer than {LONGEST} characters"),)
    source = Source(text.removeprefix("\ufeff"), file, first_line)
    parsed = parse(source)
    if parsed is None:
        return in_file_order(source.problems)
    variables, statements = check(parsed, source.problems)
    if source.problems:
        return in_file_order(source.problems)
    return build(parsed.name, variables, statements)
