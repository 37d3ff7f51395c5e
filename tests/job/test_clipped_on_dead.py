"""A live reading with no hand near: leads go on and come off behind a whole isolation each, and nothing else is different.

That nothing is put on a conductor before it is proved dead: NFPA 70E 110.1 and EN 50110-1 (both from memory). That leads
are clipped on dead where a hand cannot be near is common practice, no published source.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from job.strangers import Stranger

from troubleshoot.job.clipping import can_clip
from troubleshoot.job.decided import Ui
from troubleshoot.job.rehearse import Bench, answer
from troubleshoot.job.sheet import Typed


@pytest.fixture
def at_a_card(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Stranger:
    """At the first measuring card, its caution unread: Start held, three readings."""
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    person = Stranger(tmp_path, {})
    person.type("elevator 3 won't start")
    person.press("1", "4", "1", "3", "2", "1", "2", "y", "8", "enter", "1", "2", "enter")
    assert person.sheet().needs_caution
    return person


def until(person: Stranger, *names: str) -> None:
    """Careful answers until the job stands at one of these stages."""
    truth = next(s for s in person.now.machine.suspects if s.id == "ES1 11-12 open")
    bench = Bench(person.now, (truth,), random.Random(0))
    for _ in range(40):
        if person.stage.name in names:
            return
        said = answer(bench, person.state, person.stage, Ui())
        if isinstance(said, Typed):
            person.type(said.text)
        else:
            person.press(said.key)
    raise AssertionError(f"still at {person.stage.name}")


def clipped(person: Stranger) -> Stranger:
    """The leads on for the first row, power on again."""
    person.press("d", "1")
    until(person, "clip")
    person.press("y")
    person.press("c")
    return person


def test_its_key_stands_on_a_card_where_a_button_is_held_and_it_asks_which_reading(at_a_card):
    (key,) = [k for k in at_a_card.sheet().keys if k.key == "d"]
    assert key.shown
    at_a_card.press("d")
    assert "Two leads are one reading" in at_a_card.text
    at_a_card.press("escape")
    assert "clip" not in at_a_card.kinds


def test_nothing_is_clipped_on_before_it_is_locked_off_and_those_points_are_proved_dead(at_a_card):
    at_a_card.press("d", "1")
    assert at_a_card.stage.name == "isolate"
    until(at_a_card, "clip")
    state = at_a_card.state
    assert not state.power
    assert {f"lock {tag}" for tag in at_a_card.now.machine.disconnects} <= set(state.isolation)
    (meter,) = state.clip.step.items
    tested = {pin for m in state.tested for pin in (m.red, m.black)}
    assert meter.red in tested
    assert "Locked off and proved dead. Clip the leads on now." in at_a_card.text


def test_power_comes_on_behind_its_own_page_which_names_the_leads(at_a_card):
    at_a_card.press("d", "1")
    until(at_a_card, "clip")
    at_a_card.press("y")
    assert at_a_card.stage.name == "power"
    assert "both meter leads clipped on, KM1:A1 and NB:1" in at_a_card.text


def test_the_reading_has_the_caution_of_a_live_one_first_and_says_that_nothing_enters(at_a_card):
    clipped(at_a_card)
    sheet = at_a_card.sheet()
    assert sheet.needs_caution
    assert sheet.entry is not None
    assert sheet.entry.locked
    for words in (
        "387 V AC at the points",
        "can START",
        "In reach: up to 500 V AC",
        "nothing enters, the leads are on",
    ):
        assert words in at_a_card.text, words
    assert "only the insulated probe enters" not in at_a_card.text
    assert "panel OPEN" not in at_a_card.title
    at_a_card.press("c")
    assert "touch nothing, read the meter from outside" in at_a_card.text
    assert not {"d", "x"} & at_a_card.live()


def test_after_the_reading_the_leads_come_off_behind_a_second_isolation_and_the_search_goes_on(at_a_card):
    clipped(at_a_card)
    at_a_card.press("c")
    at_a_card.type("0")
    assert at_a_card.stage.name == "isolate"
    assert "Take the leads off" in at_a_card.text
    until(at_a_card, "unclip")
    assert not at_a_card.state.power
    at_a_card.press("y")
    state = at_a_card.state
    assert state.clip is None
    assert not state.temporary
    assert state.put_back == ("both meter leads clipped on, KM1:A1 and NB:1",)
    assert [e.data["do"] for e in at_a_card.log.events if e.kind == "clip"] == ["begin", "on", "off"]
    until(at_a_card, "search")
    assert "KM1:A1" not in [str(m.red) for m in at_a_card.stage.step.items], "that one is read"


def test_what_cannot_be_read_that_way_takes_the_leads_off_as_well(at_a_card):
    clipped(at_a_card)
    at_a_card.press("c", "n", "1")
    assert at_a_card.stage.name == "isolate"
    assert at_a_card.state.clip.over


def test_given_up_before_they_are_on_nothing_is_left_of_it(at_a_card):
    at_a_card.press("d", "1", "u")
    assert at_a_card.state.clip is None
    assert at_a_card.stage.name == "search"


def test_leads_that_are_on_stand_in_what_is_temporary_and_come_off_first_for_whoever_takes_it_up(at_a_card):
    from troubleshoot.job.folding import fold

    clipped(at_a_card)
    at_a_card.log.append("resumed", {"who": "Ben", "idle_ms": 0})
    state = fold(at_a_card.log.events)
    assert "resumed" in at_a_card.kinds
    assert [t.what for t in state.temporary] == ["both meter leads clipped on, KM1:A1 and NB:1"]
    assert state.clip is not None
    assert state.clip.over


def test_where_nothing_can_be_locked_off_or_a_point_stays_live_it_is_not_offered(at_a_card):
    from dataclasses import replace

    from troubleshoot.circuit.model import Pin
    from troubleshoot.evidence.seen import Meter

    desk, state, stage = at_a_card.now, at_a_card.state, at_a_card.stage
    assert len(can_clip(desk, state, stage)) == 3
    upstream = Meter("ac volts", Pin("Q1", "1"), Pin("Q1", "3"))
    assert Pin("Q1", "1") in desk.live_when_dead
    assert can_clip(desk, state, replace(stage, step=replace(stage.step, items=(upstream,)))) == ()
    assert can_clip(desk, replace(state, power=False), stage) == ()
    clamp = Meter("amps", Pin("KM1", "2"), Pin("FR1", "1"))
    assert can_clip(desk, state, replace(stage, step=replace(stage.step, items=(clamp,)))) == ()
