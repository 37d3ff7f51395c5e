"""Dead is what was proved dead: every conductor to earth and between, with a tester proved before and after."""

from __future__ import annotations

import math

from against.belt7 import MACHINE, circuit_from
from against.small import machine_of
from safety.machines import after, belt, mixer, pin, sign

from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.isolation import IsolationStep, isolation, judge, stays_live
from troubleshoot.solve.meter import read


def step(reasoner, name: str, points=()) -> IsolationStep:  # type: ignore[no-untyped-def]
    return next(s for s in isolation(reasoner, points).steps if s.id == name)


def test_the_order_is_tell_stop_open_lock_release_try_prove_test_prove() -> None:
    # NFPA 70E 120.6 and OSHA 29 CFR 1910.147(d), 1910.333(b)(2): the condensed order, from memory.
    assert [s.id for s in isolation(mixer()).steps] == [
        "tell", "stop", "open SW-0", "lock SW-0", "stored 1", "try", "prove before", "dead", "dead 2", "prove after",
    ]  # fmt: skip


def test_no_card_of_a_dead_test_asks_for_more_readings_than_can_be_checked_in_one_line() -> None:
    points = [pin(f"KM1:{p}") for p in ("A1", "A2", "1", "2", "3", "4", "5", "6")]
    cards = [s for s in isolation(belt(), points).steps if s.id.startswith("dead")]
    assert all(0 < len(s.readings) <= 8 for s in cards)
    readings = [r for s in cards for r in s.readings]
    to_earth = {r.red for r in readings if r.black == pin("PE:1")}
    assert to_earth == set(points)
    assert len(readings) == 16


def test_of_many_conductors_one_live_one_is_found_even_with_the_earth_lost() -> None:
    """Every conductor is also read against its neighbour, round to the first: 7 dead ones and a live one differ there."""
    points = [pin(f"KM1:{p}") for p in ("A1", "A2", "1", "2", "3", "4", "5", "6")]
    steps = [s for s in isolation(belt(), points).steps if s.id.startswith("dead")]
    for live in points:
        seen = [
            [120.0 if (r.red == live) != (r.black == live) and r.black in points else 0.0 for r in s.readings]
            for s in steps
        ]
        assert not all(judge(s, values).ok for s, values in zip(steps, seen, strict=True))


def test_the_tester_is_proved_on_the_line_side_which_the_disconnect_leaves_live() -> None:
    for name in ("prove before", "prove after"):
        proved = step(mixer(), name)
        assert proved.readings == (Meter("ac volts", pin("SW-0:1"), pin("GND:a")),)
        assert abs(proved.expects[0] - 120) < 1
        assert judge(proved, [119.0]).ok
        assert not judge(proved, [3.0]).ok
        assert not judge(proved, [None]).ok


def test_every_conductor_is_tested_to_earth_and_against_every_other() -> None:
    leads = [pin("MTR:U1"), pin("MTR:V1"), pin("MTR:W1")]
    dead = step(mixer(), "dead", leads)
    pairs = {frozenset((m.red, m.black)) for m in dead.readings}
    assert len(dead.readings) == len(pairs) == 6
    assert {m.mode for m in dead.readings} == {"ac volts"}


def test_m7_one_welded_pole_reads_nothing_between_the_leads_and_120_volts_to_earth() -> None:
    """Somebody takes an open contactor for an isolation: between the leads everything looks dead."""
    leads = [pin("M1:U1"), pin("M1:V1"), pin("M1:W1")]
    dead = step(belt(), "dead", leads)
    machine = belt().machine
    weld = next(s for s in machine.suspects if s.id == "KM1 1-2 welded")
    seen = [read(machine.net, weld.edits, after(), m.mode, m.red, m.black)[0][0].value for m in dead.readings]
    earth = [v for v, m in zip(seen, dead.readings, strict=True) if m.black not in leads]
    between = [v for v, m in zip(seen, dead.readings, strict=True) if m.black in leads]
    assert len(earth) == len(between) == 3
    assert max(between) < 0.5
    assert all(118 < v < 122 for v in earth)
    refused = judge(dead, seen)
    assert not refused.ok
    assert "NOT DEAD" in refused.words


def test_a_really_open_disconnect_passes_and_a_missing_reading_does_not() -> None:
    dead = step(belt(), "dead")
    machine = belt().machine
    at = isolation(belt()).situation
    seen: list[float | None] = [
        read(machine.net, (), at, m.mode, m.red, m.black)[0][0].value for m in dead.readings
    ]  # fmt: skip
    assert judge(dead, seen).ok
    assert not judge(dead, seen[:-1]).ok
    assert not judge(dead, [None, *seen[1:]]).ok
    assert not judge(dead, [-24.0, *seen[1:]]).ok


def test_dc_points_are_tested_in_dc() -> None:
    assert Meter("dc volts", pin("PS1:+"), pin("PS1:-")) in [
        r for s in isolation(belt()).steps if s.id.startswith("dead") for r in s.readings
    ]


def test_the_line_side_stays_live_and_the_load_side_does_not() -> None:
    text = " ".join(stays_live(mixer()))
    for point in ("SW-0:1", "SW-0:3", "SW-0:5", "INC:L1"):
        assert point in text
    for point in ("SW-0:2", "C9:1", "MTR:U1"):
        assert point not in text


def test_a_load_that_can_run_is_secured_before_anything_is_lifted() -> None:
    words = " ".join(s.words for s in isolation(belt()).steps)
    assert "incline" in words
    assert "a brake alone is not a block" in words


def test_where_no_disconnect_is_drawn_it_has_to_be_opened_upstream() -> None:
    ids = [s.id for s in isolation(sign(), [pin("L5:X1"), pin("L5:X2")]).steps]
    assert "upstream" in ids
    assert not any(i.startswith("open") for i in ids)


def test_w47_a_large_motor_holds_volts_at_its_leads_after_it_was_switched_off_and_a_small_one_not_long_enough_to_say() -> (
    None
):
    """Closed form: (X2 + Xm) / (omega R2) is 2.34 s; times ln(0.95 x 208 / 60) that makes 2.8 s. 60 V: IEC 60204-1, 6.2.4."""
    text = MACHINE.read_text(encoding="utf-8")
    large = text.replace("kind: motor,", "kind: motor, x1: 0.15 ohm, r2: 0.03 ohm, xm: 26.3 ohm,")
    seconds = math.ceil((0.15 + 26.3) / (2 * math.pi * 60 * 0.03) * math.log(0.95 * 208 / 60))
    for source, said in (
        (large, f"has been off for {seconds} s: its own field"),
        (text, "M1 (belt motor) stands still. Block"),
    ):
        assert any(said in s.words for s in isolation(Reasoner(machine_of(source))).steps)


def test_w47_the_wait_for_a_capacitor_is_said_in_seconds_where_it_is_known() -> None:
    """Closed form: 47 s (470 uF, 100 kilohm) times ln(340 / 60) is 81.5 s; without a capacitor only "until it is dark"."""
    text = MACHINE.read_text(encoding="utf-8")
    known = text.replace("kind: dc supply,", "kind: dc supply, stores: 470 uF,")
    volts = float(str(circuit_from(text).devices["PS1"].ratings["in"]))
    seconds = math.ceil(47 * math.log(math.sqrt(2) * volts / 60))
    for source, must in ((known, f"Wait {seconds} s and until PS1"), (text, "Wait until PS1")):
        steps = isolation(Reasoner(machine_of(source))).steps
        assert any(s.words.startswith(must) for s in steps if s.id.startswith("stored"))
