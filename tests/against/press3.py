"""Press 3, an invented machine with the kinds of the control side that the demo machine has not."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from troubleshoot.machine import Machine, describe

FILE = Path(__file__).with_name("press-3.yaml")


@lru_cache(maxsize=1)
def machine() -> Machine:
    found = describe(FILE.read_text(encoding="utf-8"), FILE.name)
    assert isinstance(found, Machine), "\n".join(map(str, found))
    return found
