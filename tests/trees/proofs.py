"""Proofs for tests: one machine's tables shared by all of them."""

from __future__ import annotations

from functools import cache

from trees.played import reasoner, tree

from troubleshoot.circuit.model import NamedSituation, Situation
from troubleshoot.diagnosis.plan import Planner
from troubleshoot.safety.doings import by_role
from troubleshoot.trees import Bound, Tree, bind, load_tree
from troubleshoot.trees.answers import Answers
from troubleshoot.trees.prove import Proof, prove

LIBRARY = (
    "blows-fuse", "brake-drags", "brake-slips", "chatters", "hums", "jog-latches", "light-lies", "starts-itself",
    "stops-itself", "trips-overload", "waits", "wont-hold", "wont-start", "wont-stop", "wrong-way",
)  # fmt: skip


@cache
def tools(machine: str) -> tuple[Answers, Planner]:
    return Answers(reasoner(machine)), Planner(reasoner(machine))


def shows(machine: str, complaint: str) -> NamedSituation:
    circuit = reasoner(machine).machine.circuit
    name = circuit.complaints[complaint].shows
    return {**by_role(reasoner(machine).machine), **circuit.situations}[name]


def prove_text(text: bytes, machine: str) -> Proof:
    found = load_tree(text, "t")
    assert isinstance(found, Tree), "\n".join(map(str, found))
    return prove_tree(found, machine)


def prove_tree(found: Tree, machine: str) -> Proof:
    fitted = bind(found, reasoner(machine), {name: tree(name) for name in LIBRARY})
    assert isinstance(fitted, Bound), "\n".join(map(str, fitted))
    answers, planner = tools(machine)
    rest = reasoner(machine).machine.circuit.situations.get("at rest", NamedSituation("at rest", "", Situation("rest")))
    return prove(
        fitted, complaint=found.name, shows=shows(machine, found.name), rest=rest, answers=answers, planner=planner
    )


@cache
def proof(name: str, machine: str) -> Proof:
    return prove_tree(tree(name), machine)
