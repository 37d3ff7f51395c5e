"""How a device is called in a sentence, the same in every one."""

from __future__ import annotations

from troubleshoot.machine import Machine
from troubleshoot.text.showing import show


def named(machine: Machine, tag: str) -> str:
    """``M1 (belt motor)``; the tag alone where the circuit file has no words for it, or no other words."""
    words = machine.circuit.devices[tag].words
    return f"{tag} ({show(words)})" if words and words != tag else tag
