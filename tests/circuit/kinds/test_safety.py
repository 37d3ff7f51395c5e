"""The two-channel safety relay, on press 3: two emergency stop blocks a channel, reset with the contactors' mirror contacts.

Behaviour: stop category 0 of IEC 60204-1, manual reset and cross-fault detection of ISO 13849-1 (from memory).
"""

from __future__ import annotations

import pytest
from against import press3
from against.small import end, machine_of, opened, reads

from troubleshoot.circuit.model import Act
from troubleshoot.solve.compiled import compile_circuit
from troubleshoot.solve.edits import Edit

RESET = (Act("press", "S4"), Act("release", "S4"))
STARTED = (*RESET, Act("press", "S1"), Act("release", "S1"))
IN, OUT = Act("press", "ES1"), Act("release", "ES1")


def after(*acts: Act, but: str = "", also: tuple[Edit, ...] = (), net=None) -> dict[str, str]:
    edits = press3.suspects()[but].edits if but else ()
    return end(net or press3.net(), (*edits, *also), *acts)


def runs(state: dict[str, str]) -> bool:
    return state["M1"] == "turning"


def seen(state: dict[str, str], name: str) -> str:
    sign = press3.net().signs[f"KS1 {name}"]
    return sign.shows[state[sign.var]]


class TestHealthy:
    def test_nothing_closes_before_the_reset_has_been_pressed_and_let_go(self):
        assert after()["KS1 outputs"] == "ready"
        assert after(RESET[0])["KS1 outputs"] == "pressed"
        assert after(*RESET)["KS1 outputs"] == "closed"

    def test_it_opens_with_the_head_and_with_the_cord_and_letting_go_starts_nothing(self):
        """IEC 60204-1 and ISO 13850 (from memory): resetting an emergency stop must not restart."""
        assert runs(after(*STARTED))
        for stop, free in ((IN, OUT), (Act("pull", "B9"), Act("reset", "B9"))):
            assert not runs(after(*STARTED, stop))
            assert not runs(after(*STARTED, stop, free))

    def test_after_a_power_loss_it_waits_for_its_reset(self):
        state = after(*STARTED, Act("lose power"), Act("restore power"))
        assert (state["KS1 outputs"], runs(state)) == ("ready", False)

    def test_its_lights_say_which_channel_is_closed_and_whether_the_outputs_are(self):
        assert [seen(after(), light) for light in ("POWER", "CH1", "CH2", "OUT")] == ["on", "on", "on", "off"]
        assert [seen(after(*RESET), light) for light in ("CH1", "CH2", "OUT")] == ["on", "on", "on"]
        assert [seen(after(*RESET, IN), light) for light in ("POWER", "CH1", "CH2", "OUT")] == [
            "on",
            "off",
            "off",
            "off",
        ]


class TestOneChannel:
    @pytest.mark.parametrize("welded", ["ES1 11-12 welded", "ES1 21-22 welded"])
    def test_with_one_block_welded_it_still_stops_but_does_not_come_back(self, welded):
        """The single fault neither takes the stop away nor stays hidden: category 3 and 4 of ISO 13849-1 (from memory)."""
        assert runs(after(*STARTED, but=welded))
        assert not runs(after(*STARTED, IN, but=welded))
        again = after(*STARTED, IN, OUT, *RESET, but=welded)
        assert (again["KS1 outputs"], runs(again)) == ("one channel", False)

    def test_once_both_channels_have_been_open_it_can_be_reset_again(self):
        """The other channel is opened by hand here: the cord opens both."""
        both = (*STARTED, IN, OUT, Act("pull", "B9"), Act("reset", "B9"), *RESET)
        assert after(*both, but="ES1 11-12 welded")["KS1 outputs"] == "closed"

    @pytest.mark.parametrize("suspect", ["KS1 channel 1 dead", "KS1 channel 2 dead", "ES1 11-12 open", "B9 21-22 open"])
    def test_with_one_channel_open_it_never_closes(self, suspect):
        assert after(*RESET, but=suspect)["KS1 outputs"] == "open"

    def test_a_channel_that_is_lost_while_running_stops_the_machine(self):
        state = after(*STARTED, also=(opened("51:ES1:12>B9:11"),))
        assert not runs(state)


class TestReset:
    def test_a_reset_button_that_sticks_never_closes_anything(self):
        assert after(*STARTED, but="S4 sticks")["KS1 outputs"] == "open"

    @pytest.mark.parametrize("welded", ["KM1 1-2 welded", "KM2 stuck in", "KM1 3-4 and 5-6 welded"])
    def test_a_contactor_that_stays_in_keeps_the_feedback_loop_open(self, welded):
        """Mirror contacts, IEC 60947-4-1 Annex F (from memory): no break contact closes while a pole is welded."""
        assert after(*RESET, but=welded)["KS1 outputs"] == "ready"
        assert reads(press3.net(), press3.suspects()[welded].edits, "KS1:S34", "KS1:A2", "dc volts", RESET[:1]) < 1

    def test_an_automatic_one_closes_by_itself(self):
        text = press3.FILE.read_text().replace("supply: 24 V DC}", "supply: 24 V DC, reset: automatic}", 1)
        text = text.replace("['S4:14', 'KM1:21']", "['S4:14', 'KM1:21', 'S4:13']").replace(
            "  - {number: '56', run: ['KS1:S33', 'S4:13']}\n", "").replace("['S4:14', 'KM1:21', 'S4:13']", "['KS1:S33', 'KM1:21']")  # fmt: skip
        net = compile_circuit(press3.circuit_from(text), press3.PressProgram())
        assert after(net=net)["KS1 outputs"] == "closed"
        assert after(IN, OUT, net=net)["KS1 outputs"] == "closed", "why it is not for a place that people can enter"


def crossed(sees: str) -> str:
    """Press 3 with a bar that joins a wire of channel 1 to one of channel 2."""
    text = press3.FILE.read_text().replace("['ES1:12', 'B9:11']", "['ES1:12', 'B9:11', 'X9:1']")
    text = text.replace("['ES1:22', 'B9:21']", "['ES1:22', 'B9:21', 'X9:2']")
    text = text.replace("supply: 24 V DC}", f"supply: 24 V DC, cross fault: {sees}}}", 1)
    return text.replace(
        "  PE1: {kind", "  X9: {kind: bar, at: panel, words: pinched cable, pins: ['1', '2']}\n  PE1: {kind"
    )


class TestShorts:
    def test_a_short_between_the_channels_drops_it_without_taking_the_panel_fuse(self):
        net = compile_circuit(press3.circuit_from(crossed("seen")), press3.PressProgram())
        apart = (opened("X9 1"),)
        assert after(*RESET, also=apart, net=net)["KS1 outputs"] == "closed"
        state = after(*RESET, net=net)
        assert (state["KS1 rail"], state["KS1 outputs"], state["F2"]) == ("shut", "open", "whole")

    def test_without_cross_fault_detection_the_same_short_is_not_noticed(self):
        net = compile_circuit(press3.circuit_from(crossed("not seen")), press3.PressProgram())
        assert after(*RESET, net=net)["KS1 outputs"] == "closed"
        assert after(*RESET, IN, net=net)["KS1 outputs"] == "open", "as long as the heads open both"

    def test_an_earth_fault_on_a_channel_drops_it(self):
        """The 0 V of the panel is earthed, as IEC 60204-1 9.4.3 wants it (from memory)."""
        state = after(*RESET, but="51:ES1:12>B9:11 to earth")
        assert (state["KS1 rail"], state["KS1 outputs"]) == ("shut", "open")


def test_fed_with_alternating_current_it_makes_its_own_24_v_and_limits_it():
    text = """
machine: ac
devices:
  G1: {kind: supply, volts: 208Y/120}
  KS1: {kind: safety relay, supply: 120 V AC}
  S4: {kind: push button, blocks: {'13-14': no}}
  X9: {kind: bar, pins: ['1', '2']}
wires:
  - {number: L, run: ['G1:L1', 'KS1:A1']}
  - {number: N, run: ['G1:N', 'KS1:A2']}
  - {number: '1', run: ['KS1:S11', 'KS1:S12', 'X9:1']}
  - {number: '2', run: ['KS1:S21', 'KS1:S22', 'X9:2']}
  - {number: '3', run: ['KS1:S33', 'S4:13']}
  - {number: '4', run: ['S4:14', 'KS1:S34']}
roles: {}
complaints: {}
"""
    net, apart = machine_of(text).net, (opened("X9 1"),)
    assert end(net, apart, *RESET)["KS1 outputs"] == "closed"
    assert reads(net, apart, "KS1:S11", "KS1:S21", "dc volts") == pytest.approx(24, rel=0.01)
    state = end(net, (), *RESET)
    assert (state["KS1"], state["KS1 outputs"]) == ("limiting", "open")


def test_a_safety_contact_that_does_not_close_and_one_that_does_not_open():
    assert after(*STARTED, but="KS1 13-14 open")["KM1"] == "out"
    state = after(*STARTED, IN, but="KS1 13-14 welded")
    assert (state["KM1"], state["KM2"], runs(state)) == ("in", "out", False), (
        "two contactors in series are there for this"
    )
