"""``troubleshoot trial``: many jobs against simulated faults, with a person who errs."""

from __future__ import annotations

import json
import random
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any

import click

from troubleshoot.cli import complete
from troubleshoot.cli.machines_on_disk import find, open_desk
from troubleshoot.cli.say import complain, say
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.trial import Run

WORKERS = 2
SHARE = 25
"""Jobs that one process plays before it says how far it is."""
RUNS = 200
LISTED = 8


@dataclass(frozen=True, slots=True)
class Plan:
    """What one trial is made of."""

    machine: str
    complaint: str
    runs: int
    """0: every fault that shows the complaint, once."""
    seed: int
    lights: float
    readings: float
    points: int
    uniform: bool
    second: bool
    misdrawn: bool
    first: int = 0
    """Number of the first job of this share."""
    last: int = 0


SHARE_OF_1 = click.FloatRange(0.0, 0.5)


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option(
    "--complaint",
    help="Symptom as the circuit file names it: wont-start. Otherwise every one of them.",
    shell_complete=complete.complaints,
)
@click.option(
    "--wrong-lights", type=SHARE_OF_1, default=0.0, metavar="P", help="Share of lights and looks called wrongly."
)
@click.option("--wrong-readings", type=SHARE_OF_1, default=0.0, metavar="P", help="Share of readings slipped.")
@click.option("--wrong-points", type=click.IntRange(0, 3), default=0, metavar="N", help="Whole points mistaken, a job.")
@click.option(
    "--second-fault", is_flag=True, help="Two faults that show it; what is named after the first repair counts."
)
@click.option("--wrong-drawing", is_flag=True, help="A wire lands elsewhere than described; that it is noticed counts.")
@click.option(
    "--priors", type=click.Choice(["default", "uniform"]), default="default", show_default=True,
    help="How faults are drawn, and what belief begins with.",
)  # fmt: skip
@click.option(
    "--runs", type=click.IntRange(0), default=RUNS, show_default=True, help="Jobs a complaint; 0: every fault once."
)
@click.option("--seed", default=0, show_default=True, help="The same seed gives the same faults and errors.")
@click.option("--json", "as_json", is_flag=True, help="found_share, mean_cost, brier, calibration, by_complaint.")
def trial(
    machine: str, complaint: str | None, wrong_lights: float, wrong_readings: float, wrong_points: int, second_fault: bool,
    wrong_drawing: bool, priors: str, runs: int, seed: int, as_json: bool,
) -> None:  # fmt: skip
    """Play many jobs on MACHINE, the engine leading, with faults drawn by chance and a person who errs as told.

    Says how often the right repair was named first, before and after its confirming test, what it cost, and how far what
    the program stated is from what came true. Progress on stderr.

    Example: troubleshoot trial belt-7 --complaint wont-start --wrong-lights 0.05 --wrong-readings 0.02
    """
    from troubleshoot.job.tally import tally

    if second_fault and wrong_drawing:
        raise click.UsageError("--second-fault and --wrong-drawing are two trials, not one")
    path = str(find(machine).path)
    desk = open_desk(machine)
    complaints = list(desk.machine.circuit.complaints)
    if complaint is not None and complaint not in complaints:
        near = nearest(complaint, complaints)
        raise click.UsageError(f"no complaint {show(complaint)!r}" + (f" (nearest: {near})" if near else ""))
    plans = [
        Plan(
            path, name, runs, seed, wrong_lights, wrong_readings, wrong_points, priors == "uniform", second_fault,
            wrong_drawing,
        )
        for name in ([complaint] if complaint else complaints)
    ]  # fmt: skip
    began = time.monotonic()
    every: list[Run] = []
    for done, (plan, played) in enumerate(_each(plans), 1):
        every += played
        right = sum(r.named.right and bool(r.named.group) for r in every)
        complain(
            f"{done:>3}  {show(plan.complaint)} {plan.first}-{plan.last}: {right} of {len(every)} right, "
            f"{time.monotonic() - began:.0f} s"
        )
    found = tally(every, misdrawn=wrong_drawing, second=second_fault)
    if as_json:
        say(json.dumps(found))
        return
    if not every:
        say("No fault of the model shows that complaint in that way.")
        return
    for line in _lines(found):
        say(show(line))


def _each(plans: list[Plan]) -> Iterator[tuple[Plan, list[Run]]]:
    """Every share of the plans with its jobs, as they are done, in order; several side by side."""
    shares = [part for plan in plans for part in _shares(plan)]
    if len(shares) == 1:
        yield shares[0], play_share(shares[0])
        return
    with ProcessPoolExecutor(WORKERS) as pool:
        for part, future in [(part, pool.submit(play_share, part)) for part in shares]:
            yield part, future.result()


def _shares(plan: Plan) -> Iterator[Plan]:
    count = plan.runs or len(_faults(plan))
    for first in range(0, count, SHARE):
        yield replace(plan, first=first, last=min(first + SHARE, count))


@cache
def _desk(machine: str, *, uniform: bool) -> Desk:
    import numpy as np

    if not uniform:
        return open_desk(machine)
    desk = _desk(machine, uniform=False)
    # Something outside the model keeps its chance: it is no fault beside the others.
    own = desk.reasoner.prior
    alike = np.full(len(own), (1 - own[-1]) / max(len(own) - 1, 1))
    alike[-1] = own[-1]
    return desk.beginning_with(alike)


@cache
def _faults(plan: Plan) -> Any:
    from troubleshoot.job.trial import faults_of

    desk = _desk(plan.machine, uniform=plan.uniform)
    if not plan.misdrawn:
        return list(zip(*faults_of(desk, plan.complaint), strict=True))
    moved = desk.after_work
    return [(s, p) for s, p in zip(*faults_of(moved, plan.complaint), strict=True) if " moved to " in s.id]


def play_share(plan: Plan) -> list[Run]:
    """The jobs of one share of a trial; the same for the same plan, whoever plays it."""
    from troubleshoot.job.erring import Errors
    from troubleshoot.job.trial import play

    desk = _desk(plan.machine, uniform=plan.uniform)
    faults = _faults(replace(plan, first=0, last=0))
    errors = Errors(plan.lights, plan.readings, plan.points)
    out = []
    for k in range(plan.first, plan.last):
        if not faults:
            break
        seed = f"{plan.seed} {plan.complaint} {k}"
        dice = random.Random(seed)
        suspects, weights = zip(*faults, strict=True)
        truth = dice.choices(suspects, weights)[0] if plan.runs else suspects[k]
        also = []
        if plan.second:
            others = [(s, w) for s, w in faults if s.group != truth.group]
            if not others:
                break
            also = [dice.choices([s for s, _ in others], [w for _, w in others])[0]]
        machine = desk.after_work.machine if plan.misdrawn else None
        out.append(play(desk, plan.complaint, truth, seed=seed, errors=errors, also=also, machine=machine))
    return out


def _lines(found: dict[str, Any]) -> Iterator[str]:
    yield (
        f"{'complaint':<16}  jobs  stopping  named first  together  not known  stated-achieved  Brier  cost s  trips"
        + ("  noticed" if "noticed" in found else "") + ("  second" if "second_share" in found else "")
    )  # fmt: skip
    for name, row in (*found["by_complaint"].items(), ("together", found)):
        yield (
            f"{name:<16}  {row['runs']:4d}  {row['stopping_share']:8.1%}  {row['found_share']:11.1%}  {row['together_share']:8.1%}  {row['not_known']:9.1%}"
            f"  {row['calibration']:+15.3f}  {row['brier']:5.3f}  {row['mean_cost']:6.0f}  {row['mean_trips']:5.2f}"
            + (f"  {row['noticed']:7.1%}" if "noticed" in row else "")
            + (f"  {row['second_share']:6.1%}" if "second_share" in row else "")
        )
    for row in found["missed"][:LISTED]:
        yield f"  missed: {row['fault']}; named {row['named'] or 'nothing'} at {row['chance']:.3f} after {row['errors']} errors"
    if len(found["missed"]) > LISTED:
        yield f"  ... {len(found['missed']) - LISTED} more in --json"
