"""Kinds of events that practice adds to the job's own; the job folds without them."""

from __future__ import annotations

from typing import Final

OWN: Final = frozenset({
    "practice", "hand", "input", "undone", "task", "act", "meter", "leads", "metered", "proving unit", "predicted", "answered",
    "unsafe", "debrief",
})  # fmt: skip
"""Kinds of events that practice adds; the job folds without them."""
