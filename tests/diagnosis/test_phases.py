"""What was read while the machine worked says nothing of what comes and goes, and all of what stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from trees.played import number, reasoner

from troubleshoot.circuit.model import Pin
from troubleshoot.diagnosis.reasoner import PRESENT
from troubleshoot.evidence.seen import Interval, Look, Meter, Seen

MACHINE = "three-wire"


def held():
    return reasoner(MACHINE).machine.circuit.situations["start held"].situation


def working(phase: str) -> list[Seen]:
    """A machine that runs as it should: motor turning, right volts at the coil."""
    machine = reasoner(MACHINE).machine
    motor, coil = machine.role("motor"), machine.role("contactor")
    meter = Meter("ac volts", Pin(coil, "A1"), Pin(coil, "A2"))
    right = abs(reasoner(MACHINE).predict(meter, held()).right)
    return [
        Seen(Look(motor), "turns", "turns", held(), phase=phase, event=2),
        Seen(meter, "ok", Interval(right, right, "V"), held(), phase=phase, batch=3, event=3),
    ]


def steady_and_other() -> tuple[np.ndarray, np.ndarray]:
    goes = np.array([s.comes_and_goes for s in reasoner(MACHINE).machine.suspects])
    return ~goes, goes


def test_good_readings_of_a_machine_that_works_leave_what_comes_and_goes_where_it_was():
    before = reasoner(MACHINE).prior
    after = reasoner(MACHINE).belief(working("working"))
    _, goes = steady_and_other()
    ratio = after[goes] / before[goes]
    shown = ratio[ratio > 0]
    assert shown.max() / shown.min() < 1.3


def test_the_same_readings_as_of_the_failed_machine_clear_what_would_show():
    before, after = reasoner(MACHINE).prior, reasoner(MACHINE).belief(working("failing"))
    coil = number(MACHINE, "KM1 coil open")
    joint = next(k for k, s in enumerate(reasoner(MACHINE).machine.suspects) if s.sort == "wire" and "KM1:A1" in s.id)
    assert after[coil] < 0.2 * before[coil]
    assert after[joint] < 0.2 * before[joint]


def test_what_stays_is_cleared_by_a_machine_that_works():
    before, after = reasoner(MACHINE).prior, reasoner(MACHINE).belief(working("working"))
    coil = number(MACHINE, "KM1 coil open")
    # One who reads in haste calls one look in ten wrongly: a machine that was seen to work clears a little less.
    assert after[coil] < 0.1 * before[coil]


def test_where_nobody_knows_it_lies_between():
    """By hand: q P(present) + (1 - q) P(healthy), q = 0.5."""
    k = next(k for k, s in enumerate(reasoner(MACHINE).machine.suspects) if s.sort == "wire" and "KM1:A1" in s.id)
    last = len(reasoner(MACHINE).machine.suspects) - 1
    failing, unknown = (reasoner(MACHINE).belief([replace(working(p)[0])]) for p in ("failing", "unknown"))
    prior = reasoner(MACHINE).prior
    of_failing = failing[k] / failing[last] * prior[last] / prior[k]
    of_unknown = unknown[k] / unknown[last] * prior[last] / prior[k]
    assert of_unknown == pytest.approx(0.5 * of_failing + 0.5, rel=1e-6)


def test_a_failing_machine_is_judged_as_before_phases_were_known():
    assert PRESENT["failing"] == 1.0
    plain = [replace(s, phase="failing") for s in working("working")]
    assert np.array_equal(reasoner(MACHINE).belief(plain), reasoner(MACHINE).belief(working("failing")))


@pytest.mark.parametrize(
    ("ids", "goes"),
    [
        (("KM1 coil open", "F1 open", "KM1 13-14 welded"), (False, False, True)),
    ],
)  # fmt: skip
def test_a_burnt_coil_and_a_blown_fuse_stay_and_a_joint_comes_and_goes(ids, goes):
    suspects = {s.id: s for s in reasoner(MACHINE).machine.suspects}
    for name, want in zip(ids, goes, strict=True):
        if name in suspects:
            assert suspects[name].comes_and_goes is want, name
    assert all(s.comes_and_goes for s in suspects.values() if s.id.endswith(" loose"))
    assert not any(s.comes_and_goes for s in suspects.values() if "winding" in s.id or s.id.endswith("to earth"))
