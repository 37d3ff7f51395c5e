"""What laying a meter across two points moves by itself."""

from __future__ import annotations

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.motion import movables
from troubleshoot.solve.meter import metered
from troubleshoot.solve.settle import settle


def moved_by_meter(reasoner: Reasoner, reading: Meter, situation: Situation) -> bool:
    """Whether a volts meter moves anything that matters on the machine with nothing wrong."""
    machine = reasoner.machine
    net = metered(machine.net, reading.mode, reading.red, reading.black)
    laid, plain = settle(net, (), situation), settle(machine.net, (), situation)
    return any({t.moved(o) for o in laid} != {t.moved(o) for o in plain} for t in movables(machine))
