"""What is printed on the panel, and what is not there at all: one key or one word, and it stands on every screen."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest
from against import ready
from hypothesis import given, settings
from hypothesis import strategies as st
from job.nights import circuits
from job.strangers import Stranger

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Pin
from troubleshoot.circuit.writing import write_circuit
from troubleshoot.describe.pattern import compose
from troubleshoot.job.aliases import as_typed
from troubleshoot.job.aliases import names as names_of
from troubleshoot.job.calling import call_device, call_point, calling
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.rehearse import Bench, answer
from troubleshoot.job.sheet import Pressed, Refusal
from troubleshoot.job.state import State
from troubleshoot.machine import Machine, describe
from troubleshoot.machine.amending import can_be_absent, goes_to, with_names, without
from troubleshoot.solve.settle import settle


@pytest.fixture
def at_a_card(tmp_path, monkeypatch) -> Stranger:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    person = Stranger(tmp_path, {})
    person.type("belt 12 dead")
    person.press("1", "1", "2", "1", "4", "0", "1", "2")
    truth = next(s for s in person.now.machine.suspects if s.id == "FR1 95-96 open | overload after")
    bench = Bench(person.now, (truth,), random.Random(0))
    for _ in range(40):
        step = person.stage.step
        if step is not None and step.kind == "measure" and not person.sheet().needs_caution:
            return person
        said = answer(bench, person.state, person.stage, Ui())
        assert isinstance(said, Pressed)
        person.press(said.key)
    raise AssertionError("no reading was ever asked")


class TestNames:
    def test_the_parked_black_lead_gets_its_printed_name(self, at_a_card):
        black = at_a_card.stage.step.items[0].black
        at_a_card.type("black = X9:4")
        assert at_a_card.kinds[-1] == "alias"
        assert "Black lead on X9:4" in at_a_card.text or "Black on X9:4" in at_a_card.text
        assert str(black) not in at_a_card.text
        at_a_card.press("u")
        assert str(black) in at_a_card.text

    def test_any_point_is_named_by_its_described_name_on_the_card_or_not(self, at_a_card):
        at_a_card.type("NB:3 = X9:4")
        assert at_a_card.kinds[-1] == "alias"
        at_a_card.type("F4 = FU6")
        assert at_a_card.kinds[-1] == "alias"

    def test_a_name_that_nothing_here_has_is_answered_with_the_nearest(self, at_a_card):
        at_a_card.type("NBB:3 = X9:4")
        assert "There is no NBB:3 here; nearest is NB:" in at_a_card.text

    def test_a_terminal_printed_with_another_tag_names_the_whole_device(self, at_a_card):
        at_a_card.type("K1:14 = CR12:11")
        circuit_names = [e.data for e in at_a_card.log.events if e.kind == "alias"]
        assert len(circuit_names) == 1
        at_a_card.press("v")
        at_a_card.type("K1:13")
        assert "CR12:13 is described as" in at_a_card.text
        assert "K1:" not in at_a_card.text
        at_a_card.press("escape", "u")
        at_a_card.press("v")
        at_a_card.type("K1:13")
        assert "K1:13 is described as" in at_a_card.text

    def test_of_a_strip_only_that_terminal_is_named(self, at_a_card):
        at_a_card.type("X1:3 = TB9:7")
        at_a_card.press("v")
        at_a_card.type("X1:2")
        assert "X1:2 is described as" in at_a_card.text

    def test_a_longer_name_stands_on_the_rung_as_well(self, at_a_card):
        from troubleshoot.job.sheet import Role

        drawn = [line.text for line in at_a_card.sheet().lines if line.role is Role.RUNG]
        tags = [word.strip("[(") for line in drawn for word in line.replace("-", " ").split() if word[:1] in "[("]
        assert tags
        tag = tags[0]
        at_a_card.type(f"{tag} = LONGNAME-{tag}")
        after = [line.text for line in at_a_card.sheet().lines if line.role is Role.RUNG]
        assert any(f"LONGNAME-{tag}" in line for line in after)
        assert not any(f"[{tag} " in line or f"({tag} " in line for line in after)

    def test_terminals_that_all_look_alike_say_their_wire_and_where_it_goes(self, at_a_card):
        black = at_a_card.stage.step.items[0].black
        assert at_a_card.now.machine.circuit.devices[black.device].kind == "bar"
        assert f"{black} (wire " in at_a_card.text

    def test_how_to_name_the_black_lead_is_on_the_card(self, at_a_card):
        assert "black = X9:4" in at_a_card.text


class TestOneNameForOneThing:
    """A printed name that stands for two points sends a meter to the wrong one: control bar read as a motor terminal."""

    def test_a_mark_of_the_pattern_that_nobody_read_gives_way(self, at_a_card):
        black = at_a_card.stage.step.items[0].black
        at_a_card.type("black = X2:2")
        assert at_a_card.kinds[-1] == "alias"
        assert (
            "Noted: called X2:2 from now on. Motor terminals had that mark here, unread: other-X2 until you read it."
            in (at_a_card.text)
        )
        assert calling(at_a_card.now, at_a_card.state).point(black) == "X2:2"
        assert one_name_each(at_a_card)
        at_a_card.press("u")
        assert calling(at_a_card.now, at_a_card.state).point(black) == str(black)
        assert calling(at_a_card.now, at_a_card.state).tag("X2") == "X2"

    def test_what_gave_way_is_no_longer_meant_by_its_old_mark(self, at_a_card):
        at_a_card.type("black = X2:4")
        at_a_card.type("X2:1 PE:1 277")
        assert at_a_card.kinds[-1] == "alias"
        at_a_card.press("v")
        at_a_card.type("other-X2:1")
        assert "other-X2:1 is described as motor terminals" in at_a_card.text

    def test_a_whole_strip_takes_the_name_and_both_are_understood_as_they_are_printed(self, at_a_card):
        at_a_card.type("NB = X2")
        at_a_card.type("X2 = X5")
        assert calling(at_a_card.now, at_a_card.state).tag("NB") == "X5"
        at_a_card.type("other-X2 = X2")
        assert {tag: calling(at_a_card.now, at_a_card.state).tag(tag) for tag in ("NB", "X2")} == {
            "NB": "X5",
            "X2": "X2",
        }
        assert one_name_each(at_a_card)

    def test_a_name_that_somebody_read_on_another_thing_is_refused_with_what_to_do(self, at_a_card):
        at_a_card.type("F4 = FU6")
        at_a_card.type("F1 = FU6")
        assert at_a_card.kinds[-1] == "alias"
        assert "FU6 is control fuse here, one name for one thing. Is that wrong? Say first" in at_a_card.text
        assert one_name_each(at_a_card)

    def test_the_two_ends_of_a_contact_may_be_printed_the_other_way_round(self, at_a_card):
        at_a_card.type("K1:14 = K1:13")
        assert at_a_card.kinds[-1] == "alias"
        at_a_card.type("K1:other-13 = K1:14")
        now = calling(at_a_card.now, at_a_card.state)
        assert {m: now.point(Pin("K1", m)) for m in ("13", "14")} == {"13": "K1:14", "14": "K1:13"}

    def test_a_wire_number_that_was_read_elsewhere_puts_the_point_on_that_wire(self, at_a_card):
        at_a_card.press("v")
        at_a_card.type("K1:14")
        at_a_card.type("wire 340")
        assert at_a_card.kinds[-1] == "alias"
        at_a_card.press("v")
        at_a_card.type("KM1:A1")
        at_a_card.type("wire 340")
        assert at_a_card.kinds[-1] == "amended"

    def test_an_input_of_the_controller_is_named_by_what_is_drawn_on_its_face(self, at_a_card):
        at_a_card.type("%IX0.1 = IN1")
        assert calling(at_a_card.now, at_a_card.state).point(Pin("A1", "%IX0.1")) == "A1:IN1"
        at_a_card.press("v")
        at_a_card.type("A1:%IX0.2")
        assert "IN0: what is printed beside this point" in at_a_card.text
        at_a_card.type("IN2")
        assert calling(at_a_card.now, at_a_card.state).point(Pin("A1", "%IX0.2")) == "A1:IN2"
        assert calling(at_a_card.now, at_a_card.state).tag("A1") == "A1"

    def test_an_overload_that_is_printed_as_a_fuse_of_the_pattern_takes_that_name(self, at_a_card):
        at_a_card.type("FR1 = F3")
        now = calling(at_a_card.now, at_a_card.state)
        assert (now.tag("FR1"), now.tag("F3")) == ("F3", "other-F3")
        assert one_name_each(at_a_card)

    def test_a_free_place_of_a_bar_is_not_said_to_lead_to_nothing(self, tmp_path, monkeypatch):
        from troubleshoot.job.draw_amending import _described

        assert _described(_composed(), Pin("NB", "1")).endswith("a free place on it")

    @settings(max_examples=60, deadline=None)
    @given(data=st.data())
    def test_whatever_is_called_whatever_no_two_points_share_a_name(self, data):
        desk = _composed()
        state = State()
        circuit = desk.machine.circuit
        pins = [str(p) for p in desk.pins.values()]
        for _ in range(data.draw(st.integers(1, 6))):
            now = calling(desk, state)
            of = data.draw(st.sampled_from([*circuit.devices, *pins]))
            names = [*circuit.devices, *pins, *(now.tag(t) for t in circuit.devices), "Z9", "Z9:1", "X2:4"]
            printed = data.draw(st.sampled_from(names))
            done = (
                call_point(desk, state, desk.pins[of.upper()], printed)
                if ":" in of
                else call_device(desk, state, of, printed)
            )
            if isinstance(done, Refusal):
                continue
            ((_, said),) = done.events
            state = replace(
                state,
                aliases=(
                    *state.aliases,
                    *said.get("gives way", ()),
                    said,
                    *((said["with"],) if "with" in said else ()),
                ),
            )
            now = calling(desk, state)
            shown = [now.point(p) for p in desk.pins.values()]
            assert len(set(map(str.casefold, shown))) == len(shown)
            known = names_of(list(now.aliases))
            for pin in desk.pins.values():
                assert as_typed(now.point(pin), known) == str(pin)
            kept = with_names(circuit, now.aliases)
            assert len(kept.devices) == len(circuit.devices)


def one_name_each(person: Stranger) -> bool:
    now = calling(person.now, person.state)
    shown = [now.point(pin).casefold() for pin in person.now.pins.values()]
    return len(set(shown)) == len(shown)


@cache
def _composed() -> Desk:
    found = describe(compose({"supply": "480", "buttons": "straight", "brake": "none"}, machine="m"), "m")
    assert isinstance(found, Machine)
    return Desk(found, {})


class TestThereIsNone:
    def test_it_is_one_key_in_the_panel_of_any_of_its_points(self, at_a_card):
        at_a_card.press("v")
        at_a_card.type("CH1:1")
        assert "2 there is no CH1 (rest of the stop chain): it goes straight through" in at_a_card.text
        at_a_card.press("2")
        assert at_a_card.kinds[-1] == "amended"
        assert "CH1" not in at_a_card.now.machine.circuit.devices

    def test_the_tag_alone_is_understood(self, at_a_card):
        at_a_card.press("v")
        at_a_card.type("es1")
        assert "there is no ES1" in at_a_card.text

    def test_undo_brings_it_back(self, at_a_card):
        before = at_a_card.left()
        at_a_card.press("v")
        at_a_card.type("CH1:1")
        at_a_card.press("2")
        assert not any(group.startswith("CH1") for group in at_a_card.left())
        at_a_card.press("u")
        assert at_a_card.left() == pytest.approx(before)

    @pytest.mark.parametrize("name", ["belt-7", *ready.NAMES])
    def test_without_any_device_that_may_be_absent_every_machine_passes_the_check_and_runs_as_before(self, name):
        circuit = circuits()["belt-7"] if name == "belt-7" else ready.machine(name).circuit
        tags = [tag for tag in circuit.devices if can_be_absent(circuit, tag)]
        assert tags
        for tag in tags:
            left = without(circuit, tag)
            assert tag not in left.devices
            assert isinstance(load_circuit(write_circuit(left), "left"), Circuit), tag
        # One of them on the running machine: what it let through still comes through.
        tag = next((t for t in tags if t.startswith(("ES", "F4", "S2"))), tags[0])
        machine = describe(write_circuit(without(circuit, tag)), "left")
        assert isinstance(machine, Machine)
        (was,) = settle(_whole(circuit).net, (), _at(circuit))
        (now,) = settle(machine.net, (), _at(circuit))
        motors = [d.tag for d in circuit.devices.values() if d.kind == "motor"]
        assert {m: was.state[m] for m in motors} == {m: now.state[m] for m in motors}

    def test_the_wires_on_both_sides_are_joined_past_it(self):
        circuit = circuits()["belt-7"]
        fuse = next(t for t, d in circuit.devices.items() if d.kind == "fuse" and goes_to(circuit, Pin(t, "2")))
        before, after = (goes_to(circuit, Pin(fuse, mark)) for mark in "12")
        left = without(circuit, fuse)
        assert any({h.a, h.b} == {before[0], after[0]} for h in left.hops)


def _whole(circuit: Circuit) -> Machine:
    machine = describe(write_circuit(circuit), "whole")
    assert isinstance(machine, Machine)
    return machine


def _at(circuit: Circuit):  # type: ignore[no-untyped-def]
    return circuit.situations[circuit.complaints["wont-start"].shows].situation
