"""Machines that the tests of safety look at: the demo, and circuits written for them with other names and no controller."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import troubleshoot
from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.machine import Machine, describe

BELT = Path(troubleshoot.__file__).parent / "machines" / "belt-7.yaml"

THREE_WIRE = """
machine: mixer
title: Mixer, three-wire control, hard-wired
places:
  box: {words: starter box, door: yes}
  wall: {words: wall by the mixer}
devices:
  INC: {kind: supply, at: box, words: feeder, volts: 208Y/120}
  SW-0: {kind: disconnect, at: box, words: isolator}
  9FU: {kind: fuse, at: box, words: coil fuse, amps: 3 A}
  C9: {kind: contactor, at: box, words: mixer starter, coil: 120 V AC, blocks: {'43-44': no}}
  OL-1: {kind: overload, at: box, words: heaters, set: 6 A}
  MTR: {kind: motor, at: wall, words: mixer motor, power: 1.5 kW, volts: 208 V, amps: 6 A}
  1PB: {kind: push button, at: wall, words: black button, blocks: {'3-4': nc}}
  2PB: {kind: push button, at: wall, words: green button, blocks: {'5-6': no}}
  RED: {kind: emergency stop, at: wall, words: red mushroom, blocks: {'1-2': nc}}
  GND: {kind: bar, at: box, words: earth bar, pins: [a, b]}
wires:
  - {number: R, run: ['INC:L1', 'SW-0:1']}
  - {number: S, run: ['INC:L2', 'SW-0:3']}
  - {number: T, run: ['INC:L3', 'SW-0:5']}
  - {number: R1, run: ['SW-0:2', 'C9:1', '9FU:1']}
  - {number: S1, run: ['SW-0:4', 'C9:3']}
  - {number: T1, run: ['SW-0:6', 'C9:5']}
  - {number: R2, run: ['C9:2', 'OL-1:1']}
  - {number: S2, run: ['C9:4', 'OL-1:3']}
  - {number: T2, run: ['C9:6', 'OL-1:5']}
  - {number: R3, run: ['OL-1:2', 'MTR:U1']}
  - {number: S3, run: ['OL-1:4', 'MTR:V1']}
  - {number: T3, run: ['OL-1:6', 'MTR:W1']}
  - {number: '1', run: ['9FU:2', 'RED:1']}
  - {number: '2', run: ['RED:2', '1PB:3']}
  - {number: '3', run: ['1PB:4', '2PB:5', 'C9:43']}
  - {number: '4', run: ['2PB:6', 'C9:44', 'C9:A1']}
  - {number: '5', run: ['C9:A2', 'OL-1:95']}
  - {number: '6', run: ['OL-1:96', 'INC:N']}
  - {number: E, run: ['INC:PE', 'GND:a']}
  - {number: E, run: ['GND:b', 'MTR:PE']}
roles: {disconnect: SW-0, start: 2PB, stop: 1PB, emergency stop: RED, contactor: C9, overload: OL-1, motor: MTR}
situations: {}
complaints: {}
"""

LAMP_ONLY = """
machine: sign
title: A sign lamp on a 24 V three-phase test bench, no motor, no disconnect, no roles
places:
  bench: {words: bench}
  far: {words: far wall}
devices:
  B1: {kind: supply, at: bench, words: bench supply, volts: 42Y/24}
  L5: {kind: lamp, at: far, words: sign lamp, lamp: 24 V AC}
wires:
  - {number: a, run: ['B1:L1', 'L5:X1']}
  - {number: b, run: ['B1:N', 'L5:X2']}
roles: {}
situations: {}
complaints: {}
"""


def machine_from(text: str) -> Machine:
    """The machine in `text`; the loader's own words when it refuses."""
    found = describe(text, "test.yaml")
    assert isinstance(found, Machine), "\n".join(map(str, found))
    return found


@lru_cache
def belt() -> Reasoner:
    """The demo machine."""
    return Reasoner(machine_from(BELT.read_text(encoding="utf-8")))


@lru_cache
def mixer() -> Reasoner:
    """A hard-wired three-wire starter."""
    return Reasoner(machine_from(THREE_WIRE))


@lru_cache
def sign() -> Reasoner:
    """One lamp."""
    return Reasoner(machine_from(LAMP_ONLY))


def pin(text: str) -> Pin:
    """``K1:14`` as a pin."""
    return Pin(*text.split(":", 1))


def after(*acts: str) -> Situation:
    """A machine at rest and then these acts, written as ``press S1``."""
    out = []
    for text in acts:
        verb, _, device = text.partition(" ")
        out.append(Act(text) if text in ("lose power", "restore power", "heal") else Act(verb, device))  # type: ignore[arg-type]
    return Situation("rest", tuple(out))
