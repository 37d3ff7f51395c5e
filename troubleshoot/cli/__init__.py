"""The command line: one thin module a command, each importing what it needs only when it runs.

Belongs here: arguments, exit codes, what goes to stdout and what to stderr, where data and plant lie on this disk.
Not here: any rule of the trade. May know every room; no room may know it.
"""

from __future__ import annotations

from collections.abc import Sequence


def main(args: Sequence[str] | None = None) -> int:
    """Run the command line with `args` (those of the process when None); returns the exit code."""
    from troubleshoot.cli.door import enter

    return enter(args)
