"""How a command shows a runner: full screen or lines, then the exit code."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime

import click

from troubleshoot.cli.door import Wishes, tell_bug
from troubleshoot.cli.index_on_disk import LEFT_TO_SAY
from troubleshoot.cli.say import complain
from troubleshoot.job.runner import Runner


def show_runner(ctx: click.Context, begin: Callable[[], Runner]) -> None:
    """Show what `begin` makes until the person leaves, and end the command with the exit code.

    The settings are read first: with a mistake in them nothing is begun.
    """
    from troubleshoot.cli.my_settings import my_settings
    from troubleshoot.tui.keymap import keymap
    from troubleshoot.tui.start import run

    wishes = ctx.obj if isinstance(ctx.obj, Wishes) else Wishes(plain=False, mouse=True)
    chosen = my_settings()
    keys = keymap(chosen.keys)
    assert not isinstance(keys, tuple), "the settings were read without a problem"
    code = run(
        begin(), plain=wishes.plain or chosen.plain, mouse=wishes.mouse and chosen.mouse, theme=chosen.theme, keys=keys,
        keep=keep_screen, broke=tell_bug,
    )  # fmt: skip
    for sentence in LEFT_TO_SAY:
        complain(sentence)
    ctx.exit(code)


def keep_screen(text: str) -> str:
    """Put a screen into a new file of the plant that nobody else can read; returns where. Raises OSError."""
    from troubleshoot.cli.data import plant_folder
    from troubleshoot.text.showing import show

    folder = plant_folder() / "screens"
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0)
    path = folder / f"{datetime.now():%Y-%m-%d-%H%M%S-%f}.txt"
    fd = os.open(path, flags, 0o600)
    with os.fdopen(fd, "wb") as file:
        file.write(text.encode("utf-8", "backslashreplace"))
        file.flush()
        os.fsync(file.fileno())
    return show(str(path))
