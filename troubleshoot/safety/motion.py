"""What turns, pulls in or lets go: states of a machine compared before and after something is done to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
import numpy.typing as npt

from troubleshoot.diagnosis.standing import Standings, States
from troubleshoot.machine import Machine
from troubleshoot.solve.compiled import SAME

Floats = npt.NDArray[np.float64]
TURNS = ("turning", "turning backward")
Moved = Callable[[States], bool]
"""Whether something stands moved in one way to stand."""
Change = Literal["turns", "stops", "pulls in", "brake free", "hums"]


@dataclass(frozen=True, slots=True)
class Movable:
    """Something whose state matters to a person near it."""

    tag: str
    change: Change
    moved: Moved


def stands(var: str, values: tuple[str, ...], states: States) -> bool:
    """Whether something stands in one of these states, if only for a moment of a chatter."""
    return any(state[var] in values for state in states)


def _free(brake: str, motor: str, states: States) -> bool:
    """Whether a brake is off and its motor does not drive: the load may go where it likes."""
    return any(state[brake] == "released" and state[motor] not in TURNS for state in states)


def slides(brake: str, lining: str, motor: str, states: States) -> bool:
    """Whether a brake is set, its motor does not drive, and its lining does not hold: the load may go all the same."""
    return any(state[brake] == "set" and state[lining] != SAME and state[motor] not in TURNS for state in states)


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


def chance_of(found: Standings, moved: Moved) -> Floats:
    """(suspects,) chance that the thing stands moved, given each suspect."""
    mask = np.array([moved(states) for states in found.distinct], dtype=float)[found.which]
    count = len(found.machine.suspects)
    return np.bincount(found.owner, weights=found.weight * mask, minlength=count).astype(np.float64)


def stayed(before: Standings, after: Standings, moved: Moved) -> Floats:
    """(suspects,) chance that the thing stands moved in one situation and still does in the next."""
    both: Floats = np.minimum(chance_of(before, moved), chance_of(after, moved))
    return both


def grown(before: Standings, after: Standings, moved: Moved) -> Floats:
    """(suspects,) by how much the chance of being moved has grown from one situation to the next; never below 0."""
    rise = chance_of(after, moved) - chance_of(before, moved)
    return np.where(rise > 1e-6, rise, 0.0)
