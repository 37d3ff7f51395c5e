"""``troubleshoot start``: a first file of a machine or a tree, with comments, that reads well and waits to be changed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

import click

from troubleshoot.cli import complete
from troubleshoot.cli.data import plant_folder
from troubleshoot.cli.exporting import NotWritten, write_new
from troubleshoot.cli.machines_on_disk import (
    CIRCUIT,
    circuits,
    machine_files,
    meant,
    read_text,
    ready_files,
    shown_path,
    stop_with,
    tree_files,
)
from troubleshoot.cli.saving import folders, save_machine
from troubleshoot.cli.say import complain, say
from troubleshoot.text.showing import show

PATTERN: Final = "three-wire"
"""What a machine begins as where nothing is said: the least there can be between a button and a motor."""

_HEAD: Final = """\
{name}: begun from {like}. Until you change it, this is the wiring of {like}, NOT of your panel.
Go to the panel with this file and the drawing, power off and proved dead where a cover comes off:
  1. tags, ratings and places as they are printed there; throw out what is not there, add what is;
  2. wires by number, with the pins they run past, in order;
  3. `known: {known}` says that nobody has compared it. Make it `told`, `seen` or `measured` where you did.
After each change: troubleshoot check {checked}    (or leave `troubleshoot check --watch {checked}` running)"""

_SECTIONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "places": "Where things are, in words people there use; walk is the way from the place before.",
        "devices": "Tag as printed: kind, place, words. Every kind with its keys: troubleshoot schema circuit",
        "wires": "A wire is its number and the pins it runs past, in order.",
        "runs": "Cables and ducts: what is pulled together fails together.",
        "program": "What the controller does with its points, as Structured Text or a ladder.",
        "roles": "Which device plays which part. Trees speak of roles, never of tags.",
        "situations": "States people talk about, and the acts that lead there.",
        "complaints": "What people say when it goes wrong, and the situation that shows it.",
        "priors": "What fails here more often than elsewhere: 2.0 is twice as often.",
    }
)

_TREE: Final = """\
# {name}: a first tree, three questions and a way out. Every key: docs/reference/tree-file.md.
# Order the nodes as you would go about it: what is quick and safe first. Then let the program walk it under every fault:
#   troubleshoot check {file}
#   troubleshoot prove {file} --on MACHINE

# The complaint it answers, by the name that circuit files give it.
tree: {name}
title: Say in a sentence what this tree is for

# Roles, not tags: so it fits every machine that has them.
needs: [contactor, motor]

# How the machine is met at the first node.
situation: as found

nodes:
  # A round with the hands behind the back. What can be seen needs no meter.
  - id: round
    look: [contactor, motor, overload, disconnect]
    why: Say here what it teaches to look there first.
    next: ask for it

  # Somebody holds Start; nobody else is near what may move.
  - {{id: ask for it, operate: start held, next: coil}}

  # A live reading. Its caution is computed from the circuit and comes before the leads are out.
  - id: coil
    measure: [contactor.coil]
    why: The right volts here divide the job in two.
    branches:
      as expected: confirm
      nothing: rung
    # Whatever else was read, and what could not be read, goes on here.
    next: rung

  # Halving finds where on the path it is lost; the program knows the path of each machine.
  - {{id: rung, halve: [source, contactor.coil.hot], branches: {{found: confirm, all right: confirm}}}}

  # Nothing is replaced before a dead test agrees.
  - id: confirm
    confirm: the leading repair
    situation: isolated
    why: One reading points; the part itself, dead, says it.
"""


@click.group()
def start() -> None:
    """Begin a machine or a tree from a file that already works. Nothing that is there is ever written over.

    Example: troubleshoot start machine mixer-2 --like three-wire
    """


@start.command("machine")
@click.argument("name")
@click.option(
    "--like", help=f"Machine or ready circuit to begin from; otherwise {PATTERN}.", shell_complete=complete.machines
)
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File to write, instead of one in the plant.",
)
def start_machine(name: str, like: str | None, output: Path | None) -> None:
    """Begin the circuit file of machine NAME in the plant folder: the wiring of another one, every part marked as not compared.

    Example: troubleshoot start machine mixer-2 --like three-wire
    """
    from troubleshoot.describe.copying import copy_of
    from troubleshoot.describe.naming import short_name

    _fit(name, short_name(name, ()))
    ready, mine = ready_files(), machine_files()
    known = {**ready, **mine}
    if name in known or (output is None and name.casefold() in folders()):
        at = shown_path(known[name].path if name in known else plant_folder() / name)
        raise click.UsageError(f"{show(name)!r} is there already: {at}. Choose another name")
    like = like or PATTERN
    if like not in known:
        _no("machine or ready circuit", like, known)
    found, notices = circuits({like: known[like]})
    if like not in found:
        raise click.UsageError(notices[0])
    circuit = found[like]
    target = output or plant_folder() / name / CIRCUIT
    checked = shown_path(target) if output else name
    text = copy_of(
        circuit, machine=name, title=f"{name} (say what it is and where)", known="copied" if like in mine else "assumed"
    )
    head = _HEAD.format(name=name, like=like, known="copied" if like in mine else "assumed", checked=checked)
    text = _commented(text, head)
    if output is None:
        save_machine(name, text, like)
    else:
        if circuit.program is not None and circuit.program.file:
            raise click.UsageError(
                f"{show(like)} has its program in a file beside it: leave -o out, and both go into the plant"
            )
        _reads(text, output)
        _write(output, text)
    _tell(target)


def _commented(text: str, head: str) -> str:
    """The text of a circuit file with a head instead of its first comment, and a line above each of its parts."""
    lines = text.splitlines()
    while lines and lines[0].startswith("#"):
        del lines[0]
    out = [f"# {line}".rstrip() for line in head.splitlines()]
    for line in lines:
        if (key := re.match(r"(\w+):", line)) and key[1] in _SECTIONS:
            out.append(f"# {_SECTIONS[key[1]]}")
        out.append(line)
    return "\n".join(out) + "\n"


@start.command("tree")
@click.argument("name", shell_complete=complete.complaints)
@click.option(
    "--like", help="Tree to begin from; otherwise the one of that name, or a short one.", shell_complete=complete.trees
)
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File to write, instead of one in the plant.",
)
def start_tree(name: str, like: str | None, output: Path | None) -> None:
    """Begin a tree for the complaint NAME in the plant folder, where it is used instead of the one that came along.

    Example: troubleshoot start tree wont-start --like wont-start
    """
    from troubleshoot.describe.naming import short_name
    from troubleshoot.safety.doings import UNBIDDEN
    from troubleshoot.trees.load import load_tree

    _fit(name, short_name(name, ()))
    known = tree_files()
    if like is not None and like not in known:
        _no("tree", like, known)
    target = output or plant_folder() / "trees" / f"{name}.yaml"
    like = like or (name if name in known else None)
    if like is None and name in UNBIDDEN:
        # A first tree has Start held; here the disconnect is opened before anything is asked.
        raise click.UsageError(f"{name}: a machine that moves when it must not; begin from one of those trees (--like)")
    if like is None:
        text = _TREE.format(name=name, file=shown_path(target))
    else:
        before = read_text(known[like]).decode("utf-8", "replace")
        body, times = re.subn(r"(?m)^tree:[^\n]*$", f"tree: {name}", before)
        if times != 1:
            raise click.UsageError(f"{shown_path(known[like])} cannot be begun from: troubleshoot check {show(like)}")
        text = (
            f"# {name}: begun from the tree {like}. Change it, then: troubleshoot check {shown_path(target)}\n"
            f"# and troubleshoot prove {shown_path(target)}: what it names, confuses and costs. A promise that no longer\n"
            "# holds is told there. Every key: docs/reference/tree-file.md.\n\n"
        ) + body
    loaded = load_tree(text, shown_path(target))
    if isinstance(loaded, tuple):
        stop_with(loaded)
    if output is None:
        target.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
        if name in known:
            complain(f"jobs here now use this tree instead of {shown_path(known[name])}")
    _write(target, text)
    _tell(target)


def _fit(name: str, fitting: str) -> None:
    if name != fitting:
        raise click.UsageError(f"{show(name)!r} is no name for a folder and a file (nearest: {fitting})")


def _no(what: str, name: str, known: Mapping[str, object]) -> None:
    raise click.UsageError(f"no {what} {show(name)!r}{meant(name, known)}")


def _reads(text: str, path: Path) -> None:
    from troubleshoot.circuit.load import load_circuit

    loaded = load_circuit(text, shown_path(path))
    if isinstance(loaded, tuple):
        stop_with(loaded)


def _write(path: Path, text: str) -> None:
    try:
        write_new(path, text.encode("utf-8"))
    except NotWritten as why:
        raise click.UsageError(str(why).replace("; --force replaces it", "; choose another name")) from None


def _tell(path: Path) -> None:
    say(show(str(path)))
    complain("written; it reads well. Change it, and check it after each change.")
