"""``troubleshoot manual``: the manual page, made from the tables of commands, keys, settings and variables."""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Iterator

import click

from troubleshoot import __version__
from troubleshoot.cli.commands import COMMANDS, VARIABLES
from troubleshoot.cli.say import say

_WHAT = (
    "finds the fault in a motor control circuit with whoever stands before the panel, proves it repaired, and keeps a "
    "record that can be trusted. Without a command it opens the plant."
)
_SAFETY = (
    "For qualified persons. Site rules, local codes, the equipment's own instructions and licensed practice come before "
    "anything shown here. Every live reading has its caution first; the key that accepts it can be moved, but never to "
    "a digit, Enter or Space."
)
_STATUS = {
    "0": "done, or the answer is yes",
    "1": "the answer is no",
    "2": "bad input, usage or settings, with the reason on standard error",
    "70": "a bug of ours; a crash report was written",
    "129, 143": "ended by SIGHUP or SIGTERM, with all that was saved kept",
    "130": "ended by Ctrl-C in line mode",
}


@click.command()
def manual() -> None:
    """Print the manual page. Example: troubleshoot manual | man -l -"""
    say(page(), nl=False)


def page() -> str:
    """The page in the man macros; the same text for the same version."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    from troubleshoot.cli.settings import SETTINGS
    from troubleshoot.job.keys import KEYS
    from troubleshoot.review.keys import REVIEW_KEYS, WHERE

    yield f'.TH TROUBLESHOOT 1 "" "troubleshoot {__version__}" "User commands"'
    yield from _section("Name", ["troubleshoot \\- find the fault in a motor control circuit, and prove it repaired"])
    yield from _section("Synopsis", [r".B troubleshoot", r"[\fIOPTIONS\fR] [\fICOMMAND\fR [\fIARGUMENTS\fR]]"])
    yield from _section("Description", [".B troubleshoot", _text(_WHAT)])
    yield from _section("Safety", [_text(_SAFETY)])
    yield from _section("Options", _options(_group(), above_all=True))
    yield ".SH COMMANDS"
    for row in COMMANDS.values():
        yield from _command(row.name, row.where)
    yield ".SH KEYS"
    yield _text("A name in brackets can be moved to another letter in the settings file.")
    for key in KEYS.values():
        name = f" [{key.name}]" if key.movable else ""
        yield from _item(f"{key.usual}{name}", f"{key.does.capitalize()}.")
    yield _text(f"{WHERE.capitalize()} some letters do something else.")
    for other in REVIEW_KEYS:
        yield from _item(other.key, f"{other.does.capitalize()}.")
    yield from _section("Settings", [_text("One YAML file; its place is told by troubleshoot paths.")])
    for name, what in SETTINGS.items():
        yield from _item(name, f"{what.capitalize()}.")
    yield ".SH ENVIRONMENT"
    for name, what in VARIABLES.items():
        yield from _item(name, f"{what.capitalize()}.")
    yield ".SH EXIT STATUS"
    for code, what in _STATUS.items():
        yield from _item(code, f"{what.capitalize()}.")


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    yield f".SH {title.upper()}"
    yield from lines


def _item(head: str, text: str) -> Iterator[str]:
    yield ".TP"
    yield f".B {_text(head)}"
    yield _text(text)


def _group() -> click.Command:
    from troubleshoot.cli.door import commands

    return commands


def _command(name: str, where: str, above: str = "troubleshoot") -> Iterator[str]:
    module, _, attribute = where.partition(":")
    yield from _of(name, getattr(importlib.import_module(module), attribute), above)


def _of(name: str, command: click.Command, above: str) -> Iterator[str]:
    context = click.Context(command, info_name=f"{above} {name}")
    yield f".SS {_text(' '.join([above, name, *command.collect_usage_pieces(context)]))}"
    for part in (command.help or "").replace("\f", "").split("\n\n"):
        yield ".PP"
        yield _text(" ".join(part.split()))
    yield from _options(command)
    if isinstance(command, click.Group):
        for inner in command.list_commands(context):
            found = command.get_command(context, inner)
            assert found is not None
            yield from _of(inner, found, f"{above} {name}")


def _options(command: click.Command, *, above_all: bool = False) -> Iterator[str]:
    context = click.Context(command)
    for parameter in command.get_params(context):
        row = parameter.get_help_record(context)
        if row is not None and row[1] and (above_all or "--help" not in row[0]):
            yield from _item(row[0], row[1])


def _text(words: str) -> str:
    """Words as roff reads them: no line of ours begins a request, no backslash or dash is taken for another."""
    words = words.replace("\\", r"\e").replace("-", r"\-")
    return rf"\&{words}" if words[:1] in (".", "'") else words
