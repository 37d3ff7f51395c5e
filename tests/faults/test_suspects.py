"""Everything that may be wrong with a machine: weights, edits, repairs."""

from __future__ import annotations

import dataclasses
import math

import pytest
from against import belt7, hoist9

from troubleshoot.faults.suspects import BROKEN, CONDITIONS, OUTSIDE, suspects_of
from troubleshoot.solve.settle import Outcome, settle_many

ALL = tuple(belt7.suspects().values())


def test_chances_before_anything_is_seen_add_up_to_one():
    assert math.fsum(s.prior for s in suspects_of(belt7.circuit())) == pytest.approx(1)
    assert all(s.prior > 0 for s in ALL)


def test_as_many_calls_are_conditions_as_breakages():
    assert sum(s.prior for s in ALL if not s.broken) == pytest.approx(CONDITIONS)
    assert sum(s.prior for s in ALL if s.broken and s.id != OUTSIDE) == pytest.approx(BROKEN)


def test_no_two_suspects_share_a_name():
    listed = suspects_of(belt7.circuit())
    assert len({s.id for s in listed}) == len(listed)


def test_something_outside_the_model_is_always_among_them_and_changes_nothing():
    assert belt7.suspects()[OUTSIDE].edits == ()
    assert [s.id for s in ALL if not s.edits] == [OUTSIDE]


@pytest.mark.parametrize("suspect", ALL, ids=lambda s: s.id)
def test_every_edit_is_of_something_that_the_network_has(suspect):
    net = belt7.net()
    for edit in suspect.edits:
        match edit.does:
            case "siemens" | "times":
                assert edit.slot in net.element_index
                assert float(edit.value) >= 0
            case "earth":
                assert edit.slot in net.index
                assert float(edit.value) > 0
            case "threshold":
                assert any(law.var == edit.slot for law in net.laws)
                assert float(edit.value) > 1
            case _:
                assert edit.slot in net.initial


@pytest.mark.parametrize("suspect", ALL, ids=lambda s: s.id)
def test_every_suspect_says_in_words_what_it_is_and_what_mends_it(suspect):
    act, item = suspect.repair
    assert suspect.words
    assert act
    assert item
    assert "{" not in suspect.words + act + item
    assert set(suspect.places) <= belt7.circuit().places.keys()


def test_every_conductor_can_be_open_make_badly_or_touch_earth():
    for hop in belt7.circuit().hops:
        broken, loose, earth = (belt7.suspects()[f"{hop.id} {how}"] for how in ("open", "loose", "to earth"))
        assert broken.group == loose.group, "one act mends both: make the wire again"
        assert earth.group.startswith("earth fault on wire")
        assert hop.number in earth.group


def test_earth_faults_on_one_potential_are_one_repair_and_a_contact_parts_potentials():
    """No reading tells where on one wire number it touches earth: the hands lift it wire by wire."""
    group = {s.id: s.group for s in belt7.suspects().values()}
    assert group["25:F6:2>A1:L+ to earth"] == group["25:X3:1>ES1:11 to earth"]
    assert group["3L3:KM1:6>FR1:5 to earth"] == group["W:X2:3>M1:W1 to earth"], "a heater is no more than a joint"
    assert group["25:X3:1>ES1:11 to earth"] != group["30:ES1:12>X3:2 to earth"], "the emergency stop lies between"


def test_a_conductor_that_leaves_the_panel_is_likelier_than_one_inside_it():
    field = next(h for h in belt7.circuit().hops if h.field)
    inside = next(h for h in belt7.circuit().hops if not h.field)
    assert belt7.suspects()[f"{field.id} open"].prior > belt7.suspects()[f"{inside.id} open"].prior


def test_a_prior_named_in_the_circuit_file_moves_that_suspect_against_the_rest():
    usual = {s.id: s.prior for s in suspects_of(belt7.circuit())}
    raised = dataclasses.replace(belt7.circuit(), priors={"K1 coil open": 100.0})
    now = {s.id: s.prior for s in suspects_of(raised)}
    assert now["K1 coil open"] > 10 * usual["K1 coil open"]
    assert math.fsum(now.values()) == pytest.approx(1)
    assert now["K1 coil short"] / now["KM1 coil short"] == pytest.approx(
        usual["K1 coil short"] / usual["KM1 coil short"]
    )


def test_every_suspect_shows_somewhere_but_for_two_sorts_that_only_a_special_test_shows():
    """A break contact of the overload relay that does not open shows under the relay's test button alone; a conductor
    that is at earth anyway (protective earth, neutral, 0 V) may touch earth, and protective earth may be broken."""
    net, named = belt7.net(), belt7.circuit().situations.values()
    healthy = settle_many(net, [((), n.situation) for n in named])
    found = settle_many(net, [(s.edits, n.situation) for s in ALL for n in named])
    unseen = set()
    for k, suspect in enumerate(ALL):
        mine = found[k * len(named) : (k + 1) * len(named)]
        if all(_alike(here, there) for here, there in zip(mine, healthy, strict=True)):
            unseen.add(suspect.id)
    assert unseen > {OUTSIDE, "FR1 95-96 welded"}
    for name in unseen - {OUTSIDE, "FR1 95-96 welded"}:
        hop = net.hops[name.removesuffix(" to earth").removesuffix(" open").removesuffix(" loose")]
        for outcome in (o for outcomes in healthy for o in outcomes):
            for node in (net.node(hop.a), net.node(hop.b)):
                assert abs(outcome.network.ac_v[node]) + abs(outcome.network.dc_v[node]) < 0.5, name


def _alike(here: tuple[Outcome, ...], there: tuple[Outcome, ...]) -> bool:
    if len(here) != len(there):
        return False
    return all(
        a.state == b.state
        and abs(a.network.ac_v - b.network.ac_v).max() < 0.05
        and abs(a.network.dc_v - b.network.dc_v).max() < 0.05
        for a, b in zip(here, there, strict=True)
    )


def test_a_bad_joint_before_a_direct_brake_coil_has_ohms_that_the_coil_feels():
    """A DC brake takes a fifth of an ampere through a kilohm; three ohms, a bad power joint, would be nothing to it."""
    suspects = hoist9.suspects("full-wave")
    (edit,) = suspects["30:TB1:+>YB1:1 loose"].edits
    assert 1 / edit.value == pytest.approx(200)
    (power,) = suspects["U1:X5:1 plug>M1:U1 loose"].edits
    assert 1 / power.value == pytest.approx(3)
