"""What an input comes to: events to write, and how the screen goes on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from troubleshoot.job.sheet import Refusal
from troubleshoot.job.state import State

DRAWN_MS: Final = 300
"""A caution counts as read only after it has been on the screen this long."""
Events = tuple[tuple[str, Mapping[str, Any]], ...]


@dataclass(frozen=True, slots=True)
class Ui:
    """What is on the screen beside the record."""

    panel: str = ""
    """``why``, ``cant``, ``other``, ``end``, ``rung`` with the number of its page, ``amend`` or ``supply`` with what it
    is about, or nothing."""
    echo: str = ""


NO_PANEL: Final = Ui()


@dataclass(frozen=True, slots=True)
class Decided:
    """Events to write, in order, and how the screen goes on."""

    events: Events = ()
    ui: Ui = NO_PANEL


def sheet_id(state: State, ui: Ui) -> str:
    """Changes with every event and every panel: an input that answers an older sheet is thrown away."""
    return f"{state.last}{ui.panel}"


def question_of(state: State, ui: Ui) -> str:
    """As `sheet_id`, the same while only rows of a list are marked."""
    return f"{state.asking}{ui.panel}"


def as_given(given: Events | Refusal | None, ui: Ui = NO_PANEL) -> Decided | Refusal | None:
    """Events with the screen that follows them; a refusal, and what does nothing, as they are."""
    return Decided(given, ui) if isinstance(given, tuple) else given
