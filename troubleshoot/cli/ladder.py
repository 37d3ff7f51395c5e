"""``ladder``: the controller's program drawn, alive after some acts, and what holds an output off."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

import click

from troubleshoot.cli.ask import asked_edits, asked_situation
from troubleshoot.cli.machines_on_disk import open_machine
from troubleshoot.cli.say import say
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show


@dataclass(frozen=True, slots=True)
class _Rung:
    """One rung as it is told."""

    name: str
    on: bool | None
    lines: tuple[str, ...]
    held_off: tuple[str, ...]


@click.command()
@click.argument("machine")
@click.argument("outputs", nargs=-1)
@click.option("--after", default="", help="Draw it alive after these acts: put S3 in run; press S1.")
@click.option("--fault", "ids", multiple=True, help="Id of a fault that is in the machine; repeatable.")
@click.option("--json", "as_json", is_flag=True, help="A JSON list of objects: name, on, lines, held_off.")
def ladder(machine: str, outputs: tuple[str, ...], after: str, ids: tuple[str, ...], as_json: bool) -> None:
    """Draw the rungs of MACHINE's program as a ladder, 72 columns wide, and say what holds an output off.

    OUTPUTS: variables or addresses; without any, every wired output. A wire with power on it is drawn =, one without -.
    Example: troubleshoot ladder belt-7 motor --after "put S3 in run; press S1"
    """
    from troubleshoot.program import draw, why_off
    from troubleshoot.program.network import resolve
    from troubleshoot.solve.settle import settle

    found = open_machine(machine)
    if found.program is None:
        raise click.UsageError(f"{machine} has no program in its circuit file")
    program, values = found.program, None
    if after or ids:
        edits = asked_edits(found, ids)
        seen = found.scanned(settle(found.net, edits, asked_situation(found, after))[0], edits)
        if seen is None:
            raise click.UsageError("the controller does not run there, so its program does nothing")
        program, values = seen
    wired = [p for p in found.points if p.startswith("%Q")]
    rows = []
    for wanted in outputs or wired:
        name = resolve(program, wanted)
        lines = draw(program, wanted, values=values)
        if outputs and not lines:
            known = [v.name for v in program.variables if v.type == "BOOL"]
            near = nearest(wanted, [*known, *wired])
            raise click.UsageError(f"no rung drives {show(wanted)!r}" + (f" (nearest: {near})" if near else ""))
        if lines and name is not None:
            on = None if values is None else bool(values.get(name, False))
            held = () if values is None or on else why_off(program, values, name)
            rows.append(_Rung(name, on, lines, held))
    if as_json:
        say(json.dumps([asdict(row) for row in rows]))
        return
    for k, row in enumerate(rows):
        say(("\n" if k else "") + "\n".join(show(line) for line in row.lines))
        for text in row.held_off:
            say(f"{row.name} is off: {show(text)}")
