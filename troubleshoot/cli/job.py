"""``troubleshoot`` and ``troubleshoot job``: the front page of the plant, and straight into a job."""

from __future__ import annotations

import click

from troubleshoot.cli.screen import show_runner


@click.command(hidden=True)
@click.pass_context
def plant(ctx: click.Context) -> None:
    """Open the plant: say what is wrong, or go on with an open job."""
    from troubleshoot.cli.machines_on_disk import open_plant
    from troubleshoot.job.session import Session

    show_runner(ctx, lambda: Session(open_plant()))


@click.command()
@click.argument("machine", required=False)
@click.option("--complaint", help="What is wrong, in your own words.")
@click.option("--new", is_flag=True, help="Begin a new job even if one is open.")
@click.option("--plain", is_flag=True, help="Sentences and lines instead of the full screen.")
@click.pass_context
def job(ctx: click.Context, machine: str | None, complaint: str | None, new: bool, plain: bool) -> None:
    """Find a fault and prove it repaired. Takes up an open job of MACHINE unless --new.

    Example: troubleshoot job belt-7 --complaint "dead since the break"
    """
    from dataclasses import replace

    from troubleshoot.cli.door import Wishes
    from troubleshoot.cli.machines_on_disk import find, open_plant
    from troubleshoot.job.session import Session

    if plain:
        wishes = ctx.obj if isinstance(ctx.obj, Wishes) else Wishes(plain=False, mouse=True)
        ctx.obj = replace(wishes, plain=True)

    def begin() -> Session:
        place = open_plant()
        if machine is None:
            session = Session(place)
            if complaint is not None:
                session.say(complaint)
            return session
        name = find(machine).name
        if name not in place.circuits:
            # A file or folder outside the plant joins it for this session, under its own name.
            from troubleshoot.cli.machines_on_disk import open_desk, open_machine, proof_ahead

            place = replace(
                place, circuits={**place.circuits, name: open_machine(machine).circuit},
                desk=lambda wanted: open_desk(machine if wanted == name else wanted),
                proof_ahead=lambda wanted, wiring: proof_ahead(machine if wanted == name else wanted, wiring),
            )  # fmt: skip
        earlier = next((j for j in place.open_jobs if j.machine == name), None)
        if earlier is not None and not new:
            return Session(place, resume=earlier.session)
        return Session(place, machine=name, complaint=complaint or "")

    show_runner(ctx, begin)
