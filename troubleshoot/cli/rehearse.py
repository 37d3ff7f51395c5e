"""``troubleshoot rehearse``: a careful person against a simulated fault."""

from __future__ import annotations

import json

import click

from troubleshoot.cli import complete
from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.cli.say import complain, say
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option(
    "--complaint",
    required=True,
    help="Symptom as the circuit file names it: wont-start.",
    shell_complete=complete.complaints,
)
@click.option(
    "--fault", required=True, help="Id of the hidden fault (troubleshoot faults).", shell_complete=complete.faults
)
@click.option("--by", type=click.Choice(["tree", "engine"]), default="tree", show_default=True, help="Who leads.")
@click.option("--seed", default=0, show_default=True, help="For what the physics leaves open.")
@click.option("--json", "as_json", is_flag=True, help="steps, suspects, found, cost.")
@click.pass_context
def rehearse(ctx: click.Context, machine: str, complaint: str, fault: str, by: str, seed: int, as_json: bool) -> None:
    """Play a job on MACHINE with one hidden fault. Exit code 0 where its repair was named first, 1 where not.

    Example: troubleshoot rehearse belt-7 --complaint wont-start --fault "KM1 coil open"
    """
    from troubleshoot.job.rehearse import rehearse as play

    desk = open_desk(machine)
    known = {s.id: s for s in desk.machine.suspects[:-1]}
    if fault not in known:
        near = nearest(fault, known)
        raise click.UsageError(f"no fault {show(fault)!r}" + (f" (nearest: {near})" if near else ""))
    if complaint not in desk.machine.circuit.complaints:
        near = nearest(complaint, desk.machine.circuit.complaints)
        raise click.UsageError(f"no complaint {show(complaint)!r}" + (f" (nearest: {near})" if near else ""))
    complain(f"rehearsing {show(fault)} on {show(desk.machine.name)}")
    played = play(desk, complaint, known[fault], by=by, seed=seed)
    if as_json:
        steps = [
            {"words": s.words, "caution": list(s.caution), "expected": s.expected, "seen": s.seen, "cost": s.cost}
            for s in played.steps
        ]
        say(json.dumps({
            "fault": fault, "by": by, "steps": steps, "found": played.found, "named": played.named,
            "confirmed": played.confirmed, "ended": played.ended, "cost": played.cost, "trips": played.trips,
            "suspects": [{"repair": g, "chance": round(p, 6)} for g, p in played.ranked if p > 1e-4],
        }))  # fmt: skip
    else:
        for k, s in enumerate(played.steps, 1):
            say(show(f"{k:>3}  {s.words}"))
            if s.caution:
                say(show(f"     caution: {s.caution[0]}"))
            if s.expected:
                say(show(f"     should be: {s.expected}"))
            say(show(f"     seen: {s.seen}"))
        verdict = "found" if played.found else "NOT found"
        say(
            show(
                f"{verdict}: named {played.named or 'nothing'}; truth: {played.truth.words}. Ended: {played.ended or 'open'}."
            )
        )
        say(f"{played.trips} trips, about {played.cost / 60:.1f} min")
    ctx.exit(0 if played.found else 1)
