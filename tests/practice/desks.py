"""Desks of machines that are practised on, each made once a process."""

from __future__ import annotations

from functools import cache

from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.job.desk import Desk
from troubleshoot.practice.exercise import Exercise, shown_by


@cache
def desk(name: str = "three-wire") -> Desk:
    return open_desk(name)


def hidden(machine: str, *faults: str, complaint: str = "", level: int = 7, seed: int = 1) -> Exercise:
    """An exercise with these faults, told as the complaint that shows them best."""
    its = desk(machine)
    first = next(s for s in its.machine.suspects if s.id == faults[0])
    complaint = complaint or shown_by(its, first)
    return Exercise(machine, level, seed, complaint, its.machine.circuit.complaints[complaint].words[0], faults)
