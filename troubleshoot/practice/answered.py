"""What was answered beside what the panel truly showed: a misread, a reading never taken, a light seen otherwise. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.job.codec import get_item, get_understood
from troubleshoot.practice.meter import Shown
from troubleshoot.practice.panel import Metered, Panel
from troubleshoot.practice.unsafe import Record
from troubleshoot.safety.levels import DEAD_VOLTS
from troubleshoot.solve.meters import VOLTS

NEAR: Final = 0.06
"""How far what was typed may be off what stood there, as a share of it: rounding is no misread. Judgement."""


def answered(panel: Panel, record: Record, kind: str, data: Mapping[str, Any]) -> list[list[Any]]:
    """For every item of an answer: [item, said, what the display or the panel showed, what was wrong with it].

    The last is empty where it agrees; ``never taken``, ``misread``, ``the meter was set for ...`` or ``seen otherwise``.
    """
    if kind not in ("reading", "looked", "proved"):
        return []
    out: list[list[Any]] = []
    for raw, said, understood in data["items"]:
        item = get_item(raw)
        if isinstance(item, Meter):
            if get_understood(understood) is Word.COULDNT:
                continue
            taken = record.of(item)
            text = taken.shown.text if taken else ""
            out.append([raw, said, text, wrong_with(item, taken, get_understood(understood))])
        else:
            now = panel.sees(item)
            out.append([raw, said, now, "" if now == said else "seen otherwise"])
    return out


def wrong_with(asked: Meter, taken: Metered | None, understood: Interval | Word | str) -> str:
    """What is wrong with one reading as it was typed."""
    if taken is None:
        return "never taken"
    if not reads_as(taken.shown, understood, asked.mode in VOLTS):
        return "misread"
    used, wanted = taken.setting.mode, asked.mode
    same = used == wanted or (used in VOLTS and wanted in VOLTS and "dc volts" not in (used, wanted))
    if not same and {used, wanted} != {"ohms", "continuity"}:
        return f"the meter was set for {used}"
    return ""


def reads_as(shown: Shown, understood: Interval | Word | str, volts: bool) -> bool:
    """Whether what was typed is what stood on the display."""
    value = shown.value
    if isinstance(understood, Interval):
        if value is None or value == float("inf"):
            return False
        slack = NEAR * abs(value) + (0.6 if volts else 0.3)
        return abs(understood.low) - slack <= abs(value) <= abs(understood.high) + slack
    match understood:
        case Word.OL:
            return value == float("inf")
        case Word.UNSTEADY:
            return value is None or shown.wanders
        case Word.NOTHING:
            return value is not None and abs(value) <= DEAD_VOLTS
        case _:
            return True
