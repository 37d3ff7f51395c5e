"""``troubleshoot`` and ``troubleshoot job``: the front page of the plant, and straight into a job."""

from __future__ import annotations

import sys

import click

from troubleshoot.cli import complete
from troubleshoot.cli.screen import show_runner


@click.command(hidden=True)
@click.pass_context
def plant(ctx: click.Context) -> None:
    """Open the plant: say what is wrong, or go on with an open job.

    Example: troubleshoot plant
    """
    from troubleshoot.cli.machines_on_disk import open_plant
    from troubleshoot.job.session import Session

    show_runner(ctx, lambda: Session(open_plant()))


@click.command()
@click.argument("machine", required=False, shell_complete=complete.machines)
@click.option("--complaint", help="What is wrong, in your own words.")
@click.option("--new", is_flag=True, help="Begin a new job even if one is open.")
@click.option("--plain", is_flag=True, help="Sentences and lines instead of the full screen.")
@click.pass_context
def job(ctx: click.Context, machine: str | None, complaint: str | None, new: bool, plain: bool) -> None:
    """Find a fault and prove it repaired. Takes up an open job of MACHINE unless --new.

    Example: troubleshoot job belt-7 --complaint "dead since the break"
    """
    from dataclasses import replace

    from troubleshoot.cli.machines_on_disk import find, open_jobs_of, open_plant
    from troubleshoot.job.session import Session

    line_mode(ctx, plain)

    def begin() -> Session:
        # Where nobody sits, nothing but what is typed may move a job.
        place = replace(open_plant(), searches=sys.stdin.isatty() and sys.stdout.isatty())
        if machine is None:
            session = Session(place)
            if complaint is not None:
                session.say(complaint)
            return session
        name = find(machine).name
        if name not in place.circuits:
            # A file or folder outside the plant joins it for this session, under its own name.
            from troubleshoot.cli.machines_on_disk import open_job_desk, open_machine, proof_ahead

            place = replace(
                place, circuits={**place.circuits, name: open_machine(machine).circuit},
                desk=lambda wanted: open_job_desk(machine if wanted == name else wanted),
                proof_ahead=lambda wanted, wiring: proof_ahead(machine if wanted == name else wanted, wiring),
            )  # fmt: skip
        earlier = open_jobs_of(name)
        place = replace(place, open_jobs=earlier, looking=None)
        if len(earlier) > 1 and not new:
            # Which of them is meant nobody but the person knows.
            ask = f"{len(earlier)} jobs of {name} are open. Take up one by its number, or say what is wrong now for a new one."
            return Session(replace(place, notices=(ask, *place.notices)), machine=name)
        if earlier and not new:
            return Session(place, resume=earlier[0].session)
        return Session(place, machine=name, complaint=complaint or "")

    show_runner(ctx, begin)


@click.command()
@click.argument("ready", required=False)
@click.option("--complaint", help="Machine and what it does, in your own words: belt 12 dead.")
@click.option("--plain", is_flag=True, help="Sentences and lines instead of the full screen.")
@click.pass_context
def describe(ctx: click.Context, ready: str | None, complaint: str | None, plain: bool) -> None:
    """Describe a machine by a few questions, or take a READY circuit as its pattern, and go straight on to the job.

    Example: troubleshoot describe three-wire --complaint "mixer 4 dead"
    """
    from dataclasses import replace

    from troubleshoot.cli.machines_on_disk import open_plant, ready_files
    from troubleshoot.job.session import Session
    from troubleshoot.text.problem import nearest
    from troubleshoot.text.showing import show

    if ready is not None and ready not in ready_files():
        near = nearest(ready, ready_files())
        raise click.UsageError(f"no ready circuit {show(ready)!r}" + (f" (nearest: {near})" if near else ""))
    line_mode(ctx, plain)

    def begin() -> Session:
        session = Session(replace(open_plant(), looking=None), describe=True, pattern=ready or "")
        if complaint is not None:
            session.say(complaint)
        return session

    show_runner(ctx, begin)


def line_mode(ctx: click.Context, plain: bool) -> None:
    """Sentences and lines for this command, where they were asked for behind its name."""
    from dataclasses import replace

    from troubleshoot.cli.door import Wishes

    if plain:
        wishes = ctx.obj if isinstance(ctx.obj, Wishes) else Wishes(plain=False, mouse=True)
        ctx.obj = replace(wishes, plain=True)
