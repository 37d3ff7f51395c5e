"""The way in and the way out: the group of commands, and every error turned into words and an exit code.

0 done, 1 the answer is no, 2 bad input or usage, 70 a bug of ours (with a crash report), 130 after Ctrl-C.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from troubleshoot import __version__
from troubleshoot.cli.commands import COMMANDS, OPENS
from troubleshoot.cli.say import complain

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

BUG = 70


@dataclass(frozen=True, slots=True)
class Wishes:
    """What was asked of the screen; `click.Context.obj` of every command."""

    plain: bool
    """Line mode even where the full screen would do."""
    mouse: bool


class Commands(click.Group):
    """Commands by the table, imported when they run; a misspelt one is answered with the nearest."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Import the module of the command."""
        row = COMMANDS.get(name)
        if row is None:
            return None
        module, _, attribute = row.where.partition(":")
        found = getattr(importlib.import_module(module), attribute)
        assert isinstance(found, click.Command)
        return found

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Commands by the table, without importing one, then the options."""
        from click.shell_completion import CompletionItem

        rows = [CompletionItem(row.name, help=row.does) for row in COMMANDS.values() if row.name.startswith(incomplete)]
        return rows + click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the table without importing a single command."""
        with formatter.section("Commands"):
            formatter.write_dl([(row.name, row.does) for row in COMMANDS.values()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As always, save that an unknown name is told its neighbour."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from rapidfuzz import process

            from troubleshoot.text.showing import show

            near = process.extractOne(args[0], list(COMMANDS), score_cutoff=50)
            ctx.fail(f"no command {show(args[0])!r}" + (f" (nearest: {near[0]})" if near else ""))
        return super().resolve_command(ctx, args)


@click.group(
    cls=Commands,
    invoke_without_command=True,
    no_args_is_help=OPENS not in COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(__version__, prog_name="troubleshoot", message="%(prog)s %(version)s")
@click.option("--plain", is_flag=True, help="Sentences and lines instead of the full screen.")
@click.option("--no-mouse", is_flag=True, help="Leave the mouse to the terminal, for marking and copying.")
@click.pass_context
def commands(ctx: click.Context, plain: bool, no_mouse: bool) -> None:
    """Find the fault in a motor control circuit, prove it repaired, and keep a record that can be trusted.

    Without a command: opens the plant. Exit code 0 done, 1 the answer is no, 2 bad input.
    """
    ctx.obj = Wishes(plain=plain, mouse=not no_mouse)
    if ctx.invoked_subcommand is None:
        opening = commands.get_command(ctx, OPENS)
        assert opening is not None
        ctx.invoke(opening)


def enter(args: Sequence[str] | None = None) -> int:
    """Run a command; every way it can end becomes an exit code, and no error a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            with contextlib.suppress(ValueError, OSError):
                stream.reconfigure(errors="backslashreplace")
    if "_TROUBLESHOOT_COMPLETE" in os.environ:
        from troubleshoot.cli.completion import register

        register()
    try:
        ended: Any = commands.main(
            args=None if args is None else list(args), prog_name="troubleshoot", standalone_mode=False
        )
        code = ended if isinstance(ended, int) and not isinstance(ended, bool) else 0
        _flush()
    except click.ClickException as error:
        error.show(file=sys.stderr)
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        return 130
    except SystemExit:
        # click ends so after printing a completion, and otherwise only when nobody reads its output any more.
        if "_TROUBLESHOOT_COMPLETE" in os.environ:
            raise
        return 0
    except BrokenPipeError:
        _nobody_reads()
        return 0
    except OSError as error:
        complain(f"troubleshoot: {_words(error)}")
        return 2
    except Exception as error:
        tell_bug(error)
        return BUG
    return code


def _words(error: OSError) -> str:
    from troubleshoot.text.showing import show

    if error.strerror is None:
        return show(str(error))
    return f"{show(os.fsdecode(error.filename or ''))}: {error.strerror}"


def _flush() -> None:
    if sys.stdout is not None:
        sys.stdout.flush()


def _nobody_reads() -> None:
    """Point stdout elsewhere: Python flushes it once more at the end and would complain."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def tell_bug(error: Exception) -> None:
    """Say that it was our fault and where the crash report lies."""
    from troubleshoot.cli.data import crash_folder

    report = "".join(traceback.format_exception(error))
    complain(f"troubleshoot: a bug of ours ({type(error).__name__}). What was saved is safe.")
    try:
        folder = crash_folder()
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        path = folder / f"crash-{os.getpid()}.txt"
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_NOFOLLOW", 0), 0o600)
        with os.fdopen(fd, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(f"troubleshoot {__version__}, Python {sys.version}\n{report}")
        complain(f"The report is in {path}")
    except OSError:
        complain(report)  # no disk to put it on: better a page of frames than nothing
