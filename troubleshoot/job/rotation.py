"""Which way a motor turns after work on what feeds it: two leads the other way round, and it runs backward."""

from __future__ import annotations

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Device, Pin
from troubleshoot.evidence.seen import Look
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.desk import Desk
from troubleshoot.job.state import State
from troubleshoot.job.temporary import motor_leads
from troubleshoot.safety.motion import TURNS
from troubleshoot.safety.proof import ProofCheck
from troubleshoot.trees.faces import Faces


def doubted(desk: Desk, state: State, check: ProofCheck) -> tuple[str, ...]:
    """Tags of the motors that turn in this check for the first time since the work on what feeds them."""
    seen: set[str] = set()
    for earlier in desk.proof.checks:
        if earlier.id == check.id:
            break
        seen |= set(_turning(desk, earlier)) if state.proof.get(earlier.id) else set()
    return tuple(
        tag for tag in _turning(desk, check) if tag not in seen and (any(map(motor_leads, state.put_back)) or _worked_on(desk, state, tag, check))
    )  # fmt: skip


def _turning(desk: Desk, check: ProofCheck) -> tuple[str, ...]:
    motors = {m.var for m in desk.machine.net.motors}
    asked = [w.name for w, _ in check.expects if isinstance(w, Look) and w.name in motors]
    if not asked:
        return ()
    table = desk.reasoner.table(check.situation.situation)
    state = table.outcomes[table.healthy].state
    return tuple(tag for tag in asked if state[tag] in TURNS)


def _worked_on(desk: Desk, state: State, motor: str, check: ProofCheck) -> bool:
    """Whether something was mended between the supply and a motor that carries its current."""
    by_id = {s.id: s for s in desk.machine.suspects}
    mended = [by_id[one.suspect] for one in state.repaired if one.suspect in by_id]
    if not any(s.broken for s in mended):
        return False
    wiring = Faces(desk.reasoner).wiring(check.situation.situation)
    device = desk.machine.circuit.devices[motor]
    fed = {pin for name in _leads(device) for pin in wiring.source_path(Pin(motor, name), "ac")}
    nodes = {desk.machine.net.node(pin) for pin in fed}
    # A control fuse hangs on one of the conductors; what carries the motor has two of its terminals or more on the way.
    passed = [pin.device for pin in fed]
    carries = {motor, *(tag for tag in passed if passed.count(tag) >= 2)}
    return any(_on_the_way(desk, s, nodes, carries) for s in mended if s.broken)


def _on_the_way(desk: Desk, suspect: Suspect, nodes: set[int], carries: set[str]) -> bool:
    if suspect.repair[0] == "replace" and suspect.repair[1] in carries:
        return True
    net = desk.machine.net
    elements = [net.elements[net.element_index[e.slot]] for e in suspect.edits if e.slot in net.element_index]
    return any(one.a in nodes and one.b in nodes for one in elements)


def _leads(device: Device) -> tuple[str, ...]:
    return KINDS[device.kind].rows(device)[0]


__all__ = ["doubted"]
