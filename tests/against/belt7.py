"""The demo machine, compiled, with its program written out in plain Python: shared by the tests of the solver."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from functools import lru_cache
from pathlib import Path

import troubleshoot
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Pin
from troubleshoot.faults.suspects import Suspect, suspects_of
from troubleshoot.solve.compiled import Net, compile_circuit

MACHINE = Path(troubleshoot.__file__).parent / "machines" / "belt-7.yaml"


class BeltProgram:
    """The program of belt-7.yaml, line by line. Memory is the output bit `motor`, which the seal-in reads back."""

    def start(self, before: Hashable = None) -> Hashable:
        return False

    def scan(self, memory: Hashable, inputs: Mapping[str, bool], now_ms: int) -> tuple[Hashable, Mapping[str, bool]]:
        chain = inputs["%IX0.0"] and inputs["%IX0.2"]
        motor = chain and (inputs["%IX0.1"] or (bool(memory) and inputs["%IX0.3"]))
        return motor, {"%QX0.0": motor, "%QX0.1": motor, "%QX0.2": not motor}

    def next_event_ms(self, memory: Hashable, now_ms: int) -> int | None:
        return None


def circuit_from(text: str, name: str = "test.yaml") -> Circuit:
    """The circuit in `text`; the loader's own words when it refuses."""
    found = load_circuit(text, name)
    assert isinstance(found, Circuit), "\n".join(str(p) for p in found)
    return found


@lru_cache(maxsize=1)
def circuit() -> Circuit:
    return circuit_from(MACHINE.read_text(encoding="utf-8"), "belt-7.yaml")


def fresh_net() -> Net:
    """Compiled anew, with nothing in its cache."""
    return compile_circuit(circuit(), BeltProgram())


@lru_cache(maxsize=1)
def net() -> Net:
    return fresh_net()


@lru_cache(maxsize=1)
def suspects() -> Mapping[str, Suspect]:
    return {s.id: s for s in suspects_of(circuit())}


def pin(text: str) -> Pin:
    """``K1:14`` as a pin."""
    return Pin(*text.split(":", 1))
