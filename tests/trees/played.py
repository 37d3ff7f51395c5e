"""A machine with one thing wrong, answering whatever a tree asks with what its own settle gives."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.step import Step
from troubleshoot.diagnosis.tables import shows
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Seen
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.meter import bulk
from troubleshoot.solve.settle import Outcome, settle
from troubleshoot.trees import Bound, Tree, Walk, bind, load_tree, walk

ROOT = Path(__file__).resolve().parents[2]
MACHINES = {
    **{path.stem: path for path in sorted((ROOT / "troubleshoot/circuits").glob("*.yaml"))},
    "belt-7": ROOT / "troubleshoot/machines/belt-7.yaml",
    "fan-2": Path(__file__).parent / "machines/fan-2.yaml",
}
TREES = ("wont-start", "wont-hold")


@cache
def reasoner(name: str) -> Reasoner:
    machine = describe(MACHINES[name].read_text(encoding="utf-8"), f"{name}.yaml")
    assert isinstance(machine, Machine), "\n".join(map(str, machine))
    return Reasoner(machine)


@cache
def tree(name: str) -> Tree:
    found = load_tree((ROOT / f"trees/{name}.yaml").read_bytes(), f"trees/{name}.yaml")
    assert isinstance(found, Tree), "\n".join(map(str, found))
    return found


@cache
def bound(name: str, machine: str) -> Bound:
    found = bind(
        tree(name), reasoner(machine), {path.stem: tree(path.stem) for path in (ROOT / "trees").glob("*.yaml")}
    )
    assert isinstance(found, Bound), "\n".join(map(str, found))
    return found


@cache
def stands(machine: str, suspect: int, at: Situation) -> Outcome:
    found = reasoner(machine).machine
    return settle(found.net, found.suspects[suspect].edits, at)[0]


def answer(machine: str, suspect: int, what: Meter | Light | Look, at: Situation) -> Seen:
    net = reasoner(machine).machine.net
    outcome = stands(machine, suspect, at)
    if isinstance(what, Meter):
        value = float(bulk(net, [outcome.network], what.mode, [(what.red, what.black)]).value[0][0])
        unit = {"amps": "A", "ohms": "ohm"}.get(what.mode, "V")
        return Seen(what, f"{value:.1f}", Interval(value, value, unit), at, batch=1)  # type: ignore[arg-type]
    said = shows(net.signs[what.name], outcome)
    return Seen(what, said, said, at)


@dataclass(frozen=True)
class Played:
    """A whole walk: what was asked, what was seen, how it ended."""

    asked: tuple[Step, ...]
    evidence: tuple[Seen, ...]
    last: Walk


@cache
def play(tree_name: str, machine: str, suspect: int, most: int = 12, cannot: tuple[object, ...] = ()) -> Played:
    """Answer until the tree ends, at most `most` steps."""
    fitted = bound(tree_name, machine)
    evidence: list[Seen] = []
    asked: list[Step] = []
    while True:
        now = walk(fitted, evidence, cannot=frozenset(cannot))  # type: ignore[arg-type]
        assert now.step is not None
        if now.step.kind in ("confirm", "engine", "end") or len(asked) == most:
            return Played(tuple(asked), tuple(evidence), now)
        asked.append(now.step)
        evidence += [answer(machine, suspect, what, now.step.situation.situation) for what in now.step.items]


def number(machine: str, suspect: str) -> int:
    return [s.id for s in reasoner(machine).machine.suspects].index(suspect)
