"""What the job asks besides searching is played through in practice too: putting back, watching, two sources."""

from __future__ import annotations

from job.test_two_sources import desk as two_sources
from practice.desks import desk, hidden
from practice.learner import Learner
from practice.trainee import Trainee, begin

from troubleshoot.practice.bench import rows
from troubleshoot.practice.panel import Panel


def test_what_is_temporary_is_put_back_on_dead_parts_before_power_in_practice_too() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    while not (t.page == "question" and t.practice._stage().name == "isolate"):
        t.step()
    t.practice._write("temporary", {"what": "wire 12 lifted at K1:14", "by": "RT"})
    names = []
    for _ in range(80):
        if t.over:
            break
        names.append(t.practice._stage().name)
        t.step()
    assert "putback" in names
    assert names.index("putback") < names.index("power")
    result = t.practice._debrief.result  # type: ignore[union-attr]
    assert not result.unsafe
    assert result.found


def test_a_machine_with_two_sources_is_made_dead_source_by_source_in_the_lesson() -> None:
    learner = Learner(two_sources(), 5).play()
    assert learner.course._debrief.result.passed  # type: ignore[union-attr]
    done = [e.data["step"] for e in learner.course._log.events if e.kind == "isolation"]
    assert [s for s in done if s.startswith(("open", "lock"))] == ["open Q1", "lock Q1", "open G2", "lock G2"]
    panel = Panel(two_sources(), (), 0, fresh=False)
    assert {"open G2", "lock G2"} <= {r.does for r in rows(panel)}
