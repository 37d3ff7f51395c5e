"""A general circuit simulator, given the settled network as a deck, finds the same volts at every terminal.

Witness: ngspice (Debian package ``ngspice``), an unrelated program with its own matrix code. It checks the voltages of
a settled state, not how the state was reached; that is `test_dense`.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest
from against import belt7, hoist9, press3
from against.belt7 import circuit_from
from against.motors import IN_DELTA, IN_STAR, STAR_DELTA

from troubleshoot.circuit.model import Situation
from troubleshoot.solve.compiled import Net, compile_circuit, frequency
from troubleshoot.solve.deck import DC_OFFSET, spice_deck
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import Outcome, settle

ABSOLUTE_V, RELATIVE = 0.010, 0.001
"""10 mV or 0.1 %, whichever is larger. Ours to choose: a tenth of what the last digit of a multimeter shows."""

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


def _volts(ngspice: str, deck: str, folder: Path, net: Net) -> tuple[dict[int, complex], dict[int, complex]]:
    """Node number to volts, from the AC analysis and from the operating point, in double precision."""
    hz = frequency(net.circuit)
    control = f".control\nset filetype=ascii\nop\nwrite op.raw\nac lin 1 {hz} {hz}\nwrite ac.raw\nquit\n.endc\n.end\n"
    (folder / "deck.cir").write_text(deck.removesuffix(".end\n") + control)
    done = subprocess.run(
        [ngspice, "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "singular" not in done.stdout + done.stderr
    return _raw(folder / "ac.raw"), _raw(folder / "op.raw")


def _raw(path: Path) -> dict[int, complex]:
    head, _, body = path.read_text().partition("Values:\n")
    names = [line.split()[1] for line in head.partition("Variables:\n")[2].splitlines() if line.strip()]
    values = [line.split()[-1].split(",") for line in body.splitlines() if line.strip()]
    assert len(names) == len(values)
    return {
        int(name[2:-1]): complex(*(float(part) for part in value))
        for name, value in zip(names, values, strict=True)
        if name.startswith("v(")
    }


def _worst(outcome: Outcome, ac: dict[int, complex], dc: dict[int, complex]) -> float:
    """Largest difference at any terminal, as a share of what is allowed; 1 is the limit."""
    network = outcome.network
    assert network.ac_v is not None
    assert network.dc_v is not None
    count = len(network.ac_v)
    theirs_ac = np.array([ac.get(k + 1, 0) for k in range(count)])
    theirs_dc = np.array([dc.get(k + 1 + DC_OFFSET, 0).real for k in range(count)])
    assert {k + 1 for k in range(count)} <= ac.keys()
    worst = 0.0
    for ours, theirs in ((network.ac_v, theirs_ac), (network.dc_v, theirs_dc)):
        allowed = np.maximum(ABSOLUTE_V, RELATIVE * np.abs(ours))
        worst = max(worst, float(np.max(np.abs(ours - theirs) / allowed)))
    return worst


@pytest.mark.parametrize(
    ("machine", "suspect"),
    [*(("belt-7", s) for s in ("", *SAMPLE)), *(("press-3", s) for s in ("", *PRESS_SAMPLE))],
    ids=lambda s: s or "healthy",
)
def test_a_general_simulator_finds_the_same_volts_at_every_terminal(machine, suspect, ngspice, tmp_path):
    of = {"belt-7": belt7, "press-3": press3}[machine]
    edits = of.suspects()[suspect].edits if suspect else ()
    _compare(of.net(), edits, suspect, ngspice, tmp_path)


@pytest.mark.parametrize("form", hoist9.FORMS)
@pytest.mark.parametrize("suspect", ["", *HOIST_SAMPLE], ids=lambda s: s or "healthy")
def test_a_general_simulator_finds_the_same_volts_on_a_hoist_with_a_rectified_brake(suspect, form, ngspice, tmp_path):
    edits = hoist9.suspects(form)[suspect].edits if suspect else ()
    _compare(hoist9.net(form), edits, suspect, ngspice, tmp_path)


def _compare(net: Net, edits: tuple[Edit, ...], suspect: str, ngspice: str, folder: Path) -> None:
    for name, named in net.circuit.situations.items():
        for outcome in settle(net, edits, named.situation):
            deck = spice_deck(net, outcome, title=f"{suspect or 'healthy'}, {name}")
            worst = _worst(outcome, *_volts(ngspice, deck, folder, net))
            assert worst <= 1, f"{name}: {worst:.3g} times what is allowed"


@pytest.mark.parametrize("after", [IN_STAR, IN_DELTA])
@pytest.mark.parametrize("broken", ["", "F1", "M1 V"])
def test_a_motor_of_six_leads_in_star_and_in_delta_whole_and_with_something_open(broken, after, ngspice, tmp_path):
    net = compile_circuit(circuit_from(STAR_DELTA % "40 %"), None)
    edits = (Edit("siemens", f"{broken} link" if broken == "F1" else broken, 0.0),) if broken else ()
    for outcome in settle(net, edits, Situation(acts=after)):
        deck = spice_deck(net, outcome, title="star-delta starter")
        ac, dc = _volts(ngspice, deck, tmp_path, net)
        assert _worst(outcome, ac, dc) <= 1


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
