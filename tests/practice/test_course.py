"""The lessons: each can be played to the end on several machines, and what is answered wrongly is said."""

from __future__ import annotations

import pytest
from practice.desks import desk
from practice.learner import Learner

from troubleshoot.practice.exercise import Nothing
from troubleshoot.practice.tasks import fewest, lesson, open_rungs


@pytest.mark.parametrize("machine", ["three-wire", "reversing-conveyor"])
@pytest.mark.parametrize("level", [2, 3, 4, 5])
def test_a_learner_with_care_passes_every_lesson(machine: str, level: int) -> None:
    try:
        learner = Learner(desk(machine), level)
    except Nothing:
        pytest.skip(f"{machine} has nothing for it")
    learner.play()
    debrief = learner.course._debrief
    assert debrief is not None
    assert debrief.result.passed, debrief.sections


def test_the_first_lesson_has_twenty_points_half_of_them_dead_and_no_fault() -> None:
    made = lesson(desk(), 1, 0)
    assert len(made.tasks) == 20
    assert made.faults == ()
    right = [abs(desk().reasoner.predict(t.meters[0], t.situation.situation).right) for t in made.tasks]
    assert 6 <= sum(v < 1 for v in right) <= 14


def test_halving_needs_no_more_readings_than_it_says() -> None:
    learner = Learner(desk(), 2, 5).play()
    path = learner.course._sitting.lesson.tasks[0].path
    assert len(learner.course._sitting.record.metered) >= 1
    pairs = {frozenset((str(m.red), str(m.black))) for m in learner.course._sitting.record.metered}
    assert len(pairs) <= fewest(path) + 1


def test_every_rung_that_can_be_halved_is_open_where_it_says() -> None:
    for named, path, k, suspect in open_rungs(desk())[:6]:
        from troubleshoot.practice.panel import Panel

        panel = Panel(desk(), (suspect,), 0, fresh=False)
        for act in named.situation.acts:
            panel.do(act)
        back = path[-1]
        before = panel.truth("ac volts", path[k], back)
        after = panel.truth("ac volts", path[k + 1], back)
        assert abs(before.low) > 50
        assert after.floats or abs(after.high) < 10


def test_a_wrong_answer_is_said_with_what_is_right() -> None:
    learner = Learner(desk(), 2, 1)
    learner.press("enter")
    learner.press("c")
    path = learner.course._sitting.lesson.tasks[0].path
    at = learner.course._sitting.lesson.tasks[0].open_at
    other = 0 if at else 1
    learner.type(f"{path[other]} {path[other + 1]}")
    debrief = learner.course._debrief
    assert debrief is not None
    assert not debrief.result.passed
    assert f"it was between {path[at]} and {path[at + 1]}" in " ".join(debrief.sections[1].lines)


def test_a_lesson_too_stops_at_a_reading_before_its_caution() -> None:
    learner = Learner(desk(), 4, 1)
    learner.press("enter")
    meter = learner.course._sitting.task.meters[0]
    learner.at_panel("change leads", "jack v", "knob ac", *learner.cover(meter.red), f"leads {meter.red} {meter.black}")
    assert learner.over
    assert learner.course._debrief is not None
    assert learner.course._debrief.result.unsafe == "reading before the caution"
