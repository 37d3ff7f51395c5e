"""Reading the supply where it stays live with the disconnect off: live work behind its own caution, and no dead test."""

from __future__ import annotations

import random
from functools import cache

import pytest

from troubleshoot.circuit.model import Act
from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.diagnosis.confirm import is_dead, isolated, line_side, stays_live
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.codec import put_situation
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.due import caution_of
from troubleshoot.job.erring import Erring
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.trial import _Course
from troubleshoot.job.view import view


@cache
def desk() -> Desk:
    return open_desk("three-wire")


def until_line_side(fault: str) -> tuple[_Course, Stage]:
    truth = next(s for s in desk().machine.suspects if s.id == fault)
    course = _Course(desk(), Erring(desk(), (truth,), random.Random(0)))
    course.write("opened", {
        "who": "Ana", "machine": "three-wire", "complaint": "wont-start", "said": "wont-start",
        "shows": put_situation(desk().shows("wont-start")),
    })  # fmt: skip
    course.write("choose", {"source": "engine"})
    for _ in range(100):
        stage = stage_of(desk(), course.state)
        if stage.step is not None and stage.step.situation.name == "line side":
            return course, stage
        course._answer(stage)
    pytest.fail("nothing is read at the line side")


def test_its_caution_says_that_the_points_are_live_although_the_disconnect_is_off() -> None:
    course, stage = until_line_side("G1 L2 lost")
    found = caution_of(desk(), course.state, stage)
    assert found is not None, "read without a caution"
    caution, _ = found
    assert caution.level == "danger"
    assert any("480 V AC at the points" in fact for fact in caution.facts)
    assert any(fact.startswith("STILL LIVE with Q1 off") and "Q1:1" in fact for fact in caution.facts)
    shown = " ".join(row.text for row in view(desk(), course.state, Ui(), 80, 24).lines)
    assert "STILL LIVE with Q1 off" in shown
    assert "disconnect off" in shown


def test_volts_only_and_only_where_the_disconnect_leaves_it_live() -> None:
    _, stage = until_line_side("G1 L2 lost")
    assert stage.step is not None
    meters = [i for i in stage.step.items if isinstance(i, Meter)]
    assert {m.mode for m in meters} == {"ac volts"}
    points = {p for m in meters for p in (m.red, m.black)}
    assert set(stays_live(desk().reasoner, isolated(desk().reasoner)[0], points)) == points


def test_it_is_no_dead_situation_and_proves_nothing_dead() -> None:
    named = line_side(desk().reasoner)
    assert named is not None
    assert not is_dead(desk().machine, named)
    course, stage = until_line_side("G1 L2 lost")
    course._answer(stage)
    assert course.state.isolation == {}
    assert not course.state.tested


def test_after_it_power_is_put_on_only_behind_what_power_can_do() -> None:
    """The disconnect is off then: nobody closes it as a part of the next reading."""
    course, stage = until_line_side("G1 L2 lost")
    assert stage.step is not None
    assert stage.step.situation.situation.acts == (Act("open", "Q1"),)
    course._answer(stage)
    assert not course.state.power
    following = stage_of(desk(), course.state)
    assert following.name in ("power", "isolate")
