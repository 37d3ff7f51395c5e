"""When it stopped, as people say it: ``dead since 2:50``, ``down for 40 min``. Pure; no clock is read."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Final

LONGEST: Final = timedelta(hours=24)
"""A time of the day means the last time the clock showed it, so nothing further back can be said this way."""

_CLOCK: Final = re.compile(
    r"\b(?:since|from|at|around|about|it was)\s+(?:about\s+|around\s+)?([01]?\d|2[0-3])(?:\s?[:.h]\s?([0-5]\d))?\s*([ap])?\.?m?\b",
    re.IGNORECASE,
)
_AGO: Final = re.compile(
    r"\b(?:for|since)?\s*(?:about\s+)?(an|a|half an|\d+(?:[.,]\d+)?)\s*(h|hr|hrs|hour|hours|min|mins|minute|minutes)\b(?P<ago>\s+ago)?",
    re.IGNORECASE,
)
_WORDS: Final = {"an": 1.0, "a": 1.0, "half an": 0.5}


def told_time(text: str, said_at: datetime) -> datetime | None:
    """The moment that `text` names, at or before `said_at` and with its offset; None where it names none.

    An hour up to twelve without am, pm or a leading zero is the last time a clock with hands showed it: ``2:50`` said at five
    in the afternoon is 14:50, ``02:50`` is not. A bare number is a time of the day only with minutes, ``am`` or ``pm``, or after ``since``: ``press 3`` is a machine.
    A length of time counts only after ``for`` or before ``ago``: ``trips after 20 min`` says nothing of when.
    """
    if found := next((m for m in _CLOCK.finditer(text) if _is_time(m)), None):
        hour, minute, half = int(found[1]), int(found[2] or 0), (found[3] or "").lower()
        if half and hour <= 12:
            hour = hour % 12 + (12 if half == "p" else 0)
        hands = not half and 1 <= hour <= 12 and not found[1].startswith("0")
        hours = {hour % 12, hour % 12 + 12} if hands else {hour}
        shown = [said_at.replace(hour=h, minute=minute, second=0, microsecond=0) for h in hours]
        return max(at if at <= said_at else at - timedelta(days=1) for at in shown)
    for ago in _AGO.finditer(text):
        if not (ago["ago"] or ago[0].lower().startswith("for")):
            continue
        number = _WORDS.get(ago[1].lower()) or float(ago[1].replace(",", "."))
        length = timedelta(hours=number) if ago[2].lower().startswith("h") else timedelta(minutes=number)
        if timedelta() < length <= LONGEST:
            return said_at - length
    return None


def _is_time(found: re.Match[str]) -> bool:
    return bool(found[2] or found[3] or found[0].lower().startswith("since"))
