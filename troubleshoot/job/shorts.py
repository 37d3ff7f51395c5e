"""Before a new fuse: whether what it feeds is shorted, in ohms, on dead parts."""

from __future__ import annotations

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Pin
from troubleshoot.diagnosis.confirm import isolated
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.desk import Desk
from troubleshoot.job.state import State
from troubleshoot.safety.dead_test import earth_pin
from troubleshoot.trees.faces import Faces


def short_test(desk: Desk, state: State, item: str) -> Step | None:
    """Ohms from the fed side of a fuse to its return and to earth; None where that was read since the last repair.

    item: what is repaired, as the repair names it. None also for what is no fuse, and where nothing is drawn to read against.
    """
    machine = desk.machine
    tag = next((w for w in item.split() if w in machine.circuit.devices), "")
    dead = isolated(desk.reasoner)
    if not tag or machine.circuit.devices[tag].kind != "fuse" or not dead:
        return None
    faces = Faces(desk.reasoner)
    pins = [Pin(tag, p) for p in KINDS["fuse"].pins(machine.circuit.devices[tag])]
    fed = _fed_side(desk, faces, pins)
    at = desk.at_rest.situation
    back = faces.reference(pins[0], faces.net(pins[0], at), at) or faces.reference(pins[1], faces.net(pins[1], at), at)
    earth = earth_pin(machine, machine.circuit.devices[tag].place)
    meters = [Meter("ohms", fed, p) for p in dict.fromkeys((back, earth)) if p is not None and p != fed]
    meters = [m for m in meters if m.black not in desk.live_when_dead and m.red not in desk.live_when_dead]
    read = {s.what for s in state.evidence if s.epoch == state.epoch and isinstance(s.what, Meter)}
    asked = tuple(m for m in meters if m not in read)
    if not asked:
        return None
    words = f"Short test behind {tag} before a new one goes in"
    why = "Ohms near nothing where the feed should show its load: a new fuse would blow again, or burn what is shorted."
    return Step("measure", f"short {tag}", asked, dead[0], words, why, cost=60.0 + 12.0 * len(asked))


def _fed_side(desk: Desk, faces: Faces, pins: list[Pin]) -> Pin:
    """The side that the fuse feeds: the one that is reached through the other."""
    at = desk.at_rest.situation
    for pin, other in ((pins[1], pins[0]), (pins[0], pins[1])):
        path = faces.wiring(at).source_path(pin, faces.net(pin, at))
        if other in path:
            return pin
    return pins[1]


__all__ = ["short_test"]
