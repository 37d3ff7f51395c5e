"""What laying a meter across two points moves by itself."""

from __future__ import annotations

from collections.abc import Sequence

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.motion import movables
from troubleshoot.solve.meter import settle_metered
from troubleshoot.solve.settle import standing_many


def moved_by_meter(reasoner: Reasoner, reading: Meter, situation: Situation) -> bool:
    """Whether a volts meter moves anything that matters on the machine with nothing wrong."""
    return moved_by_meters(reasoner, [reading], situation)[0]


def moved_by_meters(reasoner: Reasoner, readings: Sequence[Meter], situation: Situation) -> list[bool]:
    """The same of several, each laid by itself, settled side by side."""
    machine = reasoner.machine
    things, (plain,) = movables(machine), standing_many(machine.net, [((), situation)])
    laid = settle_metered(machine.net, situation, [(r.mode, r.red, r.black) for r in readings])
    return [any({t.moved(o.states) for o in one} != {t.moved(o.states) for o in plain} for t in things) for one in laid]
