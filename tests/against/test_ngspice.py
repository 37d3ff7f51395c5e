"""A general circuit simulator, given the settled network as a deck, finds the same volts at every terminal.

Witness: ngspice (Debian package ``ngspice``), an unrelated program with its own matrix code. It checks the voltages of
a settled state, not how the state was reached; that is `test_dense`.
"""

from __future__ import annotations

import pytest
from against import belt7, hoist9, press3
from against.belt7 import circuit_from
from against.motors import IN_DELTA, IN_STAR, STAR_DELTA
from against.spice import compare, volts_of, worst_of

from troubleshoot.circuit.model import Situation
from troubleshoot.solve.compiled import compile_circuit
from troubleshoot.solve.deck import spice_deck
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import settle

# One suspect of every sort and place: power, control, 24 V, inputs, outputs, brake, opens, joints, earth faults.
SAMPLE = (
    "F2 open", "F4 open", "F5 holder", "ES1 11-12 open", "ES1 21-22 film", "S1 sticks", "S3 in jog", "K1 coil open",
    "K1 coil short", "K1 13-14 film", "K1 13-14 welded", "KM1 coil open", "KM1 coil short", "KM1 stuck in",
    "KM1 1-2 open", "KM1 1-2 welded", "KM1 1-2 and 3-4 welded", "FR1 tripped", "FR1 95-96 film", "FR1 heater 3-4 open",
    "G1 L1 lost", "G1 L3 lost", "PS1 no output", "PS1 low output", "M1 jammed", "M1 winding V open", "YB1 coil open",
    "YB1 coil short", "H1 short", "A1 module dead", "A1 %QX0.0 dead", "A1 %QX0.0 stuck on", "Q1 off",
    "12:K1:14>FR1:95 open", "12:K1:14>FR1:95 loose", "13:FR1:96>KM1:A1 to earth", "24:PS1:+>F6:1 to earth", "25:F6:2>A1:L+ to earth",
    "0V:MB:2>A1:M open", "40:A1:%QX0.0>K1:A1 to earth", "N:G1:N>NB:1 open", "V:FR1:4>X2:2 loose",
)  # fmt: skip


# And of press 3: what the demo machine has not.
PRESS_SAMPLE = (
    "B1 shorted", "B2 open", "B3 output open", "B4 output shorted", "A1 %QX0.0 stuck on", "A1 %QX0.2 stuck on",
    "A1 %QX0.3 dead", "A1 %IX0.4 stuck on", "KT1 does not time out", "KS1 dead", "KS1 13-14 film", "KM1 1-2 welded",
    "K5 coil open", "P9 short", "51:ES1:12>B9:11 to earth", "0V:KS1:A2>A1:M open", "N:PS1:N>A1:1N open",
)  # fmt: skip
# Of the hoist: what belt-7 lacks. A rectifier stands in the deck as what it takes and what it gives.
HOIST_SAMPLE = (
    "TB1 diode short", "YB1 coil short", "YB1 gap worn", "KM1 interlock broken", "KM2 stuck in", "Z1 short", "Z2 short",
    "V3 short", "V3 reversed", "X5 2 open", "X5 1 to 2 short", "30:TB1:+>YB1:1 open", "30:TB1:+>YB1:1 to earth",
    "8:K3:14>TB1:1 loose", "N:G1:N>X1:4 open",
)  # fmt: skip


@pytest.mark.parametrize(
    ("machine", "suspect"),
    [*(("belt-7", s) for s in ("", *SAMPLE)), *(("press-3", s) for s in ("", *PRESS_SAMPLE))],
    ids=lambda s: s or "healthy",
)
def test_a_general_simulator_finds_the_same_volts_at_every_terminal(machine, suspect, ngspice, tmp_path):
    of = {"belt-7": belt7, "press-3": press3}[machine]
    edits = of.suspects()[suspect].edits if suspect else ()
    compare(of.net(), edits, suspect, ngspice, tmp_path)


@pytest.mark.parametrize("form", hoist9.FORMS)
@pytest.mark.parametrize("suspect", ["", *HOIST_SAMPLE], ids=lambda s: s or "healthy")
def test_a_general_simulator_finds_the_same_volts_on_a_hoist_with_a_rectified_brake(suspect, form, ngspice, tmp_path):
    edits = hoist9.suspects(form)[suspect].edits if suspect else ()
    compare(hoist9.net(form), edits, suspect, ngspice, tmp_path)


@pytest.mark.parametrize("after", [IN_STAR, IN_DELTA])
@pytest.mark.parametrize("broken", ["", "F1", "M1 V"])
def test_a_motor_of_six_leads_in_star_and_in_delta_whole_and_with_something_open(broken, after, ngspice, tmp_path):
    net = compile_circuit(circuit_from(STAR_DELTA % "40 %"), None)
    edits = (Edit("siemens", f"{broken} link" if broken == "F1" else broken, 0.0),) if broken else ()
    for outcome in settle(net, edits, Situation(acts=after)):
        deck = spice_deck(net, outcome, title="star-delta starter")
        ac, dc = volts_of(ngspice, deck, tmp_path, net)
        assert worst_of(outcome, ac, dc) <= 1


def test_a_terminal_is_found_in_the_table_of_the_deck():
    net = belt7.net()
    (outcome,) = settle(net, (), belt7.circuit().situations["at rest"].situation)
    deck = spice_deck(net, outcome, title="belt 7\nat rest")
    assert deck.splitlines()[0] == "belt 7 at rest"
    number = next(line.split()[1] for line in deck.splitlines() if line.endswith(": K1:14"))
    conductor = deck.splitlines()[deck.splitlines().index("* 12:K1:14>FR1:95") + 1]
    assert conductor.split()[1] == number


def test_an_open_part_is_left_out_and_said_so():
    net = belt7.net()
    (outcome,) = settle(net, (), belt7.circuit().situations["isolated"].situation)
    assert "* KM1 1-2: open\n" in spice_deck(net, outcome, title="isolated")
