"""Structured Text cut into tokens: one pass, linear, nothing refused here but what has no name at all."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from troubleshoot.text.problem import Position, Problem

KEYWORDS: Final = frozenset(
    [
        "PROGRAM",
        "END_PROGRAM",
        "VAR",
        "END_VAR",
        "RETAIN",
        "CONSTANT",
        "AT",
        "IF",
        "THEN",
        "ELSIF",
        "ELSE",
        "END_IF",
        "AND",
        "OR",
        "XOR",
        "NOT",
        "MOD",
        "TRUE",
        "FALSE",
    ]
)

UNSUPPORTED: Final = {
    "FOR": "END_FOR", "WHILE": "END_WHILE", "REPEAT": "END_REPEAT", "CASE": "END_CASE",
    "FUNCTION": "END_FUNCTION", "FUNCTION_BLOCK": "END_FUNCTION_BLOCK", "TYPE": "END_TYPE", "STRUCT": "END_STRUCT",
    "VAR_INPUT": "END_VAR", "VAR_OUTPUT": "END_VAR", "VAR_IN_OUT": "END_VAR", "VAR_EXTERNAL": "END_VAR",
    "VAR_GLOBAL": "END_VAR", "VAR_TEMP": "END_VAR", "VAR_ACCESS": "END_VAR",
    "RETURN": "", "EXIT": "", "CONTINUE": "", "ARRAY": "",
}  # fmt: skip
"""Words of the standard outside this subset, and what ends them (nothing: the statement does)."""

_TOKEN = re.compile(
    r"""
      (?P<SKIP>[ \t\r\n\f]+|//[^\n]*)
    | (?P<COMMENT>\(\*)
    | (?P<ADDRESS>%[A-Za-z]*[0-9]+(?:\.[0-9]+)*)
    | (?P<TIME>(?:[Tt]|[Tt][Ii][Mm][Ee])\#[-+]?[0-9A-Za-z_.]*)
    | (?P<TYPED>(?:[Bb][Oo][Oo][Ll]|[Ii][Nn][Tt])\#[-+]?[0-9A-Za-z_#]*)
    | (?P<REAL>[0-9][0-9_]*\.[0-9][0-9_]*(?:[eE][-+]?[0-9]+)?)
    | (?P<NUMBER>[0-9][0-9_]*(?:\#[0-9A-Fa-f_]*)?)
    | (?P<NAME>[A-Za-z_][A-Za-z0-9_]*)
    | (?P<SIGN>:=|=>|<=|>=|<>|\*\*|[-+*/=<>&();:,.])
    | (?P<STRAY>.)
    """,
    re.VERBOSE | re.DOTALL,
)
_COMMENT_MARK = re.compile(r"\(\*|\*\)")

SIGNS: Final = {
    ":=": "ASSIGN", "=>": "SENDS", "<=": "LE", ">=": "GE", "<>": "NE", "-": "MINUS", "+": "PLUS", "*": "TIMES",
    "/": "SLASH", "=": "EQ", "<": "LT", ">": "GT", "&": "AND", "(": "OPEN", ")": "CLOSE", ";": "SEMI", ":": "COLON",
    ",": "COMMA", ".": "DOT", "**": "POWER",
}  # fmt: skip


class Source:
    """A program's text that knows where its lines begin, and what was found wrong with it so far."""

    def __init__(self, text: str, file: str, first_line: int) -> None:
        self.text, self.file, self._first = text, file, first_line
        self.problems: list[Problem] = []
        self.too_deep = False
        self._starts = [0, *(found.end() for found in re.finditer("\n", text))]

    def position(self, offset: int) -> Position:
        line = bisect_right(self._starts, offset) - 1
        return Position(self.file, self._first + line, offset - self._starts[line] + 1)

    def line_of(self, offset: int) -> int:
        return bisect_right(self._starts, offset)


@dataclass(frozen=True, slots=True)
class Token:
    """One word of the program. It knows its source, so that whoever builds from it can say where."""

    type: str
    text: str
    start: int
    end: int
    source: Source

    @property
    def at(self) -> Position:
        return self.source.position(self.start)


def tokens(source: Source) -> Iterator[Token]:
    """Tokens in order; an open comment becomes a problem and ends them."""
    text, at, problems = source.text, 0, source.problems
    while at < len(text):
        found = _TOKEN.match(text, at)
        assert found is not None, "STRAY takes any character"
        kind, word = str(found.lastgroup), found[0]
        at = found.end()
        if kind == "SKIP":
            continue
        if kind == "COMMENT":
            at = _comment_end(text, found.end())
            if at < 0:
                problems.append(Problem(source.position(found.start()), "this comment is never closed with *)"))
                return
            continue
        if kind == "SIGN":
            kind = SIGNS[word]
        elif kind == "NAME":
            upper = word.upper()
            kind = upper if upper in KEYWORDS else "UNSUPPORTED" if upper in UNSUPPORTED else "NAME"
        yield Token(kind, word, found.start(), found.end(), source)


def _comment_end(text: str, at: int) -> int:
    """Where the comment opened before `at` ends; comments nest since the third edition (from memory). -1: never."""
    depth = 1
    for mark in _COMMENT_MARK.finditer(text, at):
        depth += 1 if mark[0] == "(*" else -1
        if depth == 0:
            return mark.end()
    return -1
