"""The desk and the state that fit what a job has found out about its machine so far, and the description it leaves."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from troubleshoot.circuit.model import Circuit
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.aliases import get_alias
from troubleshoot.job.state import State
from troubleshoot.machine.amending import seen, with_names

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk


def desk_of(desk: Desk, state: State) -> Desk:
    """The desk of the machine as a job has it by now: with its past, as it was amended, and, where somebody worked on it, with
    what they may have left behind.
    """
    described = desk.with_past(state.past).amended(state.amended)
    return described.after_work if state.worked_on else described


def fitting(desk: Desk, state: State) -> State:
    """The state without readings at points, and of lights, that the description no longer has; the log keeps them."""
    nodes, signs = desk.machine.net.index, desk.machine.net.signs
    devices = desk.machine.circuit.devices

    def there(item: object) -> bool:
        match item:
            case Meter(_, red, black):
                return str(red) in nodes and str(black) in nodes
            case Light(name) | Look(name):
                return name in signs
            case _:
                return True

    def reachable(at: Any) -> bool:
        return all(a.device in devices for a in at.acts if a.device) and all(d in devices for d, _ in at.hold)

    kept = tuple(s for s in state.evidence if there(s.what) and reachable(s.at))
    return state if len(kept) == len(state.evidence) else replace(state, evidence=kept)


def grown(desk: Desk, state: State) -> Circuit:
    """The description as it leaves a job: amended, with the printed names, and what hands have met known as seen.

    desk: of the machine as amended.
    """
    met = [p for s in state.evidence if isinstance(s.what, Meter) for p in (s.what.red, s.what.black)]
    return with_names(seen(desk.machine.circuit, met), [get_alias(alias) for alias in state.aliases])
