"""The one door for output: data to stdout, talk to stderr.

click would write UTF-8 to a screen that says it knows only ASCII; what that screen cannot show is escaped instead.
"""

from __future__ import annotations

import sys

import click


def say(text: str, *, nl: bool = True) -> None:
    """Data, to stdout."""
    click.echo(text, file=sys.stdout, nl=nl)


def complain(text: str) -> None:
    """Talk, to stderr."""
    click.echo(text, file=sys.stderr)
