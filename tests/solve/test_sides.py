"""AC and DC looked at by themselves give what the whole network gives: what is left out carries no current of that kind."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import troubleshoot
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.codes import book_of
from troubleshoot.solve.columns import build
from troubleshoot.solve.glimpsing import forget, glimpses
from troubleshoot.solve.network import numeric
from troubleshoot.solve.settle import standing_many
from troubleshoot.solve.sides import blocks_of, sides_of
from troubleshoot.solve.solving import glimpse_both, watched

SHIPPED = Path(troubleshoot.__file__).parent


@pytest.mark.parametrize(
    "file", ["machines/belt-7.yaml", "circuits/safety-relay-conveyor.yaml", "circuits/three-wire-corner-earthed.yaml"]
)
def test_what_a_settle_sees_of_any_state_and_fault_is_what_the_whole_network_gives(file: str) -> None:
    path = SHIPPED / file
    machine = describe(path.read_bytes(), path.name)
    assert isinstance(machine, Machine)
    net, draw = machine.net, np.random.default_rng(5)
    starts = machine.circuit.roles["start"][:1]
    acts = tuple(Act(verb, tag) for tag in starts for verb in ("press", "release"))
    situations = [Situation("rest", acts[:k]) for k in range(len(acts) + 1)]
    stands = standing_many(net, [(s.edits, at) for s in machine.suspects for at in situations])
    # Every suspect in states that others lead to: far more mixtures than a settle would come by.
    codes = np.stack([book_of(net).row(one.states[0]) for several in stands for one in several])
    codes = codes[draw.integers(0, len(codes), 1200)]
    edits = [numeric(machine.suspects[k].edits) for k in draw.integers(0, len(machine.suspects), 1200)]
    forget(net)
    seen = glimpses(net, codes, [sides_of(net).laid(some) for some in edits])
    ac, dc = glimpse_both(net, build(net, codes, edits))
    # A 24 V supply that has lost its tie to earth floats on leaks: some millivolts across a coil, of the volts it needs.
    np.testing.assert_allclose(seen.watched, watched(net, ac, dc), rtol=1e-6, atol=5e-3)
    np.testing.assert_allclose(seen.windings, ac.windings, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(seen.slips, ac.slips, rtol=1e-6, atol=1e-9)


def test_a_button_in_the_24_v_circuit_changes_no_alternating_current_and_a_fault_to_earth_there_may() -> None:
    path = SHIPPED / "machines" / "belt-7.yaml"
    machine = describe(path.read_bytes(), path.name)
    assert isinstance(machine, Machine)
    sides, book = sides_of(machine.net), book_of(machine.net)
    pressed = dict(machine.net.initial) | {"S1": "pressed"}
    codes = np.stack([book.row(machine.net.initial), book.row(pressed)])
    none = sides.laid(())
    ac, dc = sides.keys([none.ac] * 2, codes), sides.keys([none.dc] * 2, codes)
    assert ac[0] == ac[1]
    assert dc[0] != dc[1]
    motor_lead = next(s for s in machine.suspects if s.edits and s.edits[0].slot.startswith("U:FR1:2>"))
    laid = sides.laid(numeric(motor_lead.edits))
    assert laid.dc == none.dc
    assert laid.ac != none.ac


def loops(edges: dict[str, tuple[int, int]]) -> list[set[str]]:
    """Every simple loop, by trying all sets of edges: each point in it has two ends, and it hangs together."""
    found = []
    for count in range(2, len(edges) + 1):
        for names in combinations(edges, count):
            ends = [p for name in names for p in edges[name]]
            if any(ends.count(p) != 2 for p in ends):
                continue
            joined = {ends[0]}
            for _ in names:
                joined |= {p for name in names if joined & set(edges[name]) for p in edges[name]}
            if joined == set(ends):
                found.append(set(names))
    return found


@given(st.lists(st.tuples(st.integers(-1, 4), st.integers(-1, 4)).filter(lambda e: e[0] != e[1]), max_size=8))
def test_two_edges_lie_in_one_block_when_a_loop_goes_through_both(ends: list[tuple[int, int]]) -> None:
    edges = {f"e{k}": pair for k, pair in enumerate(ends)}
    blocks = blocks_of(edges)
    assert sorted(name for block in blocks for name in block) == sorted(edges)
    every = loops(edges)
    for one, other in combinations(edges, 2):
        together = any({one, other} <= block for block in blocks)
        assert together == any({one, other} <= loop for loop in every)
