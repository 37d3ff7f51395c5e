"""A program back to text, in one spelling: reading it again gives the same statements."""

from __future__ import annotations

from collections.abc import Iterator

from troubleshoot.program.model import (
    PRECEDENCE,
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
    Value,
    Variable,
)

_LEVEL = {op: level for level, ops in enumerate(PRECEDENCE) for op in ops}
_TIGHTEST = len(PRECEDENCE)


def constant_text(value: Value, kind: str) -> str:
    if kind == "BOOL":
        return "TRUE" if value else "FALSE"
    return f"T#{value}ms" if kind == "TIME" else str(int(value))


def expression_text(node: Expression, outer: int = 0) -> str:
    """One expression; brackets only where precedence asks for them. `outer`: level of what stands around it."""
    match node:
        case Constant(value, kind):
            text = constant_text(value, kind)
            # A negative number under a sign or NOT must not run into it.
            return f"({text})" if outer >= _TIGHTEST and text.startswith("-") else text
        case Ref() | Member():
            return node.name
        case Unary(op, operand):
            inner = expression_text(operand, _TIGHTEST)
            text = f"NOT {inner}" if op == "NOT" else f"-{inner}"
            # -(5) is a sign on a constant, -5 the constant itself; --x would read as two signs and is kept apart.
            if op == "-" and (isinstance(operand, Constant) or inner.startswith("-")):
                text = f"-({inner})"
            return text
        case Chain(first, rest):
            level = _LEVEL[rest[0][0]]
            parts = [expression_text(first, level + 1)]
            parts += [f"{op} {expression_text(operand, level + 1)}" for op, operand in rest]
            text = " ".join(parts)
            return f"({text})" if level < outer else text


def program_text(program: Program) -> str:
    """The whole program as Structured Text, one statement a line."""
    lines = [f"PROGRAM {program.name}"] if program.name else []
    lines += _declarations(program.variables)
    lines += _block(program.statements, "  " if program.name else "")
    if program.name:
        lines.append("END_PROGRAM")
    return "\n".join(lines) + "\n"


def _declarations(variables: tuple[Variable, ...]) -> Iterator[str]:
    for variable in variables:
        kind = "VAR RETAIN" if variable.retain else "VAR CONSTANT" if variable.constant else "VAR"
        place = f" AT {variable.address}" if variable.address else ""
        value = f" := {expression_text(variable.initial)}" if variable.initial is not None else ""
        yield f"{kind} {variable.name}{place} : {variable.type}{value}; END_VAR"


def _block(statements: tuple[Statement, ...], indent: str) -> Iterator[str]:
    for statement in statements:
        match statement:
            case Assign(target, value):
                yield f"{indent}{target.name} := {expression_text(value)};"
            case Call(instance, inputs, outputs):
                given = [f"{pin} := {expression_text(value)}" for pin, value in inputs]
                given += [f"{pin} => {target.name}" for pin, target in outputs]
                yield f"{indent}{instance}({', '.join(given)});"
            case If(arms, otherwise):
                for index, (condition, inner) in enumerate(arms):
                    yield f"{indent}{'ELSIF' if index else 'IF'} {expression_text(condition)} THEN"
                    yield from _block(inner, indent + "  ")
                if otherwise:
                    yield f"{indent}ELSE"
                    yield from _block(otherwise, indent + "  ")
                yield f"{indent}END_IF;"
