"""A small table of kinds of our own, so that the loader is held to its word whatever kinds there are."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from troubleshoot.circuit.kinds.base import Control, Kind, Rating


def _pins_of_blocks(d):
    return tuple(pin for pair in d.ratings["blocks"] for pin in pair)


SMALL_KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            name="supply",
            words="supply",
            ratings=(
                Rating("volts", "system", "line / neutral volts"),
                Rating("frequency", "hertz", "supply frequency", 60.0),
            ),
            pins=lambda d: ("L1", "L2", "L3", "N"),
            parts=lambda d: (),
        ),
        Kind(
            name="disconnect",
            words="disconnect",
            ratings=(),
            pins=lambda d: ("1", "2"),
            parts=lambda d: (),
            controls=lambda d: (Control(d.tag, ("on", "off"), "on"),),
        ),
        Kind(
            name="push button",
            words="push button",
            ratings=(Rating("blocks", "blocks", "contact blocks"),),
            pins=_pins_of_blocks,
            parts=lambda d: (),
            controls=lambda d: (Control(d.tag, ("free", "pressed"), "free", springs_back=True),),
        ),
        Kind(
            name="selector",
            words="selector switch",
            ratings=(
                Rating("positions", "list", "positions in order"),
                Rating("blocks", "blocks", "contact blocks"),
            ),
            pins=_pins_of_blocks,
            parts=lambda d: (),
            controls=lambda d: (Control(d.tag, d.ratings["positions"], d.ratings["positions"][0]),),
        ),
        Kind(
            name="relay",
            words="relay",
            ratings=(
                Rating("coil", "coil", "coil volts"),
                Rating("drop", "fraction", "drops out below", 0.2),
                Rating("delay", "seconds", "on-delay", 0.0),
                Rating("blocks", "blocks", "contacts", {}),
            ),
            pins=lambda d: ("A1", "A2", *_pins_of_blocks(d)),
            parts=lambda d: (),
        ),
        Kind(
            name="thermal overload relay",
            words="overload relay",
            ratings=(
                Rating("set", "amps", "current it is set to"),
                Rating("class", "choice", "trip class", "10", ("10", "20")),
            ),
            pins=lambda d: ("95", "96"),
            parts=lambda d: (),
            controls=lambda d: (Control(d.tag, ("set", "tripped"), "set"),),
        ),
        Kind(
            name="plc",
            words="controller",
            ratings=(
                Rating("inputs", "points", "input points"),
                Rating("racks", "integer", "number of racks", 1),
            ),
            pins=lambda d: ("L+", *d.ratings["inputs"]),
            parts=lambda d: (),
        ),
    )
}

SAMPLE = """\
# An invented conveyor, small enough to read at a glance.
machine: belt-1
title: Belt 1, outside "A" bay
places:
  panel: {words: panel P1, door: yes, walk: 20 s}
  desk: {words: desk, walk: 1 min, needs: [key, ladder]}
devices:
  G1: {kind: supply, at: panel, volts: 208Y/120}
  Q1: {kind: disconnect, at: panel}
  S1: {kind: push button, at: desk, words: start button, blocks: {'13-14': no}}
  S3: {kind: selector, at: desk, positions: [jog, run], blocks: {'13-14': [run]}}
  K1: {kind: relay, at: panel, coil: 24 V DC, delay: 250 ms, blocks: {'13-14': no}, known: assumed}
  FR1: {kind: thermal overload relay, at: panel, set: 4.8 A}
  A1: {kind: plc, at: panel, inputs: {'%IX0.0': start}}
wires:
  - {number: 1L1, run: [G1:L1, Q1:1], length: 4 m}
  - {number: '010', run: [Q1:2, S1:13, S3:13]}
  - {number: '12', run: [K1:14, FR1:95], known: measured}
  - {number: '30', run: ['S1:14', 'A1:%IX0.0'], length: 20 ft}
program:
  lang: ST
  text: |
    motor := start;
roles: {start: S1, mode: S3, interposing: [K1], overload: FR1}
situations:
  as found: {from: as-found}
  start held: {words: Start held by a helper, after: press S1, hands: 2}
  jogging: {hold: {S3: jog}, after: 'press S1; wait 5 s'}
complaints:
  wont-start: {words: [won't start, dead], shows: start held}
priors: {"K1 coil open": 2.0}
"""


@pytest.fixture(scope="session")
def kinds() -> Mapping[str, Kind]:
    return SMALL_KINDS


@pytest.fixture(scope="session")
def sample() -> str:
    return SAMPLE
