"""The table of commands. A row is enough to list a command and to find it; its module is imported when it is run."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class Row:
    """One command."""

    name: str
    where: str
    """``module:attribute`` of the click command."""
    does: str
    """Half a sentence for the list of commands."""


OPENS: Final = "plant"
"""The command that runs when none is named."""

_ROWS: Final = (
    Row("log", "troubleshoot.cli.log:log", "verify or show the record of a job"),
    Row("paths", "troubleshoot.cli.paths:paths", "where plant, data, settings and crash reports lie"),
    Row("doctor", "troubleshoot.cli.doctor:doctor", "what this terminal and this installation can do"),
)

COMMANDS: Final = MappingProxyType({row.name: row for row in _ROWS})
