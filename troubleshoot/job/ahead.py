"""What later screens of a job will need, computed while nobody waits: one table at a time here, the proof run in a process of its own.

Belongs here: the order of that work. Not here: whose idle moments it is done in (tui, cli), how the other process is made (cli).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.plant import ProofAhead


class Ahead:
    """Work that is left, for the desk that fits a job now."""

    def __init__(self) -> None:
        self._left: list[Callable[[], object]] = []
        self._coming: tuple[Desk, ProofAhead] | None = None

    def plan(self, desk: Desk, complaint: str, proof_ahead: Callable[[], ProofAhead] | None) -> None:
        """Begin anew for this desk and complaint (its name); proof_ahead: begins the proof run elsewhere, None: here, in between."""
        shows = desk.shows(complaint)
        self._left = [
            lambda: desk.reasoner.table(desk.as_found.situation),
            lambda: desk.reasoner.table(desk.at_rest.situation),
            lambda: desk.reasoner.table(shows.situation),
            lambda: desk.planner.candidates(desk.at_rest.situation),
            lambda: desk.planner.candidates(shows.situation),
            lambda: desk.bound(complaint),
            lambda: desk.prepare(shows),
            lambda: desk.prepare(desk.at_rest),
        ]
        self.close()
        if "proof" in vars(desk):
            return
        if proof_ahead is None:
            self._left.append(lambda: desk.proof)
        else:
            self._coming = desk, proof_ahead()

    def collect(self) -> None:
        """Take what another process has worked out by now; where it did not come to anything, it is done here."""
        if self._coming is None or not self._coming[1].ready():
            return
        (desk, coming), self._coming = self._coming, None
        proof = coming.take(desk.machine.content)
        if proof is None:
            self._left.append(lambda: desk.proof)
            return
        desk.know_proof(proof)
        for check in proof.checks:
            self._left.append(lambda at=check.situation.situation: desk.reasoner.table(at))  # type: ignore[misc]

    def step(self) -> bool:
        """Compute one thing; whether more is left."""
        self.collect()
        if not self._left:
            return False
        self._left.pop(0)()
        return bool(self._left)

    def close(self) -> None:
        """Wait for no other process any more."""
        if self._coming is not None:
            self._coming[1].close()
            self._coming = None
