"""A machine behind a safety relay: it is reset before it can start, and what its reset may start is told."""

from __future__ import annotations

from functools import lru_cache

from against import press3
from against.small import machine_of

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.diagnosis.confirm import isolated
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Look
from troubleshoot.safety.doings import after, doings, to_and_fro
from troubleshoot.safety.hazard_list import hazard_list
from troubleshoot.safety.hazards import dangerous_acts, hazards_of_act
from troubleshoot.safety.proof import proof_run, undetected
from troubleshoot.solve.settle import settle

RESET = (Act("press", "S4"), Act("release", "S4"))


@lru_cache(maxsize=1)
def press() -> Reasoner:
    return Reasoner(machine_of(press3.FILE.read_text(encoding="utf-8")))


def test_to_run_it_is_reset_first_and_then_started():
    machine = press().machine
    assert doings(machine).running() == (*RESET, Act("press", "S1"), Act("release", "S1"))
    (running,) = settle(machine.net, (), after(*doings(machine).running()))
    (only_started,) = settle(machine.net, (), after(Act("press", "S1"), Act("release", "S1")))
    assert (running.state["M1"], only_started.state["M1"]) == ("turning", "still")


def test_found_as_it_is_it_may_have_been_reset_and_started():
    found = settle(press().machine.net, (), Situation("as-found"))
    assert sorted(o.state["M1"] for o in found) == ["still", "turning"]


def test_a_cord_is_an_emergency_stop_that_is_pulled_and_reset():
    machine = press().machine
    assert doings(machine).emergency_stops == ("ES1", "B9")
    assert to_and_fro(machine, "B9") == (Act("pull", "B9"), Act("reset", "B9"))
    assert to_and_fro(machine, "ES1") == (Act("press", "ES1"), Act("release", "ES1"))
    acts = {str(act) for _, act in dangerous_acts(press())}
    assert {"pull B9", "reset B9", "press ES1", "release ES1", "release S4"} <= acts
    assert "isolated, pull B9" in {named.name for named in isolated(press())}


def test_letting_the_reset_go_restarts_a_machine_whose_program_still_wants_to_run():
    """A reset makes ready, it starts nothing (IEC 60204-1, from memory). The program of press 3 does not know of its
    safety relay: its bit stays, and the reset starts the press. Nobody wrote that down; it is computed."""
    stopped = after(*doings(press().machine).running(), Act("press", "ES1"), Act("release", "ES1"), RESET[0])
    (worst, *_) = hazards_of_act(press(), press().prior, stopped, RESET[1])
    assert (worst.kind, worst.healthy) == ("restarts", True)
    assert "Release S4" in worst.words


def test_the_hazard_list_knows_that_two_blocks_hang_on_one_cord():
    listed = hazard_list(press())
    one_channel = {i for one in listed if one.sort == "one channel" for i in one.suspects}
    assert "B9 cord jammed" in one_channel
    assert not any(i.startswith(("ES1", "KS1")) for i in one_channel), "the heads and the relay have two"
    assert [str(one.act) for one in listed if one.sort == "restarts" and one.healthy] == ["release S4", "release S4"]


def test_letting_the_head_go_starts_nothing_under_any_single_fault():
    """Two channels and a monitored reset: what category 3 is for (ISO 13849-1, from memory)."""
    pressed = after(*doings(press().machine).running(), Act("press", "ES1"))
    found = hazards_of_act(press(), press().prior, pressed, Act("release", "ES1"))
    assert [h for h in found if h.kind in ("starts", "restarts")] == []


def test_the_proof_run_presses_the_reset_before_the_start_and_after_every_stop():
    proof = proof_run(press())
    checks = {check.id: check for check in proof.checks}
    assert checks["start S1"].situation.situation.acts == (*RESET, Act("press", "S1"))
    again = checks["reset after B9"].situation.situation.acts
    assert again[-6:] == (Act("pull", "B9"), Act("reset", "B9"), Act("press", "S2"), Act("release", "S2"), *RESET)
    turning = {check.id for check in proof.checks if (Look("M1"), "turns") in check.expects}
    assert turning == {"start S1", "hold S1"}, "nothing else may start it, in this order"
    assert checks["reset"].words == "Press S4 (reset button) and let go: nothing starts."
    # What would take one channel of the emergency stop away shows: it cannot be reset any more.
    unseen = {s.id for s in undetected(press(), proof)}
    assert not unseen & {"ES1 11-12 welded", "ES1 21-22 welded", "ES1 11-12 fallen off", "KS1 13-14 welded"}
