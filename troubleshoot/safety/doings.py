"""Situations made from the roles of a machine: started, stopped, tripped; the same on every machine that has the roles."""

from __future__ import annotations

from dataclasses import dataclass

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
        machine.having("start"),
        machine.having("stop"),
        machine.having("emergency stop", "emergency stop"),
        machine.having("overload", "overload"),
        machine.disconnects,
        tuple(t for t in machine.having("mode", "selector") if machine.circuit.devices[t].kind == "selector"),
    )


def after(*acts: Act) -> Situation:
    """A machine at rest, its supply on, and then these acts."""
    return Situation("rest", acts)
