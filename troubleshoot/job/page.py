"""What every page of a job has: its keys, its room, and what is left of the suspects."""

from __future__ import annotations

import textwrap
from dataclasses import replace
from typing import Final

from troubleshoot.job.desk import Desk
from troubleshoot.job.facts import contradictions
from troubleshoot.job.keys import KEYS
from troubleshoot.job.naming import group_words
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, LiveKey, Role
from troubleshoot.job.state import State

Drawn = tuple[Entry | None, tuple[LiveKey, ...]]
W, N, X, T, U, E, L = (KEYS[name].live for name in ("why", "cannot", "other", "tree", "undo", "end", "rung"))
ENTER = KEYS["as shown"].live
BACK = KEYS["back"].live
HIGHEST: Final = 21
"""Lines of a sheet at 80 columns beside which title, entry and a row of keys fit 80x24."""
LEFT_TAKES: Final = 3
"""Lines of what is left, with a reading that nothing explains."""


def tree_key(state: State) -> tuple[LiveKey, ...]:
    return (T,) if state.source != "tree" or state.chosen is not None else ()


def draw_left(pen: Pen, desk: Desk, state: State) -> None:
    """What is left, in plain words; and at once, when nothing explains what was seen."""
    belief = desk.belief(state)
    groups = [(g, p) for g, p in desk.reasoner.groups(belief) if p > 0.005]
    start = [p for _, p in desk.reasoner.groups(desk.reasoner.belief(state.evidence[:1])) if p > 0.0005]
    before = _before_last(desk, state)
    was = f"was {len(start)}"
    if len(groups) > before > 0:
        was = f"{was}, then {before}: this answer brings some back"
    names = [f"{group_words(desk, g)}{' (likely)' if p >= 0.5 else ''}" for g, p in groups]
    for count in range(min(5, len(names)), 0, -1):
        more = ", ..." if count < len(names) else "."
        text = f"{len(groups)} left: {', '.join(names[:count])}{more} ({was})"
        if count == 1 or len(textwrap.wrap(text, pen.width, subsequent_indent="  ")) <= 2:
            pen.put(text, Role.LEFT, indent="  ")
            break
    for text in contradictions(desk, state)[:1]:
        pen.put(text, Role.ECHO, indent="  ")


def _before_last(desk: Desk, state: State) -> int:
    """How many were left before the newest answer; 0 where it was the first."""
    earlier = tuple(s for s in state.evidence if s.event != state.evidence[-1].event) if state.evidence else ()
    if len(earlier) < 2 or any(s.epoch != state.epoch for s in earlier[-1:]):
        return 0
    belief = desk.belief(replace(state, evidence=earlier))
    return sum(p > 0.005 for _, p in desk.reasoner.groups(belief))


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
