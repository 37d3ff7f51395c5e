"""What laying a meter across two points moves by itself."""

from __future__ import annotations

from collections.abc import Sequence

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.motion import movables
from troubleshoot.solve.meter import metered
from troubleshoot.solve.settle import settle


def moved_by_meter(reasoner: Reasoner, reading: Meter, situation: Situation) -> bool:
    """Whether a volts meter moves anything that matters on the machine with nothing wrong."""
    return moved_by_meters(reasoner, [reading], situation)[0]


def moved_by_meters(reasoner: Reasoner, readings: Sequence[Meter], situation: Situation) -> list[bool]:
    """The same of several, each laid by itself: a network a reading, since a meter is a capacitance too."""
    machine = reasoner.machine
    things, plain = movables(machine), settle(machine.net, (), situation)
    out = []
    for reading in readings:
        laid = settle(metered(machine.net, reading.mode, reading.red, reading.black), (), situation)
        out.append(any({t.moved(o.states) for o in laid} != {t.moved(o.states) for o in plain} for t in things))
    return out
