"""A better first trip than the greedy one, looked for slice by slice while nobody waits.

The greedy choice is on the screen at once. Behind it the tests of this belief are posed as a problem in numbers
(`trees.exact`), and a search cut short (`diagnosis.optimum`) looks some sets of suspects ahead. Where its first trip makes
the job shorter, it is put in the place of the greedy one by an event of its own: how a job stands follows from its events
alone, and never from how fast a search was.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.optimum import Problem, Search
from troubleshoot.diagnosis.plan import FEW
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Meter
from troubleshoot.faults.suspects import OUTSIDE
from troubleshoot.job.desk import Desk
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.trees.exact import Posed, pose
from troubleshoot.trees.order import Column

MOST_SUSPECTS: Final = 24
"""The likeliest suspects that are looked at: of the rest little hangs on the first trip, and a search grows fast with them."""
MOST_SETS: Final = 40
"""Sets of suspects looked into. Measured by `tests/measure/optimum_all.py`: as good as the proved optimum."""
WORTH: Final = 0.03
"""Share of the expected time that another trip must save: for less nothing on the screen is moved."""


def open_to_another(desk: Desk, state: State) -> Stage | None:
    """The stage in which the engine's own trip is asked and the person has not begun with it; else None."""
    if state.accepted or state.chosen is not None:
        return None
    stage = stage_of(desk, state)
    if stage.name != "search" or stage.step is None or stage.step.source != "engine" or stage.step.kind != "measure":
        return None
    return stage


@dataclass
class Searching:
    """One search for the first trip of one state. Each call of `on` is a slice of some tenths of a second at most."""

    desk: Desk
    state: State
    better: Step | None = None
    """The trip that is worth putting first, once there is nothing left to do and there is one."""
    looked: int = 0
    _posed: Posed | None = None
    _columns: list[tuple[NamedSituation, Meter]] = field(default_factory=list)
    _search: Search | None = None

    def on(self) -> bool:
        """Do one slice. True while there is more to do."""
        if open_to_another(self.desk, self.state) is None:
            return False
        if self._search is None:
            return self._pose()
        found = self._search.exact(most_sets=1)
        self.looked += 1
        if self.looked < MOST_SETS and not found.proved:
            return True
        self._pick()
        return False

    def _pose(self) -> bool:
        desk, state = self.desk, self.state
        belief = desk.belief(state)
        suspects = desk.machine.suspects
        inside = [
            k for k in np.argsort(-belief)[:MOST_SUSPECTS].tolist() if suspects[k].group != OUTSIDE and belief[k] > FEW
        ]
        names = {name: k for k, name in enumerate(dict.fromkeys(s.group for s in suspects))}
        group = np.array([names[s.group] for s in suspects], dtype=np.intp)
        done = {(s.what, s.at) for s in state.evidence if s.epoch == state.epoch and s.phase == state.phase}
        columns: list[Column] = []
        for at in desk.places(state):
            if at.name in state.out:
                continue
            lists = desk.planner.candidates(at.situation)
            table = desk.reasoner.table(at.situation)
            likeliest = np.array(
                [_likeliest(table.owner, table.weight, k) for k in range(len(suspects))], dtype=np.intp
            )
            if not lists.items:
                continue
            codes = lists.chances.argmax(axis=2)[:, likeliest].astype(np.intp)
            for item, row in zip(lists.items, codes, strict=True):
                if (item.meter, at.situation) in done or {
                    str(item.meter.red),
                    str(item.meter.black),
                    item.place,
                } & state.out:
                    continue
                stand = (at.name, item.place, item.meter.mode, str(item.meter.black) if item.parked else "")
                columns.append(Column((item.meter,), at, row, stand))
        if len(inside) < 2 or not columns:
            return False
        posed = pose(columns, desk.machine.circuit, np.array(inside, dtype=np.intp), group, belief)
        if not len(posed.problem.cost):
            return False
        cost = np.array([desk.planner.seconds(trip[0].at, tuple(_meters(trip))) for trip in posed.trips])
        problem = Problem(posed.problem.chance, posed.problem.group, cost, posed.problem.codes)
        self._posed, self._search = Posed(problem, posed.trips, posed.place), Search(problem)
        return True

    def _pick(self) -> None:
        assert self._search is not None
        assert self._posed is not None
        search, stage = self._search, open_to_another(self.desk, self.state)
        every = search.everything()
        test = search.best(every)
        if test is None or stage is None or stage.step is None:
            return
        # As the present trip goes on by the same greedy order that every trip is judged by.
        now = next((k for k, trip in enumerate(self._posed.trips) if set(_meters(trip)) == set(stage.step.items)), None)
        before = search.greedy(every) if now is None else search.after(every, now)
        if search.exact(most_sets=0).cost > (1 - WORTH) * before:
            return
        trip = self._posed.trips[test]
        if set(_meters(trip)) != set(stage.step.items):
            self.better = self.desk.planner.trip_of(self.desk.belief(self.state), trip[0].at, tuple(_meters(trip)))


def _meters(trip: tuple[Column, ...]) -> list[Meter]:
    return [item for column in trip for item in column.items if isinstance(item, Meter)]


def _likeliest(owner: np.typing.NDArray[np.intp], weight: np.typing.NDArray[np.float64], suspect: int) -> int:
    mine = np.flatnonzero(owner == suspect)
    return int(mine[weight[mine].argmax()]) if len(mine) else 0
