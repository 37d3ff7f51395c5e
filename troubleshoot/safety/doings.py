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
    resets: tuple[str, ...]
    """Reset buttons of safety circuits: pressed and let go before anything can start."""

    def ready(self) -> tuple[Act, ...]:
        """Every reset pressed and let go."""
        return tuple(a for tag in self.resets for a in (Act("press", tag), Act("release", tag)))

    def running(self) -> tuple[Act, ...]:
        """Reset where there is one; then start pressed and let go."""
        return (*self.ready(), *(a for tag in self.starts[:1] for a in (Act("press", tag), Act("release", tag))))

    def stopped(self) -> tuple[Act, ...]:
        """Stop pressed and let go."""
        return tuple(a for tag in self.stops[:1] for a in (Act("press", tag), Act("release", tag)))


def doings(machine: Machine) -> Doings:
    """What a machine has, from its roles; overloads, emergency stops and disconnects also by their kind."""
    return Doings(
        machine.having("start"),
        machine.having("stop"),
        machine.having("emergency stop", "emergency stop", "pull cord"),
        machine.having("overload", "overload"),
        machine.disconnects,
        tuple(t for t in machine.having("mode", "selector") if machine.circuit.devices[t].kind == "selector"),
        machine.having("reset"),
    )


def to_and_fro(machine: Machine, tag: str) -> tuple[Act, Act]:
    """The act that moves a button, a head or a cord, and the one that puts it back."""
    if "pulled" in machine.net.controls[tag].positions:
        return Act("pull", tag), Act("reset", tag)
    return Act("press", tag), Act("release", tag)


def after(*acts: Act) -> Situation:
    """A machine at rest, its supply on, and then these acts."""
    return Situation("rest", acts)
