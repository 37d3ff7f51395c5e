"""One job of a trial: the decisions of a job, stage by stage, against a person who errs; fast enough for thousands.

What is asked next, and what is named, comes from `stage_of` over the fold, as in a job. Left out is what decides nothing
about the search: cautions, what is said before power is put on, the words that a person types for an isolation. A rehearsal
of the same fault makes the same moves (`tests/job/test_trial.py`).
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.evidence.words import AskBack, read_typed
from troubleshoot.faults.suspects import OUTSIDE, Suspect
from troubleshoot.job.codec import put_item, put_situation, put_understood
from troubleshoot.job.decide import decide
from troubleshoot.job.decided import Decided, Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.erring import Erring, Errors
from troubleshoot.job.folding import then
from troubleshoot.job.lists import listed
from troubleshoot.job.readings import asked_of
from troubleshoot.job.rehearse import Event, answer
from troubleshoot.job.stage import SURE, Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.machine import Machine

MOST_STAGES: Final = 250
"""A job that has not ended by then is going in circles."""
LOST: Final = ("stuck", "waiting", "ended")


@dataclass(frozen=True, slots=True)
class Named:
    """What leads at one moment of a job."""

    group: str
    """The repair group; empty where the program says that it does not know."""
    chance: float
    """What the program states for it."""
    right: bool
    brier: float
    """Sum over all repairs of the squared difference between chance and truth: 0 certain and right, 2 certain and wrong."""
    outside: float
    """Chance of something that is not in the model."""
    together: bool = False
    """Another leads, and the right one is named beside it: nothing that was read tells the two apart."""


@dataclass(frozen=True)
class Run:
    """How one job went."""

    complaint: str
    truth: str
    group: str
    stopping: Named
    """When the search stopped, before the confirming test."""
    named: Named
    """What was first named for repair."""
    confirmed: bool
    """Its own confirming test agreed."""
    disagreed: bool
    """A confirming test, of whatever repair, read as on a whole machine."""
    cost: float
    trips: int
    errors: int
    """Errors that the person made."""
    moves: tuple[str, ...]
    """Ids of the steps, in order."""
    second: str = ""
    """The repair named after the first one was made; ``mended`` where the proof passed."""


@dataclass
class _Course:
    desk: Desk
    bench: Erring
    state: State = field(default_factory=State)
    count: int = 0
    moves: list[str] = field(default_factory=list)

    def write(self, kind: str, data: Mapping[str, Any]) -> None:
        self.count += 1
        self.state = then(self.state, Event(self.count, kind, data))

    def to_repair(self) -> tuple[Named | None, Stage]:
        """Go on until something is named for repair or nothing more is asked; what led when the search stopped."""
        stopped: Named | None = None
        for _ in range(MOST_STAGES):
            stage = stage_of(self.desk, self.state)
            if stopped is None and _has_stopped(stage):
                stopped = self.leads(stage)
                if _looks_again(stage) and stopped.chance < SURE:
                    stopped = None
            if stage.name == "repair" or stage.name in LOST:
                return stopped, stage
            if stage.name == "handback":
                return stopped, stage
            self._answer(stage)
        raise AssertionError("the job goes in circles: " + " / ".join(self.moves[-6:]))

    def leads(self, stage: Stage) -> Named:
        """What leads now, and how right that is."""
        groups = self.desk.reasoner.groups(self.desk.belief(self.state))
        truth = {fault.group for fault in self.bench.faults}
        group, chance = next((g, p) for g, p in groups if g != OUTSIDE)
        if stage.group:
            group, chance = stage.group, dict(groups)[stage.group]
        real = next(iter(truth)) if len(truth) == 1 else group if group in truth else min(truth)
        brier = sum((p - (g == real)) ** 2 for g, p in groups)
        if stage.name == "stuck":
            group = ""
        together = group not in truth and not truth.isdisjoint(stage.beside)
        return Named(group, chance, group in truth, brier, dict(groups)[OUTSIDE], together)

    def _answer(self, stage: Stage) -> None:
        match stage.name:
            case "power":
                self.write("power", {"on": True})
            case "isolate":
                self._isolate(stage)
            case "proof":
                self._prove(stage)
            case "search" | "confirm":
                self._step(stage)
            case _:
                said = answer(self.bench, self.state, stage, Ui())
                decided = decide(self.desk, self.state, Ui(), said)
                assert isinstance(decided, Decided), f"refused at {stage.name}"
                for kind, data in decided.events:
                    self.write(kind, data)

    def _isolate(self, stage: Stage) -> None:
        assert stage.isolation is not None
        step = next(s for s in stage.isolation.steps if s.id == stage.next)
        proves = step.id.startswith("prove")
        readings = [] if proves or step.ask == "done" else [put_item(m) for m in step.readings]
        self.write("isolation", {
            "step": step.id, "words": step.words, "said": "done", "proves": proves, "readings": readings,
        })  # fmt: skip

    def _step(self, stage: Stage) -> None:
        step = stage.step
        assert step is not None
        self.moves.append(step.id)
        if step.kind in ("look", "lights"):
            self.write("looked", {
                "step": step.id, "situation": put_situation(step.situation), "cost": step.cost,
                "items": self._called(stage, step.situation),
            })  # fmt: skip
            return
        meters = [i for i in step.items if isinstance(i, Meter)]
        read, agrees = self._read(meters, step.situation)
        self.write("reading", {
            "step": step.id, "group": step.group, "agrees": bool(step.group) and agrees, "source": "asked", "shown": True,
            "situation": put_situation(step.situation), "items": read, "cost": step.cost,
        })  # fmt: skip

    def _called(self, stage: Stage, named: NamedSituation) -> list[list[Any]]:
        """Every light and look of a list with what is said of it, and whether that had to be marked."""
        out = []
        for item in listed(stage):
            said = self.bench.called(item, named)
            out.append([put_item(item), said, said != self.desk.shown(item, named)])
        return out

    def _read(self, meters: Sequence[Meter], named: NamedSituation) -> tuple[list[list[Any]], bool]:
        """Readings as the record keeps them, and whether one of them is not as it should be."""
        if not meters:
            return [], False
        read = read_typed(self.bench.typed(meters, named), asked=asked_of(self.desk, meters, named))
        assert not isinstance(read, AskBack), read
        items: list[list[Any]] = []
        off = False
        for meter, one in zip(meters, read.answers, strict=True):
            understood: Interval | Word | str | None = one.understood
            if understood is not None:
                items.append([put_item(meter), one.said, put_understood(understood)])
                off = off or (understood is not Word.COULDNT and not self.desk.as_it_should(meter, named, understood))
        return items, off

    def _prove(self, stage: Stage) -> None:
        check = stage.check
        assert check is not None
        self.moves.append(check.id)
        called = self._called(stage, check.situation)
        read, off = self._read([i for i, _ in check.expects if isinstance(i, Meter)], check.situation)
        self.write("proved", {
            "check": check.id, "words": check.words, "situation": put_situation(check.situation),
            "passed": not off and not any(marked for _, _, marked in called),
            "items": [*([item, said, said] for item, said, _ in called), *read],
        })  # fmt: skip


def _looks_again(stage: Stage) -> bool:
    """Whether a condition is looked at once more: below `SURE` that is a step of the search."""
    return stage.step is not None and stage.step.id.startswith("look again")


def _has_stopped(stage: Stage) -> bool:
    """Whether the search is over and what leads is being tested or named, or nothing is left to ask."""
    if stage.group or stage.name in LOST:
        return True
    return stage.step is not None and stage.step.id.startswith(("rule out", "look again", "confirm"))


def play(
    desk: Desk, complaint: str, truth: Suspect, *, seed: str = "0", errors: Errors | None = None,
    also: Sequence[Suspect] = (), machine: Machine | None = None,
) -> Run:  # fmt: skip
    """One job, led by the engine, from the complaint to the first repair. Pure for a given seed.

    also: further faults in the machine; then the first repair is made, and `Run.second` is what is named after it.
    machine: the machine as it really is, where `truth` is no suspect of the one that is described.
    """
    bench = Erring(
        desk, (truth, *also), random.Random(0), errors=errors or Errors(), slips=random.Random(seed), truth=machine
    )
    course = _Course(desk, bench)
    course.write("opened", {
        "who": "trial", "machine": desk.machine.name, "complaint": complaint, "said": complaint,
        "shows": put_situation(desk.shows(complaint)),
    })  # fmt: skip
    course.write("choose", {"source": "engine"})
    stopping, stage = course.to_repair()
    named = course.leads(stage)
    confirmed = course.state.confirmed
    run = Run(
        complaint, " + ".join(f.id for f in (truth, *also)), " + ".join(f.group for f in (truth, *also)), stopping or named, named, confirmed.get(named.group, False),
        False in confirmed.values(), course.state.cost, course.state.trips, bench.made, tuple(course.moves),
    )  # fmt: skip
    if not also or stage.name != "repair":
        return run
    assert stage.suspect is not None
    course.write("repaired", {"group": stage.group, "suspect": stage.suspect.id})
    bench.mend(stage.group)
    course.write("choose", {"source": "engine"})
    _, stage = course.to_repair()
    second = stage.group if stage.name == "repair" else "mended" if stage.name == "handback" else ""
    return Run(**{name: getattr(run, name) for name in Run.__dataclass_fields__} | {
        "moves": tuple(course.moves), "second": second, "cost": course.state.cost, "trips": course.state.trips,
    })  # fmt: skip


def faults_of(desk: Desk, complaint: str) -> tuple[list[Suspect], Floats]:
    """Every fault that shows a complaint, each with its chance among them; the chances sum to 1."""
    seen = desk.reasoner.complained(complaint, desk.shows(complaint).situation)
    chance = desk.reasoner.prior * seen
    chance[-1] = 0.0
    chosen = [k for k in range(len(chance)) if seen[k] > 0.5 and chance[k] > 0]
    weights = chance[chosen]
    return [desk.machine.suspects[k] for k in chosen], weights / max(float(weights.sum()), 1e-300)
