"""It is not wired like that: what the description is afterwards, and that every change of it still passes the check."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from job.nights import circuits, desk

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Pin
from troubleshoot.circuit.writing import write_circuit
from troubleshoot.describe.pattern import compose
from troubleshoot.machine import Machine, describe
from troubleshoot.machine.amending import (
    Alias,
    Answered,
    Empty,
    Goes,
    Wired,
    amended,
    amended_circuit,
    get_change,
    goes_to,
    number_at,
    put_change,
    with_names,
)
from troubleshoot.solve.settle import settle

BELT = circuits()["belt-7"]
PINS = sorted({p for h in BELT.hops for p in (h.a, h.b)})


def pin(text: str) -> Pin:
    return Pin(*text.split(":"))


def checked(circuit: Circuit) -> Circuit:
    found = load_circuit(write_circuit(circuit), "amended")
    assert isinstance(found, Circuit), [str(p) for p in found]
    return found


def test_an_empty_terminal_has_no_wire_and_what_ran_through_it_runs_past_it():
    circuit = amended_circuit(BELT, Empty(pin("X1:2")))
    assert goes_to(circuit, pin("X1:2")) == ()
    assert pin("K1:13") in goes_to(circuit, pin("ES1:22"))


def test_with_the_wire_off_k1_14_the_contactor_stays_out():
    machine = amended(desk().machine, [Empty(pin("K1:14"))])
    held = machine.circuit.situations["start held"].situation
    assert {o.state["KM1"] for o in settle(machine.net, (), held)} == {"out"}
    assert {o.state["KM1"] for o in settle(desk().machine.net, (), held)} == {"in"}


def test_a_wire_that_goes_elsewhere_takes_the_number_of_where_it_goes():
    circuit = amended_circuit(BELT, Goes(pin("K1:14"), pin("X1:2")))
    assert goes_to(circuit, pin("K1:14")) == (pin("X1:2"),)
    assert number_at(circuit, pin("K1:14")) == "11"


@settings(max_examples=40)
@given(st.lists(st.one_of(
    st.builds(Empty, st.sampled_from(PINS)), st.builds(Goes, st.sampled_from(PINS), st.sampled_from(PINS)),
), max_size=4))  # fmt: skip
def test_whatever_is_said_the_description_still_passes_the_check_and_comes_back_from_the_log(changes):
    circuit = BELT
    for change in changes:
        assert get_change(put_change(change)) == change
        circuit = amended_circuit(circuit, change)
    checked(circuit)


@given(st.sampled_from(PINS), st.sampled_from(PINS))
def test_said_twice_is_as_good_as_said_once(a, b):
    once = amended_circuit(BELT, Goes(a, b))
    assert {frozenset((h.a, h.b)) for h in amended_circuit(once, Goes(a, b)).hops} == {
        frozenset((h.a, h.b)) for h in once.hops
    }


def test_nothing_said_is_the_same_machine():
    assert amended(desk().machine, []) is desk().machine


@pytest.fixture(scope="module")
def unknown() -> Machine:
    found = describe(compose({"volts": "120 line"}, machine="belt-12"), "circuit.yaml")
    assert isinstance(found, Machine)
    return found


def test_every_variant_can_be_taken_in_and_the_machine_still_runs(unknown):
    for name in unknown.circuit.variants:
        machine = amended(unknown, [Wired(name)])
        assert not any(v.split(" ")[0] == name.split(" ")[0] for v in machine.circuit.variants)
        checked(machine.circuit)
        if name.startswith(("brake", "selector")):
            continue  # what is not there is not taken out of the file; its answer does that
        held = machine.circuit.situations["start held"].situation
        assert {o.state["M1"] for o in settle(machine.net, (), held)} == {"turning"}, name


def test_another_answer_is_another_pattern_with_its_own_program(unknown):
    answers = {"buttons": "controller", "relay": "yes", "volts": "24 supply", "overload": "controller", "brake": "none",
               "selector": "stop only"}  # fmt: skip
    machine = amended(unknown, [Answered(tuple(answers.items()))])
    assert machine.circuit.devices["KM1"].ratings["coil"] == (24.0, "dc")
    assert "overload_ok" in (machine.circuit.program.text if machine.circuit.program else "")
    assert machine.program is not None
    assert "YB1" not in machine.circuit.devices


def test_a_printed_name_goes_into_the_file_everywhere(unknown):
    circuit = checked(with_names(unknown.circuit, [Alias("device", "K1", "CR1"), Alias("wire", "12", "34")]))
    assert circuit.devices["CR1"].known == "seen"
    assert "K1" not in circuit.devices
    assert circuit.roles["interposing"] == ("CR1",)
    assert number_at(circuit, pin("CR1:14")) == "34"


def test_a_name_that_is_there_already_is_not_taken_twice(unknown):
    assert with_names(unknown.circuit, [Alias("device", "K1", "KM1"), Alias("wire", "12", "10")]) == unknown.circuit


def test_a_prior_goes_by_the_printed_names_of_its_wire_and_its_device() -> None:
    hop = next(h for h in BELT.hops if h.number == "12")
    told = replace(BELT, priors={f"{hop.id} open": 2.0, "KM1 coil open": 3.0})
    named = with_names(told, [Alias("wire", "12", "412"), Alias("device", "KM1", "Q9")])
    new = next(h for h in named.hops if h.number == "412")
    assert dict(named.priors) == {f"{new.id} open": 2.0, "Q9 coil open": 3.0}
    assert isinstance(describe(write_circuit(named), "x.yaml"), Machine)


def test_a_prior_of_a_wire_that_is_not_there_is_left_behind_so_that_the_file_can_be_read_again() -> None:
    found = desk("belt-7").machine
    hop = next(h for h in found.circuit.hops if h.number == "12")
    told = replace(found, circuit=replace(found.circuit, priors={f"{hop.id} open": 2.0, "KM1 coil open": 3.0}))
    after = amended(told, [Empty(hop.a)])
    assert dict(after.circuit.priors) == {"KM1 coil open": 3.0}
    assert isinstance(describe(write_circuit(after.circuit), "x.yaml"), Machine)
