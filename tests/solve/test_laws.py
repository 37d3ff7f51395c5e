"""Laws of physics that hold for every network, whatever is broken in it and however it came to rest."""

from __future__ import annotations

import dataclasses
import random

import numpy as np
import pytest
from against import belt7
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.solve.compiled import compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import EARTH, LEAK_S
from troubleshoot.solve.network import amps_through, network_of, solve_all, transfer
from troubleshoot.solve.settle import settle

SUSPECTS = st.sampled_from(sorted(belt7.suspects()))
SITUATIONS = st.sampled_from(sorted(belt7.circuit().situations))
SLOTS = st.sampled_from(sorted(belt7.net().element_index))
NODES = st.integers(0, len(belt7.net().nodes) - 1)
SIEMENS = st.one_of(st.just(0.0), st.floats(1e-7, 1e3))


@st.composite
def broken_anyhow(draw):
    """Edits of up to three parts, of any value, beside one known suspect."""
    slots = draw(st.lists(SLOTS, max_size=3, unique=True))
    known = belt7.suspects()[draw(SUSPECTS)].edits
    return (*(e for e in known if e.slot not in slots), *(Edit("siemens", slot, draw(SIEMENS)) for slot in slots))


def outcomes(edits, situation):
    return settle(belt7.net(), edits, belt7.circuit().situations[situation].situation)


@given(broken_anyhow(), SITUATIONS)
@settings(max_examples=60)
def test_currents_into_every_node_add_up_to_nothing(edits, situation):
    """Kirchhoff's current law (1845), the leak of every node and the fault to earth counted in."""
    net = belt7.net()
    for outcome in outcomes(edits, situation):
        network = outcome.network
        left_ac, left_dc = np.zeros(len(net.nodes), complex), np.zeros(len(net.nodes))
        size = np.zeros(len(net.nodes))
        for k, element in enumerate(net.elements):
            ac, dc = amps_through(net, network, k)
            # A source says what it delivers out of a; everything else what goes through it from a to b.
            sign = -1 if k in network.emf_ac or k in network.emf_dc else 1
            for node, way in ((element.a, sign), (element.b, -sign)):
                if node != EARTH:
                    left_ac[node] += way * ac
                    left_dc[node] += way * dc
                    size[node] = max(size[node], abs(ac), abs(dc))
        left_ac += LEAK_S * network.ac_v
        left_dc += LEAK_S * network.dc_v
        for node, siemens in network.earth:
            left_ac[node] += siemens * network.ac_v[node]
            left_dc[node] += siemens * network.dc_v[node]
            size[node] = max(size[node], abs(siemens * network.ac_v[node]), abs(siemens * network.dc_v[node]))
        # 120 V in double precision through a kilosiemens joint is 3e-11 A of rounding; more is a mistake.
        assert np.max(np.abs(left_ac) / (1 + size)) < 1e-8
        assert np.max(np.abs(left_dc) / (1 + size)) < 1e-8


@given(broken_anyhow(), SITUATIONS, st.lists(NODES, min_size=2, max_size=6, unique=True))
@settings(max_examples=60)
def test_an_ampere_here_moves_there_as_much_as_an_ampere_there_moves_here(edits, situation, nodes):
    """Reciprocity of a passive network (Lorentz 1896, from memory). A rotor that turns is no passive thing."""
    net = belt7.net()
    outcome = outcomes(edits, situation)[0]
    for kind in ("dc",) if outcome.network.cores is not None else ("ac", "dc"):
        z = transfer(net, [outcome.network], kind, nodes)[:, :, 0]
        np.testing.assert_allclose(z, z.T, rtol=1e-7, atol=1e-9 * float(np.abs(z).max()))


@given(broken_anyhow(), SITUATIONS, SLOTS, st.floats(1e-6, 1e3), NODES, NODES)
@settings(max_examples=100)
def test_a_better_conductor_anywhere_never_raises_the_ohms_between_two_points(edits, situation, slot, more, a, b):
    """Rayleigh's monotonicity law (Doyle and Snell, Random Walks and Electric Networks, 1984, from memory)."""
    net = belt7.net()
    outcome = outcomes(edits, situation)[0]
    k = net.element_index[slot]
    before = float(outcome.network.dc_s[k])
    rest = tuple(e for e in edits if e.slot != slot)
    ohms = []
    for siemens in (before, before + more):
        z = transfer(net, [network_of(net, outcome.state, (*rest, Edit("siemens", slot, siemens)))], "dc", (a, b))
        ohms.append(float(z[0, 0, 0] + z[1, 1, 0] - z[0, 1, 0] - z[1, 0, 0]))
    # The difference of two large numbers: an island stands at a gigohm from earth.
    assert ohms[1] <= ohms[0] * (1 + 1e-9) + 1e-4


FEED = sorted(hop.id for hop in belt7.circuit().hops if hop.number in ("24", "25"))


@given(st.sampled_from(FEED), st.floats(0.0, 3.0), st.floats(0.01, 3.0))
@settings(max_examples=40)
def test_a_joint_in_the_only_feed_that_gets_worse_never_lets_more_current_through(hop, log_ohms, worse):
    """Ohm's law in a series loop: the state held, more ohms in the one way from plus never give more amperes there."""
    net = belt7.net()
    (outcome, *_) = outcomes((), "at rest")
    amps = []
    for ohms in (10**log_ohms, 10 ** (log_ohms + worse)):
        network = network_of(net, outcome.state, (Edit("siemens", hop, 1 / ohms),))
        solve_all(net, [network])
        amps.append(abs(amps_through(net, network, net.element_index[hop])[1]))
    assert amps[1] <= amps[0] * (1 + 1e-9) + 1e-9


@given(broken_anyhow(), SITUATIONS, NODES, NODES)
@settings(max_examples=40)
def test_what_is_passive_gives_no_power(edits, situation, a, b):
    """The ohms between two points of a network with its sources at rest are never under nothing, AC's real part too."""
    net = belt7.net()
    outcome = outcomes(edits, situation)[0]
    for kind in ("dc",) if outcome.network.cores is not None else ("ac", "dc"):
        z = transfer(net, [outcome.network], kind, (a, b))[:, :, 0]
        own = z[0, 0] + z[1, 1] - z[0, 1] - z[1, 0]
        assert own.real >= -1e-9 * float(np.abs(z).max())


@pytest.mark.parametrize("seed", range(2))
def test_the_order_of_the_file_changes_nothing(seed):
    shuffle = random.Random(seed)
    circuit = belt7.circuit()
    devices, hops = list(circuit.devices.items()), list(circuit.hops)
    shuffle.shuffle(devices)
    shuffle.shuffle(hops)
    other = compile_circuit(dataclasses.replace(circuit, devices=dict(devices), hops=tuple(hops)), belt7.BeltProgram())
    ours = belt7.net()
    at = [other.index[name] for name in ours.nodes]
    for suspect in shuffle.sample(sorted(belt7.suspects()), 30):
        edits = belt7.suspects()[suspect].edits
        situation = circuit.situations[shuffle.choice(sorted(circuit.situations))].situation
        here = {tuple(sorted(o.state.items())): o for o in settle(ours, edits, situation)}
        there = {tuple(sorted(o.state.items())): o for o in settle(other, edits, situation)}
        # Of outcomes that weigh the same only so many are kept; which, is open.
        assert len(here) == len(there)
        for state in here.keys() & there.keys():
            assert here[state].weight == pytest.approx(there[state].weight, abs=0.05)
            np.testing.assert_allclose(there[state].network.ac_v[at], here[state].network.ac_v, rtol=0, atol=1e-6)
            np.testing.assert_allclose(there[state].network.dc_v[at], here[state].network.dc_v, rtol=0, atol=1e-6)
        assert here.keys() == there.keys() or len(here) == 4


@given(broken_anyhow(), SITUATIONS)
@settings(max_examples=60)
def test_the_ways_it_may_end_weigh_one_together(edits, situation):
    found = outcomes(edits, situation)
    assert 1 <= len(found) <= 4
    assert sum(o.weight for o in found) == pytest.approx(1)
    assert [o.weight for o in found] == sorted((o.weight for o in found), reverse=True)
    assert len({(tuple(sorted(o.state.items())), o.memory, o.settled) for o in found}) == len(found)


@given(broken_anyhow(), SITUATIONS)
@settings(max_examples=30)
def test_the_same_question_has_the_same_answer_whatever_was_asked_before(edits, situation):
    """To the rounding of the last digits: numpy adds up a batch of one otherwise than a batch of many."""
    first = outcomes(edits, situation)
    fresh = settle(belt7.fresh_net(), edits, belt7.circuit().situations[situation].situation)
    assert [(o.state, o.memory, o.settled) for o in first] == [(o.state, o.memory, o.settled) for o in fresh]
    assert [o.weight for o in first] == pytest.approx([o.weight for o in fresh])
    for one, other in zip(first, fresh, strict=True):
        np.testing.assert_allclose(one.network.ac_v, other.network.ac_v, rtol=0, atol=1e-8)
        np.testing.assert_allclose(one.network.dc_v, other.network.dc_v, rtol=0, atol=1e-8)


def test_volts_follow_the_supply_in_proportion():
    """A passive network is linear: all sources halved, all volts halved. A motor that turns is not: it slips more."""
    net = belt7.net()
    (outcome,) = outcomes((Edit("stuck", "M1 shaft", "held"),), "running")
    whole = outcome.network
    half = dataclasses.replace(
        whole, ac_a=whole.ac_a / 2, dc_a=whole.dc_a / 2, emf_dc={k: v / 2 for k, v in whole.emf_dc.items()},
        ac_v=None, dc_v=None,
    )  # fmt: skip
    solve_all(net, [half])
    np.testing.assert_allclose(half.ac_v, outcome.network.ac_v / 2, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(half.dc_v, outcome.network.dc_v / 2, rtol=1e-12, atol=1e-12)
