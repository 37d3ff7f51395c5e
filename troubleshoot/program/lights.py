"""A program read against the lights of its controller: what it should do with them, and what holds an output off.

The lights are all that is known of a controller at the panel. Everything between inputs and outputs is worked out from
them; a bit that only the past knows (a count, a running timer) is as after power-up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from troubleshoot.program.model import Program, Value
from troubleshoot.program.network import network, resolve, why_off
from troubleshoot.program.running import scan, start, with_points

_SCANS: Final = 16
"""Scans after which what has not settled is taken as it stands (own choice)."""


@dataclass(frozen=True, slots=True)
class Against:
    """One output beside what the program makes of the inputs that are lit."""

    output: str
    """Its name or bare address in the program."""
    lit: bool
    expected: bool
    """What its network does with these lights, outputs as they are lit included (they hold themselves in)."""
    held_off: tuple[str, ...]
    """The fewest contacts that hold it off, in words; empty where its network conducts."""

    @property
    def words(self) -> str:
        """One sentence, no full stop."""
        if self.lit and not self.expected:
            return f"{self.output} is lit and by these lights should not be: {'; '.join(self.held_off)}"
        if self.expected and not self.lit:
            return (
                f"{self.output} is off and by these lights should be on: the program is another, or a point is forced"
            )
        return f"{self.output} is on" if self.lit else f"{self.output} is off: {'; '.join(self.held_off)}"


def values_by_lights(program: Program, lights: Mapping[str, bool]) -> Mapping[str, Value]:
    """Every variable as it follows from the lights of inputs and outputs, by declared name, points by address where bare.

    lights: by direct address, ``%IX0.0`` and ``%QX0.0``; what is missing counts as off.
    """
    shown = {point: on for point, on in lights.items() if point.startswith("%Q")}
    memory = with_points(program, start(program, cold=True, first_scan_edges=False), shown)
    result = scan(program, memory, lights, 0)
    for _ in range(_SCANS):
        after = with_points(program, result.memory, shown)
        if after == memory:
            break
        memory = after
        result = scan(program, memory, lights, 0)
    names = program.addresses
    return {**result.values, **{names.get(point, point): on for point, on in lights.items()}}


def read_against(program: Program, lights: Mapping[str, bool]) -> tuple[Against, ...]:
    """Every output whose light is known and whose network can be drawn, in the order of `lights`."""
    values = values_by_lights(program, lights)
    found = []
    for point, lit in lights.items():
        name = resolve(program, point) if point.startswith("%Q") else None
        part = network(program, name) if name is not None else None
        if name is None or part is None:
            continue
        expected = part.conducts(values)
        # An output that is lit has itself to hold it in; asked why it could go off it is asked as if it had gone.
        held = () if expected else why_off(program, {**values, name: False}, name)
        found.append(Against(name, lit, expected, held))
    return tuple(found)
