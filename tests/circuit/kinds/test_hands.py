"""Pull cords and horns."""

from __future__ import annotations

from against import press3
from against.small import end, fault, machine_of

from troubleshoot.circuit.model import Act

PULL, RESET = Act("pull", "B9"), Act("reset", "B9")


def test_a_cord_stays_pulled_until_somebody_resets_it_at_the_switch():
    """ISO 13850 (from memory): the device latches; disengaging it is a deliberate act at the device."""
    net = press3.net()
    assert end(net, (), PULL)["B9"] == "pulled"
    assert end(net, (), PULL)["KS1 channel 1"] == end(net, (), PULL)["KS1 channel 2"] == "off"
    assert end(net, (), PULL, RESET)["KS1 channel 1"] == "on"


def test_a_slack_cord_stops_the_machine_and_a_jammed_one_does_not_stop_it():
    net, started = press3.net(), (Act("press", "S4"), Act("release", "S4"), Act("press", "S1"), Act("release", "S1"))
    assert end(net, press3.suspects()["B9 cord slack"].edits, *started)["M1"] == "still"
    assert end(net, press3.suspects()["B9 cord jammed"].edits, *started, PULL)["M1"] == "turning"


def test_a_cord_that_is_found_pulled_can_be_reset():
    edits = press3.suspects()["B9 left pulled"].edits
    assert end(press3.net(), edits)["KS1 channel 1"] == "off"
    assert end(press3.net(), edits, RESET)["KS1 channel 1"] == "on"


def test_its_spare_block_moves_with_the_rest_and_hangs_on_nothing():
    spare = press3.net().element_index["B9 33-34"]
    (free, pulled) = (end(press3.net()), end(press3.net(), (), PULL))
    assert free["B9"] != pulled["B9"]
    element = press3.net().elements[spare]
    touching = [e.slot for e in press3.net().elements if {e.a, e.b} & {element.a, element.b}]
    assert touching == ["B9 33-34"]


def test_a_horn_is_heard_at_its_volts_and_silent_at_a_third_of_them():
    """Closed form: 480 ohm (24 V, 50 mA) behind 960 ohm gets 8 V."""
    text = """
machine: horn
devices:
  G1: {kind: supply, volts: 208Y/120}
  PS1: {kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}
  P9: {kind: horn, horn: 24 V DC}
  R1: {kind: load, ohms: 960 ohm}
wires:
  - {number: L, run: ['G1:L1', 'PS1:L']}
  - {number: N, run: ['G1:N', 'PS1:N']}
  - {number: '24', run: ['PS1:+', %s]}
  - {number: '2', run: ['R1:2', %s]}
  - {number: 0V, run: ['PS1:-', 'P9:X2']}
roles: {}
complaints: {}
"""
    loud, quiet = (
        machine_of(text.replace("  - {number: '2', run: ['R1:2', %s]}\n", "") % "'P9:X1'"),
        machine_of(text % ("'R1:1'", "'P9:X1'")),
    )
    assert end(loud.net)["P9"] == "on"
    assert end(quiet.net)["P9"] == "off"
    assert loud.net.signs["P9"].shows == {"on": "sounds", "off": "silent"}
    assert end(loud.net, fault(loud, "P9 open"))["P9"] == "off", "its volts are there"
