"""Many jobs of a trial in a few figures: how often it was right, what it cost, and whether what it stated came true."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from troubleshoot.job.trial import Named, Run

EDGES: Final = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.0 + 1e-9)
"""Where the classes of stated chance part, for the table of stated and achieved."""


@dataclass(frozen=True, slots=True)
class Figures:
    """One moment of many jobs."""

    share: float
    """Right ones."""
    stated: float
    """Mean of the chance stated."""
    brier: float

    @property
    def calibration(self) -> float:
        """Stated minus achieved: above 0 it promises too much."""
        return self.stated - self.share


def figures(moments: Sequence[Named]) -> Figures:
    """Of no job at all: nothing."""
    count = max(len(moments), 1)
    return Figures(
        sum(n.right and bool(n.group) for n in moments) / count, sum(n.chance for n in moments) / count,
        sum(n.brier for n in moments) / count,
    )  # fmt: skip


def tally(runs: Sequence[Run], *, misdrawn: bool = False, second: bool = False) -> dict[str, Any]:
    """The figures of a trial as plain data: what `trial --json` prints.

    misdrawn: the machine was not as described, so that noticing it is what counts; second: two faults were in it.
    """
    out = _of(runs, misdrawn=misdrawn, second=second)
    out["by_complaint"] = {
        name: _of([r for r in runs if r.complaint == name], misdrawn=misdrawn, second=second)
        for name in dict.fromkeys(r.complaint for r in runs)
    }
    return out


def _of(runs: Sequence[Run], *, misdrawn: bool, second: bool) -> dict[str, Any]:
    count = max(len(runs), 1)
    stopping, named = figures([r.stopping for r in runs]), figures([r.named for r in runs])
    out: dict[str, Any] = {
        "runs": len(runs), "found_share": round(named.share, 4), "stopping_share": round(stopping.share, 4),
        "mean_cost": round(sum(r.cost for r in runs) / count, 1), "mean_trips": round(sum(r.trips for r in runs) / count, 3),
        "brier": round(named.brier, 4), "calibration": round(named.calibration, 4),
        "calibration_stopping": round(stopping.calibration, 4),
        "not_known": round(sum(not r.named.group for r in runs) / count, 4),
        "together_share": round(sum(r.named.together for r in runs) / count, 4),
        "errors": round(sum(r.errors for r in runs) / count, 3), "stated": list(stated([r.named for r in runs])),
        "missed": [_missed(r) for r in runs if not r.named.right or not r.named.group],
    }  # fmt: skip
    if misdrawn:
        out["noticed"] = round(sum(noticed(r) for r in runs) / count, 4)
    if second:
        out["second_share"] = round(sum(second_found(r) for r in runs) / count, 4)
    return out


def noticed(run: Run) -> bool:
    """It was found out that the description is wrong: the program says that it does not know, or sends a person to the very
    wire that lands elsewhere, or to a part of it whose confirming test then read as on a whole machine."""
    return not run.named.group or run.named.right or run.disagreed


def second_found(run: Run) -> bool:
    """After the first repair, which was one of the two, the other was named first."""
    return run.named.right and run.second in run.group.split(" + ") and run.second != run.named.group


def _missed(run: Run) -> dict[str, Any]:
    return {
        "fault": run.truth, "repair": run.group, "complaint": run.complaint, "named": run.named.group,
        "chance": round(run.named.chance, 4), "errors": run.errors,
    }  # fmt: skip


def stated(moments: Iterable[Named]) -> Iterable[dict[str, Any]]:
    """What was stated and what came true, by class of stated chance; classes without a job are left out."""
    every = [n for n in moments if n.group]
    for low, high in pairwise(EDGES):
        inside = [n for n in every if low <= n.chance < high]
        if inside:
            found = figures(inside)
            yield {
                "from": low, "to": min(high, 1.0), "runs": len(inside), "stated": round(found.stated, 4),
                "achieved": round(found.share, 4),
            }  # fmt: skip
