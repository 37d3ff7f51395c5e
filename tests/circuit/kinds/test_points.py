"""Inputs and outputs of a controller in groups with commons of their own. Figures by hand, in the comments."""

from __future__ import annotations

import math

import pytest
from against.small import about, end, ends, machine_of, net_of, opened, reads

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Pin, Situation
from troubleshoot.faults.suspects import suspects_of
from troubleshoot.machine import Machine, describe
from troubleshoot.solve.meter import read
from troubleshoot.solve.settle import settle

HEAD = """
machine: points
devices:
  G1: {kind: supply, volts: 208Y/120%s}
  PS1: {kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}
"""
FEED = """
  - {number: L, run: ['G1:L1', 'PS1:L'%s]}
  - {number: N, run: ['G1:N', 'PS1:N'%s]}
"""
TAIL = """
roles: {}
complaints: {}
"""


def inputs(what: str, *, first: str = "+", second: str = "", common: str = "-") -> str:
    """Two inputs of one group, the first on one side of the supply, the second on a lamp of 1200 ohm to 0 V, or not."""
    ends = {"+": "'PS1:+'", "-": "'PS1:-'"}
    return f"""{HEAD % ""}
  A1: {{kind: plc, groups: {{1M: {{what: {what}, points: {{DI0: '%IX0.0 first', DI1: '%IX0.1 second'}}}}}}}}
  H1: {{kind: lamp, lamp: 24 V DC}}
  X1: {{kind: terminals, pins: [P, M]}}
wires:{FEED % ("", "")}
  - {{number: '24', run: [{ends["+"]}, 'X1:P', 'A1:L+'{", 'A1:DI0'" if first == "+" else ""}{", 'A1:1M'" if common == "+" else ""}]}}
  - {{number: 0V, run: [{ends["-"]}, 'X1:M', 'A1:M', 'H1:X2'{", 'A1:DI0'" if first == "-" else ""}{", 'A1:1M'" if common == "-" else ""}]}}
  - {{number: '31', run: ['H1:X1', 'A1:DI1']}}
{TAIL}"""


class TestInputs:
    @pytest.mark.parametrize(
        ("what", "wired", "common", "reads_on"),
        [
            ("sinking inputs", "+", "-", True), ("sourcing inputs", "-", "+", True), ("DC inputs", "+", "-", True),
            ("DC inputs", "-", "+", True), ("sinking inputs", "-", "+", False), ("sourcing inputs", "+", "-", False),
        ],
    )  # fmt: skip
    def test_a_sinking_input_takes_current_in_and_a_sourcing_one_gives_it(self, what, wired, common, reads_on):
        """IEC 61131-2 (from memory): current-sinking, current-sourcing; cards that take either are common."""
        state = end(net_of(inputs(what, first=wired, common=common)))
        assert state["A1 %IX0.0"] == ("on" if reads_on else "off")

    def test_an_open_common_takes_every_input_of_its_group_and_no_other(self):
        """One common a group: common practice, and the first thing to look at when several inputs die at once."""
        machine = machine_of(f"""{HEAD % ""}
  A1:
    kind: plc
    groups:
      1M: {{what: sinking inputs, points: {{DI0: '%IX0.0 a', DI1: '%IX0.1 b'}}}}
      2M: {{what: sinking inputs, points: {{DI2: '%IX0.2 c'}}}}
wires:{FEED % ("", "")}
  - {{number: '24', run: ['PS1:+', 'A1:L+', 'A1:DI0', 'A1:DI1', 'A1:DI2']}}
  - {{number: 0V, run: ['PS1:-', 'A1:M', 'A1:1M']}}
  - {{number: 0V, run: ['PS1:-', 'A1:2M']}}
{TAIL}""")
        bits = ("A1 %IX0.0", "A1 %IX0.1", "A1 %IX0.2")
        healthy, broken = end(machine.net), end(machine.net, (opened("0V:A1:M>A1:1M"),))
        assert [healthy[bit] for bit in bits] == ["on", "on", "on"]
        assert [broken[bit] for bit in bits] == ["off", "off", "on"]
        # Both ends of a lost input stand at 24 V: nothing across it, full volts from the common to 0 V.
        assert reads(machine.net, (opened("0V:A1:M>A1:1M"),), "A1:1M", "A1:M", "dc volts") == about(24)

    def test_over_an_open_common_an_input_that_is_on_feeds_back_through_its_neighbour(self):
        """Closed form: 24 V over 3300 + 3300 + 1200 ohm is 3.08 mA, so 10.15 V across each input and 3.7 V at the lamp."""
        broken = (opened("0V:H1:X2>A1:1M"),)
        either = net_of(inputs("DC inputs"))
        for bit in ("A1 %IX0.0", "A1 %IX0.1"):
            assert {state[bit] for state in ends(either, broken)} == {"on", "off"}, "10 V is neither on nor off"
        pairs = {("DI0", "1M"): 10.15, ("1M", "DI1"): 10.15}
        for (a, b), volts in pairs.items():
            found = read(either, broken, Situation(), "dc volts", Pin("A1", a), Pin("A1", b))
            assert all(reading.value == about(volts) for reading, _ in found)
        # One that takes current in only is not turned on by what comes out of it.
        assert {state["A1 %IX0.1"] for state in ends(net_of(inputs("sinking inputs")), broken)} == {"off"}

    def test_a_120_v_input_is_on_at_120_v_and_draws_10_ma(self):
        """12 kilohm, common practice."""
        net = net_of(f"""{HEAD % ""}
  A1: {{kind: plc, groups: {{1N: {{what: 120 V AC inputs, points: {{'%IX0.0': a}}}}}}}}
wires:{FEED % (", 'A1:%IX0.0'", ", 'A1:1N'")}{TAIL}""")
        assert end(net)["A1 %IX0.0"] == "on"
        assert reads(net, (), "PS1:L", "A1:%IX0.0", "amps") == pytest.approx(0.010, rel=0.01)


def output(what: str, load: str, on: str = "FALSE", hz: str = "") -> Machine:
    """One AC output with a load to neutral."""
    return machine_of(f"""{HEAD % hz}
  A1: {{kind: plc, groups: {{1L: {{what: {what}, points: {{Y0: '%QX0.0 valve'}}}}}}}}
  {load}
wires:{FEED % (", 'A1:1L'", "")}
  - {{number: '24', run: ['PS1:+', 'A1:L+']}}
  - {{number: 0V, run: ['PS1:-', 'A1:M']}}
  - {{number: '40', run: ['A1:Y0', 'R1:1']}}
  - {{number: N, run: ['PS1:N', 'R1:2']}}
program: {{lang: ST, text: "VAR y AT %QX0.0 : BOOL; END_VAR y := {on};"}}
{TAIL}""")


class TestOutputs:
    def test_a_relay_contact_that_is_off_passes_nothing(self):
        machine = output("relay outputs", "R1: {kind: load, ohms: 2 kohm}")
        assert reads(machine.net, (opened("40:A1:Y0>R1:1"),), "A1:Y0", "G1:N") == about(0)
        assert reads(
            output("relay outputs", "R1: {kind: load, ohms: 2 kohm}", "TRUE").net, (), "R1:1", "R1:2"
        ) == about(120)

    def test_a_triac_that_is_off_reads_full_volts_until_a_load_is_on_it(self):
        """Closed form: 120 V behind 100 ohm and 33 nF; 1/(2 pi 60 33e-9) = 80.4 kilohm, at 50 Hz 96.5 kilohm."""
        for hz, farad_ohms in (("", 80.4e3), (", frequency: 50 Hz", 96.5e3)):
            net = output("triac outputs", "R1: {kind: load, ohms: 2 kohm}", hz=hz).net
            loaded = 120 * 2000 / math.hypot(2100, farad_ohms)
            assert reads(net, (), "R1:1", "R1:2") == about(loaded)
            assert reads(net, (opened("40:A1:Y0>R1:1"),), "A1:Y0", "G1:N") == about(120)

    def test_a_triac_passes_all_but_a_volt_or_so_while_on(self):
        """2.4 ohm in series with 240: 118.8 V."""
        net = output("triac outputs", "R1: {kind: load, ohms: 240 ohm}", "TRUE").net
        assert reads(net, (), "R1:1", "R1:2") == about(120 * 240 / 242.4)

    def test_a_load_that_takes_less_than_its_holding_current_never_comes_to_rest(self):
        """1.2 mA; data pages guarantee holding from 10 to 50 mA. A bleeder beside the load is what the trade fits."""
        small = output("triac outputs", "R1: {kind: load, ohms: 100 kohm}", "TRUE").net
        assert not any(o.settled for o in settle(small, (), Situation()))
        enough = output("triac outputs", "R1: {kind: load, ohms: 6 kohm}", "TRUE").net
        assert end(enough)["A1 %QX0.0 triac"] == "firing"

    def test_a_stopped_controller_drops_every_output(self):
        """IEC 61131-2 (from memory): what outputs do on stop must be stated; to 0 by default."""
        machine = output("relay outputs", "R1: {kind: load, ohms: 2 kohm}", "TRUE")
        (stopped,) = (s.edits for s in machine.suspects if s.id == "A1 stopped")
        assert reads(machine.net, stopped, "R1:1", "R1:2") == about(0)

    @pytest.mark.parametrize("what", ["sourcing outputs", "sinking outputs"])
    def test_a_transistor_gives_plus_or_takes_to_0_v(self, what):
        side, other = ("PS1:+", "PS1:-") if what == "sourcing outputs" else ("PS1:-", "PS1:+")
        machine = machine_of(f"""{HEAD % ""}
  A1: {{kind: plc, groups: {{1C: {{what: {what}, points: {{Y0: '%QX0.0 lamp'}}}}}}}}
  H1: {{kind: lamp, lamp: 24 V DC}}
  X1: {{kind: bar, pins: ['1', '2', '3', '4']}}
  X2: {{kind: bar, pins: ['1', '2', '3', '4']}}
wires:{FEED % ("", "")}
  - {{number: a, run: ['{side}', 'X1:1']}}
  - {{number: a, run: ['X1:2', 'A1:1C']}}
  - {{number: b, run: ['{other}', 'X2:1']}}
  - {{number: b, run: ['X2:2', 'H1:X2']}}
  - {{number: c, run: ['A1:Y0', 'H1:X1']}}
  - {{number: p, run: ['X{1 if side == "PS1:+" else 2}:3', 'A1:L+']}}
  - {{number: m, run: ['X{2 if side == "PS1:+" else 1}:3', 'A1:M']}}
program: {{lang: ST, text: "VAR y AT %QX0.0 : BOOL; END_VAR y := TRUE;"}}
{TAIL}""")
        assert end(machine.net)["H1"] == "on"
        assert end(machine.net, next(s.edits for s in machine.suspects if s.id == "A1 %QX0.0 dead"))["H1"] == "off"


class TestWriting:
    ONE = """machine: m
devices:
  A1:
    kind: plc
    %s
wires: [{number: '1', run: ['A1:L+', 'A1:M']}]
roles: {}
complaints: {}
"""

    @pytest.mark.parametrize(
        ("written", "said"),
        [
            ("groups: {1M: {what: sinkin inputs, points: {'%IX0.0': a}}}", "nearest: sinking inputs"),
            ("groups: {1M: {points: {'%IX0.0': a}}}", "group '1M' must have 'what'"),
            ("groups: {1M: {what: sinking inputs}}", "group '1M' must have 'points'"),
            ("groups: {1M: {what: sinking inputs, point: {'%IX0.0': a}}}", "nearest: points"),
            ("groups: {1M: {what: sinking inputs, points: {DI0: start}}}", "'DI0' is not a direct address"),
            ("groups: {1M: {what: sinking inputs, points: {'%QX0.0': a}}}", "%QX0.0 cannot be among sinking inputs"),
            ("groups: {1L: {what: relay outputs, points: {'%IX0.0': a}}}", "%IX0.0 cannot be among relay outputs"),
            ("groups: {1M: {what: DC inputs, points: {a: '%IX0.0', b: '%IX0.0'}}}", "'%IX0.0' is there already, on line 5"),
            ("groups: {1M: {what: DC inputs, points: {1M: '%IX0.0'}}}", "'1M' is there already"),
            ("groups: {M: {what: DC inputs, points: {a: '%IX0.0'}}}", "'M' is there twice"),
            ("inputs: {'%IX0.0': a}\n    groups: {1M: {what: DC inputs, points: {a: '%IX0.0'}}}", "'%IX0.0' is there twice"),
            ("groups: [1M]", "'groups' must be a map of common terminals"),
            ("groups: {1M: sinking}", "group '1M' is written like"),
        ],
    )  # fmt: skip
    def test_a_slip_is_told_in_words_and_with_what_was_meant(self, written, said):
        problems = load_circuit(self.ONE % written, "m.yaml")
        assert any(said in str(problem) for problem in problems), problems  # type: ignore[union-attr]

    def test_points_keep_the_marks_of_the_module_and_the_program_its_addresses(self):
        found = describe(self.ONE % "groups: {1M: {what: DC inputs, points: {X3: '%IX0.3 gate'}}}", "m.yaml")
        assert isinstance(found, Machine)
        assert "A1:X3" in found.net.nodes
        assert found.net.signs["A1 %IX0.3"].words == "input gate"
        assert {s.group for s in found.suspects if s.id == "A1 %IX0.3 dead"} == {"A1 input X3 (%IX0.3)"}


def test_a_controller_without_groups_is_what_it_was():
    """Circuit files, and the logs tied to their suspects, stand for years."""
    found = describe(TestWriting.ONE % "inputs: {'%IX0.0': a}\n    outputs: {'%QX0.0': b}", "m.yaml")
    assert isinstance(found, Machine)
    assert found.net.nodes == ("A1:L+", "A1:M", "A1:COM", "A1:Q+", "A1:%IX0.0", "A1:%QX0.0")
    assert [s.id for s in suspects_of(found.circuit) if s.id.startswith("A1")] == [
        "A1 stopped", "A1 module dead", "A1 %IX0.0 dead", "A1 %IX0.0 stuck on", "A1 %QX0.0 dead", "A1 %QX0.0 stuck on",
    ]  # fmt: skip
    assert [law.shares for law in found.net.laws] == ["", "A1 inputs"]
