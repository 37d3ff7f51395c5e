"""A program read against the lights of its controller: what it should do with them, and what holds an output off.

The lights are all that is known of a controller at the panel. What a latch, a count or a timer remembers has no light:
nothing is claimed that depends on it (`known`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from troubleshoot.program.known import Known, known_by_lights, with_unknown
from troubleshoot.program.model import Program, Ref, Value
from troubleshoot.program.network import Held, held, holding_off, network, resolve
from troubleshoot.program.running import scan, start, with_points

_SCANS: Final = 16
"""Scans after which what has not settled is taken as it stands (own choice)."""


@dataclass(frozen=True, slots=True)
class Against:
    """One output beside what the program makes of the inputs that are lit."""

    output: str
    """Its name or bare address in the program."""
    point: str
    """Its direct address."""
    lit: bool
    expected: bool | None
    """What its network does with these lights, outputs as they are lit included (they hold themselves in). None: a latch,
    a count or a timer decides, and those have no light."""
    held: tuple[Held, ...]
    """The fewest contacts that hold it off; empty where its network conducts or may."""

    @property
    def agrees(self) -> bool:
        """Whether this light can be so with this program."""
        return self.expected is None or self.expected is self.lit

    @property
    def held_off(self) -> tuple[str, ...]:
        """The contacts in words."""
        return tuple(one.words for one in self.held)

    @property
    def words(self) -> str:
        """One sentence, no full stop."""
        if self.lit and self.expected is False:
            return f"{self.output} is lit and by these lights should not be: {'; '.join(self.held_off)}"
        if self.expected and not self.lit:
            return (
                f"{self.output} is off and by these lights should be on: the program is another, or a point is forced"
            )
        if self.expected is None:
            return f"{self.output} is {'on' if self.lit else 'off'}; a latch, a count or a timer without a light decides it"
        return f"{self.output} is on" if self.lit else f"{self.output} is off: {'; '.join(self.held_off)}"


def values_by_lights(program: Program, lights: Mapping[str, bool]) -> Mapping[str, Value]:
    """Every variable as it follows from the lights of inputs and outputs, by declared name, points by address where bare.

    lights: by direct address, ``%IX0.0`` and ``%QX0.0``; what is missing counts as off. What the lights do not settle is as
    after power-up; `known_by_lights` says what that is.
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
    settled = {name: value for name, value in known_by_lights(program, lights).items() if value is not None}
    return {**result.values, **settled, **{names.get(point, point): on for point, on in lights.items()}}


def unsettled(program: Program, lights: Mapping[str, bool]) -> frozenset[str]:
    """Names in `values_by_lights` that the lights do not settle: latches, counts, timers and what depends on them."""
    known = known_by_lights(program, lights)
    return frozenset(name for name in values_by_lights(program, lights) if known.get(name) is None)


def read_against(program: Program, lights: Mapping[str, bool]) -> tuple[Against, ...]:
    """Every output whose light is known and whose network can be drawn, in the order of `lights`.

    lights: by direct address, steady; an input without one is unknown.
    """
    known = known_by_lights(program, lights)
    values = values_by_lights(program, lights)
    found = []
    for point, lit in lights.items():
        name = resolve(program, point) if point.startswith("%Q") else None
        part = network(program, name) if name is not None else None
        if name is None or part is None:
            continue
        may, must = (with_unknown(part, known, taken).conducts(values) for taken in (True, False))
        expected = may if may is must else None
        # An output that is lit has itself to hold it in; asked why it could go off it is asked as if it had gone.
        gone = {**known, name: False}
        holding = () if may else _holding(program, name, gone, {**values, name: False}, frozenset())
        found.append(Against(name, point, lit, expected, holding))
    return tuple(found)


def _holding(
    program: Program, name: str, known: Mapping[str, Known], values: Mapping[str, Value], above: frozenset[str]
) -> tuple[Held, ...]:
    """What holds a network off, each bit of the program's own with what holds that off in turn."""
    part = network(program, name)
    if part is None or name in above or len(above) >= _DEEPEST:
        return ()
    above |= {name}
    found = []
    for contact in holding_off(with_unknown(part, known, True), values):
        one = held(program, contact, values, name)
        inner = isinstance(contact.source, Ref) and contact.closed_when and not one.address.startswith(("%I", "%Q"))
        if inner and not contact.label.startswith(("%I", "%Q")):
            one = replace(one, by=_holding(program, contact.label, known, values, above))
        found.append(one)
    return tuple(found)


_DEEPEST: Final = 12
"""Bits behind bits that are followed (own choice)."""
