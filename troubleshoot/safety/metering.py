"""What laying a meter across two points moves by itself."""

from __future__ import annotations

from collections.abc import Sequence

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.motion import movables
from troubleshoot.solve.compiled import spare_slot
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import burden
from troubleshoot.solve.settle import settle_many


def moved_by_meter(reasoner: Reasoner, reading: Meter, situation: Situation) -> bool:
    """Whether a volts meter moves anything that matters on the machine with nothing wrong."""
    return moved_by_meters(reasoner, [reading], situation)[0]


def moved_by_meters(reasoner: Reasoner, readings: Sequence[Meter], situation: Situation) -> list[bool]:
    """The same of several, each laid by itself: one network with an open slot where each of them goes."""
    machine = reasoner.machine
    laid = list(dict.fromkeys((r.red, r.black) for r in readings))
    metered = machine.net.with_spares(laid)
    edits = [(), *((Edit("siemens", spare_slot(r.red, r.black), 1 / burden(r.mode)),) for r in readings)]
    plain, *settled = settle_many(metered, [(some, situation) for some in edits])
    things = movables(machine)
    return [any({t.moved(o) for o in found} != {t.moved(o) for o in plain} for t in things) for found in settled]
