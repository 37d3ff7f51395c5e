"""``troubleshoot grow``: a decision tree made from the model of one machine, with its proof at its head."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from troubleshoot.cli import complete
from troubleshoot.cli.machines_on_disk import open_desk, stop_with
from troubleshoot.cli.say import complain, say
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.trees.prove import Proof


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option(
    "--complaint",
    required=True,
    help="Symptom as the circuit file names it: wont-start.",
    shell_complete=complete.complaints,
)
@click.option(
    "-o", "--output", type=click.Path(dir_okay=False, path_type=Path), help="File to write; otherwise stdout."
)
def grow(machine: str, complaint: str, output: Path | None) -> None:
    """Make a decision tree for one complaint of MACHINE: the tests that tell most for their time, the last ones in the proved order.

    Ctrl+C ends the search and writes what it has. At its head stands what its proof said, how much of its order is proved the cheapest, and its cost beside another order. It is for this machine alone;
      change it as you like and prove it again. Example: troubleshoot grow three-wire --complaint hums -o hums.yaml
    """
    from troubleshoot.safety.doings import UNBIDDEN

    desk = open_desk(machine)
    complaints = desk.machine.circuit.complaints
    if complaint not in complaints:
        near = nearest(complaint, complaints)
        raise click.UsageError(f"no complaint {show(complaint)!r}" + (f" (nearest: {near})" if near else ""))
    if complaint in UNBIDDEN:
        raise click.UsageError(
            f"{complaint}: a machine that moves when it must not is led by a tree that a person has written, with the "
            "disconnect open first; none is grown"
        )
    text, proof = grown(desk, complaint)
    head = (
        f"Grown from the model of {desk.machine.name}, for it alone. {proof.suspects} faults, {proof.groups} repairs.",
        f"Proved: the right repair leads for {proof.named:.1%}, together {proof.together_share:.1%}, "
        f"handed over {proof.handed_share:.1%}.",
        f"Expected {proof.cost:.0f} s, {proof.ratio:.2f} times the best order that the engine's trips make ({proof.best:.0f} s).",
        *(f"UNSAFE: {what}" for what in proof.unsafe),
    )
    whole = "".join(f"# {line}\n" for line in head) + text
    if output is None:
        say(whole, nl=False)
    else:
        output.write_text(whole, encoding="utf-8")
        complain(f"written to {show(str(output))}")


@contextmanager
def _first_interrupt_ends_the_search() -> Iterator[Callable[[], bool]]:
    """Ctrl+C ends the search for the cheapest order and has the tree written with what is known; a second one ends the command."""
    pressed = False

    def press(*_: object) -> None:
        nonlocal pressed
        if pressed:
            raise KeyboardInterrupt
        pressed = True
        complain("searching no further; the tree is finished with the orders known now (Ctrl+C again: end without one)")

    before = signal.signal(signal.SIGINT, press) if threading.current_thread() is threading.main_thread() else None
    try:
        yield lambda: pressed
    finally:
        if before is not None:
            signal.signal(signal.SIGINT, before)


def grown(desk: Desk, complaint: str) -> tuple[str, Proof]:
    """The text of a tree grown for one complaint, and its proof. A tree that does not read or fit ends the command."""
    from troubleshoot.trees.answers import Answers
    from troubleshoot.trees.bind import bind
    from troubleshoot.trees.grow import grow as made
    from troubleshoot.trees.load import load_tree
    from troubleshoot.trees.prove import prove

    answers = Answers(desk.reasoner)
    complain(f"growing {show(complaint)} on {show(desk.machine.name)}")
    places = tuple({n.situation: n for n in (desk.shows(complaint), desk.at_rest)}.values())
    said = 0

    def told(share: float, nodes: int) -> None:
        nonlocal said
        if (tenths := int(10 * share + 1e-9)) > said:
            said = tenths
            complain(f"{10 * tenths:>3} % of the faults, by chance, have their end; {nodes} nodes")

    with _first_interrupt_ends_the_search() as enough:
        text = made(answers, desk.planner, complaint, looked=desk.as_found, places=places, told=told, enough=enough)
    tree = load_tree(text, "grown")
    if isinstance(tree, tuple):
        stop_with(tree)
        raise AssertionError
    bound = bind(tree, desk.reasoner, desk.trees)
    if isinstance(bound, tuple):
        stop_with(bound)
        raise AssertionError
    complain("proving it")
    proof = prove(
        bound,
        complaint=complaint,
        shows=desk.shows(complaint),
        rest=desk.at_rest,
        answers=answers,
        planner=desk.planner,
    )
    return text, proof
