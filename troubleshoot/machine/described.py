"""One machine, ready to be asked: circuit, network, suspects."""

from __future__ import annotations

import hashlib
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Pin
from troubleshoot.faults.suspects import Suspect, suspects_of
from troubleshoot.faults.wiring import wiring_suspects
from troubleshoot.program import Memory, Program, next_event_ms, parse_program, scan, start
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.text.problem import Problem


@dataclass(frozen=True)
class _Scanner:
    """The program of the controller, in the shape the solver asks for."""

    program: Program

    def start(self) -> Hashable:
        return start(self.program, cold=True, retained={})

    def scan(self, memory: Hashable, inputs: Mapping[str, bool], now_ms: int) -> tuple[Hashable, Mapping[str, bool]]:
        assert isinstance(memory, Memory)
        result = scan(self.program, memory, inputs, now_ms)
        return result.memory, result.outputs

    def next_event_ms(self, memory: Hashable, now_ms: int) -> int | None:
        assert isinstance(memory, Memory)
        return next_event_ms(self.program, memory, now_ms)


@dataclass(frozen=True)
class Machine:
    """A circuit with all that follows from it. Immutable; the network and the suspects are made on first use."""

    circuit: Circuit
    program: Program | None
    content: str
    """SHA-256 of the circuit file's text: what a log and a stored table are tied to."""
    wiring: bool = False
    """Whether the suspects hold what somebody who worked on it may have left behind (`faults.wiring`)."""

    @property
    def name(self) -> str:
        return self.circuit.name

    @cached_property
    def net(self) -> Net:
        """The compiled network."""
        net = compile_circuit(self.circuit, _Scanner(self.program) if self.program else None)
        return net.with_spares(self._left_behind[1]) if self.wiring else net

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """Everything that may be wrong, conditions included; the last is "something not in this model"."""
        return suspects_of(self.circuit, also=self._left_behind[0] if self.wiring else ())

    @cached_property
    def _left_behind(self) -> tuple[tuple[tuple[Suspect, float], ...], tuple[tuple[Pin, Pin], ...]]:
        return wiring_suspects(self.circuit)

    def with_wiring(self) -> Machine:
        """The same machine with the wiring suspects: for after somebody has worked on it."""
        return replace(self, wiring=True)

    def role(self, name: str) -> str | None:
        """Tag of the first device in a role, None where the machine has none."""
        tags = self.circuit.roles.get(name, ())
        return tags[0] if tags else None

    def having(self, role: str, kind: str = "") -> tuple[str, ...]:
        """Tags of what a hand can move in a role, and of every device of `kind`, whether the file gave it the role or not."""
        devices = self.circuit.devices
        movable = [t for t in self.circuit.roles.get(role, ()) if KINDS[devices[t].kind].controls(devices[t])]
        return tuple(dict.fromkeys([*movable, *(t for t, d in devices.items() if d.kind == kind)]))

    @cached_property
    def disconnects(self) -> tuple[str, ...]:
        """Everything that must be open for the machine to be off."""
        return self.having("disconnect", "disconnect")


def describe(source: str | bytes, file: str) -> Machine | tuple[Problem, ...]:
    """Read a machine from the text of its circuit file; every problem at once where there are any."""
    loaded = load_circuit(source, file)
    if isinstance(loaded, tuple):
        return loaded
    program: Program | None = None
    if loaded.program is not None:
        parsed = parse_program(loaded.program.text, file, loaded.program.line)
        if isinstance(parsed, tuple):
            return parsed
        program = parsed
    raw = source if isinstance(source, bytes) else source.encode()
    return Machine(loaded, program, hashlib.sha256(raw).hexdigest())
