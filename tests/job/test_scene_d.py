"""The brake drags, the motor trips its overload: eyes and hands first, then click, volts, gap, amps; and a cause before an end."""

from __future__ import annotations

import pytest
from job.nights import Night, suspect

from troubleshoot.evidence.seen import Look, Meter
from troubleshoot.faults.suspects import OUTSIDE

GAP = "YB1 gap worn"
ANSWERS = {"last": "3", "tripped after": "2", "going": "3", "load": "1", "hot": "2"}


def told(fault: str, complaint: str = "belt 7 trips the overload", **other: str) -> Night:
    night = Night(fault)
    night.type(complaint)
    night.press("y")
    from troubleshoot.job.asking import due_question

    while night.stage.name == "last":
        question = due_question(night.state)
        assert question is not None
        night.press((ANSWERS | other)[question.id])
    return night


def likeliest(night: Night) -> list[str]:
    return [g for g, _ in night.desk.reasoner.groups(night.desk.belief(night.state)) if g != OUTSIDE]


def test_eyes_and_nose_are_asked_before_the_meter_and_how_long_it_took() -> None:
    night = Night(GAP)
    night.type("belt 7 trips the overload")
    night.press("y")
    asked = []
    while night.stage.name == "last":
        asked.append(night.text)
        night.press("3" if not asked[1:] else "1")
    text = " ".join(asked)
    for part in ("What did it do last?", "How long after the start did it trip?", "how does the load", "what is hot"):
        assert part in text, part
    assert "Walk round once" in night.text or "How long after the start" in night.text


def test_within_half_a_minute_something_holds_it_and_after_minutes_something_drags() -> None:
    """The times are computed for this machine: a held shaft trips class 10 in seconds, a drag in minutes."""
    soon, late = (told(GAP, **{"tripped after": key, "hot": "1"}) for key in "23")
    ids = [s.id for s in soon.desk.machine.suspects]
    for held, drags in ((ids.index("M1 jammed"), ids.index("M1 drags")), (ids.index(GAP), ids.index("YB1 drags"))):
        ratio = [n.desk.belief(n.state)[held] / n.desk.belief(n.state)[drags] for n in (soon, late)]
        assert ratio[0] > 8 * ratio[1]


def test_a_hot_drum_leads_to_the_brake_and_a_load_that_stands_to_the_coupling() -> None:
    assert likeliest(told(GAP))[0].startswith("YB1")
    ids = [s.id for s in told(GAP).desk.machine.suspects]
    k = ids.index("M1 coupling broken")
    usual, stands = (n.desk.belief(n.state)[k] for n in (told(GAP), told(GAP, load="4")))
    assert stands > 5 * usual


def test_click_then_volts_then_gap_then_amps_in_that_order() -> None:
    night = told(GAP, "belt 7 brake drags")
    seen: list[str] = []
    for _ in range(80):
        step = night.stage.step
        if night.stage.name in ("repair", "ended"):
            break
        if step is not None and step.id not in seen:
            seen.append(step.id)
        night.careful()
    names = ["gap" if "YB1 gap" in name else name for name in seen]
    order = [name for name in names if name in ("see", "volts", "gap", "amps")]
    assert order == ["see", "volts", "gap"]  # the gap was worn: amps are not needed any more
    assert night.stage.group == suspect(GAP).group


def test_the_gauge_goes_in_only_behind_the_whole_isolation() -> None:
    night = told(GAP, "belt 7 brake drags")
    while not (night.stage.step is not None and night.stage.step.items == (Look("YB1 gap"),)):
        night.careful()
    assert night.stage.name == "isolate"
    assert any("lock" in line for line in night.lines())
    night.careful_until("search")
    assert not night.state.power
    assert "lock Q1" in night.state.isolation
    assert any(isinstance(m, Meter) for m in night.state.tested)
    assert "air gap of belt brake, by feeler gauge against its plate" in night.text


@pytest.mark.parametrize("fault", [GAP, "M1 jammed", "YB1 coil open", "M1 load too heavy"])
def test_tripped_is_never_the_end_a_cause_is(fault: str) -> None:
    after = "3" if fault == "M1 load too heavy" else "2"
    hot = "3" if fault.startswith("M1") else "2"
    load = {"M1 jammed": "3", "M1 load too heavy": "2"}.get(fault, "1")
    night = told(fault, **{"tripped after": after, "hot": hot, "load": load})
    night.careful_until("repair", "ended", "stuck")
    assert night.stage.name == "repair"
    assert night.stage.group != "FR1"
    assert night.stage.group == suspect(fault).group
