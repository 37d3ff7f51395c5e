"""An act that could hurt somebody stops the exercise, with the reason; the same act behind its precautions does not."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from practice.desks import desk, hidden
from practice.trainee import Trainee, begin

from troubleshoot.circuit.model import Act, Pin
from troubleshoot.evidence.seen import Meter
from troubleshoot.practice.meter import Setting
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.unsafe import Record, isolation_claimed, metering_anywhere, power_back, starts_by


def trainee(fault: str = "F2 open", machine: str = "three-wire") -> Trainee:
    t = Trainee(begin(hidden(machine, fault), desk(machine)))
    t.step()
    return t


def until(t: Trainee, done: Callable[[], bool]) -> Trainee:
    for _ in range(60):
        if done():
            return t
        assert not t.over, t.text
        t.step()
    raise AssertionError(t.text)


def at_a_card(t: Trainee) -> Trainee:
    return until(t, lambda: t.sheet.needs_caution)


def stopped(t: Trainee) -> str:
    assert t.over, t.text
    assert t.practice._debrief is not None
    unsafe = [e for e in t.practice._log.events if e.kind == "unsafe"]
    assert len(unsafe) == 1
    rule = str(unsafe[0].data["rule"])
    assert f"Stopped for safety: {rule}" in t.text
    assert t.practice._debrief.result.unsafe == rule
    assert not t.practice._debrief.result.passed
    return rule


def test_reading_a_live_point_before_its_caution_stops() -> None:
    t = at_a_card(trainee())
    t.at_panel("open panel", "leads Q1:2 G1:N")
    assert stopped(t) in ("reading before the caution", "reading without a caution")


def test_reading_a_live_point_that_is_on_no_card_stops_even_after_a_caution() -> None:
    t = at_a_card(trainee())
    t.press("c")
    card = {p for m in t.practice._stage().step.items for p in (m.red, m.black)}  # type: ignore[union-attr]
    other = next(p for p in (Pin("Q1", "1"), Pin("Q1", "5"), Pin("KM1", "1")) if p not in card)
    t.at_panel("open panel", f"leads {other} PE:1")
    assert stopped(t) == "reading without a caution"


def test_the_points_of_the_card_behind_their_caution_do_not_stop() -> None:
    t = at_a_card(trainee())
    t.press("c")
    t.answer()
    assert not t.over


def test_ohms_on_live_stops() -> None:
    t = at_a_card(trainee())
    t.press("c")
    meter = t.practice._stage().step.items[0]  # type: ignore[union-attr]
    t.at_panel("open panel", "knob ohms", f"leads {meter.red} {meter.black}")  # type: ignore[union-attr]
    assert stopped(t) == "ohms on live"


def test_ohms_on_a_dead_part_that_nobody_proved_dead_stops() -> None:
    t = at_a_card(trainee())
    t.at_panel("open Q1", "open panel", "knob ohms", "leads F2:1 F2:2")
    assert stopped(t) == "not proved dead"


def test_closing_the_disconnect_with_the_cover_off_stops() -> None:
    t = at_a_card(trainee())
    t.at_panel("open panel", "open Q1", "close Q1")
    assert stopped(t) == "power on with the cover off"


def test_closing_the_disconnect_with_a_lead_in_stops() -> None:
    t = at_a_card(trainee())
    t.at_panel("open Q1", "open panel", "knob low", "leads F2:1 G1:N", "close Q1")
    assert stopped(t) == "power on with leads in"


def test_power_back_before_what_can_happen_was_read_stops() -> None:
    t = trainee()
    until(t, lambda: t.practice._stage().name == "isolate" and "lock Q1" in t.practice._now().isolation)
    places = [p.name for p in desk().machine.circuit.places.values() if p.door]
    t.at_panel("leads off", *(f"close {p}" for p in places), "unlock Q1", "close Q1")
    assert stopped(t) == "power on unread"


@pytest.mark.parametrize(
    ("step", "rule"),
    [("open Q1", "said open, is on"), ("lock Q1", "said locked, is not"), ("try", "not tried")],
)
def test_a_step_of_making_dead_that_is_ticked_off_and_was_not_done_stops(step: str, rule: str) -> None:
    t = trainee()
    until(t, lambda: t.practice._stage().name == "isolate" and t.practice._stage().next == step)
    t.press("y")
    assert stopped(t) == rule


def test_a_tester_called_proved_that_was_laid_on_nothing_stops() -> None:
    t = trainee()
    until(t, lambda: t.practice._stage().name == "isolate" and t.practice._stage().next == "prove before")
    t.press("c")
    t.type("277")
    assert stopped(t) == "tester not proved"


def test_a_dead_test_that_was_typed_and_never_made_stops() -> None:
    t = trainee()
    until(t, lambda: t.practice._stage().name == "isolate" and t.practice._stage().next == "dead")
    t.press("c")
    t.type(" ".join("0" for _ in t.practice._stage().isolation.steps[-2].readings))  # type: ignore[union-attr]
    assert stopped(t) == "dead without a reading"


def test_starting_it_before_anybody_asked_who_is_there_stops() -> None:
    t = trainee("H1 open")
    t.at_panel("press S1")
    assert stopped(t) == "started with people about"


# ------------------------------------------------------------------------------------------- the rules by themselves


def panel(machine: str = "three-wire", *faults: str, setting: Setting | None = None) -> Panel:
    its = desk(machine)
    found = tuple(s for s in its.machine.suspects if s.id in faults)
    return Panel(its, found, 0, setting=setting or Setting(), fresh=False)


def test_a_lead_in_the_jack_for_amperes_across_live_points_is_a_short_and_blows_no_second_time() -> None:
    p = panel(setting=Setting("amps", amps_jack=True))
    p.red, p.black = Pin("Q1", "2"), Pin("Q1", "4")
    wrong = metering_anywhere(p)
    assert wrong is not None
    assert wrong.rule == "short through the meter"
    p.setting = Setting("amps", amps_jack=True, fuse_blown=True)
    assert metering_anywhere(p) is None


def test_a_fuse_put_in_with_power_on_stops() -> None:
    wrong = starts_by(panel(), Act("refit", "F4"), clear=True)
    assert wrong is not None
    assert wrong.rule == "fuse refitted live"
    dead = panel()
    dead.do(Act("open", "Q1"))
    assert starts_by(dead, Act("refit", "F4"), clear=True) is None


def test_resetting_what_starts_by_it_stops_and_with_a_stop_held_it_does_not() -> None:
    # Of a healthy machine whose program keeps its bit: resetting a tripped overload starts the motor.
    p = panel("float-pump")
    for act in (Act("put", "B1", "high"), Act("test", "FR1")):
        p.do(act)
    wrong = starts_by(p, Act("reset", "FR1"), clear=True)
    assert wrong is not None
    assert wrong.rule == "restarted by itself"
    p.do(Act("put", "S1", "off"))
    assert starts_by(p, Act("reset", "FR1"), clear=True) is None


def test_power_back_behind_everything_does_not_stop() -> None:
    p = panel()
    p.do(Act("open", "Q1"))
    assert power_back(p, Act("close", "Q1"), told=True) is None


def test_a_live_point_called_dead_stops_whatever_the_display_showed() -> None:
    p = panel()
    record = Record()
    p.red, p.black = Pin("Q1", "1"), Pin("PE", "1")
    p.setting = Setting(lead_broken=True)
    taken = p.meter(first=False)
    assert taken is not None
    record.metered.append(taken)
    data = {
        "step": "dead", "said": "0", "readings": [["meter", "ac volts", ["Q1", "1"], ["PE", "1"]]],
        "understood": [[0.0, 0.0, "V"]],
    }  # fmt: skip
    wrong = isolation_claimed(p, record, data)
    assert wrong is not None
    assert wrong.rule == "live called dead"
    assert record.of(Meter("ac volts", Pin("PE", "1"), Pin("Q1", "1"))) is taken
