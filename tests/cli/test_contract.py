"""What every command keeps: an example in its help, JSON where it answers, and its exit codes."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from review.weeks import WEEK

from troubleshoot.cli import main
from troubleshoot.cli.door import commands


def every(command: click.Command = commands, name: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command by its whole name, those inside others too."""
    if name:
        yield name, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for inner in command.list_commands(context):
            found = command.get_command(context, inner)
            assert found is not None
            yield from every(found, f"{name} {inner}".strip())


ALL = dict(every())
LOG = str(next(iter(sorted(WEEK.rglob("*.jsonl")))))
READS = {
    "machines": "", "check": "belt-7", "expect": "belt-7 --lights", "faults": "belt-7", "hazards": "three-wire",
    "rehearse": "three-wire --complaint wont-start --fault 'KM1 coil open'",
    "trial": "three-wire --complaint wont-start --runs 1", "prove": "hums --on three-wire --brief",
    "ladder": "belt-7 motor", "netlist": "belt-7", "review read": "{log}", "log show": "{log}", "log verify": "{log}",
    "history": "", "index": "", "keys": "", "paths": "", "doctor": "", "practice": "--progress",
}  # fmt: skip
"""Commands that answer a question, each with something to ask."""

NO_JSON = {
    "plant", "job", "describe", "exercise", "start", "start machine", "start tree", "grow", "chart", "schema",
    "review", "review close", "review comment", "review key", "review sign", "log", "log export", "log redact",
    "log sheet", "completion", "manual",
}  # fmt: skip
"""Those that open a screen, write a file, or print a document in a form of its own."""


@pytest.fixture(autouse=True)
def _places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("PLANT", "PRACTICE"):
        monkeypatch.setenv(f"TROUBLESHOOT_{name}", str(tmp_path / name.lower()))
    monkeypatch.chdir(tmp_path)


def test_every_command_either_answers_with_json_or_is_none_that_answers() -> None:
    with_json = {name for name, command in ALL.items() if any("--json" in p.opts for p in command.params)}
    assert with_json == set(READS)
    assert set(ALL) == with_json | NO_JSON


@pytest.mark.parametrize("name", ALL)
def test_the_help_of_every_command_teaches_with_an_example_that_it_takes(name: str) -> None:
    command = ALL[name]
    (first, *_) = re.findall(r"Example: troubleshoot (.*)", command.help or "") or [""]
    assert first.startswith(name.removesuffix(" read")), "no example of its own"
    said = shlex.split(first.partition(" | ")[0])
    owner: click.Command = commands
    words = said
    while isinstance(owner, click.Group):
        context = click.Context(owner)
        inner, found, words = owner.resolve_command(context, words)
        assert found is not None, inner
        owner = found
    owner.make_parser(click.Context(owner)).parse_args(list(words))


@pytest.mark.parametrize("name", READS)
def test_a_question_answered_ends_with_0_or_1_and_its_json_is_all_of_stdout(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = [*name.removesuffix(" read").split(), *shlex.split(READS[name].format(log=LOG)), "--json"]
    assert main(asked) in (0, 1)
    out, err = capsys.readouterr()
    assert "\x1b" not in out + err  # no colour, whether NO_COLOR is set or not
    for line in out.splitlines() if name == "log show" else [out]:
        json.loads(line)


@pytest.mark.parametrize("name", ALL)
def test_an_option_that_is_none_ends_every_command_with_2_and_says_nothing_on_stdout(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*name.split(), "--no-such-option"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.strip()
    assert "Traceback" not in said.err


NAMED = [name for name, command in ALL.items() if name in READS and any(p.name == "machine" for p in command.params)]


@pytest.mark.parametrize("name", sorted(set(NAMED) - {"practice", "history"}))
def test_a_machine_that_is_none_ends_with_2_and_names_the_nearest(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = READS[name].replace("belt-7", "belt-77").replace("three-wire", "three-wir")
    assert main([*name.split(), *shlex.split(asked), "--json"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "nearest:" in said.err
