"""How the machine stands under every suspect in one situation, without its volts: enough to say what moves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.tables import Floats, Table
from troubleshoot.machine import Machine
from troubleshoot.solve.settle import standing_many

States = Sequence[Mapping[str, str]]
"""One state at rest, or those that a machine goes through that does not come to rest."""


@dataclass(frozen=True)
class Standings:
    """All suspects of a machine in one situation. Few distinct ways to stand: what is asked of one is asked once."""

    machine: Machine
    distinct: tuple[States, ...]
    which: npt.NDArray[np.intp]
    """(outcomes,) number in `distinct`."""
    owner: npt.NDArray[np.intp]
    """(outcomes,) index into `machine.suspects`."""
    weight: Floats

    @property
    def whole(self) -> int:
        """The suspect that changes nothing: the one outside the model."""
        return len(self.machine.suspects) - 1


def standings_of(machine: Machine, situations: Sequence[Situation]) -> list[Standings]:
    """Settle every suspect in several situations, side by side."""
    count = len(machine.suspects)
    every = standing_many(machine.net, [(s.edits, situation) for situation in situations for s in machine.suspects])
    return [
        _gathered(machine, [[(one.states, one.weight) for one in found] for found in every[k : k + count]])
        for k in range(0, len(every), count)
    ]


def standings_in(table: Table) -> Standings:
    """The same from a table that is there already."""
    found: list[list[tuple[States, float]]] = [[] for _ in table.machine.suspects]
    for owner, weight, outcome in zip(table.owner.tolist(), table.weight.tolist(), table.outcomes, strict=True):
        found[owner].append((outcome.states, weight))
    return _gathered(table.machine, found)


def _gathered(machine: Machine, found: Sequence[Sequence[tuple[States, float]]]) -> Standings:
    numbers: dict[int, int] = {}
    distinct: list[States] = []
    which, owner, weight = [], [], []
    for number, group in enumerate(found):
        for states, share in group:
            if id(states) not in numbers:
                numbers[id(states)] = len(distinct)
                distinct.append(states)
            which.append(numbers[id(states)])
            owner.append(number)
            weight.append(share)
    return Standings(
        machine, tuple(distinct), np.array(which, dtype=np.intp), np.array(owner, dtype=np.intp), np.array(weight)
    )
