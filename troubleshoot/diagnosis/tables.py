"""Computed values of every suspect in one situation: what the whole fault dictionary is made of.

A `Table` holds the outcomes of all suspects in one situation, flattened: one column an outcome, with the suspect it
belongs to and its weight. It is computed once a situation and kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Sign
from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.evidence.likelihood import Predicted
from troubleshoot.evidence.seen import Light, Look, Meter, Mode, Word
from troubleshoot.machine import Machine
from troubleshoot.solve import stray
from troubleshoot.solve.converters import domain
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import bulk
from troubleshoot.solve.meters import VOLTS
from troubleshoot.solve.network import Network, holds
from troubleshoot.solve.settle import Outcome, settle_many

Floats = npt.NDArray[np.float64]
UNSTEADY = Word.UNSTEADY.value


@dataclass(frozen=True)
class Table:
    """All suspects of a machine in one situation."""

    machine: Machine
    situation: Situation
    also: tuple[Edit, ...]
    """Edits laid over every suspect: what had also been wrong before a repair."""
    outcomes: tuple[Outcome, ...]
    owner: npt.NDArray[np.intp]
    """(outcomes,): index into `machine.suspects`."""
    weight: Floats

    @cached_property
    def healthy(self) -> int:
        """Index of an outcome of the machine with nothing wrong (the suspect outside the model has no edits)."""
        return int(np.flatnonzero(self.owner == len(self.machine.suspects) - 1)[0])

    @cached_property
    def _distinct(self) -> tuple[list[Network], npt.NDArray[np.intp]]:
        place: dict[int, int] = {}
        distinct: list[Network] = []
        for outcome in self.outcomes:
            for network in outcome.networks:
                if id(network) not in place:
                    place[id(network)] = len(distinct)
                    distinct.append(network)
        return distinct, np.array([place[id(o.network)] for o in self.outcomes], dtype=np.intp)

    @cached_property
    def _jumpy(self) -> tuple[tuple[int, npt.NDArray[np.intp]], ...]:
        """Outcomes that do not come to rest, each with the columns of all its moments."""
        place = {id(network): k for k, network in enumerate(self._distinct[0])}
        return tuple(
            (k, np.array([place[id(n)] for n in outcome.networks], dtype=np.intp))
            for k, outcome in enumerate(self.outcomes)
            if len(outcome.networks) > 1
        )

    def _range(self, values: Floats) -> tuple[Floats, Floats]:
        """Middle and half the swing of each outcome: (rows, distinct networks) to two of (rows, outcomes)."""
        middle: Floats = values[:, self.inverse]
        swing = np.zeros_like(middle)
        for k, columns in self._jumpy:
            low, high = values[:, columns].min(axis=1), values[:, columns].max(axis=1)
            same = np.isinf(low) | (low == high)
            middle[:, k] = np.where(same, low, (low + np.where(np.isinf(high), low, high)) / 2)
            swing[:, k] = np.where(same, 0.0, np.subtract(high, low, where=~same, out=np.zeros_like(high)) / 2)
        return middle, swing

    @property
    def inverse(self) -> npt.NDArray[np.intp]:
        """(outcomes,) column of each outcome in `volts` and `islands`, which hold each distinct network once."""
        return self._distinct[1]

    @cached_property
    def scale(self) -> dict[str, float]:
        """Largest volts to earth anywhere on the healthy machine, by kind of current."""
        network = self.outcomes[self.healthy].network
        return {kind: float(np.abs(network.volts(kind)).max()) for kind in ("ac", "dc")}

    @cached_property
    def volts(self) -> dict[str, npt.NDArray[np.inexact]]:
        """(nodes, distinct networks) open-circuit volts to earth by kind of current."""
        distinct, _ = self._distinct
        return {kind: np.stack([n.volts(kind) for n in distinct], axis=1) for kind in ("ac", "dc")}

    def open_volts(self, kind: str, pairs: Sequence[tuple[Pin, Pin]]) -> Floats:
        """(pairs, outcomes) magnitude of the open-circuit volts: for planning; `predict` adds the meter's burden."""
        return self.open_range(kind, pairs)[0]

    def open_range(self, kind: str, pairs: Sequence[tuple[Pin, Pin]]) -> tuple[Floats, Floats]:
        """As `open_volts`: the middle, and half of how far it swings where the machine does not come to rest."""
        net, volts = self.machine.net, self.volts[kind]
        red = np.array([net.node(r) for r, _ in pairs], dtype=np.intp)
        black = np.array([net.node(b) for _, b in pairs], dtype=np.intp)
        return self._range(np.abs(volts[red] - volts[black]))

    def spans(self, mode: Mode, pairs: Sequence[tuple[Pin, Pin]]) -> tuple[Floats, Floats]:
        """The least and the most that each reading may be where it floats; both (pairs, outcomes), volts."""
        net, (distinct, inverse) = self.machine.net, self._distinct
        volts = self.volts["dc" if mode == "dc volts" else "ac"]
        red, black = (np.array([net.node(pair[end]) for pair in pairs], dtype=np.intp) for end in (0, 1))
        low, high = stray.span(net, distinct, self.islands, mode, pairs, np.abs(volts[red] - volts[black]))
        return low[:, inverse], high[:, inverse]

    @cached_property
    def islands(self) -> npt.NDArray[np.intp]:
        """(nodes + 1, distinct networks) label of the stiffly connected island of every node; the last row is earth."""
        return stray.islands(self.machine.net, self._distinct[0])

    def loose(self, pairs: Sequence[tuple[Pin, Pin]]) -> npt.NDArray[np.bool_]:
        """(pairs, outcomes): nothing stiff connects the two points, so a reading between them floats."""
        _, inverse = self._distinct
        net, islands = self.machine.net, self.islands
        red = np.array([net.node(r) for r, _ in pairs], dtype=np.intp)
        black = np.array([net.node(b) for _, b in pairs], dtype=np.intp)
        # Between a point behind a rectifier and one that is not there, nothing is computed.
        of = domain(net)
        found: npt.NDArray[np.bool_] = ((islands[red] != islands[black]) | (of[red] != of[black])[:, None])[:, inverse]
        return found

    def predict(self, what: Meter | Light | Look) -> Predicted:
        """Computed values of one observable under every outcome, the meter's burden included."""
        return self.predict_meters([what])[0] if isinstance(what, Meter) else self._predict_sign(what)

    def predict_meters(self, whats: Sequence[Meter]) -> list[Predicted]:
        """The same for several meter readings of any modes, each mode solved once."""
        distinct, inverse = self._distinct
        out: dict[int, Predicted] = {}
        for mode in dict.fromkeys(w.mode for w in whats):
            chosen = [(k, w) for k, w in enumerate(whats) if w.mode == mode]
            pairs = [(w.red, w.black) for _, w in chosen]
            table = bulk(self.machine.net, distinct, mode, pairs)
            floats = table.floating.any()
            spans = stray.span(self.machine.net, distinct, self.islands, mode, pairs, table.value) if floats else None
            scale = 0.0 if mode not in VOLTS else self.scale["dc" if mode == "dc volts" else "ac"]
            if mode == "amps":
                scale = float(np.abs(table.value).max())
            for row, (k, _) in enumerate(chosen):
                middle, swing = self._range(table.value[row : row + 1])
                value = middle[0]
                out[k] = Predicted(
                    value, table.floating[row][inverse], None, swing[0], float(value[self.healthy]), scale,
                    None if spans is None else (spans[0][row][inverse], spans[1][row][inverse]),
                )  # fmt: skip
        return [out[k] for k in range(len(whats))]

    def _predict_sign(self, what: Light | Look) -> Predicted:
        sign = self.machine.net.signs[what.name]
        shown = np.array([shows(sign, o) for o in self.outcomes])
        zeros = np.zeros(len(self.outcomes))
        return Predicted(zeros, zeros > 1, shown, np.where(shown == UNSTEADY, np.inf, 0.0), 0.0, 0.0)


def shows(sign: Sign, outcome: Outcome) -> str:
    """What a light or a look shows in one outcome; ``unsteady`` where it comes and goes."""
    seen = {shows_in(sign, state) for state in outcome.states}
    return seen.pop() if len(seen) == 1 else UNSTEADY


def shows_in(sign: Sign, state: Mapping[str, str]) -> str:
    """What a light or a look shows at one moment."""
    return sign.shows.get(state.get(sign.var, ""), sign.without) if holds(sign.needs, state) else sign.without


def tables_of(machine: Machine, situations: Sequence[Situation], also: tuple[Edit, ...] = ()) -> list[Table]:
    """Settle every suspect in several situations: side by side, which takes less than one after the other.

    also: edits laid over all of them.
    """
    edits = [(*suspect.edits, *also) for suspect in machine.suspects]
    every = settle_many(machine.net, [(some, situation) for situation in situations for some in edits])
    out = []
    for k, situation in enumerate(situations):
        found = every[k * len(edits) : (k + 1) * len(edits)]
        owner = np.array([n for n, outs in enumerate(found) for _ in outs], dtype=np.intp)
        weight = np.array([o.weight for outs in found for o in outs])
        out.append(Table(machine, situation, also, tuple(o for outs in found for o in outs), owner, weight))
    return out
