"""Run a runner on this terminal, whichever it is, and end with an exit code."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import TextIO

from troubleshoot.job.runner import Runner
from troubleshoot.tui.keymap import Keymap, Rekeyed
from troubleshoot.tui.terminal import Terminal, detect, settings


def this_terminal(theme: str = "") -> Terminal:
    """What the terminal this process runs on can do. theme: the look asked for in the settings."""
    # The full screen is drawn on standard error, so that is the stream whose encoding decides.
    drawn_on = sys.__stderr__
    return detect(
        {"TROUBLESHOOT_THEME": theme} | os.environ,
        encoding=getattr(drawn_on, "encoding", None),
        keyboard=_is_terminal(sys.__stdin__),
        screen=_is_terminal(sys.__stdout__) and _is_terminal(drawn_on),
    )


def _is_terminal(stream: TextIO | None) -> bool:
    try:
        return stream is not None and stream.isatty()
    except ValueError:  # closed before we began
        return False


def run(
    runner: Runner,
    *,
    plain: bool = False,
    mouse: bool = True,
    theme: str = "",
    keys: Keymap | None = None,
    keep: Callable[[str], str] | None = None,
    broke: Callable[[Exception], None] | None = None,
) -> int:
    """Show `runner` until the person leaves. plain: line mode even where the full screen would do.

    theme: a look by name, where the environment names none. keys: letters that were moved. keep: puts a text into a
    file and says where; raises OSError.

    Returns the exit code: 0, 130 after Ctrl-C in line mode, 143 and 129 after SIGTERM and SIGHUP, 70 after a bug of
    ours, which `broke` is told of once the terminal is as it was.
    """
    terminal = this_terminal(theme)
    if keys is not None:
        runner = Rekeyed(runner, keys)
    if plain or terminal.plain:
        from troubleshoot.tui.plain import run_on_this_terminal

        return run_on_this_terminal(runner)
    for name, value in settings(terminal).items():
        os.environ.setdefault(name, value)
    from troubleshoot.tui.thrift import without_encryption

    without_encryption()
    from troubleshoot.tui.app import TroubleshootApp

    app = TroubleshootApp(runner, terminal, keep=keep)
    # A key waits for the thread that computes no longer than this; the usual 5 ms are felt several times a key.
    sys.setswitchinterval(0.001)
    app.run(mouse=mouse)
    if app.broke is not None and broke is not None:
        broke(app.broke)
    return app.return_code or 0
