"""What laying a meter across two points moves by itself."""

from __future__ import annotations

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.motion import movables
from troubleshoot.solve.meter import burden
from troubleshoot.solve.settle import settle


def moved_by_meter(reasoner: Reasoner, reading: Meter, situation: Situation) -> bool:
    """Whether a volts meter moves anything that matters on the machine with nothing wrong."""
    machine = reasoner.machine
    ohms = burden(reading.mode)
    metered = machine.net.with_meter(reading.red, reading.black, complex(ohms), ohms)
    laid, plain = settle(metered, (), situation), settle(machine.net, (), situation)
    return any({t.moved(o) for o in laid} != {t.moved(o) for o in plain} for t in movables(machine))
