"""A confirming test does not rest on a point that may have been mistaken: it goes round it, and a batch there counts once."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from troubleshoot.circuit.model import Pin
from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.diagnosis.confirm import confirm_step
from troubleshoot.diagnosis.doubted import Doubts, doubts, round_about
from troubleshoot.diagnosis.people import AGAIN, NOTHING_THERE
from troubleshoot.evidence.seen import Interval, Meter, Seen
from troubleshoot.job.desk import Desk


@cache
def desk() -> Desk:
    return open_desk("three-wire")


def seen() -> list[Seen]:
    """Live at FR1:96 and dead at X1:1, each in two batches: wire 4 between them, or X1:1 mistaken and something beyond it."""
    at, pins = desk().shows("wont-start").situation, desk().pins
    return [
        Seen(Meter("ac volts", pins[p], pins["NB:1"]), str(x), Interval(x, x, "V"), at, batch=batch, event=batch, proved=True)
        for p, x, batch in (("FR1:96", 119.8, 2), ("FR1:96", 119.8, 3), ("X1:1", 0.0, 3), ("X1:1", 0.0, 4))
    ]  # fmt: skip


def points(evidence: list[Seen]) -> set[frozenset[str]]:
    belief = desk().reasoner.belief(seen())
    group = desk().reasoner.groups(belief)[0][0]
    assert "X1:1" in group
    step = confirm_step(desk().reasoner, belief, group, [desk().at_rest], evidence=evidence)
    assert step is not None
    return {frozenset((str(m.red), str(m.black))) for m in step.items if isinstance(m, Meter)}


def test_a_confirming_test_goes_round_a_point_that_may_have_been_mistaken() -> None:
    assert all("X1:1" in pair for pair in points([]))
    assert any("X1:1" not in pair for pair in points(seen()))


def test_only_points_that_were_read_and_that_a_rival_needs_mistaken_are_doubted() -> None:
    reasoner, evidence = desk().reasoner, seen()
    belief = reasoner.belief(evidence)
    leads = reasoner.groups(belief)[0][0]
    rivals = np.where([s.group == leads for s in reasoner.machine.suspects], 0.0, belief)
    found = doubts(reasoner, evidence, (), desk().pins.values(), rivals)
    assert Pin("X1", "1") in found.chance
    assert found.nothing[Pin("X1", "1"), "V"]
    assert set(found.chance) <= {Pin("X1", "1"), Pin("FR1", "96")}
    assert doubts(reasoner, (), (), desk().pins.values(), rivals).chance == {}


def test_the_chance_that_a_point_was_mistaken_is_a_part_of_belief() -> None:
    """What a suspect shows there needs no mistake; what it does not show there needs one."""
    reasoner, evidence = desk().reasoner, seen()
    pin = Pin("X1", "1")
    so = reasoner.mistaken(evidence, (), [pin])[pin]
    assert ((so >= 0) & (so <= 1 + 1e-12)).all()
    number = {s.id: k for k, s in enumerate(reasoner.machine.suspects)}
    assert so[number["4:FR1:96>X1:1 open"]] < 0.02
    assert so[number["4:X1:1>ES1:11 open"]] > 0.5


def test_three_readings_at_one_mistaken_point_are_one_mistake() -> None:
    """By hand: of the copies of one outcome half have nothing there; each reading is then nothing in nine of ten."""
    red, black = Pin("X1", "1"), Pin("ES1", "11")
    meters = [Meter("ohms", red, black), Meter("ohms", red, Pin("NB", "1"))]
    shorted = np.array([0.94, *[0.01] * 6])
    chances = np.array([[shorted, shorted[::-1]]] * 2)
    found = Doubts({red: np.array([0.4, 0.0])})
    split, weight, source = found.split(chances, meters, np.array([0, 1]), np.array([0.75, 0.25]))
    assert weight == pytest.approx([0.45, 0.25, 0.3 * NOTHING_THERE, 0.3 * (1 - NOTHING_THERE)])
    assert source.tolist() == [0, 1, 0, 0]
    assert split[:, 2, -1] == pytest.approx([AGAIN, AGAIN])
    assert split[:, 3, -1] == pytest.approx([1 - AGAIN, 1 - AGAIN])
    assert split.sum(axis=2) == pytest.approx(np.ones((2, 4)))
    both = (split[:, :, -1].prod(axis=0) * weight).sum()
    assert both == pytest.approx(0.45 * 0.0001 + 0.25 * 0.94**2 + 0.15 * 0.81 + 0.15 * 0.01)


def test_no_doubt_changes_nothing() -> None:
    chances = np.random.default_rng(1).random((2, 3, 5))
    split, weight, source = Doubts().split(chances, [], np.arange(3), np.array([0.5, 0.3, 0.2]))
    assert (split == chances).all()
    assert weight.tolist() == [0.5, 0.3, 0.2]
    assert source.tolist() == [0, 1, 2]
    pair = (desk().pins["FR1:96"], desk().pins["X1:1"])
    assert list(round_about(desk().machine.circuit, [pair], Doubts())) == []


def test_the_ways_round_are_one_conductor_contact_or_coil_further_on() -> None:
    pins = desk().pins
    found = round_about(desk().machine.circuit, [(pins["FR1:96"], pins["X1:1"])], Doubts({pins["X1:1"]: np.ones(1)}))
    assert (pins["FR1:96"], pins["ES1:11"]) in set(found)
