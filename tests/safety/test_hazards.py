"""What a reset, a release, returning power or a joint that makes may start: found from the circuit, never listed."""

from __future__ import annotations

from safety.machines import after, belt, mixer

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.safety.hazards import LEAST, before_power, hazards_of_act, in_short


def test_m5_resetting_a_tripped_overload_starts_a_whole_machine_whose_bit_is_still_latched() -> None:
    found = hazards_of_act(belt(), belt().prior, after("press S1", "release S1", "trip FR1"), Act("reset", "FR1"))
    worst = found[0]
    assert worst.healthy
    assert worst.chance == 1.0
    assert worst.kind == "restarts"
    assert "with nothing wrong" in worst.words


def test_a_three_wire_starter_forgets_and_does_not_start_on_reset() -> None:
    # Common practice, and the reason for three-wire control: what drops the coil drops its own seal-in.
    at = after("press 2PB", "release 2PB", "trip OL-1")
    found = hazards_of_act(mixer(), mixer().prior, at, Act("reset", "OL-1"))
    assert not any(h.healthy for h in found)
    starts = {s for h in found if h.kind == "restarts" for s in h.suspects}
    assert {"2PB 5-6 welded", "2PB sticks"} <= starts
    assert "C9 coil open" not in starts


def test_m6_releasing_the_emergency_stop_restarts_the_motor_under_these_suspects() -> None:
    at = after("press S1", "release S1", "press ES1")
    found = hazards_of_act(belt(), belt().prior, at, Act("release", "ES1"))
    starts = {s for h in found if h.kind == "restarts" for s in h.suspects}
    assert {
        "ES1 11-12 welded", "ES1 11-12 fallen off", "K1 13-14 welded", "K1 stuck in", "A1 %QX0.0 stuck on",
        "A1 %IX0.0 stuck on", "S1 13-14 welded",
    } <= starts  # fmt: skip
    assert "S3 in jog" not in starts
    assert not any(h.healthy for h in found)


def test_a_stop_that_does_not_stop_is_one_of_the_hazards_of_pressing_it() -> None:
    found = hazards_of_act(mixer(), mixer().prior, after("press 2PB", "release 2PB"), Act("press", "1PB"))
    fails = {s for h in found if h.kind == "does not stop" for s in h.suspects}
    assert {"1PB 3-4 welded", "C9 stuck in"} <= fails
    assert "RED 1-2 welded" not in fails


def test_pressing_start_on_a_whole_machine_is_no_hazard() -> None:
    assert not any(h.healthy for h in hazards_of_act(mixer(), mixer().prior, after(), Act("press", "2PB")))


def test_refitting_a_fuse_with_the_bit_latched_starts_the_motor() -> None:
    at = Situation("rest", after("press S1", "release S1").acts, frozenset({("F4", "blown")}))
    assert hazards_of_act(belt(), belt().prior, at, Act("refit", "F4"))[0].healthy


def test_m10_before_power_the_welded_and_stuck_ones_that_start_by_themselves_are_named() -> None:
    found = before_power(mixer(), mixer().prior)
    closing = {s for h in found if h.act == Act("close", "SW-0") for s in h.suspects}
    assert {"C9 stuck in", "2PB 5-6 welded"} <= closing
    assert any(h.act.verb == "heal" and h.kind in ("starts", "restarts") for h in found)


def test_belief_weighs_the_hazards() -> None:
    reasoner = mixer()
    sure = reasoner.prior * 0
    sure[[s.id for s in reasoner.machine.suspects].index("C9 stuck in")] = 1.0
    found = hazards_of_act(reasoner, sure, after("open SW-0"), Act("close", "SW-0"))
    assert found[0].chance > 0.99


def test_the_page_before_power_is_short_and_leaves_no_likely_act_or_device_out() -> None:
    for reasoner in (belt(), mixer()):
        found = before_power(reasoner, reasoner.prior)
        page = in_short(reasoner, reasoner.prior, found)
        assert 0 < len(page) <= 6
        told = [h for h in found if h.healthy or h.chance >= LEAST]
        for hazard in told:
            assert any(hazard.does in line and hazard.act.device in line for line in page)


def test_what_putting_power_on_may_start_is_told_first_and_what_it_will_start_second() -> None:
    page = in_short(belt(), belt().prior, before_power(belt(), belt().prior))
    assert page[0].startswith("Closing Q1")
    assert "WILL start M1" in page[1]
    assert "Resetting FR1" in page[1]
    assert "with nothing wrong" in page[1]
