"""What a shell may complete: names of machines, trees, complaints and faults, as click asks for them.

A completion never fails and never talks: where something does not read, nothing is offered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps

import click
from click.shell_completion import CompletionItem

_Offer = Callable[[click.Context, click.Parameter, str], list[str]]


def _quiet(names: Callable[[click.Context], Iterable[str]]) -> _Offer:
    @wraps(names)
    def offered(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
        # Whatever goes wrong would be printed into the line that somebody is typing.
        try:
            return [name for name in names(ctx) if name.casefold().startswith(incomplete.casefold())]
        except (Exception, SystemExit):
            return []

    return offered


@_quiet
def machines(ctx: click.Context) -> Iterable[str]:
    """Machines and ready circuits, by the names of their files."""
    from troubleshoot.cli.machines_on_disk import machine_files, ready_files

    return (*machine_files(), *ready_files())


@_quiet
def trees(ctx: click.Context) -> Iterable[str]:
    """Decision trees, by the names of their files."""
    from troubleshoot.cli.machines_on_disk import tree_files

    return tree_files()


def checkable(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """What `check` takes: names, and files."""
    names = machines(ctx, param, incomplete) + trees(ctx, param, incomplete)
    return [*map(CompletionItem, names), CompletionItem(incomplete, type="file")]


def _machine(ctx: click.Context) -> str | None:
    """The machine named before. Where an option waits for its value, click leaves words that stand free unsorted."""
    named = ctx.params.get("machine")
    if named is None and ctx.args and any(param.name == "machine" for param in ctx.command.params):
        named = ctx.args[0]
    return named


@_quiet
def complaints(ctx: click.Context) -> Iterable[str]:
    """Complaints of the machine named before; otherwise those that trees answer."""
    from troubleshoot.cli.machines_on_disk import circuits, find, tree_files

    machine = _machine(ctx)
    if not machine:
        return tree_files()
    where = find(machine)
    return circuits({where.name: where})[0][where.name].complaints


@_quiet
def faults(ctx: click.Context) -> Iterable[str]:
    """Fault ids of the machine named before."""
    from troubleshoot.cli.machines_on_disk import find, read_machine

    machine = _machine(ctx)
    if not machine:
        return ()
    found = read_machine(find(machine).path)
    return () if isinstance(found, tuple) else (s.id for s in found.suspects[:-1])
