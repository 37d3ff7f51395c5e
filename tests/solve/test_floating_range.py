"""What a point that nothing drives may read where nobody said what runs beside it: the worked cases lie inside."""

from __future__ import annotations

import pytest
from against.small import NONE, REST, machine_of, net_of

from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.likelihood import likelihood
from troubleshoot.evidence.seen import Interval, Meter, Seen, Word
from troubleshoot.solve.meter import read

WIRE = """
machine: open wire
devices:
  G1: {kind: supply, volts: %s, frequency: %s Hz}
  S1: {kind: push button, blocks: {'13-14': no}}
  X1: {kind: terminals, pins: ['4']}
wires:
  - {number: '1', run: ['G1:L1', 'S1:13']}
  - {number: '4', run: ['S1:14', 'X1:4'], length: %s}
%sroles: {}
complaints: {}
"""
HIGH, LOW = "ac volts", "low-impedance volts"
POINT, NEUTRAL = Pin("X1", "4"), Pin("G1", "N")


def span_of(mode, volts="208Y/120", hz=60, length="30 m", at=REST, runs=""):
    (found, _), = read(net_of(WIRE % (volts, hz, length, runs)), NONE, at, mode, POINT, NEUTRAL)  # fmt: skip
    assert found.floating
    assert found.span is not None
    return found.span


@pytest.mark.parametrize(
    ("case", "seen", "on_low"),
    [
        (("208Y/120", 60, "30 m"), 39.1, 0.204),  # W01, W02
        (("208Y/120", 60, "30 m"), 78.1, 0.407),  # W03
        (("480Y/277", 60, "50 m"), 109.3, 0.94),  # W04
        (("400Y/230", 50, "100 m"), 114.5, 2.60),  # W05
    ],
    ids=["W01", "W03", "W04", "W05"],
)
def test_the_worked_cases_lie_in_the_range_of_a_wire_of_their_length(case, seen, on_low):
    low, high = span_of(HIGH, *case)
    assert low == 0
    assert seen < high
    assert on_low < span_of(LOW, *case)[1]


def test_it_collapses_under_load_and_never_reaches_the_volts_of_the_neighbours():
    high, loaded = span_of(HIGH)[1], span_of(LOW)[1]
    assert high < 0.75 * 120, "three neighbours at 50 pF/m against 60 to earth: 71 %"
    assert loaded < 0.1 * high, "a low-impedance reading under a tenth of the other is stray or a very bad joint"


def test_a_short_wire_shows_less_than_a_long_one():
    assert span_of(HIGH, length="0.3 m")[1] < 0.5 * span_of(HIGH, length="30 m")[1]


def test_with_the_power_gone_only_the_wander_of_an_open_range_is_left():
    """Leads on nothing drift 0.1 to 5 V AC (common practice)."""
    assert span_of(HIGH, at=Situation(acts=(Act("lose power"),))) == (0, 5)


RUN = "runs: [{conductors: ['4', '1'], in: conduit, length: 30 m, to earth: 100 pF/m}]\n"


def test_on_a_described_run_it_is_the_computed_reading_and_a_third_to_either_side():
    low, high = span_of(HIGH, runs=RUN)
    assert (low, high) == (pytest.approx(0.7 * 39.1, rel=0.01), pytest.approx(1.3 * 39.1, rel=0.01))


@pytest.fixture(scope="module")
def reasoner() -> Reasoner:
    return Reasoner(machine_of(WIRE % ("208Y/120", 60, "30 m", "")))


def test_what_should_be_there_is_said_as_a_range_that_collapses_under_load(reasoner):
    words = reasoner.expected(Meter(HIGH, POINT, NEUTRAL), REST).words
    assert words == f"0-{span_of(HIGH)[1]:.0f} V, collapses under load"
    assert reasoner.expected(Meter(LOW, POINT, NEUTRAL), REST).words == "nothing"


def test_belief_takes_any_reading_within_the_range_alike_and_one_above_it_for_a_surprise(reasoner):
    what = Meter(HIGH, POINT, NEUTRAL)
    predicted = reasoner.predict(what, REST)
    at = reasoner.table(REST).healthy

    def chance(understood):
        return likelihood(Seen(what, "", understood, REST), predicted)[at]

    inside, other, above = (chance(Interval(v, v, "V")) for v in (40.0, 80.0, 110.0))
    assert inside == pytest.approx(other, rel=1e-6)
    assert above < 0.2 * inside
    nothing, low, high = (chance(word) for word in (Word.NOTHING, Word.LOW, Word.HIGH))
    assert nothing > low > 10 * high
    # The rest of one is "right", which here means nothing.
    assert 0.97 < nothing + low + high <= 1
