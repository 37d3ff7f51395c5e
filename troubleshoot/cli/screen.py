"""How a command shows a runner: full screen or lines, then the exit code."""

from __future__ import annotations

import click

from troubleshoot.cli.door import Wishes, tell_bug
from troubleshoot.job.runner import Runner


def show_runner(ctx: click.Context, runner: Runner) -> None:
    """Show `runner` until the person leaves, and end the command with the exit code."""
    from troubleshoot.tui.start import run

    wishes = ctx.obj if isinstance(ctx.obj, Wishes) else Wishes(plain=False, mouse=True)
    ctx.exit(run(runner, plain=wishes.plain, mouse=wishes.mouse, broke=tell_bug))
