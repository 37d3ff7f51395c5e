"""With which letters an answer may begin, so that every other key of a card acts at once."""

from __future__ import annotations

from troubleshoot.evidence.phrases import BEGINNINGS
from troubleshoot.job.desk import Desk
from troubleshoot.job.keys import KEYS

READING = BEGINNINGS - {KEYS["why"].usual}
"""Of a reading. Why shows a reason and changes nothing: for the sake of "wandering" nobody presses two keys."""


def reading_or_point(desk: Desk) -> frozenset[str]:
    """Of a reading, or of two points of this machine: those begin with a tag."""
    return READING | {tag[0].casefold() for tag in desk.machine.circuit.devices}
