"""The program as a suspect: nothing is broken, what is loaded or forced is not what is described."""

from __future__ import annotations

import math

import pytest
from against import belt7

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.evidence import told
from troubleshoot.faults.suspects import OUTSIDE, Suspect, suspects_of
from troubleshoot.machine import Machine, describe
from troubleshoot.program import Memory
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import settle

RUN = (Act("put", "S3", "run"), Act("press", "S1"), Act("release", "S1"))


def machine(text: str | None = None) -> Machine:
    source = belt7.MACHINE.read_text(encoding="utf-8") if text is None else text
    found = describe(source, "belt-7.yaml", program_doubted=True)
    assert isinstance(found, Machine), found
    return found


BELT = machine()
DOUBTED = [s for s in BELT.suspects if s.sort == "program"]


def suspect(name: str) -> Suspect:
    return next(s for s in BELT.suspects if s.id == name)


def ends(edits: tuple[Edit, ...], *acts: Act) -> dict[str, str]:
    (outcome, *_) = settle(BELT.net, edits, Situation("rest", acts))
    return dict(outcome.state)


def test_a_program_is_doubted_a_little_less_than_a_controller_left_in_stop() -> None:
    assert math.fsum(s.prior for s in BELT.suspects) == pytest.approx(1)
    assert BELT.suspects[-1].id == OUTSIDE
    total = sum(s.prior for s in DOUBTED)
    assert 0 < total < 0.05
    assert max(s.prior for s in DOUBTED) < suspect("A1 stopped").prior


def test_nobody_doubts_a_program_that_is_not_to_be_doubted() -> None:
    assert {s.id for s in suspects_of(BELT.circuit)} == {s.id for s in BELT.suspects} - {s.id for s in DOUBTED}


def test_a_download_last_shift_makes_it_the_program_more_than_anything_else() -> None:
    usual = told.chance("last", "worked on", "part")
    assert told.chance("last", "loaded", "program") > 5 * told.chance("last", "loaded", "wire") > 0
    assert told.chance("last", "worked on", "program") > usual


def test_each_is_a_condition_that_one_of_two_acts_mends_and_a_look_without_a_meter_shows() -> None:
    assert len(DOUBTED) > 30
    for one in DOUBTED:
        assert not one.broken
        assert one.repair in (("load the copy of", "the program of A1"), ("take off", "the forces in A1"))
        sign = next(BELT.net.signs[e.slot] for e in one.edits if e.does == "stuck")
        assert sign.kind == "compare"
        (stuck,) = (e.value for e in one.edits if e.does == "stuck")
        assert sign.shows[str(stuck)] != sign.shows[BELT.net.initial[sign.var]]


def test_a_missing_seal_in_lets_the_motor_go_with_the_button() -> None:
    assert ends((), *RUN)["M1"] == "turning"
    missing = suspect("A1 program line 127: motor AND run_mode missing in motor")
    assert ends(missing.edits, *RUN[:2])["M1"] == "turning"
    assert ends(missing.edits, *RUN)["M1"] == "still"


def test_a_forced_input_and_its_light_disagree() -> None:
    """The light shows the volts at the terminal, the program sees the force (common practice, no published source)."""
    forced = suspect("A1 force %IX0.1 off")
    state = ends(forced.edits, *RUN[:2])
    assert (state["A1 %IX0.1"], state["A1 %QX0.0"]) == ("on", "off")


def test_a_bit_kept_over_a_loss_of_power_restarts_the_motor() -> None:
    kept = suspect("A1 program line 121: motor retained")
    away = (*RUN, Act("lose power"), Act("restore power"))
    assert ends((), *away)["M1"] == "still"
    assert ends(kept.edits, *away)["M1"] == "turning"


def test_retain_in_the_program_itself_is_kept_over_a_loss_of_power_too() -> None:
    text = belt7.MACHINE.read_text(encoding="utf-8")
    text = text.replace("      motor      AT", "    END_VAR\n    VAR RETAIN\n      motor      AT").replace(
        "      running    AT", "    END_VAR\n    VAR\n      running    AT"
    )
    net = machine(text).net
    away = (*RUN, Act("lose power"), Act("restore power"))
    (outcome, *_) = settle(net, (), Situation("rest", away))
    assert outcome.state["M1"] == "turning"


def test_a_program_does_not_heal_by_itself() -> None:
    missing = suspect("A1 program line 127: start missing in motor")
    heal = Act("heal")
    assert ends(missing.edits, *RUN[:2], heal)["M1"] == "still"


def test_a_force_that_is_taken_off_lets_go_of_what_it_held() -> None:
    forced = suspect("A1 force %IX0.1 off")
    assert ends(forced.edits, *RUN[:2])["M1"] == "still"
    assert ends(forced.edits, *RUN[:2], Act("heal"))["M1"] == "turning"


def test_first_scan_edges_are_as_the_circuit_file_has_them() -> None:
    text = belt7.MACHINE.read_text(encoding="utf-8")
    begin, end = text.index("program:"), text.index("\nroles:")
    edge = "text: 'VAR r : R_TRIG; l : SR; END_VAR r(CLK := %IX0.0); l(S1 := r.Q, R := FALSE); %QX0.0 := l.Q1;'"
    for word, on in (("yes", True), ("no", False)):
        made = machine(f"{text[:begin]}program: {{lang: ST, first scan edges: {word}, {edge}}}{text[end:]}")
        scanner = made.net.scanner
        assert scanner is not None
        memory = scanner.start()
        assert isinstance(memory, Memory)
        assert scanner.scan(memory, {"%IX0.0": True}, 0)[1]["%QX0.0"] is on


def test_the_edits_of_a_program_are_part_of_what_a_settled_beginning_is_kept_under() -> None:
    one, two = suspect("A1 program line 127: start missing in motor"), suspect("A1 force %IX0.0 off")
    first = [ends(s.edits, *RUN[:2]) for s in (one, two)]
    again = [ends(s.edits, *RUN[:2]) for s in (two, one)]
    assert first == again[::-1]
    assert first[0] != ends((), *RUN[:2])
