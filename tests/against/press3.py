"""Press 3, an invented machine with the kinds of the control side that the demo machine has not."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from functools import lru_cache
from pathlib import Path

from against.belt7 import circuit_from

from troubleshoot.circuit.model import Circuit
from troubleshoot.faults.suspects import Suspect, suspects_of
from troubleshoot.solve.compiled import Net, compile_circuit

FILE = Path(__file__).with_name("press-3.yaml")


class PressProgram:
    """The program of press-3.yaml, line by line. Memory is the bit `run`."""

    def start(self, before: Hashable = None) -> Hashable:
        return False

    def scan(self, memory: Hashable, inputs: Mapping[str, bool], now_ms: int) -> tuple[Hashable, Mapping[str, bool]]:
        run = inputs["%IX0.1"] and (inputs["%IX0.0"] or bool(memory))
        valve = inputs["%IX0.2"] or inputs["%IX1.0"]
        horn = inputs["%IX0.3"] or not inputs["%IX0.4"]
        return run, {"%QX0.0": run, "%QX0.1": run, "%QX0.2": valve, "%QX0.3": horn, "%QX0.4": run}

    def next_event_ms(self, memory: Hashable, now_ms: int) -> int | None:
        return None


@lru_cache(maxsize=1)
def circuit() -> Circuit:
    return circuit_from(FILE.read_text(encoding="utf-8"), FILE.name)


@lru_cache(maxsize=1)
def net() -> Net:
    return compile_circuit(circuit(), PressProgram())


@lru_cache(maxsize=1)
def suspects() -> Mapping[str, Suspect]:
    return {s.id: s for s in suspects_of(circuit())}
