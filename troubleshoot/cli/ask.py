"""Commands that ask the model: machines, check, expect, faults, netlist."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from troubleshoot.cli import complete
from troubleshoot.cli.machines_on_disk import (
    circuits,
    find,
    machine_files,
    open_machine,
    read_machine,
    read_text,
    ready_files,
    shown_path,
    stop_with,
    tree_files,
)
from troubleshoot.cli.say import complain, say
from troubleshoot.solve.meters import RANGES, unit_of
from troubleshoot.text.problem import Problem, nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.circuit.model import Pin, Situation
    from troubleshoot.machine import Machine
    from troubleshoot.solve.edits import Edit

MODES = tuple(RANGES)


@click.command()
@click.option(
    "--json", "as_json", is_flag=True, help="A JSON list of objects: name, title, path, complaints, situations, ready."
)
def machines(as_json: bool) -> None:
    """List the machines that can be worked on, those of the plant folder and those shipped, then the ready circuits.

    Example: troubleshoot machines --json
    """
    rows = []
    for ready, files in ((False, machine_files()), (True, ready_files())):
        found, notices = circuits(files)
        rows += [
            {
                "name": name, "title": circuit.title, "path": str(files[name].path),
                "complaints": list(circuit.complaints), "situations": list(circuit.situations), "ready": ready,
            }
            for name, circuit in found.items()
        ]  # fmt: skip
        for notice in notices:
            complain(notice)
    if as_json:
        say(json.dumps(rows))
        return
    width = max((len(str(row["name"])) for row in rows), default=0)
    told = False
    for row in rows:
        if row["ready"] and not told:
            say(f"{chr(10) if row is not rows[0] else ''}Ready circuits, for a machine that nobody has described:")
            told = True
        say(f"{row['name']:<{width}}  {show(str(row['title']))}")


@click.command()
@click.argument("paths", nargs=-1, required=True, shell_complete=complete.checkable)
@click.option(
    "--json", "as_json", is_flag=True, help="A JSON list of objects: file, line, column, what, nearest, warning."
)
@click.option(
    "--watch", "again", is_flag=True, help="Check again at every change, until Ctrl-C; then the last answer counts."
)
@click.pass_context
def check(ctx: click.Context, paths: tuple[str, ...], as_json: bool, again: bool) -> None:
    """Say everything that is wrong with circuits and trees. Exit code 0 nothing, 2 something.

    A circuit that reads well and cannot work (a coil that never pulls in, a device that no wire reaches) gets warnings, which
    leave the exit code at 0.

    PATHS: files, machine folders or names; a tree is known by its first key. Example: troubleshoot check belt-7
    """
    if again:
        from troubleshoot.cli.watch import watch

        ctx.exit(watch(lambda: map(_place, paths), lambda: _check_all(paths, as_json)))
    ctx.exit(_check_all(paths, as_json))


def _check_all(paths: tuple[str, ...], as_json: bool) -> int:
    problems: list[Problem] = []
    warnings: list[Problem] = []
    for path in paths:
        found, doubtful = _check(path)
        problems += found
        warnings += doubtful
    if as_json:
        say(json.dumps([
            {"file": p.at.file, "line": p.at.line, "column": p.at.column, "what": p.what, "nearest": p.nearest, "warning": p in warnings}
            for p in (*problems, *warnings)
        ]))  # fmt: skip
    for problem in problems:
        complain(str(problem))
    for warning in warnings:
        complain(f"{show(warning.at.file)}:{warning.at.line}: warning: {show(warning.what)}")
    if problems:
        return 2
    if not as_json:
        count = f"{len(warnings)} warning{'s' if len(warnings) > 1 else ''}"
        say(f"{len(paths)} checked, {count if warnings else 'nothing wrong'}")
    return 0


def _place(name: str) -> Path:
    """The file that a file, folder or name means; a tree's name wins where no machine has it."""
    trees = tree_files()
    path = trees[name] if name in trees and name not in machine_files() else Path(name)
    return path if path.is_file() else find(name).path


def _check(name: str) -> tuple[tuple[Problem, ...], tuple[Problem, ...]]:
    """What is wrong with a file, and what looks wrong with one that reads well."""
    from troubleshoot.trees.load import load_tree

    path = _place(name)
    source, shown = read_text(path), shown_path(path)
    if any(line.startswith(b"tree:") for line in source.splitlines()):
        tree = load_tree(source, shown)
        return (tree if isinstance(tree, tuple) else ()), ()
    machine = read_machine(path)
    return (machine, ()) if isinstance(machine, tuple) else ((), _warnings(machine, source, shown))


def _warnings(machine: Machine, source: bytes, shown: str) -> tuple[Problem, ...]:
    """`doubts` at the lines that they are about, in file order."""
    from troubleshoot.machine.doubts import doubts, place_of
    from troubleshoot.safety.doings import after, by_role, doings
    from troubleshoot.text.problem import in_file_order

    named = (*machine.circuit.situations.values(), *by_role(machine).values())
    found = doubts(machine, [*(n.situation for n in named), *(after(*run.acts) for run in doings(machine).runs)])
    place = place_of(source, shown)
    return in_file_order(Problem(place(doubt), doubt.what) for doubt in found)


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option("--wiring", is_flag=True, help="Also what somebody who worked on it may have left behind.")
@click.option("--usual", is_flag=True, help="As on any machine: its own past does not count.")
@click.option(
    "--json", "as_json", is_flag=True, help="A JSON list of objects: id, words, prior, repair, usual, confirmed."
)
def faults(machine: str, wiring: bool, usual: bool, as_json: bool) -> None:
    """List everything that can be wrong with MACHINE: id, chance before anything is seen, repair.

    Repairs of this very machine that a test confirmed are counted in; where they are, their number stands beside.

    Example: troubleshoot faults belt-7 --wiring
    """
    from troubleshoot.cli.index_on_disk import own_past

    found = open_machine(machine)
    if wiring:
        found = found.with_wiring()
    as_usual = {s.id: s.prior for s in found.suspects}
    past = {} if usual else own_past(find(machine).name)
    found = found.with_past(past)
    rows = [
        {
            "id": s.id,
            "words": s.words,
            "prior": s.prior,
            "repair": {"act": s.repair[0], "item": s.repair[1]},
            "broken": s.broken,
            "usual": as_usual[s.id],
            "confirmed": past.get(s.group, 0),
        }
        for s in found.suspects
    ]
    if as_json:
        say(json.dumps(rows))
        return
    for s in sorted(found.suspects, key=lambda s: -s.prior):
        times = past.get(s.group, 0)
        own = f"  [usually {as_usual[s.id]:.5f}; {s.group} confirmed here {times}x]" if times else ""
        say(f"{s.prior:8.5f}  {s.id:<34} {show(s.words + own)}")
    if past:
        say(f"\n{sum(past.values())} confirmed repairs of this machine count; --usual leaves them out.")


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option("--after", default="", help="Acts before the reading: put S3 in run; press S1; release S1.")
@click.option(
    "--fault",
    "ids",
    multiple=True,
    help="Id of a fault that is in the machine (troubleshoot faults); repeatable.",
    shell_complete=complete.faults,
)
@click.option(
    "--meter", nargs=3, metavar="MODE A B", help=f"Mode ({', '.join(MODES)}) and the points of red and black."
)
@click.option("--lights", is_flag=True, help="Every light instead of a reading.")
@click.option("--json", "as_json", is_flag=True, help="value, unit, low, high, floating, settled, period; or lights.")
def expect(
    machine: str, after: str, ids: tuple[str, ...], meter: tuple[str, str, str] | None, lights: bool, as_json: bool
) -> None:
    """Say what a meter reads, or which lights are on, after some acts, healthy or with faults.

    Example: troubleshoot expect belt-7 --after "put S3 in run; press S1" --meter "ac volts" KM1:A1 KM1:A2
    """
    if (meter is None) == (not lights):
        raise click.UsageError("say either --meter MODE A B or --lights")
    found = _having(open_machine(machine), ids)
    situation, edits = asked_situation(found, after), asked_edits(found, ids)
    if meter is not None:
        answer = _meter(found, situation, edits, *meter)
        if as_json:
            say(json.dumps(answer))
        else:
            many = "" if answer["settled"] else f"  (does not come to rest{_rate(answer['period'])})"
            value = "OL" if answer["value"] is None else f"{answer['value']:.4g} {answer['unit']}"
            if answer["refused"]:
                say(f"no reading: {answer['refused']}")
                return
            floats = ""
            if answer["floating"]:
                span = f"{answer['low']:.3g} to {answer['high']:.3g} {answer['unit']}"
                floats = f"  (floating: {span}, collapses under load)"
            say(f"{value}{floats}{many}")
        return
    shown = _lights(found, situation, edits)
    say(json.dumps({"lights": shown}) if as_json else "\n".join(f"{name:<16} {state}" for name, state in shown.items()))


def asked_situation(machine: Machine, after: str) -> Situation:
    from troubleshoot.circuit.acts import parse_acts, reach
    from troubleshoot.circuit.model import Situation
    from troubleshoot.text.problem import Position

    acts = parse_acts(after, reach(machine.circuit.devices), Position("--after", 1, 1))
    if isinstance(acts, Problem):
        stop_with((acts,))
        raise AssertionError
    return Situation("rest", acts)


def _rate(period: list[float] | None) -> str:
    """``: comes and goes 22 to 83 times a second``."""
    return f": comes and goes {1 / period[1]:.0f} to {1 / period[0]:.0f} times a second" if period and period[0] else ""


def _having(machine: Machine, ids: tuple[str, ...]) -> Machine:
    """The machine, with its wiring suspects where one of them is asked for."""
    return machine if {s.id for s in machine.suspects}.issuperset(ids) else machine.with_wiring()


def asked_edits(machine: Machine, ids: tuple[str, ...]) -> tuple[Edit, ...]:
    by_id = {s.id: s for s in machine.suspects}
    for one in ids:
        if one not in by_id:
            near = nearest(one, by_id)
            raise click.UsageError(f"no fault {show(one)!r}" + (f" (nearest: {near})" if near else ""))
    return tuple(e for one in ids for e in by_id[one].edits)


def _pin(machine: Machine, text: str) -> Pin:
    from troubleshoot.circuit.model import Pin

    known = [n for n in machine.net.nodes if "@" not in n]
    if text not in known:
        near = nearest(text, known)
        raise click.UsageError(f"no terminal {show(text)!r}" + (f" (nearest: {near})" if near else ""))
    device, _, pin = text.partition(":")
    return Pin(device, pin)


def _meter(
    machine: Machine, situation: Situation, edits: tuple[Edit, ...], mode: str, a: str, b: str
) -> dict[str, Any]:
    from troubleshoot.solve.meter import read

    if mode not in MODES:
        near = nearest(mode, MODES)
        raise click.UsageError(
            f"no meter mode {show(mode)!r}" + (f" (nearest: {near})" if near else f": {', '.join(MODES)}")
        )
    readings = read(machine.net, edits, situation, mode, _pin(machine, a), _pin(machine, b))
    values = [v for r, _ in readings for v in (r.span or (r.value,))]
    first, outcome = readings[0]

    def finite(value: float) -> float | None:
        return round(value, 9) if math.isfinite(value) else None

    return {
        "value": finite(first.value), "unit": unit_of(mode), "low": finite(min(values)),
        "high": finite(max(values)), "floating": first.floating, "refused": first.refused,
        "settled": outcome.settled,
        "period": [outcome.period_s.low, outcome.period_s.high] if outcome.period_s else None,
        "outcomes": [{"value": finite(r.value), "chance": round(o.weight, 6)} for r, o in readings],
    }  # fmt: skip


def _lights(machine: Machine, situation: Situation, edits: tuple[Edit, ...]) -> dict[str, str]:
    from troubleshoot.diagnosis.tables import shows
    from troubleshoot.solve.settle import settle

    outcome = settle(machine.net, edits, situation)[0]
    return {s.name: shows(s, outcome) for s in machine.net.signs.values() if s.kind == "light"}


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option("--after", default="", help="Acts before the network is taken.")
@click.option(
    "--fault",
    "ids",
    multiple=True,
    help="Id of a fault that is in the machine; repeatable.",
    shell_complete=complete.faults,
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object: deck, settled, chance.")
def netlist(machine: str, after: str, ids: tuple[str, ...], as_json: bool) -> None:
    """Print the settled network of MACHINE as a SPICE deck, for checking our numbers elsewhere.

    Example: troubleshoot netlist belt-7 --after 'press S1'
    """
    from troubleshoot.solve.deck import spice_deck
    from troubleshoot.solve.settle import settle

    found = _having(open_machine(machine), ids)
    outcome = settle(found.net, asked_edits(found, ids), asked_situation(found, after))[0]
    title = f"{found.name} after: {after or 'nothing'}" + (f" with {', '.join(ids)}" if ids else "")
    deck = spice_deck(found.net, outcome, title=title)
    say(
        json.dumps({"deck": deck, "settled": outcome.settled, "chance": outcome.weight}) if as_json else deck,
        nl=as_json,
    )
