"""What later screens of a job will need, computed while nobody waits: one table at a time here, the proof run in a process of its own.

Belongs here: the order of that work. Not here: whose idle moments it is done in (tui, cli), how the other process is made (cli).
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.plant import ProofAhead


_REPAIR_IN_SIGHT: Final = frozenset({"confirm", "isolate", "repair", "proof", "handback"})
"""Stages from which the next thing but one or two is the proof run."""


class Ahead:
    """Work that is left, for the desk that fits a job now."""

    def __init__(self) -> None:
        self._left: list[tuple[Desk | None, Callable[[], object]]] = []
        """What is to be computed, of which desk where it may go in slices of one table."""
        self._to_prove: Desk | None = None
        """Whose proof run is known and its tables are not: they are made once a repair is in sight."""
        self._coming: tuple[Desk, ProofAhead] | None = None

    def plan(self, desk: Desk, complaint: str, proof_ahead: Callable[[], ProofAhead] | None) -> None:
        """Begin anew for this desk and complaint (its name); proof_ahead: begins the proof run elsewhere, None: here, in between."""
        shows = desk.shows(complaint)
        work: list[Callable[[], object]] = [
            lambda: desk.reasoner.table(desk.as_found.situation),
            lambda: desk.reasoner.table(desk.at_rest.situation),
            lambda: desk.reasoner.table(shows.situation),
            lambda: desk.planner.candidates(desk.at_rest.situation),
            lambda: desk.planner.candidates(shows.situation),
            lambda: desk.bound(complaint),
            lambda: desk.prepare(shows),
            lambda: desk.prepare(desk.at_rest),
        ]
        self._left = [(desk, one) for one in work]
        self.close()
        self._to_prove = desk if "proof" in vars(desk) else None
        if self._to_prove is not None:
            return
        if proof_ahead is None:
            self._left.append((None, lambda: desk.proof))
        else:
            self._coming = desk, proof_ahead()

    def collect(self) -> None:
        """Take what another process has worked out by now; where it did not come to anything, it is done here."""
        if self._coming is None or not self._coming[1].ready():
            return
        (desk, coming), self._coming = self._coming, None
        proof = coming.take(desk.machine.content)
        if proof is None:
            self._left.append((None, lambda: desk.proof))
            return
        desk.know_proof(proof)
        self._to_prove = desk

    def proof_of(self, desk: Desk, stage: str) -> None:
        """Have the tables of the proof run made as soon as a repair is in sight: they are four fifths of all that a job holds,
        and between the confirming test and the first check there are minutes. stage: name of the stage of the job."""
        if desk is self._to_prove and stage in _REPAIR_IN_SIGHT:
            self._to_prove = None
            for check in desk.proof.checks:
                self._left.append((desk, lambda at=check.situation.situation: desk.reasoner.table(at)))  # type: ignore[misc]

    @property
    def waits_for_repair(self) -> Desk | None:
        """The desk whose proof run waits for `proof_of`."""
        return self._to_prove

    def step(self) -> bool:
        """Compute one slice of at most one table; whether more is left."""
        from troubleshoot.diagnosis.reasoner import NotYet

        self.collect()
        if not self._left:
            return False
        desk, work = self._left[0]
        with contextlib.suppress(NotYet), desk.reasoner.one_table() if desk else contextlib.nullcontext():
            work()
            self._left.pop(0)
        return bool(self._left)

    def close(self) -> None:
        """Wait for no other process any more."""
        if self._coming is not None:
            self._coming[1].close()
            self._coming = None
