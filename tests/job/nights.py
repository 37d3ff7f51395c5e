"""A night at a machine with one hidden fault: a real session over a log in memory, answered key by key or as the model says."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import troubleshoot
from troubleshoot.circuit.model import Circuit
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.agreeing import PANEL
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.due import caution_of
from troubleshoot.job.plant import OpenJob, Plant
from troubleshoot.job.rehearse import Bench, answer
from troubleshoot.job.session import Session
from troubleshoot.job.sheet import Pressed, Sheet, Typed
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.log.clock import SetClock
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.opening import open_log
from troubleshoot.log.writer import Log, LogFile
from troubleshoot.machine import Machine, describe
from troubleshoot.trees import Tree, load_tree

ROOT = Path(__file__).resolve().parents[2]
FILES = {
    "belt-7": Path(troubleshoot.__file__).parent / "machines/belt-7.yaml",
    "fan-2": ROOT / "tests/trees/machines/fan-2.yaml",
}
TREES = ("wont-start", "wont-hold", "wont-stop", "hums", "trips-overload", "brake-drags", "brake-slips", "stops-itself")


def desk(name: str = "belt-7") -> Desk:
    """One desk a machine for the whole run: its tables take seconds."""
    return _desk(name)  # a cache would keep desk() and desk("belt-7") apart


@cache
def _desk(name: str) -> Desk:
    found = describe(FILES[name].read_bytes(), FILES[name].name)
    assert isinstance(found, Machine), "\n".join(map(str, found))
    return Desk(found, {tree: _tree(tree) for tree in TREES})


def _tree(name: str) -> Tree:
    found = load_tree((ROOT / f"trees/{name}.yaml").read_bytes(), f"{name}.yaml")
    assert isinstance(found, Tree), "\n".join(map(str, found))
    return found


@cache
def circuits() -> dict[str, Circuit]:
    return {name: desk(name).machine.circuit for name in FILES}


def suspect(name: str, machine: str = "belt-7") -> Suspect:
    return next(s for s in desk(machine).machine.suspects if s.id == name)


def memory_log(session: str = "night") -> MemoryLog:
    return MemoryLog(
        session=session, version="0.1.0", who="Ana", clock=SetClock(datetime(2026, 11, 25, 3, 10, tzinfo=UTC))
    )


class Night:
    """One person, one machine, one fault."""

    def __init__(self, fault: str, machine: str = "belt-7", *, folder: Path | None = None) -> None:
        """folder: where the log is kept; without one it is in memory and the screens say so."""
        self.desk = desk(machine)
        self.bench = Bench(self.desk, (suspect(fault, machine),), random.Random(0))
        self._folder = folder
        self._machine = machine
        self.log: Log = self._open()
        self.session = Session(self._plant())

    def _plant(self, *jobs: OpenJob) -> Plant:
        return Plant(circuits(), jobs, desk, lambda machine, session, new: self.log, "Ana")

    def _open(self) -> Log:
        if self._folder is None:
            return memory_log()
        found = open_log(self._folder / "night.jsonl", session="night", version="0.1.0", who="Ana")
        assert isinstance(found, LogFile), found
        return found

    def leave_and_come_back(self) -> None:
        """Leave the program, start it again, and take up the job from the front page."""
        self.session.close()
        self.log = self._open()
        words = f"{self._machine}, begun before"
        self.session = Session(self._plant(OpenJob(self._machine, "night", words)))
        assert any(words in line for line in self.lines())
        self.press("1")

    # -------------------------------------------------------------------------------------------- what is shown

    def sheet(self, width: int = 80) -> Sheet:
        return self.session.sheet(width, 24)

    def lines(self, width: int = 80) -> list[str]:
        return [line.text for line in self.sheet(width).lines]

    @property
    def text(self) -> str:
        """The whole sheet as one text, as it would be read out: wrapping does not matter to it."""
        return " ".join(" ".join(self.lines()).split())

    def live(self) -> set[str]:
        return {key.key for key in self.sheet().keys}

    # --------------------------------------------------------------------------------------------- what is said

    def press(self, key: str, *, drawn_ms: int = 2000) -> None:
        sheet = self.sheet()
        assert key in self.live() | {line.key for line in sheet.lines}, f"{key!r} is not offered:\n" + self.text
        self._give(Pressed(key, sheet.id, drawn_ms))

    def type(self, text: str) -> None:
        """Words as a person sends them: only where there is an open entry."""
        entry = self.sheet().entry
        assert entry is not None, "there is nothing to type into:\n" + self.text
        assert not entry.locked, "typing is locked:\n" + self.text
        self._give(Typed(text, self.sheet().id))

    def force(self, text: str) -> None:
        """Words sent whether or not the screen takes them."""
        self._give(Typed(text, self.sheet().id))

    def _give(self, said: Pressed | Typed) -> None:
        before = len(self.log.events) if self.log is not None else 0
        self.session.give(said)
        for event in self.log.events[before:] if self.log is not None else ():
            if event.kind == "repaired":
                self.bench.mend(str(event.data["group"]))

    # --------------------------------------------------------------------------------------------- what is so

    @property
    def state(self) -> State:
        """As the session sees it: a job that was only looked at counts as taken up, without a word in its record."""
        return self.session._state()

    @property
    def stage(self) -> Stage:
        return stage_of(self.desk, self.state)

    @property
    def kinds(self) -> list[str]:
        return [event.kind for event in self.log.events]

    def readings(self) -> str:
        """What the meter shows at the points the sheet asks for, computed with the fault in the machine."""
        said = answer(self.bench, _accepted(self.state, self), self.stage, Ui())
        assert isinstance(said, Typed)
        return said.text

    def careful(self) -> str:
        """One answer of a careful person, as the machine with its fault gives it; returns what was said."""
        shown = self.session._ui or Ui()
        said = answer(self.bench, self.state, self.stage, shown if shown.panel == PANEL else Ui())
        if isinstance(said, Typed):
            self.type(said.text)
            return said.text
        self.press(said.key, drawn_ms=max(said.drawn_ms, 2000))
        return said.key

    def careful_until(self, *names: str, most: int = 80) -> list[str]:
        """Careful answers until the job stands at one of these stages."""
        said = []
        for _ in range(most):
            if self.stage.name in names:
                return said
            said.append(self.careful())
        raise AssertionError(f"after {most} answers still at {self.stage.name}: {self.text}")


def _accepted(state: State, night: Night) -> State:
    waiting = caution_of(night.desk, state, night.stage)
    return replace(state, accepted=waiting[1]) if waiting else state


def bench(fault: str, machine: str = "belt-7") -> Bench:
    """A machine with that fault, to be looked at and metered."""
    return Bench(desk(machine), (suspect(fault, machine),), random.Random(0))
