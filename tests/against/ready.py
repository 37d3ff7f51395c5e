"""The ready circuits, described, with a sample of their faults that a seed draws: shared by oracle, simulator and tests."""

from __future__ import annotations

import os
import random
from functools import cache
from pathlib import Path

import troubleshoot
from troubleshoot.faults.suspects import Suspect
from troubleshoot.machine import Machine, describe

FOLDER = Path(troubleshoot.__file__).parent / "circuits"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.yaml")))
ALL = os.environ.get("TROUBLESHOOT_TESTS") == "all"
MANY = 200
"""Faults of each circuit where all tests run."""


@cache
def machine(name: str) -> Machine:
    found = describe((FOLDER / f"{name}.yaml").read_bytes(), f"{name}.yaml")
    assert isinstance(found, Machine), "\n".join(map(str, found))
    return found


def drawn(name: str, few: int, *, program: bool) -> list[Suspect]:
    """The whole machine first, then `MANY` or `few` faults drawn by the circuit's name; program: those of the program too."""
    whole, faults = machine(name).suspects[-1], machine(name).suspects[:-1]
    known = [s for s in faults if program or all(e.does != "program" for e in s.edits)]
    count = min(MANY if ALL else few, len(known))
    return [whole, *random.Random(name).sample(known, count)]
