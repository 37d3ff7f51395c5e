"""A press after any history gives what a fresh settle gives, though a run by itself looks up what it has met in pieces."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from dataclasses import fields

import numpy as np
import pytest
from solve.test_alike import MACHINES, machine, same

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.faults.suspects import Suspect
from troubleshoot.machine import Machine
from troubleshoot.solve import glimpsing, lockstep, network, reflexes, solving
from troubleshoot.solve.codes import book_of
from troubleshoot.solve.columns import Columns, Complexes, Floats, build
from troubleshoot.solve.elimination import eliminate, plan
from troubleshoot.solve.following import follower
from troubleshoot.solve.glimpsing import Glimpses
from troubleshoot.solve.histories import faulty_of
from troubleshoot.solve.nearby import beside
from troubleshoot.solve.network import numeric
from troubleshoot.solve.reacting import Group, Rules, react, rules_of
from troubleshoot.solve.reflexes import _Edges, reflexes_of
from troubleshoot.solve.settle import settle, settle_many, standing_many
from troubleshoot.solve.sides import laid_of

ALL = os.environ.get("TROUBLESHOOT_TESTS") == "all"
EVERY = [*MACHINES, "circuits/reversing-conveyor.yaml", "circuits/two-in-sequence.yaml"]


def presses(of: Machine, draw: random.Random, most: int) -> tuple[Act, ...]:
    """What hands may do to a machine, with power lost and time that passes in between."""
    acts = []
    for _ in range(draw.randint(2, most)):
        control = draw.choice(list(of.net.controls.values()))
        acts.append(Act("put", control.var, draw.choice(control.positions)))
        if control.springs_back and draw.random() < 0.7:
            acts.append(Act("put", control.var, control.usual))
        if draw.random() < 0.1:
            acts.append(draw.choice([Act("wait", "", "1"), Act("lose power"), Act("restore power"), Act("heal")]))
    return tuple(acts)


@pytest.fixture
def plainly(monkeypatch: pytest.MonkeyPatch) -> Iterator[pytest.MonkeyPatch]:
    """Every round in `lockstep`, every network built and eliminated from the beginning."""
    with monkeypatch.context() as patch:
        patch.setattr(lockstep, "ahead", lambda net, run: None)
        patch.setattr(solving, "eliminated", lambda net, kind, siemens, extra: eliminate(net.plan, siemens, extra))
        for room in (glimpsing, network):
            patch.setattr(room, "beside", lambda net, codes, laid: build(net, codes[None], [laid.edits]))
        yield patch


@pytest.mark.parametrize("file", EVERY)
def test_a_press_after_any_history_gives_what_a_fresh_settle_gives(file: str, plainly: pytest.MonkeyPatch) -> None:
    draw, pressed = random.Random(file), machine(file)
    asked = []
    for suspect in [pressed.suspects[-1], *draw.sample(pressed.suspects, 40 if ALL else 6)]:
        acts = presses(pressed, draw, 7)
        asked += [(suspect.edits, Situation("rest", acts[:k])) for k in range(1, len(acts) + 1)]
    fresh = settle_many(machine(file).net, asked)
    plainly.undo()
    for case, one in zip(asked, fresh, strict=True):
        assert same(one, settle(pressed.net, *case)), case
    kept = reflexes_of(pressed.net)
    assert kept._known, "no run went by itself: this proves nothing"


@pytest.mark.parametrize("file", EVERY)
def test_what_the_laws_were_seen_to_do_is_what_they_do_at_any_volts_in_any_state(
    file: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At volts and amperes that no network gives: on edges, over them, inside bands; in mixtures of states."""
    of, draw = machine(file), np.random.default_rng(8)
    net, rules = of.net, rules_of(of.net)
    stands = standing_many(
        net, [(s.edits, n.situation) for s in of.suspects[::9] for n in of.circuit.situations.values()]
    )
    states = np.stack([book_of(net).row(one.states[0]) for several in stands for one in several])
    kept = reflexes_of(net)
    wrong = [faulty_of(net, s.edits) for s in (of.suspects[-1], *(s for s in of.suspects if _weak(s)))][:6]
    seen: list[Glimpses] = []
    monkeypatch.setattr(reflexes, "glimpse", lambda *_: seen[-1])
    looked_up = 0
    for _ in range(1500 if ALL else 300):
        if seen and draw.random() < 0.5:  # the same but for what the motors take
            seen.append(Glimpses(seen[-1].watched, *_turned(rules, draw)))
        else:
            faulty = wrong[draw.integers(len(wrong))]
            codes = states[draw.integers(len(states), size=states.shape[1]), np.arange(states.shape[1])]
            seen.append(_drawn(kept._edges_of(faulty), rules, draw))
        kept._sights.clear()
        before = len(kept._known)
        found = kept.of(faulty, codes.copy())
        looked_up += len(kept._known) == before
        group = Group(
            codes[None].copy(), faulty.fixed[None], faulty.low[None], faulty.high[None], np.zeros((1, 0), np.int64),
            np.zeros(1, np.int64), seen[-1].watched, seen[-1].windings, seen[-1].slips,
        )  # fmt: skip
        done = react(kept.rules, group)
        if found is None:
            fuses = seen[-1].watched[0, rules.watch.stress.start + rules.fuses]
            assert done.splits or done.blown[0] or (fuses >= 1).any()
            continue
        moved = codes.copy()
        for column, code in found.moved:
            moved[column] = code
        assert np.array_equal(moved, group.codes[0])
        assert (found.moves, found.done) == (done.changed[0], done.done[0])
    assert kept._parts or not kept.apart


def _weak(suspect: Suspect) -> bool:
    return any(edit.does in ("threshold", "stuck") for edit in suspect.edits)


def _drawn(edges: _Edges, rules: Rules, draw: np.random.Generator) -> Glimpses:
    """What is watched, most of it far from any edge, some on one or beside it."""
    watch = rules.watch
    watched, often = np.zeros((1, watch.volts.stop)), draw.choice([0.0, 0.1, 0.4])
    for number, at in zip(edges.numbers, edges.at, strict=True):
        if draw.random() < often:
            watched[0, number] = at * draw.choice([0.5, 0.999999, 1.0, 1.000001, 1.5], p=[0.3, 0.1, 0.2, 0.1, 0.3])
    if draw.random() < 0.8:
        watched[0, watch.stress] = np.minimum(watched[0, watch.stress], 0.5)
    return Glimpses(watched, *_turned(rules, draw))


def _turned(rules: Rules, draw: np.random.Generator) -> tuple[Complexes, Floats]:
    """Amperes in the windings, from none to those of a standstill, either way round, and slips."""
    count = len(rules.motors)
    sizes = draw.choice([0.03, 0.9, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0], (1, count))
    rated = np.array([[motor.law.rated_amps for motor in rules.motors]]).reshape(1, count)
    ways = np.repeat(draw.choice([-1, 1], (1, count)), 3, 1)
    amps = np.repeat(sizes * rated, 3, 1) * np.exp(2j * np.pi / 3 * ways * np.tile(np.arange(3), count))
    return amps, np.where(draw.random((1, count)) < 0.7, 0.04, 1.0)


@pytest.mark.parametrize("file", EVERY)
def test_a_network_that_follows_any_other_has_the_digits_of_one_from_the_beginning(file: str) -> None:
    of, draw = machine(file), np.random.default_rng(9)
    net = of.net
    stands = standing_many(
        net, [(s.edits, n.situation) for s in of.suspects[::7] for n in of.circuit.situations.values()]
    )
    states = np.stack([book_of(net).row(one.states[0]) for several in stands for one in several])
    earthed = [s for s in of.suspects if any(e.does == "earth" for e in s.edits)]
    followers = {"ac": follower(net.plan)}
    followers["dc"] = followers["ac"].another()
    ways = solving.ways_of(net)
    for k in range(100 if ALL else 20):
        some = earthed if k % 4 == 0 and earthed else of.suspects
        suspect = some[draw.integers(len(some))]
        columns = build(net, states[draw.integers(len(states))][None], [numeric(suspect.edits)])
        extra = columns.to_earth()
        for kind, siemens, way in (("ac", columns.ac_s, ways.ac), ("dc", columns.dc_s, ways.dc)):
            from_the_beginning = eliminate(net.plan, siemens, extra)
            followed = followers[kind].follow(siemens[:, 0], None if extra is None else extra[:, 0])
            totals = np.concatenate([total[:, 0] for total in from_the_beginning.totals])
            # Where a capacitance meets an inductance they take from each other, and from the digits of AC.
            assert np.allclose(followed.follower.totals, totals, rtol=1e-8 if kind == "ac" else 1e-13, atol=0)
            amps = columns.ac_a if kind == "ac" else columns.dc_a
            one, other = from_the_beginning.on(way), followed.on(way)
            here, there = (found.carried(amps[:, None].copy()) for found in (one, other))
            lost = one.rounding(here) + 1e-10
            on_the_way = one.volts(here)[way.nodes] - other.volts(there)[way.nodes]
            everywhere = from_the_beginning.on(ways.whole).volts(here) - followed.on(ways.whole).volts(there)
            assert other.rounding(there) == pytest.approx(one.rounding(here), rel=1e-6)
            assert np.abs(on_the_way).max(initial=0) <= lost
            assert np.abs(everywhere).max() <= lost


def test_a_rail_with_thousands_of_wires_is_eliminated_too() -> None:
    spokes = plan(3001, tuple((0, k) for k in range(1, 3001)))
    siemens = np.linspace(1.0, 2.0, 3000)[:, None]
    amps = np.ones((3001, 1, 1))
    every, one = eliminate(spokes, siemens), follower(spokes).follow(siemens[:, 0], None)
    volts = [found.on(spokes.whole()).volts(found.on(spokes.whole()).carried(amps.copy())) for found in (every, one)]
    assert np.allclose(volts[0], volts[1], rtol=1e-9)


@pytest.mark.parametrize("file", EVERY)
def test_a_network_made_from_the_one_before_is_the_one_that_is_built_from_the_beginning(file: str) -> None:
    of, draw = machine(file), np.random.default_rng(2)
    net = of.net
    stands = standing_many(
        net, [(s.edits, n.situation) for s in of.suspects[::9] for n in of.circuit.situations.values()]
    )
    states = np.stack([book_of(net).row(one.states[0]) for several in stands for one in several])
    for _ in range(100):
        codes = states[draw.integers(len(states), size=states.shape[1]), np.arange(states.shape[1])]
        edits = numeric(of.suspects[draw.integers(len(of.suspects))].edits)
        one, other = beside(net, codes, laid_of(net, edits)), build(net, codes[None], [edits])
        for name in (f.name for f in fields(Columns)):
            assert np.array_equal(getattr(one, name), getattr(other, name)), (name, edits)
