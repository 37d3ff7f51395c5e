"""A confirming test by ohms: taken where good and faulty are far apart, judged by which it is nearer, and never in silence."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import job.nights
import numpy as np
import pytest
from job.nights import Night

from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.diagnosis.confirm import confirm_step
from troubleshoot.evidence import ways_round
from troubleshoot.evidence.likelihood import Predicted, likelihood
from troubleshoot.evidence.seen import Interval, Meter, Seen, Word
from troubleshoot.evidence.words import Asked, Understood, read_typed
from troubleshoot.safety.caution import caution
from troubleshoot.safety.volts import supply_volts
from troubleshoot.solve.meters import NEEDS_DEAD

WIRE = "25:B1:14>S2:11 open"
GROUP = "wire 25, B1:14 to S2:11"


@pytest.fixture(autouse=True)
def known(monkeypatch):
    monkeypatch.setitem(job.nights.FILES, "saw-fan", Path(__file__).parent / "cases/saw-fan.yaml")
    monkeypatch.setattr(job.nights, "circuits", cache(job.nights.circuits.__wrapped__))


def at_its_test() -> Night:
    night = Night(WIRE, "saw-fan")
    night.type("saw fan stops by itself")
    night.careful_until("confirm")
    return night


def seen(understood: Interval | Word) -> Seen:
    return Seen(Meter("ohms", Pin("S1", "13"), Pin("S1", "14")), "", understood, Situation())


def typed(text: str) -> Interval | Word:
    found = read_typed(text, asked=(Asked("ohm"),))
    assert isinstance(found, Understood)
    value = found.answers[0].understood
    assert isinstance(value, Interval | Word)
    return value


def predicted(*ohms: float) -> Predicted:
    """The first is the good machine's."""
    value = np.array(ohms)
    return Predicted(value, value < 0, None, np.zeros(len(value)), ohms[0], 0.0)


def test_ol_on_a_wire_that_is_parted_counts_as_open_beside_a_way_round_of_10_kilohms() -> None:
    good, round_about, none = likelihood(seen(Word.OL), predicted(0.2, 10e3, np.inf))
    assert round_about > 10 * good
    assert none > round_about
    assert none < 5 * round_about


@pytest.mark.parametrize("text", ["3 k", "40 k", "900 k", "6 M"])
def test_so_does_any_reading_between_a_kilohm_and_ol(text: str) -> None:
    good, round_about, none = likelihood(seen(typed(text)), predicted(0.2, 10e3, np.inf))
    assert min(round_about, none) > 4 * good


def test_a_coil_that_should_be_there_and_is_open_stays_told_from_one_that_is_good() -> None:
    """Its good value is known from its rating: only what is far above a good value is a way round."""
    good, open_ = likelihood(seen(typed("118")), predicted(115.0, np.inf))
    assert good > 20 * open_
    good, open_ = likelihood(seen(Word.OL), predicted(115.0, np.inf))
    assert open_ > 20 * good


def test_an_insulation_tester_finds_its_way_round_at_500_volts() -> None:
    tester = Seen(Meter("insulation", Pin("S1", "13"), Pin("S1", "14")), "", Word.OL, Situation())
    assert likelihood(tester, predicted(0.2, 10e3))[1] == likelihood(tester, predicted(0.2, 10e3))[0]


def test_the_chances_of_a_way_round_add_up_from_its_least_to_ol() -> None:
    value = np.array([50.0, 10e3, np.inf])
    assert np.allclose(ways_round.below(1e12, value), 1 - ways_round.NONE_ROUND)
    assert np.allclose(ways_round.below(0.1, value), 0)
    decades = np.linspace(1, 8, 7001)
    for one in value:
        area = sum(float(ways_round.density(10**x, np.array([one]))[0]) for x in decades) * 0.001
        assert abs(area - (1 - ways_round.NONE_ROUND)) < 0.01


def test_a_parted_wire_is_confirmed_with_nobody_at_a_button_by_ol_beside_under_one_ohm() -> None:
    night = at_its_test()
    step = night.stage.step
    assert step is not None
    assert step.situation.words == "locked off and proved dead"
    assert all(isinstance(m, Meter) and m.mode in NEEDS_DEAD for m in step.items)
    assert any("faulty, like: 1 OL, 2 under 1 ohm" in line for line in step.ahead), step.ahead
    night.careful()
    assert night.stage.name == "repair"
    assert night.state.confirmed == {GROUP: True}
    assert "Confirmed by its own test." in night.text


def test_a_test_that_does_not_agree_is_said_before_anything_about_power_and_can_be_taken_back() -> None:
    night = at_its_test()
    night.type("OL OL OL")
    assert night.log.events[-1].data["agrees"] is False
    assert "Not confirmed: 2 shows OL where good and faulty give under 1 ohm; 3 shows OL" in night.text
    assert "Before power goes back on" not in night.text
    assert {"u", "y"} <= night.live()
    night.press("u")
    assert night.stage.name == "confirm"
    night.type("0.2 0.2 0.2")
    assert "Not confirmed: 1 shows 0.2 ohms, as good; faulty gives OL" in night.text
    night.press("y")
    assert night.stage.name == "power"
    assert "Not confirmed: 1 shows 0.2 ohms, as good" in night.text  # and it stands until something else is read
    assert night.state.confirmed == {GROUP: False}


def test_no_volts_are_asked_across_a_dc_contact_on_the_ac_range() -> None:
    desk = job.nights.desk("saw-fan")
    reasoner = desk.reasoner
    contacts = {p for d in ("S0", "S1", "S2", "S3", "B1") for p in desk.pins.values() if p.device == d}
    circuit = desk.machine.circuit
    for group in (GROUP, "S2 block 11-12", "S1 block 13-14", "S3 block 11-12"):
        belief = reasoner.belief(())
        for k, suspect in enumerate(reasoner.machine.suspects):
            if suspect.group == group:
                belief[k] *= 1000
        live = list(circuit.situations.values())
        out = frozenset({"locked off"})
        step = confirm_step(reasoner, belief / belief.sum(), group, live, out)
        for item in step.items if step is not None else ():
            assert isinstance(item, Meter)
            assert not (item.mode == "ac volts" and {item.red, item.black} <= contacts), item


def test_power_that_was_said_to_be_back_and_is_taken_back_is_nowhere_said_to_be_off() -> None:
    night = at_its_test()
    night.type("0.2 0.2 0.2")
    night.press("y")
    night.press("c")
    assert "power ON" in night.sheet().title
    night.press("u")
    assert "power ON or OFF: LOOK" in night.sheet().title
    assert "OFF, NOT locked" not in night.sheet().title
    assert "Only words were taken back: Q1 stands as it stands." in night.text
    assert not night.state.opened
    night.press("c")  # it is on: said anew
    assert "power ON" in night.sheet().title
    assert not night.state.power_doubted
    night.press("u")
    night.press("u")  # the reading too: it is made safe from the first step again
    assert night.stage.name == "isolate"
    assert "LOOK" in night.sheet().title
    while "Open Q1" not in night.text.split("then")[0]:
        night.press("y")
    night.press("y")
    assert "power OFF, NOT locked" in night.sheet().title


def test_what_a_place_needs_is_on_the_card_before_the_first_trip_there_and_on_no_later_one() -> None:
    night = Night(WIRE, "saw-fan")
    night.type("saw fan stops by itself")
    said = []
    for _ in range(60):
        if night.stage.name == "isolate":
            break
        at_fan = night.stage.step is not None and "at fan on the gantry" in night.text
        if at_fan and (not said or said[-1][0] != night.state.evidence):
            said.append((night.state.evidence, "Take along: ladder, for fan on the gantry." in night.text))
        night.careful()
    trips = [one for _, one in said]
    assert trips[0]
    assert not any(trips[1:])


def test_esc_closes_the_reason_as_w_does() -> None:
    night = Night(WIRE, "saw-fan")
    night.type("saw fan stops by itself")
    while night.stage.name != "search":
        night.careful()
    night.press("w")
    assert "Why: " in night.text
    night.press("escape")
    assert "Why: " not in night.text


def test_a_button_box_is_said_to_hold_what_is_in_it_and_not_what_is_in_the_panel() -> None:
    reasoner, at = job.nights.desk("saw-fan").reasoner, Situation()
    found = caution(reasoner, (Meter("dc volts", Pin("S0", "12"), Pin("PE", "1")),), at, person="Ana")
    text = " ".join(found.facts)
    assert "V AC at panel at the wall, " in text
    assert "button box and" not in text
    assert "24 V DC at button box" in text


def test_a_look_that_nobody_had_is_not_asked_once_more() -> None:
    """On this card the door limit switch is named for the first time."""
    night = Night("B1 at open", "saw-fan")
    night.type("saw fan stops by itself")
    for _ in range(60):
        step = night.stage.step
        if step is not None and step.id.startswith("look again B1"):
            seen = any(s.what in step.items for s in night.state.evidence)
            assert ("once more" in step.words) is seen
            return
        night.careful()
    raise AssertionError("it was never looked at alone")


def test_a_supply_counts_as_no_less_than_what_is_printed_on_it_also_under_load() -> None:
    assert supply_volts(job.nights.desk("saw-fan").reasoner).words == "400 V AC"
