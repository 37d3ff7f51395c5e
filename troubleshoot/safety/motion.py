"""What turns, pulls in or lets go: states of a machine compared before and after something is done to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
import numpy.typing as npt

from troubleshoot.diagnosis.tables import Table
from troubleshoot.machine import Machine
from troubleshoot.solve.settle import Outcome

Floats = npt.NDArray[np.float64]
TURNS = ("turning", "turning backward")
Change = Literal["turns", "stops", "pulls in", "brake free", "hums"]


@dataclass(frozen=True, slots=True)
class Movable:
    """Something whose state matters to a person near it."""

    tag: str
    change: Change
    moved: Callable[[Outcome], bool]


def stands(var: str, states: tuple[str, ...], outcome: Outcome) -> bool:
    """Whether something stands in one of these states, if only for a moment of a chatter."""
    return any(state[var] in states for state in outcome.states)


def _free(brake: str, motor: str, outcome: Outcome) -> bool:
    """Whether a brake is off and its motor does not drive: the load may go where it likes."""
    return any(state[brake] == "released" and state[motor] not in TURNS for state in outcome.states)


def movables(machine: Machine) -> tuple[Movable, ...]:
    """Motors that may turn or hum, contactors that may pull in, brakes that may let an undriven load go."""
    out: list[Movable] = []
    for motor in machine.net.motors:
        var = motor.var
        out.append(Movable(var, "turns", partial(stands, var, TURNS)))
        out.append(Movable(var, "hums", partial(stands, var, ("humming",))))
        for brake in machine.net.brakes.get(var, ()):
            out.append(Movable(brake, "brake free", partial(_free, brake, var)))
    for tag, device in machine.circuit.devices.items():
        if device.kind == "contactor":
            out.append(Movable(tag, "pulls in", partial(stands, tag, ("in",))))
    return tuple(out)


def chance_of(table: Table, moved: Callable[[Outcome], bool]) -> Floats:
    """(suspects,) chance that the thing stands moved, given each suspect."""
    mask = np.array([moved(o) for o in table.outcomes], dtype=float)
    chance: Floats = np.bincount(
        table.owner, weights=table.weight * mask, minlength=len(table.machine.suspects)
    ).astype(np.float64)
    return chance


def grown(before: Table, after: Table, moved: Callable[[Outcome], bool]) -> Floats:
    """(suspects,) by how much the chance of being moved has grown from one table to the next; never below 0."""
    rise = chance_of(after, moved) - chance_of(before, moved)
    return np.where(rise > 1e-6, rise, 0.0)
