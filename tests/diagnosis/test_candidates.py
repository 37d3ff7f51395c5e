"""How the planner reckons with points that float: as the likelihood of what is then read does (`solve.stray`)."""

from __future__ import annotations

import re

import numpy as np
import pytest
from against.belt7 import MACHINE

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.candidates import CLASSES, FLOATING, candidates, classes_of
from troubleshoot.diagnosis.tables import Table, tables_of
from troubleshoot.machine import Machine, describe

UNDESCRIBED = re.sub(r"(?ms)^runs:\n.*?\n\n", "", MACHINE.read_text(encoding="utf-8"))
"""The machine without a word of what runs beside what."""
NOTHING, LOW = CLASSES.index("nothing"), CLASSES.index("low")


def table(text: str) -> Table:
    machine = describe(text.encode(), "belt-7.yaml")
    assert isinstance(machine, Machine)
    return tables_of(machine, [Situation()])[0]


def shares(found: Table) -> np.ndarray:
    """(readings, classes) of every AC reading, over the outcomes in which it floats."""
    listed = candidates(found)
    rows = []
    for item, chances in zip(listed.items, listed.chances, strict=True):
        if item.meter.mode == "ac volts":
            classes, _ = classes_of(found, "ac", [(item.meter.red, item.meter.black)])
            rows += [chances[o] for o in np.flatnonzero(classes[0] == FLOATING)]
    return np.array(rows)


def test_whatever_floats_the_chances_of_its_classes_sum_to_one_and_undescribed_nothing_is_the_likeliest() -> None:
    found = shares(table(UNDESCRIBED))
    assert len(found) > 50
    assert found.sum(axis=1) == pytest.approx(1)
    assert (found.argmax(axis=1) == NOTHING).all()


def test_where_the_file_says_what_runs_beside_a_wire_it_is_expected_to_read_low_and_not_nothing() -> None:
    """30 m of cable beside a live wire couple more than a tenth of its volts into 10 megohm (`solve.stray`)."""
    text = UNDESCRIBED
    run = "runs:\n  - {conductors: ['10', '11', '12', '13'], in: conduit, length: 30 m}\n"
    plain, described = shares(table(text)), shares(table(text.replace("wires:\n", f"{run}wires:\n", 1)))
    assert plain[:, LOW].max() < 0.5
    assert described[:, LOW].max() > 0.7
