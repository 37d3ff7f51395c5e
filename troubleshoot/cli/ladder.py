"""``ladder``: the controller's program drawn, alive after some acts, and what holds an output off."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, NoReturn

import click

from troubleshoot.cli import complete
from troubleshoot.cli.ask import asked_edits, asked_situation
from troubleshoot.cli.machines_on_disk import open_machine
from troubleshoot.cli.say import complain, say
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.machine import Machine
    from troubleshoot.program import Against, Program, Value


@dataclass(frozen=True, slots=True)
class _Rung:
    """One rung as it is told."""

    name: str
    on: bool | None
    lines: tuple[str, ...]
    held_off: tuple[str, ...]
    against: str
    """How the program and the light of its output disagree; empty where they do not."""


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.argument("outputs", nargs=-1)
@click.option("--after", default="", help="Draw it alive after these acts: put S3 in run; press S1.")
@click.option(
    "--fault",
    "ids",
    multiple=True,
    help="Id of a fault that is in the machine; repeatable.",
    shell_complete=complete.faults,
)
@click.option("--lit", multiple=True, metavar="POINT", help="A light of the controller that is on, %IX0.0; repeatable.")
@click.option(
    "--text", "as_text", is_flag=True, help="Print the program as Structured Text instead, one statement a line."
)
@click.option("--json", "as_json", is_flag=True, help="A JSON list of objects: name, on, lines, held_off, against.")
def ladder(
    machine: str, outputs: tuple[str, ...], after: str, ids: tuple[str, ...], lit: tuple[str, ...], as_text: bool,
    as_json: bool,
) -> None:  # fmt: skip
    """Draw the rungs of MACHINE's program as a ladder, 72 columns wide, and say what holds an output off.

    OUTPUTS: variables or addresses; without any, every wired output. A wire with power on it is drawn =, one without -.
    Alive after some acts, or as the lights of the controller show it: name with --lit every one that is on.
    With --text every program comes in one spelling, from a ladder in XML too: to hold beside another copy line by line.
    Example: troubleshoot ladder belt-7 motor --after "put S3 in run; press S1"
    """
    from troubleshoot.program import draw, read_against, unsettled, values_by_lights, why_off
    from troubleshoot.program.network import resolve
    from troubleshoot.program.printing import program_text

    found = open_machine(machine)
    if found.program is None:
        raise click.UsageError(f"{machine} has no program in its circuit file")
    if as_text:
        if outputs or after or ids or lit or as_json:
            raise click.UsageError("--text is the whole program and stands alone")
        say(show(program_text(found.program), newlines="keep"), nl=False)
        return
    program, values, against = found.program, None, {}
    read: dict[str, Against] = {}
    unknown: frozenset[str] = frozenset()
    if lit:
        if after or ids:
            raise click.UsageError("say either what was done, or which lights are on")
        lights = _lights(found.points, lit)
        values, unknown = values_by_lights(program, lights), unsettled(program, lights)
        read = {one.output: one for one in read_against(program, lights)}
        against = {name: one.words for name, one in read.items() if not one.agrees}
    elif after or ids:
        program, values = _after(found, after, ids)
    wired = [p for p in found.points if p.startswith("%Q")]
    rows = []
    for wanted in outputs or wired:
        name = resolve(program, wanted)
        lines = draw(program, wanted, values=values, unknown=unknown)
        if outputs and not lines:
            known = [v.name for v in program.variables if v.type == "BOOL"]
            _unknown(f"no rung drives {show(wanted)!r}", nearest(wanted, [*known, *wired]))
        if lines and name is not None:
            on = None if values is None else bool(values.get(name, False))
            disagrees = against.get(name, "")
            held: tuple[str, ...] = () if values is None or on or disagrees else why_off(program, values, name)
            if lit and held:
                held = read[name].held_off if name in read else ()
            rows.append(_Rung(name, on, lines, held, disagrees))
    if as_json:
        say(json.dumps([asdict(row) for row in rows]))
        return
    for k, row in enumerate(rows):
        say(("\n" if k else "") + "\n".join(show(line) for line in row.lines))
        if row.against:
            say(f"{show(row.against)}")
        for text in row.held_off:
            say(f"{row.name} is off: {show(text)}")


def _unknown(what: str, near: str | None) -> NoReturn:
    raise click.UsageError(what + (f" (nearest: {show(near)})" if near else ""))


def _lights(points: Sequence[str], lit: Sequence[str]) -> dict[str, bool]:
    """Every light of the controller; those named are on."""
    from troubleshoot.program import address

    named = {address(point) or point for point in lit}
    for point in named.difference(points):
        _unknown(f"the controller has no light {show(point)!r}", nearest(point, points))
    return {point: point in named for point in points}


def _after(machine: Machine, after: str, ids: tuple[str, ...]) -> tuple[Program, Mapping[str, Value]]:
    from troubleshoot.solve.settle import settle

    edits = asked_edits(machine, ids)
    seen = machine.scanned(settle(machine.net, edits, asked_situation(machine, after))[0], edits)
    if seen is None:
        raise click.UsageError("the controller does not run there, so its program does nothing")
    if seen[1].fault:
        complain(f"The controller stops with all outputs off: {seen[1].fault}.")
    return seen[0], seen[1].values
