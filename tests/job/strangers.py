"""A person at a machine that nobody described: a real session over a real plant folder, with a log in memory."""

from __future__ import annotations

import random
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from job.nights import TREES, _tree, memory_log

from troubleshoot.circuit.model import Circuit
from troubleshoot.cli.saving import keep_baseline, save_machine
from troubleshoot.evidence.baseline import latest, read_lines
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.plant import OpenJob, Plant
from troubleshoot.job.rehearse import Bench, answer
from troubleshoot.job.session import Session
from troubleshoot.job.sheet import Pressed, Sheet, Typed
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.machine import Machine, describe

WIDTHS = {80: 21, 120: 37}
"""Columns to the rows that a sheet may have there: title, entry and keys come on top."""


class Stranger:
    """One person, a plant folder, and no idea what is in the panel."""

    def __init__(self, folder: Path, known: Mapping[str, Circuit], **options) -> None:
        self.folder = folder
        self.log = memory_log()
        self.keys = 0
        """What was pressed or sent so far."""
        self.desks: dict[str, Desk] = {}
        self.options = options
        self.plant = Plant(
            dict(known), (), self.desk, lambda machine, session, new: self.log, "Ana", ready=ready_circuits,
            save=save_machine, keep=keep_baseline, taken=frozenset,
        )  # fmt: skip
        self.session = Session(self.plant, **options)

    def desk(self, machine: str) -> Desk:
        if machine not in self.desks:
            path = self.folder / machine / "baseline.jsonl"
            kept = path.read_text(encoding="utf-8") if path.is_file() else ""
            self.desks[machine] = _desk((self.folder / machine / "circuit.yaml").read_bytes(), kept)
        return self.desks[machine]

    def comes_back(self) -> None:
        """Leaves and takes the job up again."""
        from dataclasses import replace

        job = OpenJob("belt-12", "night", "belt 12")
        self.session = Session(replace(self.plant, open_jobs=(job,)), resume="night")

    # -- shown

    def sheet(self, width: int = 80) -> Sheet:
        """What is on the screen now; at both sizes it must fit, caution apart."""
        for one, rows in WIDTHS.items():
            drawn = self.session.sheet(one, 24)
            body = [line for line in drawn.lines if "NOT RECORDED" not in line.text]
            assert all(len(line.text) <= one for line in body), [line.text for line in body if len(line.text) > one]
            assert drawn.needs_caution or len(body) <= rows, "\n".join(line.text for line in body)
        return self.session.sheet(width, 24)

    @property
    def text(self) -> str:
        return " ".join(" ".join(line.text for line in self.sheet().lines).split())

    @property
    def title(self) -> str:
        return self.sheet().title

    def live(self) -> set[str]:
        sheet = self.sheet()
        return {k.key for k in sheet.keys} | {key for line in sheet.lines for key in line.keys}

    # -- said

    def press(self, *keys: str) -> None:
        for key in keys:
            assert key in self.live(), f"{key!r} is not offered:\n{self.text}"
            self.keys += 1
            self.session.give(Pressed(key, self.sheet().id, 2000))

    def type(self, text: str) -> None:
        entry = self.sheet().entry
        assert entry is not None, f"there is nothing to type into:\n{self.text}"
        assert not entry.locked, f"typing is locked:\n{self.text}"
        self.keys += 1
        self.session.give(Typed(text, self.sheet().id))

    def key_of(self, words: str) -> str:
        """The key of the row that has these words."""
        found = [line.key for line in self.sheet().lines if words in line.text and line.key]
        assert len(found) == 1, f"{words!r} is not one row:\n{self.text}"
        return found[0]

    # -- so

    @property
    def state(self) -> State:
        return self.session._state()

    @property
    def now(self) -> Desk:
        """The machine as it is described by now."""
        assert self.session._desk is not None
        return self.session._fitting(self.session._desk)

    @property
    def stage(self) -> Stage:
        return stage_of(self.now, self.state)

    @property
    def kinds(self) -> list[str]:
        return [event.kind for event in self.log.events]

    def left(self) -> dict[str, float]:
        """Repair groups with their chance."""
        return dict(self.now.reasoner.groups(self.now.belief(self.state)))

    def careful_until(self, *names: str, fault: str, most: int = 60) -> None:
        """Answers as the machine with that fault gives them, until the job stands at one of these stages."""
        truth = next(s for s in self.now.machine.suspects if s.id == fault)
        bench = Bench(self.now, (truth,), random.Random(0))
        for _ in range(most):
            if self.stage.name in names:
                return
            said = answer(bench, self.state, self.stage, Ui())
            if isinstance(said, Typed):
                self.type(said.text)
            else:
                self.press(said.key)
            if self.kinds[-1] == "repaired":
                bench.mend(str(self.log.events[-1].data["group"]))
        raise AssertionError(f"after {most} answers still at {self.stage.name}: {self.text}")


@cache
def _desk(circuit: bytes, baseline: str) -> Desk:
    """One desk a description for the whole run: it holds no state, and its tables take seconds."""
    found = describe(circuit, "circuit.yaml")
    assert isinstance(found, Machine), "\n".join(map(str, found))
    return Desk(found, {tree: _tree(tree) for tree in TREES}, latest(read_lines(baseline)) if baseline else {})


def ready_circuits() -> Mapping[str, Circuit]:
    from troubleshoot.cli.machines_on_disk import circuits, ready_files

    return circuits(ready_files())[0]
