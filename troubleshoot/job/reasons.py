"""Why something cannot be done: in words, for how long, and what would take the reason away."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason that can be chosen."""

    name: str
    words: str
    lasts: str
    """How long it holds."""
    waits: str = ""
    """What the job can wait for, as its ending is called (`waiting: permit`); empty where nothing takes the reason away."""
    waits_for: str = ""
    passes: bool = False
    """It hangs on people, meter or hour: asked again when the job is taken up anew."""


REASONS: Final[Mapping[str, Reason]] = MappingProxyType({reason.name: reason for reason in (
    Reason("reach", "cannot reach it", "for good"),
    Reason(
        "permit", "needs a permit or another trade", "until the permit is there", "permit", "a permit or another trade",
    ),
    Reason("second person", "needs a second person", "while nobody helps", "person", "a second person", passes=True),
    Reason("meter", "not with this meter", "with this meter, this shift", "meter", "another meter", passes=True),
    Reason("not allowed", "not allowed to stop it now", "for now", "hour", "leave to stop it", passes=True),
    Reason("unsafe", "I will not: unsafe", "never asked again"),
    Reason("none", "there is none here", "for good"),
)})  # fmt: skip
"""In the order of their rows."""
REASON_ROWS: Final[Mapping[str, Reason]] = MappingProxyType({str(k): r for k, r in enumerate(REASONS.values(), 1)})
WAITED_FOR: Final = frozenset(r.name for r in REASONS.values() if r.waits)
PASSING: Final = frozenset(r.name for r in REASONS.values() if r.passes)


def why_words(reason: str) -> str:
    """A reason as it was chosen."""
    return REASONS[reason].words if reason in REASONS else reason
