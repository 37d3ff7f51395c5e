"""Laws of every walk: it ends, it never asks twice, it is nothing but a replay."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from trees.played import TREES, bound, number, play, reasoner, walk

from troubleshoot.circuit.model import Pin
from troubleshoot.evidence.seen import Meter

PAIRS = [(t, m) for t in TREES for m in ("belt-7", "fan-2")]
LAST = ("confirm", "engine", "end")


@pytest.mark.parametrize(("tree", "machine"), PAIRS)
def test_under_every_suspect_the_tree_ends_within_twelve_steps_and_asks_nothing_twice(tree, machine):
    for k, suspect in enumerate(reasoner(machine).machine.suspects):
        played = play(tree, machine, k)
        assert played.last.step.kind in LAST, suspect.id
        assert len(played.asked) <= 12, suspect.id
        items = [(what, step.situation.name) for step in played.asked for what in step.items]
        assert len(items) == len(set(items)), suspect.id
        assert len(played.last.path) == len(set(played.last.path)), suspect.id


@pytest.mark.parametrize(("tree", "machine"), PAIRS)
def test_no_trip_has_more_than_three_readings_and_all_are_in_one_place(tree, machine):
    devices = reasoner(machine).machine.circuit.devices
    for k in range(len(reasoner(machine).machine.suspects)):
        for step in play(tree, machine, k).asked:
            readings = [what for what in step.items if isinstance(what, Meter)]
            assert len(readings) <= 3
            assert len({devices[m.red.device].place for m in readings}) <= 1


@given(st.data())
def test_the_order_in_which_things_were_seen_does_not_move_the_place_in_the_tree(data):
    machine = data.draw(st.sampled_from(["belt-7", "fan-2"]))
    k = data.draw(st.integers(0, len(reasoner(machine).machine.suspects) - 1))
    played = play("wont-start", machine, k)
    shuffled = data.draw(st.permutations(played.evidence))
    assert walk(bound("wont-start", machine), shuffled).path == played.last.path


@given(st.data())
def test_taking_back_the_last_answers_asks_them_again(data):
    machine = data.draw(st.sampled_from(["belt-7", "fan-2"]))
    k = data.draw(st.integers(0, len(reasoner(machine).machine.suspects) - 1))
    played = play("wont-start", machine, k)
    back = data.draw(st.integers(0, len(played.asked) - 1))
    kept = sum(len(step.items) for step in played.asked[:back])
    assert walk(bound("wont-start", machine), played.evidence[:kept]).step == played.asked[back]


@given(st.data())
def test_a_point_that_cannot_be_reached_is_never_asked_for_and_the_walk_still_ends(data):
    machine = data.draw(st.sampled_from(["belt-7", "fan-2"]))
    pins = sorted({h.a for h in reasoner(machine).machine.circuit.hops})
    cannot = data.draw(st.sets(st.sampled_from(pins), max_size=6))
    k = data.draw(st.integers(0, len(reasoner(machine).machine.suspects) - 1))
    played = play("wont-start", machine, k, cannot=tuple(cannot))
    assert played.last.step.kind in LAST
    assert not cannot & {m.red for step in played.asked for m in step.items if isinstance(m, Meter)}


def test_a_repair_starts_the_tree_again_at_its_root():
    played = play("wont-start", "belt-7", number("belt-7", "K1 13-14 open"))
    assert played.last.step.kind == "confirm"
    assert walk(bound("wont-start", "belt-7"), played.evidence, epoch=1).path == ("round",)


def test_the_panel_terminals_are_metered_before_anybody_walks_to_the_desk():
    played = play("wont-start", "belt-7", number("belt-7", "ES1 21-22 open"))
    reds = [m.red for step in played.asked for m in step.items if isinstance(m, Meter)]
    assert reds.index(Pin("X1", "1")) < reds.index(Pin("ES1", "21"))
