"""Wires that share a conduit or a cable, as the circuit file says it."""

from __future__ import annotations

import pytest
from against.belt7 import circuit_from

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.runs import USUAL, touching

TEXT = """
machine: tray
places: {panel: {}, desk: {}}
devices:
  G1: {kind: supply, at: panel, volts: 208Y/120}
  X1: {kind: terminals, at: panel, pins: ['1', '2']}
  S1: {kind: push button, at: desk, blocks: {'13-14': no}}
wires:
  - {number: '10', run: ['G1:L1', 'X1:1', 'S1:13']}
  - {number: '11', run: ['S1:14', 'X1:2']}
runs:
  - {%s}
roles: {}
complaints: {}
"""


def said(run: str, text: str = TEXT) -> list[str]:
    found = load_circuit(text % run, "t.yaml")
    assert isinstance(found, tuple)
    return [str(problem) for problem in found]


def test_a_number_stands_for_its_conductors_that_leave_the_panel():
    (run,) = circuit_from(TEXT % "conductors: ['10', '11'], in: conduit, length: 100 ft").runs
    assert run.hops == ("10:X1:1>S1:13", "11:S1:14>X1:2")
    assert run.metres == pytest.approx(30.48)
    assert (run.to_neighbour, run.to_earth) == (USUAL["conduit"].to_neighbour, USUAL["conduit"].to_earth)


def test_a_hop_is_named_by_number_and_both_ends_and_what_is_written_replaces_what_is_usual():
    said = "conductors: ['10:G1:L1>X1:1', '11'], in: cable, length: 5 m, to neighbour: 0.12 nF/m, to earth: 0 F/m"
    (run,) = circuit_from(TEXT % said).runs
    assert run.hops[0] == "10:G1:L1>X1:1"
    assert (run.to_neighbour, run.to_earth) == (pytest.approx(120e-12), 0.0)


@pytest.mark.parametrize(
    ("run", "says"),
    [
        (
            "conductors: ['10', '111'], in: conduit, length: 5 m",
            "no wire number and no hop '111' in this file (nearest: 11)",
        ),
        ("conductors: ['10:X1:1>S1:12'], in: conduit, length: 5 m", "(nearest: 10:X1:1>S1:13)"),
        ("conductors: ['10', '10:X1:1>S1:13'], in: conduit, length: 5 m", "10:X1:1>S1:13 is in 'conductors' twice"),
        ("conductors: ['10'], in: conduits, length: 5 m", "(nearest: conduit)"),
        ("conductors: ['10'], in: conduit, lenght: 5 m", "a run has no key 'lenght' (nearest: length)"),
        ("conductors: ['10'], in: conduit", "a run must have 'length'"),
        ("conductors: ['10'], in: conduit, length: 0 m", "'length' must be above zero"),
        ("conductors: ['10'], in: conduit, length: 5 m, to earth: 60 pF", "farads per metre are written F/m"),
    ],
)
def test_a_mistake_is_said_once_with_its_place(run, says):
    (problem,) = said(run)
    assert says in problem
    assert problem.startswith("t.yaml:12:")


def test_a_wire_with_a_mistake_in_it_is_not_also_missing_in_its_run():
    (problem,) = said("conductors: ['11'], in: conduit, length: 5 m", TEXT.replace("'S1:14'", "'S1:15'"))
    assert "S1 has no terminal '15'" in problem


def test_the_mistakes_of_all_runs_are_said():
    text = TEXT.replace("  - {%s}", "  - {conductors: ['12'], in: conduit, length: 1 m}\n  - {%s}\n  - 3")
    assert len(said("conductors: ['13'], in: cable, length: 2 m", text)) == 3


def test_of_two_and_of_three_conductors_every_pair_touches_and_of_many_few():
    assert touching(2) == touching(3) == 1
    assert touching(4) == pytest.approx(5 / 6)
    assert touching(7) == pytest.approx(12 / 21), "six around one"
