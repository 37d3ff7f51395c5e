"""A circuit that reads well and cannot work is warned of, each fault of its description by what the solver finds there."""

from __future__ import annotations

import re

import pytest

from troubleshoot.machine import Machine, describe
from troubleshoot.machine.doubts import doubts, place_of

BLOWER = """\
machine: blower
devices:
  PE: {kind: bar, pins: ['1', '2', '3']}
  G1: {kind: supply, volts: 400Y/230, frequency: 50 Hz}
  Q1: {kind: disconnect}
  F2: {kind: breaker, amps: 4 A}
  PS1: {kind: dc supply, in: 230 V, out: 24 V, limit: 5 A}
  S2: {kind: push button, words: stop button, blocks: {'11-12': nc}}
  S1: {kind: push button, words: start button, blocks: {'13-14': no}}
  KM1: {kind: contactor, coil: 24 V DC, coil watts: 5 W, blocks: {'13-14': no, '23-24': no}}
  H1: {kind: lamp, lamp: 24 V DC}
  M1: {kind: motor, power: 4 kW, volts: 400 V, amps: 8.3 A}
wires:
  - {number: L1, run: ['G1:L1', 'Q1:1']}
  - {number: L2, run: ['G1:L2', 'Q1:3']}
  - {number: L3, run: ['G1:L3', 'Q1:5']}
  - {number: 1L1, run: ['Q1:2', 'F2:1', 'KM1:1']}
  - {number: 1L2, run: ['Q1:4', 'KM1:3']}
  - {number: 1L3, run: ['Q1:6', 'KM1:5']}
  - {number: U, run: ['KM1:2', 'M1:U1']}
  - {number: V, run: ['KM1:4', 'M1:V1']}
  - {number: W, run: ['KM1:6', 'M1:W1']}
  - {number: PE, run: ['G1:PE', 'PE:1']}
  - {number: PE, run: ['PE:2', 'M1:PE']}
  - {number: 2L11, run: ['F2:2', 'PS1:L']}
  - {number: N, run: ['G1:N', 'PS1:N']}
  - {number: '20', run: ['PS1:+', 'S2:11', 'KM1:23']}
  - {number: '21', run: ['S2:12', 'S1:13', 'KM1:13']}
  - {number: '22', run: ['S1:14', 'KM1:14', 'KM1:A1']}
  - {number: '23', run: ['KM1:24', 'H1:X1']}
  - {number: M, run: ['PS1:-', 'KM1:A2', 'H1:X2']}
  - {number: M, run: ['PS1:-', 'PE:3']}
roles: {disconnect: Q1, start: S1, stop: S2, contactor: KM1, motor: M1, dc supply: PS1, running lamp: H1}
situations:
  running: {after: press S1; release S1}
complaints: {}
"""


def warned(*pairs: tuple[str, str]) -> list[str]:
    """What is warned of when each `old` of the blower becomes `new`, with the line."""
    text = BLOWER
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    machine = describe(text.encode(), "blower.yaml", lambda name: b"")
    assert isinstance(machine, Machine), "\n".join(map(str, machine))
    place = place_of(text.encode(), "blower.yaml")
    found = doubts(machine, [named.situation for named in machine.circuit.situations.values()])
    return [f"{place(doubt).line}: {doubt.what}" for doubt in found]


def test_a_machine_that_works_is_warned_of_nothing():
    assert warned() == []


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("coil: 24 V DC", "coil: 230 V AC", r"10: KM1 \(contactor\) never pulls in: coil 230 V AC, gets at most 2[34] V DC"),
        ("coil: 24 V DC", "coil: 48 V DC", r"10: KM1 .* never pulls in: coil 48 V DC, gets at most 2[34] V DC"),
        ("lamp: 24 V DC", "lamp: 230 V AC", r"11: H1 .* never lights: lamp 230 V AC, gets at most 2[34] V DC"),
        ("lamp: 24 V DC", "lamp: 6 V DC", r"11: H1 .* gets 2[34] V DC: lamp 6 V DC"),
        ("volts: 400 V", "volts: 230 V", r"12: M1 \(three-phase motor\) gets (39\d|40\d) V: it is made for 230 V"),
        ("  - {number: '23', run: ['KM1:24', 'H1:X1']}\n", "",
         r"11: H1 .* never lights: .* gets no volts in any situation; no wire at H1:X1"),
        ("  H1: {kind", "  S9: {kind: push button, words: spare button, blocks: {'13-14': no}}\n  H1: {kind",
         r"11: S9 \(spare button\): no wire reaches any of its terminals"),
        ("'22', run: ['S1:14'", "'21', run: ['S1:14'",
         r"29: wire 21 is on S2:12 and on S1:14, which no wire joins: two potentials, one number"),
    ],
)  # fmt: skip
def test_what_cannot_work_is_warned_of_alone_with_its_line_and_its_volts(old, new, says):
    (warning,) = warned((old, new))
    assert re.fullmatch(says, warning), warning


def test_what_follows_from_a_coil_that_stays_out_is_not_told_as_well():
    warnings = warned(("coil: 24 V DC", "coil: 230 V AC"))
    assert [w.split()[1] for w in warnings] == ["KM1"]


def test_a_number_that_a_bar_or_a_plug_carries_on_is_one_potential():
    assert not [w for w in warned() if "wire PE" in w]
    plug = ("  H1: {kind", "  X5: {kind: plug, poles: ['1']}\n  H1: {kind")
    assert (
        warned(
            plug,
            ("['KM1:24', 'H1:X1']}", "['KM1:24', 'X5:1 socket']}\n  - {number: '23', run: ['X5:1 plug', 'H1:X1']}"),
        )
        == []
    )
