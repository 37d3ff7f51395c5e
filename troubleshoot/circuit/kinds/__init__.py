"""Every device kind, one family a module, gathered in one table that tests walk."""

from types import MappingProxyType
from typing import Final

from troubleshoot.circuit.kinds.base import Kind
from troubleshoot.circuit.kinds.controller import PLC
from troubleshoot.circuit.kinds.drive import BRAKE, MOTOR
from troubleshoot.circuit.kinds.hands import BUTTON, EMERGENCY_STOP, PULL_CORD, SELECTOR
from troubleshoot.circuit.kinds.joints import BAR, PLUG, TERMINALS
from troubleshoot.circuit.kinds.lamps import HORN, LAMP
from troubleshoot.circuit.kinds.magnets import CONTACTOR, RELAY
from troubleshoot.circuit.kinds.process import LOAD, PROCESS_SWITCH
from troubleshoot.circuit.kinds.protection import BREAKER, DISCONNECT, FUSE, OVERLOAD
from troubleshoot.circuit.kinds.rectifiers import RECTIFIER
from troubleshoot.circuit.kinds.safety import SAFETY_RELAY
from troubleshoot.circuit.kinds.sensors import THREE_WIRE, TWO_WIRE
from troubleshoot.circuit.kinds.supplies import DC_SUPPLY, SUPPLY, TRANSFORMER
from troubleshoot.circuit.kinds.suppressors import SUPPRESSOR
from troubleshoot.circuit.kinds.timers import TIMER
from troubleshoot.circuit.kinds.unknown import UNKNOWN_CHAIN
from troubleshoot.circuit.model import Circuit

KINDS: Final = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            SUPPLY, DC_SUPPLY, TRANSFORMER, DISCONNECT, FUSE, BREAKER, OVERLOAD, BUTTON, EMERGENCY_STOP, SELECTOR, RELAY, CONTACTOR, LAMP, PLC,
            MOTOR, BRAKE, RECTIFIER, SUPPRESSOR, PROCESS_SWITCH, LOAD, TERMINALS, PLUG, BAR, PULL_CORD, TWO_WIRE, THREE_WIRE,
            TIMER, SAFETY_RELAY, HORN, UNKNOWN_CHAIN,
        )
    }
)  # fmt: skip
"""Kind name, as written in a circuit file, to its row."""


def by_hand(circuit: Circuit, sign: str) -> bool:
    """Whether a sign, by its name, is seen only with a cover off or a gauge in the hand: on dead, locked parts."""
    device = circuit.devices.get(sign.partition(" ")[0])
    return device is not None and any(s.hands and s.name == sign for s in KINDS[device.kind].signs(device))


__all__ = ["KINDS", "Kind", "by_hand"]
