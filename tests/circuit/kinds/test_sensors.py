"""Proximity sensors as an electrician meets them at an input or a coil. Figures by hand, in the comments."""

from __future__ import annotations

import pytest
from against.small import about, end, ends, net_of, opened, reads

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import settle

HEAD = """
machine: sensor
devices:
  G1: {kind: supply, volts: 208Y/120}
  PS1: {kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}
"""
FEED = """
  - {number: L, run: ['G1:L1', 'PS1:L']}
  - {number: N, run: ['G1:N', 'PS1:N']}
"""
TAIL = """
roles: {}
complaints: {}
"""
INPUT = "  A1: {kind: plc, groups: {1M: {what: %s, points: {'%%IX0.0': sensor}}}}\n"


def two_wire(load: str, sensor: str = "") -> str:
    return f"""{HEAD}
  B1: {{kind: two-wire sensor, supply: 24 V DC{sensor}}}
  R1: {{kind: load, ohms: {load}}}
wires:{FEED}
  - {{number: '24', run: ['PS1:+', 'B1:1']}}
  - {{number: '30', run: ['B1:4', 'R1:1']}}
  - {{number: 0V, run: ['PS1:-', 'R1:2']}}
{TAIL}"""


TARGET = {"B1": "target"}


class TestTwoWires:
    def test_it_leaks_while_off_and_keeps_a_few_volts_while_on(self):
        """IEC 60947-5-2 (from memory): at most 1.5 mA and 8 V, DC. Closed form: 24 * 3300 / (3300 + R)."""
        net = net_of(two_wire("3300 ohm"))
        off, on = reads(net, (), "R1:1", "R1:2", "dc volts"), reads(net, (), "R1:1", "R1:2", "dc volts", hold=TARGET)
        assert 0.0005 < off / 3300 < 0.0015
        assert 24 - on < 8
        assert on > 15, "a type 1 input must see it"

    def test_a_load_that_takes_too_little_makes_it_come_and_go(self):
        """It lives on the current of its load: under some 3 mA it lets go, and takes the volts as a reason to try again."""
        for ohms, comes_to_rest in (("20 kohm", False), ("3300 ohm", True)):
            at = Situation(hold=frozenset(TARGET.items()))
            assert all(o.settled is comes_to_rest for o in settle(net_of(two_wire(ohms)), (), at))

    def test_its_light_is_dark_without_a_load(self):
        net = net_of(two_wire("3300 ohm"))
        assert end(net, (opened("R1 load"),), hold=TARGET)["B1 power"] == "off"
        assert end(net, (), hold=TARGET)["B1 power"] == "on"

    def test_broken_or_shorted_it_reads_as_a_contact_would(self):
        net = net_of(two_wire("3300 ohm"))
        assert reads(net, (opened("B1 signal"),), "R1:1", "R1:2", "dc volts", hold=TARGET) == about(0)
        assert reads(net, (Edit("siemens", "B1 signal", 1.0),), "R1:1", "R1:2", "dc volts") == about(24)

    def test_on_alternating_current_it_leaks_into_an_input_nearly_enough_to_be_undefined(self):
        """Closed form: 1.7 mA into 12 kilohm is 20.4 V; a 120 V AC input is off for sure only under 20 V (IEC 61131-2)."""
        text = f"""{HEAD}
  B1: {{kind: two-wire sensor, supply: 120 V AC, pins: [BN, BU]}}
  A1: {{kind: plc, groups: {{1N: {{what: 120 V AC inputs, points: {{'%IX0.0': sensor}}}}}}}}
wires:{FEED}
  - {{number: '10', run: ['G1:L2', 'B1:BN']}}
  - {{number: '30', run: ['B1:BU', 'A1:%IX0.0']}}
  - {{number: N, run: ['PS1:N', 'A1:1N']}}
{TAIL}"""
        net = net_of(text)
        assert reads(net, (), "A1:%IX0.0", "A1:1N", "low-impedance volts") < 20
        assert {s["A1 %IX0.0"] for s in ends(net)} == {"off", "on"}
        assert end(net, (), hold=TARGET)["A1 %IX0.0"] == "on"


def three_wire(output: str, group: str, common: str, *, plus: str = "1", minus: str = "3", more: str = "") -> str:
    return f"""{HEAD}
  F1: {{kind: fuse, amps: 2 A}}
  B1: {{kind: three-wire sensor, output: {output}{more}}}
{INPUT % group}
wires:{FEED}
  - {{number: '24', run: ['PS1:+', 'F1:1']}}
  - {{number: '25', run: ['F1:2', 'B1:{plus}', 'A1:L+'{", 'A1:1M'" if common == "+" else ""}]}}
  - {{number: '30', run: ['B1:4', 'A1:%IX0.0']}}
  - {{number: 0V, run: ['PS1:-', 'B1:{minus}', 'A1:M'{", 'A1:1M'" if common == "-" else ""}]}}
{TAIL}"""


class TestThreeWires:
    @pytest.mark.parametrize(
        ("output", "group", "common"), [("PNP", "sinking inputs", "-"), ("NPN", "sourcing inputs", "+")]
    )
    def test_pnp_goes_with_sinking_inputs_and_npn_with_sourcing_ones(self, output, group, common):
        """Common practice; the pairing is in every data page of an input card."""
        net = net_of(three_wire(output, group, common))
        assert end(net)["A1 %IX0.0"] == "off"
        assert end(net, (), hold=TARGET)["A1 %IX0.0"] == "on"

    @pytest.mark.parametrize(
        ("output", "group", "common"), [("NPN", "sinking inputs", "-"), ("PNP", "sourcing inputs", "+")]
    )
    def test_the_wrong_one_of_the_two_never_reads_on(self, output, group, common):
        """What happens when a spare of the other sort was fitted; its own light works."""
        net = net_of(three_wire(output, group, common))
        state = end(net, (), hold=TARGET)
        assert (state["A1 %IX0.0"], state["B1 power"]) == ("off", "on")

    def test_pnp_gives_plus_and_npn_pulls_to_0_v(self):
        """Closed form: 7.5 ohm * 7 mA = 0.05 V; off, 480 kilohm against the input's 3.3 kilohm leave 23.8 V."""
        pnp, npn = net_of(three_wire("PNP", "sinking inputs", "-")), net_of(three_wire("NPN", "sourcing inputs", "+"))
        assert reads(pnp, (), "B1:4", "B1:3", "dc volts", hold=TARGET) == about(23.95)
        assert reads(npn, (), "B1:4", "B1:3", "dc volts", hold=TARGET) == about(0.05)
        assert reads(npn, (), "B1:4", "B1:3", "dc volts") == about(23.84), "held up by the input"

    def test_normally_closed_is_the_other_way_round(self):
        net = net_of(three_wire("PNP", "sinking inputs", "-", more=", contact: nc"))
        assert end(net)["A1 %IX0.0"] == "on"
        assert end(net, (), hold=TARGET)["A1 %IX0.0"] == "off"

    def test_with_plus_and_0_v_exchanged_or_one_of_them_open_it_is_dead(self):
        text = three_wire("PNP", "sinking inputs", "-", plus="3", minus="1")
        assert end(net_of(text), (), hold=TARGET)["B1 power"] == "off"
        net = net_of(three_wire("PNP", "sinking inputs", "-"))
        assert end(net, (opened("25:F1:2>B1:1"),), hold=TARGET)["B1 power"] == "off"

    def test_a_shorted_output_shuts_off_before_any_fuse_and_comes_back_with_the_power(self):
        net = net_of(three_wire("PNP", "sinking inputs", "-"))
        short = (Edit("earth", "B1:4", 20.0), Edit("earth", "PS1:-", 20.0))
        state = end(net, short, hold=TARGET)
        assert (state["B1 stage"], state["F1"], state["PS1"]) == ("shut", "whole", "on")
        again = end(net, short, Act("lose power"), hold=TARGET)
        assert again["B1 stage"] == "ok"


@pytest.mark.parametrize(
    ("sensor", "said"),
    [
        ("kind: two-wire sensor, supply: 24 V DC, pins: ['1']", "'pins' must name its 2 terminals, not 1"),
        ("kind: three-wire sensor, output: PNP, pins: ['1', '2']", "'pins' must name its 3 terminals, not 2"),
        ("kind: three-wire sensor, output: PNP, positions: [part]", "'positions' must be at least two"),
        ("kind: three-wire sensor, output: PMP", "nearest: PNP"),
        ("kind: three wire sensor, output: PNP", "nearest: three-wire sensor"),
    ],
)  # fmt: skip
def test_a_slip_is_told_in_words(sensor, said):
    text = f"machine: m\ndevices:\n  B1: {{{sensor}}}\nwires: [{{number: '1', run: ['B1:1', 'B1:4']}}]\n{TAIL}"
    assert any(said in str(problem) for problem in load_circuit(text, "m.yaml"))
