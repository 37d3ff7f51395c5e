"""Situations made from the roles of a machine: started, stopped, tripped; the same on every machine that has the roles."""

from __future__ import annotations

from dataclasses import dataclass

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.machine import Machine


@dataclass(frozen=True, slots=True)
class Doings:
    """Who does what on a machine: tags by what they are for, each with every device that has it."""

    starts: tuple[str, ...]
    stops: tuple[str, ...]
    emergency_stops: tuple[str, ...]
    overloads: tuple[str, ...]
    disconnects: tuple[str, ...]
    modes: tuple[str, ...]

    def running(self) -> tuple[Act, ...]:
        """Start pressed and let go."""
        return tuple(a for tag in self.starts[:1] for a in (Act("press", tag), Act("release", tag)))

    def stopped(self) -> tuple[Act, ...]:
        """Stop pressed and let go."""
        return tuple(a for tag in self.stops[:1] for a in (Act("press", tag), Act("release", tag)))


def doings(machine: Machine) -> Doings:
    """What a machine has, from its roles; overloads, emergency stops and disconnects also by their kind."""
    return Doings(
        _having(machine, "start"),
        _having(machine, "stop"),
        _having(machine, "emergency stop", "emergency stop"),
        _having(machine, "overload", "overload"),
        _having(machine, "disconnect", "disconnect"),
        tuple(t for t in _having(machine, "mode", "selector") if machine.circuit.devices[t].kind == "selector"),
    )


def _having(machine: Machine, role: str, kind: str = "") -> tuple[str, ...]:
    named = machine.circuit.roles.get(role, ())
    movable = [t for t in named if KINDS[machine.circuit.devices[t].kind].controls(machine.circuit.devices[t])]
    same = [t for t, d in machine.circuit.devices.items() if d.kind == kind]
    return tuple(dict.fromkeys([*movable, *same]))


def after(*acts: Act) -> Situation:
    """A machine at rest, its supply on, and then these acts."""
    return Situation("rest", acts)
