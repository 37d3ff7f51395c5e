"""What nothing that may be read tells apart is named together: the one that leads and those beside it."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from functools import cache
from typing import cast

import pytest

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.diagnosis.people import HASTY, MISTAKEN, Way, beside_the_point, ways
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Seen
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.codec import put_situation
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.erring import Erring, Errors
from troubleshoot.job.stage import SURE, stage_of
from troubleshoot.job.trial import _Course, play
from troubleshoot.job.view import view


@cache
def desk() -> Desk:
    return open_desk("three-wire")


def fault(name: str) -> Suspect:
    return next(s for s in desk().machine.suspects if s.id == name)


def to_repair(name: str) -> _Course:
    course = _Course(desk(), Erring(desk(), (fault(name),), random.Random(0)))
    course.write("opened", {
        "who": "test", "machine": "three-wire", "complaint": "wont-start", "said": "wont-start",
        "shows": put_situation(desk().shows("wont-start")),
    })  # fmt: skip
    course.write("choose", {"source": "engine"})
    course.to_repair()
    return course


@pytest.mark.parametrize("line", ["L1", "L2"])
def test_a_line_lost_upstream_is_told_from_the_one_that_it_is_fed_back_from(line: str) -> None:
    """The control transformer hangs between L1 and L2: with the disconnect closed either reads as the other does."""
    course = to_repair(f"G1 {line} lost")
    stage = stage_of(desk(), course.state)
    assert stage.name == "repair"
    assert stage.group == f"phase {line} upstream"
    assert not {"phase L1 upstream", "phase L2 upstream"} & set(stage.beside)
    assert any(move.endswith("line side") for move in course.moves)


def test_what_is_not_ruled_out_is_said_on_the_page() -> None:
    state = to_repair("G1 L1 lost").state
    stage = stage_of(desk(), state)
    assert stage.beside
    shown = " ".join(row.text for row in view(desk(), state, Ui(), 80, 24).lines)
    assert f"Not ruled out by what was read: {stage.beside[0]}." in " ".join(shown.split())


def test_an_earth_fault_behind_a_contact_that_a_hand_opens_is_told_from_one_before_it() -> None:
    """With the test button of the overload relay held, wire 4 hangs on nothing: OL there, and 0.1 ohm before the contact."""
    for name in ("3:F6:2>FR1:95 to earth", "4:X1:1>ES1:11 to earth", "5:ES1:12>S2:11 to earth"):
        run = play(desk(), "wont-start", fault(name), errors=Errors())
        assert run.named.right, (name, run.named)


def test_what_is_sure_has_nothing_beside_it() -> None:
    stage = stage_of(desk(), to_repair("F6 open").state)
    assert stage.chance >= SURE
    assert not stage.beside


def lamp(said: str, event: int) -> Seen:
    return Seen(Light("H1"), said, said, desk().at_rest.situation, "by-exception", event=event)


def volts(x: float, batch: int, point: str = "KM1:A1") -> Seen:
    pins = desk().pins
    meter = Meter("ac volts", pins[point], pins["NB:1"])
    return Seen(meter, f"{x}", Interval(x, x, "V"), desk().at_rest.situation, batch=batch, event=batch)


def test_a_sheet_may_have_been_read_in_haste_and_a_point_read_twice_may_be_another() -> None:
    found = ways([lamp("off", 1), volts(0, 2), volts(0, 3), volts(120, 3, "X1:1")])
    assert [w.chance for w in found] == pytest.approx([1 - HASTY - MISTAKEN, HASTY, MISTAKEN])
    assert next(s.source for s in found[1].evidence) == "operator"
    assert len(found[2].apart) == 2
    assert len(found[2].evidence) == 2
    once = (volts(0, 2), volts(120, 2, "X1:1"))
    assert ways(once) == [Way(1.0, once)]


def test_readings_at_a_mistaken_point_by_hand() -> None:
    """Nothing at 0 V: 0.5 of a normal density of 1 V; the second time 0.9; then 100 V where 120 V of 277 V is meant: 0.1."""
    one = desk().reasoner.predict(cast("Meter", volts(0, 2).what), desk().at_rest.situation)
    meant = replace(one, right=120.0, scale=277.0)
    zero = 1 / math.sqrt(2 * math.pi) + 1e-6
    dead = [(volts(0.0, batch), meant) for batch in (2, 3)]
    assert beside_the_point(dead) == pytest.approx(math.log(0.5 * zero * 0.9 * zero))
    near = math.exp(-0.5 * (20 / 6.3) ** 2) / (6.3 * math.sqrt(2 * math.pi))
    live = 0.6 * near + 0.4 / (1.3 * 277)
    assert beside_the_point([*dead, (volts(100.0, 4), meant)]) - beside_the_point(dead) == pytest.approx(
        math.log(0.1 * live)
    )


def test_what_a_mistaken_point_reads_each_time_is_one_error_and_not_three() -> None:
    """Dead three times where everything beyond it is live: sooner one point mistaken than three slips, and no wire broken."""
    at = desk().shows("wont-start").situation
    pins = desk().pins

    def read(point: str, x: float, batch: int) -> Seen:
        return Seen(
            Meter("ac volts", pins[point], pins["NB:1"]), str(x), Interval(x, x, "V"), at, batch=batch, event=batch
        )

    before = [read("FR1:96", 119.8, 2), read("ES1:11", 119.8, 3), read("S2:11", 119.8, 3)]
    dead = [read("X1:1", 0.0, batch) for batch in (4, 5, 6)]
    belief = desk().reasoner.belief([*before, *dead])
    wires = sum(float(p) for p, s in zip(belief, desk().machine.suspects, strict=True) if s.group.startswith("wire 4"))
    assert wires < 0.05


def test_a_slack_cord_is_named_beside_the_cord_that_was_pulled() -> None:
    """Both hold the switch pulled: what tells them apart is whether it stays set once it is reset."""
    its = open_desk("safety-relay-conveyor")
    slack = next(s for s in its.machine.suspects if s.id == "B9 cord slack")
    run = play(its, "wont-start", slack)
    assert run.named.group == "B9"
    assert run.named.together


def test_a_condition_that_leads_is_looked_at_again_before_anything_is_metered() -> None:
    """An emergency stop that was called in once and once not costs one more look, and no reading with the power on."""

    class OnceWrong(Erring):
        def called(self, item: Light | Look, named: NamedSituation) -> str:
            self.made += item == Look("ES1")
            return desk().shown(item, named) if item == Look("ES1") and self.made == 2 else super().called(item, named)

    held = next(s for s in desk().machine.suspects if s.id == "ES1 left in")
    course = _Course(desk(), OnceWrong(desk(), (held,), random.Random(0)))
    course.write("opened", {
        "who": "trial", "machine": "three-wire", "complaint": "wont-start", "said": "wont-start",
        "shows": put_situation(desk().shows("wont-start")),
    })  # fmt: skip
    course.write("choose", {"source": "engine"})
    _, stage = course.to_repair()
    assert stage.group == held.group
    assert any(m.startswith("look again ES1") for m in course.moves)
    assert not [m for m in course.moves if m.startswith("engine")], course.moves
