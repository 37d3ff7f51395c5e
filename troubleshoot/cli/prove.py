"""``troubleshoot prove``: decision trees walked under every fault that shows their complaint."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from troubleshoot.cli import complete
from troubleshoot.cli.beside import beside_lines, grown_row
from troubleshoot.cli.machines_on_disk import (
    find,
    machine_files,
    meant,
    open_machine,
    read_text,
    ready_files,
    shown_path,
    stop_with,
    tree_files,
)
from troubleshoot.cli.say import complain, say
from troubleshoot.text.problem import Problem, nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.trees.model import Tree
    from troubleshoot.trees.prove import Ending, Proof

WORKERS = 2
MOST_KEPT = 4096
"""Sheets and trips that the belief of a proof keeps: it comes to the same ones again and again, in another order."""
LISTED = 6
"""Endings of one sort that are printed; --json has all."""

Rows = tuple[list[dict[str, Any]], list[Problem]]


@click.command()
@click.argument("trees", nargs=-1, metavar="[TREE]...", shell_complete=complete.trees)
@click.option(
    "--on",
    "machines",
    multiple=True,
    metavar="MACHINE",
    help="Where; repeatable. Otherwise everywhere.",
    shell_complete=complete.machines,
)
@click.option("--json", "as_json", is_flag=True, help="A JSON list with one object a tree and machine.")
@click.option("--beside", is_flag=True, help="One tree on one machine: node by node beside the grown tree.")
@click.option("--brief", is_flag=True, help="One line a tree and machine.")
@click.pass_context
def prove(
    ctx: click.Context, trees: tuple[str, ...], machines: tuple[str, ...], as_json: bool, beside: bool, brief: bool
) -> None:
    """Walk each TREE under every fault that shows its complaint, by simulated readings.

    TREE is a file or the name of a complaint; without one all trees, each on every machine that has its complaint. Says
    which faults it names wrongly, which it cannot separate, where it hands over or ends without a name, what it asks too
    early to be safe, and its expected cost beside the best order found. Exit code 1 where something is unsafe or a promise
    of the tree is not kept, 2 where a tree does not read or does not fit. With --beside, what each node costs and tells,
    wasted steps marked, and the same of a tree grown from the model.

    Example: troubleshoot prove wont-start --on belt-7
    """
    files = [tree_path(name) for name in trees] or list(tree_files().values())
    where = [str(find(name).path) for name in machines] or [
        str(w.path) for w in (*machine_files().values(), *ready_files().values())
    ]
    load_all(files)
    if beside and (len(trees), len(machines)) != (1, 1):
        raise click.UsageError("--beside takes one TREE and one --on MACHINE")
    rows: list[dict[str, Any]] = []
    problems: list[Problem] = []
    must = bool(trees and machines)
    for done, (path, (found, wrong)) in enumerate(_each(where, files, must=must), 1):
        rows += found
        problems += wrong
        spent = sum(row["seconds"] for row in found)
        complain(f"{done} of {len(where)}  {show(_name(path))}: {len(found)} trees, {spent:.1f} s")
    if problems:
        stop_with(tuple(problems))
    if as_json:
        say(json.dumps(rows))
    elif brief or len(rows) > 1:
        for line in _table(rows):
            say(show(line))
    if not as_json and not brief:
        for row in rows:
            if len(rows) == 1 or not row["holds"]:
                say("")
                for line in _lines(row):
                    say(show(line))
    if beside and rows and not as_json:
        for line in beside_lines(rows[0], grown_row(machines[0], rows[0]["tree"])):
            say(show(line))
    if not rows and not as_json:
        say("No machine here has a complaint that one of these trees answers.")
    ctx.exit(0 if all(row["holds"] for row in rows) else 1)


def tree_path(name: str) -> Path:
    """A tree by file or by the complaint it answers. Raises click.UsageError with the nearest name."""
    path, known = Path(name), tree_files()
    if path.is_file():
        return path
    if name in known:
        return known[name]
    raise click.UsageError(f"no tree {show(name)!r}{meant(name, known)}")


def load_all(files: list[Path]) -> Mapping[str, Tree]:
    from troubleshoot.trees.load import load_tree

    found: dict[str, Tree] = {}
    problems: list[Problem] = []
    for path in files:
        tree = load_tree(read_text(path), shown_path(path))
        if isinstance(tree, tuple):
            problems += tree
        elif tree.name in found:
            what = f"tree {tree.name!r} is already read from {found[tree.name].source}"
            raise click.UsageError(show(f"{shown_path(path)}: {what}"))
        else:
            found[tree.name] = tree
    if problems:
        stop_with(tuple(problems))
    return found


def _name(path: str) -> str:
    return Path(path).parent.name if Path(path).name == "circuit.yaml" else Path(path).stem


def _each(where: list[str], trees: list[Path], *, must: bool) -> Iterator[tuple[str, Rows]]:
    """The proofs on every machine, as they are done; several machines side by side."""
    if len(where) == 1:
        yield where[0], prove_on(where[0], trees, must=must)
        return
    with ProcessPoolExecutor(WORKERS) as pool:
        futures = [(path, pool.submit(prove_on, path, trees, must=must)) for path in where]
        for path, future in futures:
            yield path, future.result()


def prove_on(machine: str, files: list[Path], *, must: bool = False) -> Rows:
    """Every proof of some tree files on one machine, in plain values; or what does not fit it.

    must: a tree whose complaint the machine has not is a problem; otherwise it is passed over.
    """
    from troubleshoot.cli.machines_on_disk import open_trees
    from troubleshoot.job.desk import Desk
    from troubleshoot.text.problem import Position
    from troubleshoot.trees.answers import Answers
    from troubleshoot.trees.bind import bind
    from troubleshoot.trees.prove import prove as run

    # Read once more here: a tree holds read-only maps, which do not travel to another process.
    trees = load_all(files)
    desk = Desk(open_machine(machine), open_trees())
    desk.reasoner.most_kept = MOST_KEPT
    complaints, answers = desk.machine.circuit.complaints, Answers(desk.reasoner)
    rows: list[dict[str, Any]] = []
    problems: list[Problem] = []
    for name, tree in trees.items():
        if name not in complaints:
            if must:
                at = Position(tree.source, 1, 1)
                problems.append(
                    Problem(at, f"{desk.machine.name} has no complaint {name!r}", nearest(name, complaints))
                )
            continue
        began = time.monotonic()
        bound = bind(tree, desk.reasoner, {**desk.trees, **trees})
        if isinstance(bound, tuple):
            problems += (replace(p, what=f"on {desk.machine.name}, {p.what}") for p in bound)
            continue
        proof = run(
            bound, complaint=name, shows=desk.shows(name), rest=desk.at_rest, answers=answers, planner=desk.planner
        )
        rows.append(_row(proof) | {"seconds": round(time.monotonic() - began, 2)})
    return rows, problems


def _row(proof: Proof) -> dict[str, Any]:
    def endings(some: tuple[Ending, ...]) -> list[dict[str, Any]]:
        return [
            {
                "node": e.node, "named": e.named, "repairs": list(e.groups), "faults": list(e.suspects),
                "chance": round(e.chance, 6), "way": list(e.words), "splits": e.splits,
            }
            for e in sorted(some, key=lambda e: -e.missed)
        ]  # fmt: skip

    return {
        "tree": proof.tree, "machine": proof.machine, "faults": proof.suspects, "repairs": proof.groups,
        "named": round(proof.named, 6), "wrong": round(proof.wrong_share, 6), "together": round(proof.together_share, 6),
        "handed_over": round(proof.handed_share, 6), "nameless": round(proof.nameless_share, 6),
        "cost": round(proof.cost, 1), "best_cost": round(proof.best, 1), "ratio": round(proof.ratio, 3),
        "names_wrongly": endings(proof.wrong), "cannot_separate": endings(proof.together),
        "hands_over": endings(proof.handed), "ends_without_name": endings(proof.nameless),
        "unsafe": list(proof.unsafe), "tells_nothing": list(proof.wasted), "never_reached": list(proof.idle),
        "asked": [
            {"node": a.node, "comes": round(a.comes, 6), "seconds": round(a.seconds, 2), "bits": round(a.bits, 4)}
            for a in proof.asked
        ],
        "broken_promises": list(proof.broken), "holds": proof.holds,
    }  # fmt: skip


def _table(rows: list[dict[str, Any]]) -> Iterator[str]:
    if not rows:
        return
    wide = max(len(r["tree"]) for r in rows)
    far = max(len(r["machine"]) for r in rows)
    yield f"{'tree':<{wide}}  {'machine':<{far}}  faults  right  wrong  together  engine  no name  cost s  x best"
    for r in rows:
        marks = "".join(f"  {word}" for word, on in (("UNSAFE", r["unsafe"]), ("BROKEN", r["broken_promises"])) if on)
        yield (
            f"{r['tree']:<{wide}}  {r['machine']:<{far}}  {r['faults']:6d}  {r['named']:5.1%}  {r['wrong']:5.1%}  "
            f"{r['together']:8.1%}  {r['handed_over']:6.1%}  {r['nameless']:7.1%}  {r['cost']:6.0f}  {r['ratio']:6.2f}{marks}"
        )


def _lines(row: dict[str, Any]) -> Iterator[str]:
    yield f"{row['tree']} on {row['machine']}: {row['faults']} faults, {row['repairs']} repairs, by their chance beforehand"
    yield f"  the right repair leads at a confirm node   {row['named']:6.1%}"
    yield f"  another leads, the readings fit both       {row['together']:6.1%}"
    yield f"  another leads, its own readings against    {row['wrong']:6.1%}"
    yield f"  handed over to the engine                  {row['handed_over']:6.1%}"
    yield f"  ended without a repair                     {row['nameless']:6.1%}"
    yield (
        f"  expected {row['cost']:.0f} s to one repair, {row['ratio']:.2f} times the best order found ({row['best_cost']:.0f} s)"
    )
    for what in row["unsafe"]:
        yield f"  UNSAFE: {what}"
    for what in row["broken_promises"]:
        yield f"  PROMISE BROKEN: {what}"
    if row["tells_nothing"]:
        yield f"  asked and never tells anything: {', '.join(row['tells_nothing'])}"
    if row["never_reached"]:
        yield f"  no fault leads there: {', '.join(row['never_reached'])}"
    for key, words in (("names_wrongly", "names wrongly"), ("cannot_separate", "cannot separate")):
        for ending in row[key][:LISTED]:
            if key == "names_wrongly":
                yield f"  {words}: {ending['named']} where it is {', '.join(ending['repairs'][:4])}"
            else:
                tells = f"; {ending['splits']} would tell" if ending["splits"] else "; no reading tells"
                others = [r for r in ending["repairs"] if r != ending["named"]]
                yield f"  {words}: {ending['named']} from {', '.join(others[:4])}{tells}"
            yield f"    by {'; '.join(ending['way'][-3:])}"
        if len(row[key]) > LISTED:
            yield f"  ... {len(row[key]) - LISTED} more in --json"
    for ending in row["hands_over"][:LISTED]:
        yield f"  hands over at {ending['node']}: {', '.join(ending['repairs'][:4])}"
