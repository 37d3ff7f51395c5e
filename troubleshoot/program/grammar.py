"""The grammar of the subset, and tokens to statements with every syntax error named.

Lark builds the LALR tables; the statements are built while it parses, so that no tree of the text is ever walked and
five thousand brackets cost no recursion. After an error the parser goes back to where the last statement ended and
goes on behind the next ``;`` (measured: the library's own recovery gave three errors for one).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from typing import Any, Final, NamedTuple, cast

from troubleshoot.program.model import (
    INT_HIGH,
    INT_LOW,
    TIME_HIGH,
    Assign,
    Call,
    Chain,
    Constant,
    Expression,
    If,
    Member,
    Ref,
    Statement,
    Type,
    Unary,
    Variable,
)
from troubleshoot.program.tokens import KEYWORDS, UNSUPPORTED, Source, Token, tokens
from troubleshoot.text.problem import MOST_PROBLEMS, Position, Problem, nearest

DEEPEST: Final = 60
"""Operators inside operators, IFs inside IFs; brackets alone do not count. No network on a panel comes near it."""

GRAMMAR: Final = r"""
start: PROGRAM NAME part* END_PROGRAM [SEMI] -> program
     | part*                                 -> bare
?part: var_block | statement
var_block: VAR (RETAIN | CONSTANT)* declaration* END_VAR
declaration: names [AT ADDRESS] COLON NAME [ASSIGN initial] SEMI
names: NAME (COMMA NAME)*
initial: [MINUS | PLUS] _constant
?statement: SEMI -> empty
     | target ASSIGN expression SEMI         -> assign
     | NAME OPEN [argument (COMMA argument)*] CLOSE SEMI -> call
     | IF expression THEN statement* elsif* [otherwise] END_IF -> if_
elsif: ELSIF expression THEN statement*
otherwise: ELSE statement*
argument: NAME ASSIGN expression             -> gives
     | NAME SENDS (NAME | ADDRESS)           -> sends
?target: _target                             -> target
_target: NAME | ADDRESS | NAME DOT NAME
?expression: xor | xor (OR xor)+             -> chain
?xor: and_ | and_ (XOR and_)+                -> chain
?and_: equal | equal (AND equal)+            -> chain
?equal: order | order ((EQ | NE) order)+     -> chain
?order: sum | sum ((LT | GT | LE | GE) sum)+ -> chain
?sum: product | product ((PLUS | MINUS) product)+ -> chain
?product: unary | unary ((TIMES | SLASH | MOD) unary)+ -> chain
?unary: NOT unary                            -> not_
     | MINUS unary                           -> minus
     | PLUS unary                            -> plus
     | primary
?primary: OPEN expression CLOSE              -> bracket
     | _constant                             -> constant
     | _target                               -> target
_constant: NUMBER | TIME | TYPED | TRUE | FALSE
%declare PROGRAM END_PROGRAM VAR END_VAR RETAIN CONSTANT AT IF THEN ELSIF ELSE END_IF AND OR XOR NOT MOD TRUE FALSE
%declare ADDRESS TIME TYPED NUMBER NAME ASSIGN SENDS LE GE NE MINUS PLUS TIMES SLASH EQ LT GT OPEN CLOSE SEMI COLON
%declare COMMA DOT
"""

_OPERATORS: Final = frozenset(
    ["OR", "XOR", "AND", "EQ", "NE", "LT", "GT", "LE", "GE", "PLUS", "MINUS", "TIMES", "SLASH", "MOD"]
)
_VALUES: Final = frozenset(["NUMBER", "TIME", "TYPED", "TRUE", "FALSE", "NOT", "OPEN"])
_WORDS: Final = {
    "ASSIGN": "':='", "SENDS": "'=>'", "OPEN": "'('", "CLOSE": "')'", "SEMI": "';'", "COLON": "':'", "COMMA": "','",
    "DOT": "'.'", "NAME": "a name", "ADDRESS": "a direct address", "$END": "the end of the text",
}  # fmt: skip
_BOUNDARY: Final = frozenset(["SEMI", "THEN", "ELSE", "END_IF", "VAR", "END_VAR", "RETAIN", "CONSTANT"])
"""Tokens behind which a statement or a declaration may begin."""
_STOPS: Final = frozenset(["END_IF", "ELSE", "ELSIF", "VAR", "END_VAR", "END_PROGRAM"])
"""Where skipping stops even without a semicolon."""


@dataclass(frozen=True, slots=True)
class Parsed:
    """What the text says, names not yet looked up."""

    name: str
    variables: tuple[Variable, ...]
    statements: tuple[Statement, ...]


def parse(source: Source) -> Parsed | None:
    """The program the tokens make up; what is wrong goes to `source.problems`.

    After a syntax error among the statements the rest is still returned, so that names can be looked up in it; None
    where a declaration was not understood or the text ends too early.
    """
    from lark import UnexpectedToken

    stream = list(tokens(source))
    parser = _tables().parse_interactive("")
    good, quiet, at, last_good = parser.copy(deepcopy_values=False), False, 0, 0
    declaring, names_known, ifs = False, True, 0
    while at < len(stream) and len(source.problems) < MOST_PROBLEMS:
        token = stream[at]
        try:
            parser.feed_token(token)
        except UnexpectedToken:
            # What can really follow, not every look-ahead of the table row.
            expected, before = parser.accepts(), stream[at - 1] if at else None
            names_known = names_known and not declaring and token.type != "VAR"
            if before is not None and not quiet and "SEMI" in expected and _begins_statement(before, token):
                where = source.position(before.end - 1)
                source.problems.append(Problem(replace(where, column=where.column + 1), "';' is missing here"))
                # Read on as if it stood there; one slip is one message.
                parser.feed_token(Token("SEMI", ";", before.end, before.end, source))
                good, last_good = parser.copy(deepcopy_values=False), at
                continue
            if not quiet:
                source.problems.append(_unexpected(token, expected))
            opening = next((t for t in stream[last_good : at + 1] if t.type in ("IF", "ELSIF")), None)
            at = _skip(stream, at, to_then=opening is not None)
            quiet = stream[at - 1].type not in ("SEMI", "THEN")
            parser = good.copy(deepcopy_values=False)
            if opening is not None and opening.type in parser.accepts():
                # The condition is lost but the block is there: go on inside it, or its END_IF would be a second error.
                for kind in (opening.type, "TRUE", "THEN"):
                    parser.feed_token(Token(kind, kind, opening.start, opening.end, source))
                good, last_good = parser.copy(deepcopy_values=False), at
            continue
        at += 1
        declaring = token.type == "VAR" or (declaring and token.type != "END_VAR")
        ifs += {"IF": 1, "END_IF": -1}.get(token.type, 0)
        if ifs > DEEPEST:
            source.problems.append(Problem(token.at, f"IF inside IF more than {DEEPEST} deep"))
            return None
        if token.type in _BOUNDARY:
            good, quiet, last_good = parser.copy(deepcopy_values=False), False, at
    if len(source.problems) >= MOST_PROBLEMS:
        return None
    try:
        end = len(source.text)
        parsed = cast(Parsed, parser.feed_token(Token("$END", "", end, end, source)))
    except UnexpectedToken:
        if not quiet:
            last = source.position(max(0, len(source.text.rstrip()) - 1))
            missing = parser.accepts()
            ends = {word for word in missing if word.startswith("END_")}
            what = f"the program ends too early; {_wanted(ends or missing)} is missing"
            source.problems.append(Problem(last, what))
        return None
    return parsed if names_known else None


def _begins_statement(before: Token, token: Token) -> bool:
    if before.type in _BOUNDARY:
        return False  # an empty statement may stand there too, but that is not what is missing
    later = before.source.line_of(before.start) < before.source.line_of(token.start)
    return (later and token.type in ("NAME", "ADDRESS")) or token.type in ("IF", *_STOPS)


def _skip(stream: Sequence[Token], at: int, *, to_then: bool) -> int:
    """Index to go on at: behind the semicolon that ends the bad statement, or at what ends its block."""
    ends = [UNSUPPORTED.get(stream[at].text.upper(), "")]
    if not ends[0]:
        start = at
        while at < len(stream):
            if stream[at].type == "SEMI" or (to_then and stream[at].type == "THEN"):
                return at + 1
            if stream[at].type in _STOPS and at > start:
                return at
            at += 1
        return at
    # A loop or another kind of unit: its own statements are skipped with it, not reported one by one.
    while at + 1 < len(stream) and ends:
        at += 1
        word = stream[at].text.upper()
        if word == ends[-1]:
            ends.pop()
        elif UNSUPPORTED.get(word):
            ends.append(UNSUPPORTED[word])
    at += 1
    return at + 1 if at < len(stream) and stream[at].type == "SEMI" else at


def _unexpected(token: Token, expected: set[str]) -> Problem:
    at, shown = token.at, token.text[:30]
    if token.type == "UNSUPPORTED":
        return Problem(at, f"{shown.upper()} is not in the part of Structured Text that is read here")
    if token.type == "STRAY":
        return Problem(at, f"{shown!r} has no meaning in Structured Text")
    if token.type == "REAL":
        return Problem(at, f"{shown} is a REAL; only BOOL, INT and TIME are read here")
    if token.type == "POWER":
        return Problem(at, "** is not in the part of Structured Text that is read here")
    if token.type == "EQ" and "ASSIGN" in expected:
        return Problem(at, "'=' compares; to assign write ':='")
    near = nearest(shown, sorted(expected & KEYWORDS))
    return Problem(at, f"{shown!r} cannot stand here; {_wanted(expected)} is expected", near)


def _wanted(expected: set[str]) -> str:
    left = set(expected)
    words = []
    if left >= _VALUES:
        words.append("a value")
        left -= _VALUES | {"NAME", "ADDRESS", "MINUS", "PLUS"}
    if len(left & _OPERATORS) > 3:
        words.append("an operator")
        left -= _OPERATORS
    words += sorted(_WORDS.get(word, word) for word in left)
    return " or ".join((", ".join(words[:-1]), words[-1])) if len(words) > 1 else words[0] if words else "nothing"


@cache
def _tables() -> Any:
    """Lark's LALR tables of the grammar, built once; imported here so that nothing else pays for it."""
    import lark
    from lark.lexer import Lexer

    class Fed(Lexer):
        """Tokens are fed, never lexed."""

        def __init__(self, _: object) -> None: ...

        def lex(self, *_: object) -> Iterator[lark.Token]:
            return iter(())

    return lark.Lark(GRAMMAR, parser="lalr", lexer=Fed, transformer=_Builder(), maybe_placeholders=False)


class _Built(NamedTuple):
    """A node with how deep it is, so that depth is known without walking it, and the token it starts at."""

    node: Any
    depth: int
    token: Token


class _Arm(NamedTuple):
    """An ELSIF (with its condition) or ELSE (without) and its statements."""

    condition: _Built | None
    statements: tuple[_Built, ...]


_Piece = Token | _Built | _Arm
_SYMBOLS: Final = {
    "EQ": "=", "NE": "<>", "LT": "<", "GT": ">", "LE": "<=", "GE": ">=", "PLUS": "+", "MINUS": "-", "TIMES": "*",
    "SLASH": "/",
}  # fmt: skip


class _Builder:
    """One method a rule of the grammar: the pieces the rule found, to the node they are."""

    def program(self, pieces: list[Any]) -> Parsed:
        return self._whole(pieces[1].text, pieces[2:])

    def bare(self, pieces: list[Any]) -> Parsed:
        return self._whole("", pieces)

    def _whole(self, name: str, parts: list[Any]) -> Parsed:
        variables = [variable for part in parts if isinstance(part, list) for variable in part]
        return Parsed(name, tuple(variables), tuple(part.node for part in parts if isinstance(part, _Built)))

    def var_block(self, pieces: list[Any]) -> list[Variable]:
        kinds = {piece.type for piece in pieces if isinstance(piece, Token)}
        retain, constant = "RETAIN" in kinds, "CONSTANT" in kinds
        declared = [variable for piece in pieces if isinstance(piece, list) for variable in piece]
        return [replace(variable, retain=retain, constant=constant) for variable in declared]

    def declaration(self, pieces: list[Any]) -> list[Variable]:
        names: list[Token] = pieces[0]
        address = next((p for p in pieces[1:] if isinstance(p, Token) and p.type == "ADDRESS"), None)
        kind = next(p for p in pieces[1:] if isinstance(p, Token) and p.type == "NAME")
        initial = next((p for p in pieces[1:] if isinstance(p, _Built)), None)
        if address is not None and len(names) > 1:
            address.source.problems.append(Problem(address.at, "one address for several names; give each its own line"))
        value = initial.node if initial is not None else None
        return [
            Variable(n.text, kind.text, address.text if address else "", value, at=n.at) for n in names
        ]  # fmt: skip

    def names(self, pieces: list[Any]) -> list[Token]:
        return [piece for piece in pieces if piece.type == "NAME"]

    def initial(self, pieces: list[Any]) -> _Built:
        constant = self.constant(pieces[-1:])
        if pieces[0].type == "MINUS":
            return self.minus([pieces[0], constant])
        return constant

    def empty(self, _: list[Any]) -> None:
        return None

    def assign(self, pieces: list[Any]) -> _Built:
        target, _, value, _ = pieces
        return _Built(Assign(target.node, value.node, target.node.at), 0, target.token)

    def call(self, pieces: list[Any]) -> _Built:
        given = [piece for piece in pieces[1:] if isinstance(piece, tuple) and not isinstance(piece, _Built)]
        inputs = tuple((pin, value) for way, pin, value in given if way == "gives")
        outputs = tuple((pin, value) for way, pin, value in given if way == "sends")
        return _Built(Call(pieces[0].text, inputs, outputs, pieces[0].at), 0, pieces[0])

    def gives(self, pieces: list[Any]) -> tuple[str, str, Expression]:
        return "gives", pieces[0].text, pieces[2].node

    def sends(self, pieces: list[Any]) -> tuple[str, str, Ref]:
        return "sends", pieces[0].text, Ref(pieces[2].text, pieces[2].at)

    def elsif(self, pieces: list[Any]) -> _Arm:
        return _Arm(pieces[1], tuple(piece for piece in pieces[3:] if piece is not None))

    def otherwise(self, pieces: list[Any]) -> _Arm:
        return _Arm(None, tuple(piece for piece in pieces[1:] if piece is not None))

    def if_(self, pieces: list[Any]) -> _Built:
        first = _Arm(pieces[1], tuple(piece for piece in pieces[3:-1] if isinstance(piece, _Built)))
        every = [first, *(piece for piece in pieces[3:-1] if isinstance(piece, _Arm))]
        arms = tuple((a.condition.node, tuple(s.node for s in a.statements)) for a in every if a.condition is not None)
        last = every[-1]
        otherwise = tuple(s.node for s in last.statements) if last.condition is None else ()
        depth = 1 + max((s.depth for arm in every for s in arm.statements), default=0)
        return self._kept(_Built(If(arms, otherwise, pieces[0].at), depth, pieces[0]), If(()))

    def chain(self, pieces: list[Any]) -> _Built:
        rest = tuple(
            (_SYMBOLS.get(op.type, op.type), operand.node)
            for op, operand in zip(pieces[1::2], pieces[2::2], strict=True)
        )
        depth = 1 + max(piece.depth for piece in pieces[::2])
        first = pieces[0]
        node = Chain(first.node, rest, pieces[1].at)
        return self._kept(_Built(node, depth, first.token), Constant(False, "BOOL", first.token.at))

    def not_(self, pieces: list[Any]) -> _Built:
        token, operand = pieces
        node = Unary("NOT", operand.node, token.at)
        return self._kept(_Built(node, operand.depth + 1, token), Constant(False, "BOOL", token.at))

    def minus(self, pieces: list[Any]) -> _Built:
        token, operand = pieces
        if isinstance(operand.node, Constant) and operand.node.type != "BOOL" and operand.node.value > 0:
            return _Built(replace(operand.node, value=-operand.node.value, at=token.at), 0, token)
        node = Unary("-", operand.node, token.at)
        return self._kept(_Built(node, operand.depth + 1, token), Constant(0, "INT", token.at))

    def plus(self, pieces: list[Any]) -> _Built:
        return cast(_Built, pieces[1])

    def bracket(self, pieces: list[Any]) -> _Built:
        return cast(_Built, pieces[1])

    def target(self, pieces: list[Any]) -> _Built:
        token: Token = pieces[0]
        if len(pieces) == 3:
            return _Built(Member(token.text, pieces[2].text, token.at), 0, token)
        return _Built(Ref(token.text, token.at), 0, token)

    def constant(self, pieces: list[Any]) -> _Built:
        token: Token = pieces[0]
        read = _constant(token)
        if isinstance(read, str):
            token.source.problems.append(Problem(token.at, read))
            # Of the type that was meant, so that one slip is one message.
            meant = "TIME" if token.type == "TIME" else "BOOL" if token.text[:1] in "Bb" else "INT"
            read = Constant(0, cast(Type, meant), token.at)
        return _Built(read, 0, token)

    def _kept(self, built: _Built, instead: Any) -> _Built:
        """The node, unless it is nested too deep: then a problem, and something flat in its place."""
        if built.depth <= DEEPEST:
            return built
        source = built.token.source
        if not source.too_deep:
            source.too_deep = True
            what = f"nested more than {DEEPEST} deep; give a part of it a name of its own"
            source.problems.append(Problem(built.token.at, what))
        return _Built(instead, 0, built.token)


_TIME: Final = re.compile(
    r"(?P<sign>[-+]?)(?:(?P<d>[0-9]+)d)?(?:(?P<h>[0-9]+)h)?(?:(?P<m>[0-9]+)m(?!s))?(?:(?P<s>[0-9]+)s)?(?:(?P<ms>[0-9]+)ms)?"
)
_TIME_POINT: Final = re.compile(r"(?P<sign>[-+]?)(?P<n>[0-9]+\.[0-9]+)(?P<unit>d|h|ms|m|s)")
_MS: Final = {"d": 86_400_000, "h": 3_600_000, "m": 60_000, "s": 1000, "ms": 1}


def _constant(token: Token) -> Constant | str:
    """The constant a token stands for, or what is wrong with it."""
    at, text = token.at, token.text
    if token.type in ("TRUE", "FALSE"):
        return Constant(token.type == "TRUE", "BOOL", at)
    if token.type == "TIME":
        return _time(text, at)
    kind, _, digits = text.rpartition("#") if token.type == "TYPED" else ("INT", "", text)
    if token.type == "TYPED":
        kind, _, digits = text.partition("#")
        if digits.upper() in ("TRUE", "FALSE") and kind.upper() == "BOOL":
            return Constant(digits.upper() == "TRUE", "BOOL", at)
    value = _integer(digits)
    if value is None:
        return f"{text[:30]!r} is not a number"
    if kind.upper() == "BOOL":
        return Constant(value == 1, "BOOL", at) if value in (0, 1) else f"{text[:30]!r}: a BOOL is 0, 1, TRUE or FALSE"
    # 32768 itself is let through for -32768; the checker looks at it again once the sign is known.
    if not INT_LOW <= value <= INT_HIGH + 1:
        return f"{text[:30]} does not fit an INT ({INT_LOW} to {INT_HIGH})"
    return Constant(value, "INT", at)


def _integer(text: str) -> int | None:
    sign, body = (-1, text[1:]) if text[:1] == "-" else (1, text[1:] if text[:1] == "+" else text)
    base, digits = 10, body
    if "#" in body:
        prefix, _, digits = body.partition("#")
        if prefix not in ("2", "8", "16"):
            return None
        base = int(prefix)
    digits = digits.replace("_", "")
    allowed = "0123456789abcdef"[:base]
    if not 0 < len(digits) <= 20 or any(c not in allowed for c in digits.lower()):
        return None
    return sign * int(digits, base)


def _time(text: str, at: Position) -> Constant | str:
    body = text.partition("#")[2].replace("_", "").lower()
    if len(body) <= 40:
        if (whole := _TIME.fullmatch(body)) and any(whole[unit] for unit in _MS):
            total = Decimal(sum(int(whole[unit]) * ms for unit, ms in _MS.items() if whole[unit]))
            sign = whole["sign"]
        elif point := _TIME_POINT.fullmatch(body):
            total, sign = Decimal(point["n"]) * _MS[point["unit"]], point["sign"]
        else:
            return f"{text[:30]!r} is not a time; write T#5s, T#500ms or T#1m30s"
        value = int(total)
        if value <= TIME_HIGH:
            return Constant(-value if sign == "-" else value, "TIME", at)
    return f"{text[:30]} is longer than a TIME holds (24 days)"
