"""What a walk makes of words, of readings at an edge, of what was told and of other trees."""

from __future__ import annotations

import pytest
from trees.played import bound, number, play, reasoner, walk

from troubleshoot.circuit.model import Pin
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Interval, Meter, Seen, Told, Word
from troubleshoot.trees import Bound, Tree, bind, load_tree


@pytest.fixture
def at_the_coil():
    """Everything seen of belt 7 up to the coil, its relay contact being open, and the trip to the coil."""
    played = play("wont-start", "belt-7", number("belt-7", "K1 13-14 open"))
    (coil,) = [step for step in played.asked if step.id == "coil"]
    return [seen for seen in played.evidence if not isinstance(seen.what, Meter)], coil


def _read(step: Step, *said: float | Word) -> list[Seen]:
    understood = [Interval(x, x, "V") if isinstance(x, float) else x for x in said]
    at = step.situation.situation
    return [Seen(what, "", u, at, batch=1) for what, u in zip(step.items, understood, strict=True)]


def test_the_coil_its_return_and_the_fuse_are_one_trip_with_the_black_lead_on_the_neutral_bar(at_the_coil):
    _, coil = at_the_coil
    assert [str(m.red) for m in coil.items] == ["KM1:A1", "KM1:A2", "F4:2"]
    assert {str(m.black) for m in coil.items} == {"NB:1"}
    assert coil.situation.hands == 2


@pytest.mark.parametrize(
    ("volts", "words"),
    [
        ((119.0, 0.0, 119.0), (Word.RIGHT, Word.NOTHING, Word.RIGHT)),
        ((0.0, 0.0, 119.0), (Word.NOTHING, Word.RIGHT, Word.RIGHT)),
        ((60.0, 0.0, 119.0), (Word.LOW, Word.NOTHING, Word.RIGHT)),
        ((119.0, 118.0, 119.0), (Word.RIGHT, Word.HIGH, Word.RIGHT)),
    ],
)
def test_a_word_leads_where_its_number_leads(at_the_coil, volts, words):
    before, coil = at_the_coil
    tree = bound("wont-start", "belt-7")
    assert walk(tree, before + _read(coil, *volts)).path == walk(tree, before + _read(coil, *words)).path


def test_a_reading_at_the_edge_of_two_sets_takes_the_likelier_branch_and_says_so(at_the_coil):
    before, coil = at_the_coil
    said = [w for w in walk(bound("wont-start", "belt-7"), before + _read(coil, 96.0, 0.0, 118.0)).words if "coil" in w]
    assert said[0].endswith("this is the likelier)")
    assert "as expected" in said[0]
    assert "low" in said[0]


def test_a_reading_against_another_terminal_of_the_same_bar_counts(at_the_coil):
    before, coil = at_the_coil
    at = coil.situation.situation
    other = Seen(Meter("ac volts", Pin("KM1", "A1"), Pin("NB", "4")), "0", Interval(0, 0, "V"), at)
    step = walk(bound("wont-start", "belt-7"), [*before, other]).step
    assert [str(m.red) for m in step.items] == ["KM1:A2", "F4:2"]


def test_a_reading_in_another_situation_answers_nothing(at_the_coil):
    before, coil = at_the_coil
    rest = reasoner("belt-7").situation("at rest").situation
    elsewhere = [Seen(s.what, s.said, s.understood, rest) for s in _read(coil, 0.0, 0.0, 119.0)]
    step = walk(bound("wont-start", "belt-7"), before + elsewhere).step
    assert (step.id, step.items) == (coil.id, coil.items)


def test_a_reading_beyond_a_dead_point_hands_over_to_the_engine(at_the_coil):
    before, coil = at_the_coil
    evidence = before + _read(coil, 0.0, 0.0, 119.0)
    trip = walk(bound("wont-start", "belt-7"), evidence).step
    found = walk(bound("wont-start", "belt-7"), evidence + _read(trip, 0.0, 119.0, 0.0))
    assert found.step.kind == "engine"
    assert "reads right beyond" in found.words[-1]


def test_the_trip_says_what_each_result_would_mean(at_the_coil):
    before, coil = at_the_coil
    trip = walk(bound("wont-start", "belt-7"), before + _read(coil, 0.0, 0.0, 119.0)).step
    (line,) = [one for one in trip.ahead if one.startswith("dead at K1:14")]
    assert "K1 13-14" in line
    assert len(trip.ahead) <= 4


_OTHER = "tree: power\nnodes:\n  - {id: first, look: [motor], next: engine}\n"
_GOING = """
tree: case
nodes:
  - {id: first, ask: last, branches: {bang: stop}, next: on}
  - {id: on, go: power}
  - {id: stop, end: Leave it alone.}
"""


def test_another_tree_goes_on_under_its_own_name_and_a_told_answer_takes_its_branch():
    case, power = load_tree(_GOING, "case"), load_tree(_OTHER, "power")
    assert isinstance(case, Tree)
    assert isinstance(power, Tree)
    found = bind(case, reasoner("belt-7"), {"power": power})
    assert isinstance(found, Bound)
    assert walk(found, []).path == ("first", "on", "power/first")
    told = Seen(Told("last"), "a bang", "bang", found.start.situation)
    assert walk(found, [told]).step.kind == "end"


def test_a_tree_that_is_not_there_is_a_problem_with_the_nearest_name():
    case, power = load_tree(_GOING, "case"), load_tree(_OTHER, "power")
    found = bind(case, reasoner("belt-7"), {"powr": power})
    assert [str(p) for p in found] == ["case:5:5: node on: there is no tree 'power' (nearest: powr)"]
