"""A week at the plant, lived through: real jobs on belt 7 and the fan, answered as the machines with their faults show.

What people do beside the careful answers (an undo, something that cannot be done, a part changed on suspicion, a clock
that was wrong) is written here. The logs of `tests/review/week` were made by it: `python tests/review/shifts.py FOLDER`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

from job.nights import Night, circuits, desk

from troubleshoot.job.plant import OpenJob, Plant
from troubleshoot.log.clock import SetClock
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import Log, LogFile

MADE = "0.1.0"
ZONE = timezone(timedelta(hours=1))


class Shift(Night):
    """A night with a clock that can be wound, by a named person."""

    def __init__(self, fault: str, machine: str, path: Path, *, who: str, at: datetime) -> None:
        self.clock = SetClock(at)
        self._path, self._who = path, who
        super().__init__(fault, machine, folder=path.parent)

    def _open(self) -> Log:
        found = open_log(self._path, session=self._path.stem, version=MADE, who=self._who, clock=self.clock)
        assert isinstance(found, LogFile), found
        return found

    def _plant(self, *jobs: OpenJob) -> Plant:
        return Plant(circuits(), jobs, desk, lambda machine, session, new: self.log, self._who)

    def _give(self, said) -> None:  # type: ignore[no-untyped-def]
        self.clock.pass_time(27_000)
        super()._give(said)

    def until(self, stage: str, metered: bool = False) -> None:
        """Careful answers up to a stage, and there to a step with readings."""
        self.careful_until(stage)
        while metered and not (self.stage.step is not None and self.stage.step.kind == "measure"):
            self.careful()


@dataclass(frozen=True)
class Planned:
    """One job of the week."""

    name: str
    machine: str
    fault: str
    who: str
    at: datetime
    said: str
    does: Callable[[Shift], None]


def _begin(shift: Shift, said: str) -> None:
    shift.type(said)


def _with_an_undo(shift: Shift) -> None:
    """A reading typed at the wrong point is taken back and taken again; a wire is the fault, confirmed and proved."""
    shift.until("search", metered=True)
    shift.press("c")
    right = shift.readings()
    shift.type(right.replace("0 V", "48 V", 1))
    shift.press("u")
    shift.press("c")
    shift.type(right)
    shift.careful_until("ended", most=120)


def _with_a_permit(shift: Shift) -> None:
    """Nobody may open the panel: what is left waits for the permit."""
    for _ in range(80):
        if shift.stage.name == "ended":
            return
        if shift.stage.name == "waiting":
            shift.press("y")
            continue
        step = shift.stage.step
        if shift.stage.name in ("search", "confirm", "isolate") and step is not None and step.kind != "look":
            if any(type(i).__name__ == "Meter" for i in step.items):
                shift.press("n")
                shift.press("2")
                continue
        shift.careful()


def _with_a_clock(shift: Shift) -> None:
    """The clock of the bench is put right by 61 minutes in the middle; a wire is left lifted for a while."""
    shift.until("search", metered=True)
    shift.clock.set_wall(shift.clock.wall() - timedelta(minutes=61))
    shift.careful_until("ended", most=120)


LEFT_OUT = ("overload", "emergency", "no")


def _on_suspicion(shift: Shift) -> None:
    """The confirming test is refused as out of reach, the part is changed all the same, and proofs are left out."""
    for _ in range(160):
        stage = shift.stage
        if stage.name == "ended":
            return
        left_out = stage.name == "proof" and stage.check is not None and stage.check.id.split()[0] in LEFT_OUT
        if stage.name == "confirm" or left_out:
            shift.press("n")
            shift.press("1")
            continue
        shift.careful()


WEEK = (
    Planned("belt-7-mon", "belt-7", "12:K1:14>FR1:95 open", "Ana", datetime(2026, 11, 23, 3, 10, tzinfo=ZONE),
            "conv dead", _with_an_undo),
    Planned("fan-2-tue", "fan-2", "", "Ben", datetime(2026, 11, 24, 14, 5, tzinfo=ZONE), "fan wont start", _with_a_clock),
    Planned("belt-7-wed", "belt-7", "KM1 coil open", "Ana", datetime(2026, 11, 25, 2, 40, tzinfo=ZONE),
            "belt 7 dead since 2:20", _with_a_permit),
    Planned("belt-7-thu", "belt-7", "K1 13-14 open", "Cy", datetime(2026, 11, 26, 22, 15, tzinfo=ZONE),
            "conveyor 7 wont start", _on_suspicion),
)  # fmt: skip


def live(folder: Path) -> None:
    """Live through the week; logs as a plant keeps them."""
    for planned in WEEK:
        path = folder / planned.machine / "jobs" / f"{planned.name}.jsonl"
        fault = planned.fault or next(
            s.id for s in desk(planned.machine).machine.suspects if s.id.endswith("coil open")
        )
        shift = Shift(fault, planned.machine, path, who=planned.who, at=planned.at)
        _begin(shift, planned.said)
        planned.does(shift)
        print(path, len(shift.log.events), shift.state.ended, path.stat().st_size)
        shift.session.close()


if __name__ == "__main__":
    live(Path(sys.argv[1]))
