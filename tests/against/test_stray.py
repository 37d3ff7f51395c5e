"""Stray volts on open wires, coils held and lamps lit through capacitance: the trade's worked cases, by hand.

Allowed: 0.5 % or 0.1 V. Closed form of a wire that nothing drives: V = sum(Cm V) j w / (j w (sum Cm + Cg + Cmeter) +
1 / Rmeter), the meter 10 megohm or 3 kilohm, each with 100 pF beside it. W12 and W13 are in
`test_earthing_and_transformers`.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from against import hoist9
from against.small import NONE, REST, about, net_of, reads

from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import bulk, read
from troubleshoot.solve.settle import settle

OPEN_WIRE = """
machine: open wire
devices:
  G1: {kind: supply, volts: %s, frequency: %s Hz}
  S1: {kind: push button, blocks: {'13-14': no}}
  X1: {kind: terminals, pins: ['1', '2', '3', '4']}
wires:
  - {number: '1', run: ['G1:L1', 'X1:1', 'S1:13']}
  - {number: '2', run: ['G1:%s', 'X1:2']}
  - {number: '3', run: ['G1:%s', 'X1:3']}
  - {number: '4', run: ['S1:14', 'X1:4']}
runs:
  - {conductors: %s, in: %s, length: %s, %s}
roles: {}
complaints: {}
"""
ONE, TWO, THREE = "['4', '1:G1:L1>X1:1']", "['4', '1']", "['4', '1:G1:L1>X1:1', '2', '3']"
"""Of wire 1 its first conductor, or both."""
HIGH, LOW = "ac volts", "low-impedance volts"


def open_wire(volts="208Y/120", hz=60, lines=("L2", "L3"), beside=ONE, inside="conduit", length="30 m", per=""):
    return net_of(OPEN_WIRE % (volts, hz, *lines, beside, inside, length, per))


def shows(net, mode):
    """By one reading and by the table of many, which must agree."""
    found = reads(net, NONE, "X1:4", "G1:N", mode)
    table = bulk(net, [settle(net, NONE, REST)[0].network], mode, [(Pin("X1", "4"), Pin("G1", "N"))])
    assert table.value[0, 0] == pytest.approx(found, rel=1e-6, abs=1e-6)
    return found


def test_w01_w02_an_open_wire_30_m_beside_a_live_one_reads_39_volts_and_collapses_under_load():
    # Cm 1.5 nF, Cg 3.0 nF: 40.0 V without a meter, 39.1 V with one of 10 megohm, 0.204 V with one of 3 kilohm.
    net = open_wire(per="to earth: 100 pF/m")
    assert shows(net, HIGH) == about(39.1)
    # Only the digit printed there is asked for: 0.1 V would allow anything.
    assert shows(net, LOW) == pytest.approx(0.204, rel=0.005)


def test_w03_two_live_neighbours_in_phase_give_twice_the_coupling():
    net = open_wire(beside=TWO, per="to earth: 50 pF/m")
    assert shows(net, HIGH) == about(78.1)
    assert shows(net, LOW) == pytest.approx(0.407, rel=0.005)


def test_w04_one_277_volt_phase_beside_50_m():
    net = open_wire("480Y/277", length="50 m", per="to neighbour: 60 pF/m, to earth: 90 pF/m")
    assert shows(net, HIGH) == about(109.3)
    assert shows(net, LOW) == pytest.approx(0.94, rel=0.005)


def test_w05_100_m_of_multicore_cable_on_230_volts_50_hertz():
    net = open_wire("400Y/230", 50, inside="cable", length="100 m", per="to neighbour: 120 pF/m, to earth: 120 pF/m")
    assert shows(net, HIGH) == about(114.5)
    assert shows(net, LOW) == pytest.approx(2.60, rel=0.005)


@pytest.mark.parametrize(
    ("length", "volts", "states"), [("100 m", 5.4, {"off"}), ("300 m", 16.0, {"off"}), ("1000 m", 44.9, {"off", "on"})]
)
def test_w06_a_long_open_wire_to_a_120_volt_ac_input_comes_into_the_band_where_it_may_read_on(length, volts, states):
    # The same with R = 12 kilohm of the input, beside which the meter is nothing; off for sure under 20 V (IEC 61131-2).
    text = OPEN_WIRE % ("208Y/120", 60, "L2", "L3", ONE, "cable", length, "to neighbour: 100 pF/m, to earth: 50 pF/m")
    text = text.replace("wires:", "  PS1: {kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}\n"
        "  A1: {kind: plc, groups: {1N: {what: 120 V AC inputs, points: {I8: '%IX0.0 limit switch'}}}}\nwires:\n"
        "  - {number: '5', run: ['G1:N', 'A1:1N', 'PS1:N']}\n  - {number: '6', run: ['PS1:+', 'A1:L+']}\n"
        "  - {number: '7', run: ['PS1:-', 'A1:M']}").replace("'X1:4']}\nruns", "'X1:4', 'A1:I8']}\nruns").replace("'X1:1', 'S1:13'", "'X1:1', 'S1:13', 'PS1:L'")  # fmt: skip
    text = text.replace("'4', '1:", "'4:S1:14>X1:4', '1:")
    found = read(net_of(text), NONE, REST, HIGH, Pin("A1", "I8"), Pin("A1", "1N"))
    assert all(reading.value == about(volts) for reading, _ in found)
    assert {outcome.state["A1 %IX0.0"] for _, outcome in found} == states


def test_w07_three_balanced_phases_around_it_cancel():
    assert shows(open_wire(beside=THREE), HIGH) == about(0)


def test_a_stray_voltage_is_said_to_float_and_a_driven_one_is_not():
    net = open_wire(length="300 m")
    ((stray, _),) = read(net, NONE, REST, HIGH, Pin("X1", "4"), Pin("G1", "N"))
    ((driven, _),) = read(net, NONE, Situation(acts=(Act("press", "S1"),)), HIGH, Pin("X1", "4"), Pin("G1", "N"))
    assert stray.floating
    assert not driven.floating
    assert driven.value == about(120)


def test_w17_one_phase_of_an_unearthed_480_volt_plant_earthed_loses_the_current_of_its_cable():
    # Closed form: 3 w 25 nF 277.1 V = 7.8 mA through the fault; 100 m at 0.25 nF/m a phase, nothing else to earth.
    text = """
machine: cable
devices:
  G1: {kind: supply, volts: 480Y/277, frequency: 60 Hz, earthing: none, line to earth: 0 F}
  X1: {kind: terminals, pins: ['1', '2', '3']}
wires:
  - {number: L1, run: ['G1:L1', 'X1:1']}
  - {number: L2, run: ['G1:L2', 'X1:2']}
  - {number: L3, run: ['G1:L3', 'X1:3']}
runs: [{conductors: [L1, L2, L3], in: cable, length: 100 m, to earth: 250 pF/m}]
roles: {}
complaints: {}
"""
    net = net_of(text)
    outcome = settle(net, (Edit("earth", "X1:1", 1e3),), REST)[0]
    assert abs(outcome.network.ac_v[net.index["X1:1"]]) * 1e3 == pytest.approx(7.83e-3, rel=0.005)


COIL = """
machine: long line
devices:
  G1: {kind: supply, volts: 400Y/230, frequency: 50 Hz}
  S1: {kind: push button, blocks: {'13-14': no}}
  %s
wires:
  - {number: '1', run: ['G1:L1', 'S1:13']}
  - {number: '2', run: ['S1:14', '%s']}
  - {number: N, run: ['%s', 'G1:N']}
runs: [{conductors: ['1', '2'], in: cable, length: %s, to neighbour: %s, to earth: 0 pF/m}]
roles: {start: S1}
complaints: {}
"""


@pytest.mark.parametrize(("length", "volts", "ends"), [("100 m", 15.2, {"out"}), ("500 m", 101, {"out", "in"})])
def test_w18_a_coil_may_be_held_through_the_capacitance_of_its_own_line(length, volts, ends):
    # Closed form: 230 |Zc / (Zc - j / w C)|, Zc = 230 * 230 / 8 at 0.3, C = 0.3 nF/m: 7 % lets go, 44 % may hold.
    text = COIL % ("KM1: {kind: contactor, coil: 230 V AC}", "KM1:A1", "KM1:A2", length, "300 pF/m")
    net, acts = net_of(text), (Act("press", "S1"), Act("release", "S1"))
    assert reads(net, (Edit("stuck", "KM1", "in"),), "KM1:A1", "KM1:A2", after=acts) == about(volts)
    assert {outcome.state["KM1"] for outcome in settle(net, NONE, Situation(acts=acts))} == ends


@pytest.mark.parametrize(
    ("volts", "hz", "length", "amps"), [("208Y/120", 60, "220 m", 1.0e-3), ("400Y/230", 50, "69 m", 0.5e-3)]
)
def test_w19_an_led_lamp_lights_by_the_capacitance_of_its_line(volts, hz, length, amps):
    # Closed form: I = w C V: 22 nF give 0.995 mA at 120 V 60 Hz, 6.9 nF give 0.499 mA at 230 V 50 Hz; at 100 pF/m.
    rated = float(volts.split("/")[1])
    lamp = f"H1: {{kind: lamp, lamp: {rated:g} V AC, amps: 0.1 A}}"
    text = COIL % (lamp, "H1:X1", "H1:X2", length, "100 pF/m")
    text = text.replace("volts: 400Y/230, frequency: 50 Hz", f"volts: {volts}, frequency: {hz} Hz")
    across = reads(net_of(text), NONE, "H1:X1", "H1:X2")
    assert across / (rated / 0.1) == pytest.approx(amps, rel=0.006)


def test_a_star_for_a_large_bundle_reads_what_all_the_pairs_would():
    """Star-mesh: n legs of n C are the mesh of C between every two, but for the nanosiemens of its middle."""
    from troubleshoot.circuit.runs import touching
    from troubleshoot.solve import runs

    tags = range(1, 13)
    live = ", ".join(f"'X1:{k}'" for k in tags if k % 3)
    wires = f"  - {{number: L, run: ['G1:L1', {live}]}}\n" + "".join(
        f"  - {{number: w{k}, run: ['S{k}:14', 'X1:{k}']}}\n" for k in tags if not k % 3
    )
    text = f"""
machine: bundle
devices:
  G1: {{kind: supply, volts: 208Y/120}}
{"".join(f"  S{k}: {{kind: push button, blocks: {{'13-14': no}}}}{chr(10)}" for k in tags if not k % 3)}
  X1: {{kind: terminals, pins: [{", ".join(f"'{k}'" for k in tags)}]}}
wires:
{wires}
runs: [{{conductors: [L, w3, w6, w9, w12], in: conduit, length: 10 m}}]
roles: {{}}
complaints: {{}}
"""
    star = reads(net_of(text), NONE, "X1:3", "G1:N")
    before = runs.MOST_PAIRED
    try:
        runs.MOST_PAIRED = 99  # type: ignore[misc]
        pairs = reads(net_of(text), NONE, "X1:3", "G1:N")
    finally:
        runs.MOST_PAIRED = before  # type: ignore[misc]
    assert star == pytest.approx(pairs, rel=5e-4)
    # And by hand: 8 live and 4 open wires, the open ones all at one voltage, so nothing flows between them.
    w, share = 2 * math.pi * 60, touching(12)
    live, earth = 8 * 50e-12 * share * 10, 60e-12 * 10
    assert share == pytest.approx(24 / 66)
    admittance = 1j * w * (live + earth)
    # One of the four is loaded by the meter and drawn up by the other three, which see 1 / 3 as much of it each.
    between = 1j * w * 50e-12 * share * 10
    meter = 1e-7 + 1j * w * 100e-12
    matrix = np.eye(4) * (admittance + 4 * between) - between
    matrix[0, 0] += meter
    assert star == pytest.approx(abs(np.linalg.solve(matrix, np.full(4, 120j * w * live))[0]), rel=5e-3)


@pytest.mark.parametrize("form", hoist9.FORMS)
def test_a_brake_cable_beside_the_motors_leaves_its_coil_readable_behind_its_rectifier(form):
    """Direct current passes no capacitance: the coil has what it has without the cable (W33: 103.5 or 207.1 V of 230)."""
    cable = "runs:\n  - {conductors: ['30', '31', U1, V1, W1], in: cable, length: 40 m}\n"
    net = net_of((hoist9.TEXT % (form, hoist9.FORMS[form])).replace("roles:", f"{cable}roles:"))
    held = (Act("press", "S1"),)
    alone, beside = (reads(n, NONE, "YB1:1", "YB1:2", "dc volts", held) for n in (hoist9.net(form), net))
    assert beside == pytest.approx(alone, rel=1e-4)
    assert beside > 100
