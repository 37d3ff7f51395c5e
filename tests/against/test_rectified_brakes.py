"""Brakes behind a rectifier and what a meter shows there: figures of the trade's worked cases, by hand, in the comments.

Closed form: a rectified sine of V volts r.m.s. has the mean sqrt(2)/pi V for a half wave and twice that for both, the
r.m.s. value V/sqrt(2) and V, and what an AC range sees of it is the root of the difference of the squares. Allowed:
0.5 % or 0.1 V. Release and hold of a DC brake, 0.75 and 0.30 of its rated volts: common practice, no published source.
"""

from __future__ import annotations

import math

import pytest
from against.belt7 import circuit_from, pin

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import BEHIND, bulk, read
from troubleshoot.solve.meters import Mode
from troubleshoot.solve.settle import settle

REST = Situation()

BRAKE = """
machine: brake
devices:
  G1: {kind: supply, volts: %s, frequency: 50 Hz}
  F1: {kind: fuse, amps: 4 A}
  F2: {kind: fuse, amps: 4 A}
  S1: {kind: selector, positions: [off, on], usual: on, blocks: {'13-14': [on]}}
  TB1: {kind: rectifier, in: 230 V, form: %s}
  S4: {kind: selector, positions: [open, closed], usual: closed, blocks: {'13-14': [closed]}}
  YB1: {kind: brake, coil: %s V DC, coil watts: 40 W, holds: M1}
  M1: {kind: motor, power: 1.5 kW, volts: 400 V, amps: 3.3 A}
wires:
  - {number: L1, run: ['G1:L1', 'F1:1']}
  - {number: '1', run: ['F1:2', 'S1:13']}
  - {number: '2', run: ['S1:14', 'TB1:1']}
  - {number: R, run: ['G1:%s', 'F2:1']}
  - {number: '3', run: ['F2:2', 'TB1:2']}
  - {number: '4', run: ['TB1:+', 'S4:13']}
  - {number: '5', run: ['S4:14', 'YB1:1']}
  - {number: '6', run: ['YB1:2', 'TB1:-']}
roles: {}
complaints: {}
"""


def brake(form: str, coil: float, supply: str = "400Y/230", to: str = "N") -> Net:
    return compile_circuit(circuit_from(BRAKE % (supply, form, coil, to)), None)


def reads(net: Net, red: str, black: str, mode: Mode = "dc volts", edits=(), at: Situation = REST) -> float:
    found = read(net, edits, at, mode, pin(red), pin(black))
    assert len(found) == 1, "this case is meant to lie outside every band"
    return found[0][0].value


def about(value: float):
    return pytest.approx(value, rel=0.005, abs=0.1)


def brake_is(net: Net, *edits: Edit, at: Situation = REST) -> dict[str, float]:
    """State of the brake to its chance."""
    found: dict[str, float] = {}
    for outcome in settle(net, edits, at):
        assert outcome.settled
        found[outcome.state["YB1"]] = found.get(outcome.state["YB1"], 0) + outcome.weight
    return found


ONE_OPEN = Edit("stuck", "TB1 diodes", "one open")


@pytest.mark.parametrize(
    ("supply", "to", "half", "full"),
    [
        ("208Y/120", "N", 54.0, 108.0), ("208Y/120.089", "L2", 93.6, 187.3), ("400Y/230", "N", 103.5, 207.1),
        ("415.69Y/240", "N", 108.0, 216.1), ("400Y/230.94", "L2", 180.1, 360.1), ("460Y/265.58", "L2", 207.1, 414.1),
        ("480Y/277.13", "L2", 216.1, 432.2),
    ],
)  # fmt: skip
def test_w33_half_and_full_wave_from_the_usual_volts(supply, to, half, full):
    """Closed form: sqrt(2)/pi = 0.450 and 0.900 of the AC."""
    assert reads(brake("half-wave", half, supply, to), "YB1:1", "YB1:2") == about(half)
    assert reads(brake("full-wave", full, supply, to), "YB1:1", "YB1:2") == about(full)


def test_w34_a_bridge_with_one_open_diode_will_not_release_and_may_hold_what_is_released():
    """Closed form: the half-wave mean, 103.5 V, is 50 % of the 205 V coil: under the release, over the hold."""
    net = brake("full-wave", 205)
    assert reads(net, "YB1:1", "YB1:2") == about(207.1)
    assert brake_is(net) == {"released": 1}
    assert reads(net, "YB1:1", "YB1:2", edits=(ONE_OPEN,)) == about(103.5)
    assert brake_is(net, ONE_OPEN) == {"set": 1}
    # It was released on live volts, and then the diode opens: the hold band decides.
    before = (Edit("left", "YB1", "released"), Edit("left", "TB1", "on"))
    assert brake_is(net, ONE_OPEN, *before) == {"released": 1}


def test_w35_at_standstill_with_a_line_open_a_brake_on_the_motor_leads_gets_half_and_does_not_release():
    """Closed form: the open terminal lies midway, 200 V AC, so 90 V DC on a 180 V coil: 50 %. Running: `test_motor`."""
    text = """
machine: leads
devices:
  G1: {kind: supply, volts: 400Y/230.94, frequency: 50 Hz}
  F1: {kind: fuse, amps: 63 A}
  F2: {kind: fuse, amps: 63 A}
  F3: {kind: fuse, amps: 63 A}
  M1: {kind: motor, power: 4 kW, volts: 400 V, amps: 8.13 A, locked ratio: 6.814}
  TB1: {kind: rectifier, in: 400 V, form: half-wave}
  YB1: {kind: brake, coil: 180 V DC, coil watts: 50 W, holds: M1}
wires:
  - {number: L1, run: ['G1:L1', 'F1:1'], length: 0.1 m}
  - {number: L2, run: ['G1:L2', 'F2:1'], length: 0.1 m}
  - {number: L3, run: ['G1:L3', 'F3:1'], length: 0.1 m}
  - {number: U, run: ['F1:2', 'M1:U1', 'TB1:1'], length: 0.1 m}
  - {number: V, run: ['F2:2', 'M1:V1', 'TB1:2'], length: 0.1 m}
  - {number: W, run: ['F3:2', 'M1:W1'], length: 0.1 m}
  - {number: '1', run: ['TB1:+', 'YB1:1']}
  - {number: '2', run: ['YB1:2', 'TB1:-']}
roles: {}
complaints: {}
"""
    net = compile_circuit(circuit_from(text), None)
    healthy, open_line = settle(net, (), REST)[0].state, (Edit("left", "F1", "blown"),)
    assert (healthy["YB1"], healthy["M1"]) == ("released", "turning")
    (lost,) = settle(net, open_line, REST)
    assert (lost.state["YB1"], lost.state["M1"]) == ("set", "humming")
    # 1 % here: our supply and the panel are not stiff beside a locked rotor.
    assert reads(net, "TB1:1", "TB1:2", "ac volts", open_line) == pytest.approx(200, rel=0.01)
    assert reads(net, "YB1:1", "YB1:2", "dc volts", open_line) == pytest.approx(90, rel=0.01)
    # A line lost that the brake does not hang on: it lifts, and the motor that should hold the load only hums.
    (other,) = settle(net, (Edit("left", "F3", "blown"),), REST)
    assert (other.state["YB1"], other.state["M1"]) == ("released", "humming")


@pytest.mark.parametrize(
    ("form", "coil", "dc", "ac_coupled", "both"),
    [("half-wave", 103, 103.5, 125.4, 162.6), ("full-wave", 205, 207.1, 100.1, 230.0)],
)
def test_w36_three_ranges_show_three_figures_at_one_rectified_brake(form, coil, dc, ac_coupled, both):
    """Closed form: sqrt(Vrms^2 - Vdc^2) on a range that blocks DC, Vrms = V/sqrt(2) or V on AC+DC."""
    net = brake(form, coil)
    expected: dict[Mode, float] = {"dc volts": dc, "ac volts": ac_coupled, "ac+dc volts": both}
    network = settle(net, (), REST)[0].network
    for mode, volts in expected.items():
        assert reads(net, "YB1:1", "YB1:2", mode) == about(volts)
        table = bulk(net, [network], mode, [(pin("YB1:1"), pin("YB1:2"))])
        assert table.value[0, 0] == about(volts)
        assert not table.floating[0, 0]
    assert reads(net, "TB1:1", "TB1:2", "ac volts") == about(230)
    assert reads(net, "TB1:1", "TB1:2", "dc volts") == about(0)


class TestAcrossOnly:
    """A half-wave unit passes a line straight through to its coil: volts from there to elsewhere are of neither network."""

    def test_from_behind_a_rectifier_to_elsewhere_nothing_is_computed(self):
        for form, coil in (("half-wave", 103), ("full-wave", 205)):
            net = brake(form, coil)
            ((reading, _),) = read(net, (), REST, "ac volts", pin("YB1:1"), pin("G1:N"))
            assert reading.refused == BEHIND
            assert math.isnan(reading.value)
            network = settle(net, (), REST)[0].network
            assert bulk(net, [network], "dc volts", [(pin("YB1:1"), pin("G1:PE"))]).floating[0, 0]
            ((across, _),) = read(net, (), REST, "dc volts", pin("S4:13"), pin("S4:14"))
            assert not across.refused

    def test_everything_behind_the_direct_current_contact_counts_as_behind_the_rectifier(self):
        net = brake("half-wave", 103)
        ((reading, _),) = read(net, (), REST, "dc volts", pin("S4:14"), pin("TB1:-"))
        assert not reading.refused


class TestWhatBreaks:
    def test_an_open_contact_on_the_direct_side_shows_the_full_volts_across_it(self):
        """Closed form: no current, no drop; this is why a fast brake has its contact there."""
        net, opened = brake("full-wave", 205), Situation(acts=(Act("put", "S4", "open"),))
        assert reads(net, "S4:13", "S4:14", at=opened) == about(207.1)
        assert reads(net, "YB1:1", "YB1:2", at=opened) == about(0)
        assert brake_is(net, at=opened) == {"set": 1}

    def test_an_open_contact_on_the_alternating_side_leaves_the_direct_side_dead(self):
        net, opened = brake("full-wave", 205), Situation(acts=(Act("put", "S1", "off"),))
        assert reads(net, "TB1:+", "TB1:-", at=opened) == about(0)
        assert reads(net, "S1:13", "S1:14", "ac volts", at=opened) == about(230)

    def test_a_worn_gap_needs_more_volts_than_the_rectifier_gives(self):
        """Common practice: a worn gap raises the release volts; here to 1.6 times 0.75 of rated."""
        net, worn = brake("half-wave", 103), Edit("threshold", "YB1", 1.6)
        assert brake_is(net) == {"released": 1}
        assert brake_is(net, worn) == {"set": 1}
        assert reads(net, "YB1:1", "YB1:2", edits=(worn,)) == about(103.5)

    @pytest.mark.parametrize(("form", "coil"), [("half-wave", 103), ("full-wave", 205)])
    def test_a_shorted_diode_and_an_earth_fault_behind_it_take_the_fuse(self, form, coil):
        """A shorted diode is a short on every other half wave; diodes carry an earth fault back to the lines. Practice."""
        net = brake(form, coil)
        shorted = (Edit("siemens", "TB1 input", 4.0), Edit("stuck", "TB1", "off"))
        assert "blown" in (settle(net, shorted, REST)[0].state[f] for f in ("F1", "F2"))
        (earthed,) = settle(net, (Edit("earth", "YB1:1", 20.0),), REST)
        assert "blown" in (earthed.state[f] for f in ("F1", "F2"))

    def test_a_half_wave_unit_without_its_freewheel_diode_gives_much_less_than_0_45(self):
        """Common practice, no published source."""
        net, broken = brake("half-wave", 103), (Edit("stuck", "TB1 diodes", "freewheel open"),)
        assert reads(net, "YB1:1", "YB1:2", edits=broken) < 0.3 * 103.5
        assert brake_is(net, *broken) == {"set": 1}

    def test_an_ohmmeter_sees_the_coil_alone_through_blocking_diodes(self):
        """Closed form: R = U^2 / P = 205^2 / 40 = 1051 ohm; dead diodes block an ohmmeter either way (practice)."""
        net, dead = brake("full-wave", 205), Situation(acts=(Act("lose power"),))
        assert reads(net, "YB1:1", "YB1:2", "ohms", at=dead) == pytest.approx(1050.6, rel=2e-3)
        off = (Edit("siemens", "YB1 coil", 0.0),)
        assert reads(net, "TB1:+", "TB1:-", "ohms", off, dead) > 1e6


def test_what_the_coil_takes_on_the_direct_side_comes_from_the_alternating_side():
    """Conservation of power: mean DC volts times DC amperes = AC volts times in-phase amperes."""
    net = brake("full-wave", 205)
    dc_amps = 207.1 / (205**2 / 40)
    amps = reads(net, "F1:2", "S1:13", "amps")
    assert amps == pytest.approx(207.1 * dc_amps / 230, rel=0.005)


def test_a_bad_joint_on_the_alternating_side_sags_under_the_load_of_the_coil():
    """Closed form: the coil's 1051 ohm look like 1051 / 0.9003^2 = 1296 ohm to the AC side; 150 ohm before them."""
    net, joint = brake("full-wave", 205), (Edit("siemens", "2:S1:14>TB1:1", 1 / 150),)
    share = 1296.2 / 1446.2
    assert reads(net, "TB1:1", "TB1:2", "ac volts", joint) == about(230 * share)
    assert reads(net, "YB1:1", "YB1:2", "dc volts", joint) == about(207.1 * share)
