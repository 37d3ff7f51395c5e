"""Another machine was meant than the one a job was opened on: one key on its first screen. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from troubleshoot.job.sheet import Input, Line, LiveKey, Pressed, Role, Sheet

if TYPE_CHECKING:
    from troubleshoot.log.event import Event

KEY: Final = LiveKey("o", "other machine", "it is another machine: describe it, or pick it")
_FIRST: Final = frozenset({"opened", "described", "complaint"})


def can_be_said(events: Sequence[Event], *, taken_up: bool) -> bool:
    """Whether nothing was told or done yet that belongs to this machine."""
    return not taken_up and {event.kind for event in events} <= _FIRST


def with_key(sheet: Sheet) -> Sheet:
    """The first sheet of a job, with the key below its own rows."""
    row = Line(f"{KEY.key}  {KEY.does}", Role.ROW, KEY.key)
    last = max((k for k, line in enumerate(sheet.lines) if line.role is Role.ROW), default=len(sheet.lines) - 1)
    return replace(
        sheet,
        lines=(*sheet.lines[: last + 1], row, *sheet.lines[last + 1 :]),
        keys=(*sheet.keys, replace(KEY, shown=False)),
    )


def is_said(said: Input, sheet: Sheet) -> bool:
    """Whether an input says it, to this sheet."""
    return isinstance(said, Pressed) and said.key == KEY.key and said.sheet == sheet.id
