"""Dead is what was proved dead: every conductor to earth and between, with a tester proved before and after."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from functools import lru_cache

from against.belt7 import MACHINE, circuit_from
from against.small import machine_of
from safety.machines import THREE_WIRE, after, belt, machine_from, mixer, pin, sign

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.describe.pattern import compose
from troubleshoot.diagnosis.confirm import is_dead
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


KM1 = [pin(f"KM1:{p}") for p in ("A1", "A2", "1", "2", "3", "4", "5", "6")]


KM1_LINE, KM1_LOAD = ("KM1:1", "KM1:3", "KM1:5"), ("KM1:2", "KM1:4", "KM1:6")


def dead_of(reasoner, points=()) -> list[IsolationStep]:  # type: ignore[no-untyped-def]
    return [s for s in isolation(reasoner, points).steps if s.id.startswith("dead")]


def test_no_card_of_a_dead_test_asks_for_more_readings_than_can_be_checked_in_one_line() -> None:
    cards = dead_of(belt(), KM1)
    assert all(0 < len(s.readings) <= 8 for s in cards)
    assert all(len({m.mode for m in s.readings}) == 1 for s in cards), "the meter is set once a card"
    readings = [r for s in cards for r in s.readings]
    assert {r.red for r in readings if r.black == pin("PE:1")} >= set(KM1)


def test_every_phase_is_asked_against_every_other_and_no_pair_is_left_to_a_way_round() -> None:
    """NFPA 70E 120.6 (7): each phase conductor or circuit part, both phase to phase and phase to ground."""
    readings = [r for s in dead_of(belt(), KM1) for r in s.readings]
    asked = {frozenset((r.red, r.black)) for r in readings}
    line, load, coil = (map(pin, names) for names in (KM1_LINE, KM1_LOAD, ("KM1:A1", "KM1:A2")))
    for side in (line, load, coil):
        for pair in itertools.combinations(side, 2):
            assert frozenset(pair) in asked, pair


def test_a_dead_test_of_a_contactor_stays_within_what_is_done_at_night() -> None:
    """Every pair of eight terminals would be 28 readings beside the eight to earth; asked so, nobody makes it."""
    assert len(dead_of(belt(), KM1)) <= 2


def test_the_two_ends_of_a_wire_are_tested_between_each_other_though_they_sit_on_two_devices() -> None:
    asked = {frozenset((r.red, r.black)) for s in dead_of(belt(), [pin("K1:14"), pin("FR1:95")]) for r in s.readings}
    assert frozenset((pin("K1:14"), pin("FR1:95"))) in asked


def test_the_far_side_of_the_open_contact_before_a_point_of_work_is_tested_too() -> None:
    """An open contact ends what a reading can tell: a second feed may stand behind it."""
    readings = [r for s in dead_of(belt(), [pin("K1:14"), pin("FR1:95")]) for r in s.readings]
    assert {pin("K1:13"), pin("FR1:96")} <= {r.red for r in readings if r.black == pin("PE:1")}


def test_ac_is_asked_at_every_pair_and_dc_wherever_a_dc_can_come_and_each_kind_has_its_own_proof_of_the_tester() -> (
    None
):
    work = [pin("F6:1"), pin("F6:2")]
    steps = isolation(belt(), work).steps
    readings = [r for s in dead_of(belt(), work) for r in s.readings]
    for mode in ("ac volts", "dc volts"):
        assert {(r.red, r.black) for r in readings if r.mode == mode} >= {
            (work[0], pin("PE:1")), (work[1], pin("PE:1")), (work[0], work[1])
        }  # fmt: skip
    ids = [s.id for s in steps]
    assert ids.index("prove before dc") < ids.index("dead") < ids.index("prove after dc")
    assert "on V DC" in next(s.words for s in steps if s.id == "prove before dc")


def test_of_many_conductors_one_live_one_is_found_even_with_the_earth_lost() -> None:
    steps = dead_of(belt(), KM1)
    for live in KM1:
        seen = [
            [120.0 if (r.red == live) != (r.black == live) and r.black in KM1 else 0.0 for r in s.readings]
            for s in steps
        ]
        assert not all(judge(s, values).ok for s, values in zip(steps, seen, strict=True))


@lru_cache
def fan() -> Reasoner:
    """Buttons straight to a contactor whose control voltage comes from another panel."""
    answers = {
        "buttons": "straight",
        "volts": "120 other",
        "overload": "before",
        "brake": "none",
        "selector": "stop only",
    }
    return Reasoner(machine_from(compose(answers, machine="fan-9")))


def test_every_source_has_its_own_step_to_open_and_its_own_step_to_lock() -> None:
    """29 CFR 1910.147(d)(3) and NFPA 70E 120.6 (1): all possible sources, found and opened."""
    steps = {s.id: s.words for s in isolation(fan(), [pin("X1:3"), pin("KM1:14")]).steps}
    for step_ in ("open Q1", "lock Q1", "open G2", "lock G2"):
        assert step_ in steps
    assert "You cannot find it: stop here, touch nothing." in steps["open G2"]
    for tag in ("F4", "X1", "S1", "KM1"):
        assert tag in steps["open G2"], "what stays live here until then"
    assert is_dead(fan().machine, NamedSituation("isolated", "", isolation(fan()).situation))


def test_with_the_second_source_left_on_the_dead_test_does_not_pass() -> None:
    """Downstream of an open start button all is dead; the test asks at its other side as well."""
    machine = fan().machine
    only_q1 = after("open Q1")
    passed = True
    for one in dead_of(fan(), [pin("X1:3"), pin("KM1:14")]):
        seen = [read(machine.net, (), only_q1, m.mode, m.red, m.black)[0][0].value for m in one.readings]
        passed = passed and judge(one, seen).ok
    assert not passed


AHEAD = THREE_WIRE.replace(
    "roles:", "  - {number: R, run: ['INC:L1', '8FU:1']}\n  - {number: L1, run: ['8FU:2', 'C9:13']}\n"
    "  - {number: L2, run: ['C9:14', 'L5:X1']}\n  - {number: '6', run: ['L5:X2', 'INC:N']}\nroles:"
).replace("blocks: {'43-44': no}", "blocks: {'43-44': no, '13-14': no}").replace(
    "  GND:", "  8FU: {kind: fuse, at: box, words: lamp fuse, amps: 1 A}\n"
    "  L5: {kind: lamp, at: wall, words: running lamp, lamp: 120 V AC}\n  GND:"
)  # fmt: skip


def test_what_is_fed_ahead_of_the_disconnect_asks_for_a_lock_ahead_of_it_when_hands_go_there_and_only_then() -> None:
    machine = Reasoner(machine_from(AHEAD))
    behind_a_contact = [s.id for s in isolation(machine, [pin("L5:X1"), pin("C9:14")]).steps]
    elsewhere = [s.id for s in isolation(machine, [pin("MTR:U1"), pin("C9:2")]).steps]
    assert {"open ahead INC", "lock ahead INC"} <= set(behind_a_contact)
    assert "open ahead INC" not in elsewhere


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
    readings = [r for s in dead_of(mixer(), leads) for r in s.readings]
    pairs = {frozenset((m.red, m.black)) for m in readings}
    assert len(readings) == len(pairs)
    assert {frozenset(p) for p in itertools.combinations(leads, 2)} <= pairs
    assert {pin("C9:1"), pin("C9:3"), pin("C9:5")} <= {m.red for m in readings}, "the fed side of the open poles"
    assert {m.mode for m in readings} == {"ac volts"}, "no DC is drawn on this machine"


def test_m7_one_welded_pole_reads_nothing_between_the_leads_and_120_volts_to_earth() -> None:
    """Somebody takes an open contactor for an isolation: between the leads everything looks dead."""
    leads = [pin("M1:U1"), pin("M1:V1"), pin("M1:W1")]
    dead = replace(
        step(belt(), "dead", leads),
        readings=tuple(
            m for s in dead_of(belt(), leads) for m in s.readings if m.red in leads and m.black in (*leads, pin("PE:1"))
        ),
    )
    dead = replace(dead, expects=(0.0,) * len(dead.readings))
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


def test_a_supply_without_a_disconnect_is_opened_and_locked_where_it_comes_from() -> None:
    steps = {s.id: s.words for s in isolation(sign(), [pin("L5:X1"), pin("L5:X2")]).steps}
    assert {"open B1", "lock B1"} <= set(steps)
    assert "where it comes from" in steps["open B1"]


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
