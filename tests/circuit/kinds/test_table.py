"""The table of device kinds, walked: whatever is added to it is held to the same promises."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import troubleshoot
from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import (
    Branch,
    Converter,
    Cpu,
    CurrentLaw,
    DelayLaw,
    Given,
    HeatLaw,
    Intake,
    InterlockLaw,
    Law,
    LimitLaw,
    MotorLaw,
    Source,
    Spare,
    Switch,
    Variable,
)
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Device

# Shapes that the demo machines lack.
MORE = """
machine: more
devices:
  G1: {kind: supply, volts: 400Y/230, frequency: 50 Hz}
  K1: {kind: relay, coil: 230 V AC, blocks: {'11-12': nc, '13-14': no}}
  KM1: {kind: contactor, coil: 24 V DC, blocks: {'13-14': no, '21-22': nc}}
  S1: {kind: push button, blocks: {'11-12': nc, '13-14': no}}
  S3: {kind: selector, positions: [hand, off, auto], usual: off, blocks: {'13-14': [hand], '23-24': [auto]}}
  FR1: {kind: overload, set: 2 A, class: '20', reset: automatic}
  A1: {kind: plc, inputs: {'%IX0.0': a}, outputs: {}, type: '3'}
  T1: {kind: control transformer, in: 400 V, out: 230 V, power: 250 VA}
  Q2: {kind: breaker, amps: 10 A, poles: '2', curve: D}
  B1: {kind: process switch, positions: [low, high], blocks: {'13-14': no, '11-12': nc}}
  R1: {kind: load, ohms: 100 ohm}
  M9: {kind: motor, power: 1.5 kW, volts: 400 V, amps: 3.3 A}
  TB1: {kind: rectifier, in: 230 V, form: half-wave}
  TB2: {kind: rectifier, in: 230 V, form: full-wave}
  YB9: {kind: brake, coil: 205 V DC, coil watts: 40 W, holds: M9}
  KM8: {kind: contactor, coil: 230 V AC, interlocked with: KM9}
  KM9: {kind: contactor, coil: 230 V AC}
  Z1: {kind: suppressor, type: RC}
  Z2: {kind: suppressor, type: diode}
  Z3: {kind: suppressor, type: varistor}
  X5: {kind: plug, poles: ['1', '2', '3']}
  KS2: {kind: safety relay, supply: 230 V AC, reset: automatic, cross fault: not seen, blocks: {'13-14': no, '41-42': nc}}
  KT3: {kind: timer relay, coil: 230 V AC, delay: 'off', time: 2 min, blocks: {'67-68': no}}
  B5: {kind: three-wire sensor, output: NPN, pins: [BN, BU, BK]}
  CH1: {kind: unknown chain, inside: ['7', X3/9]}
  A2: {kind: plc, inputs: {'%IX0.0': a}, groups: {1L: {what: triac outputs, points: {Y0: '%QX0.0'}}}}
wires:
  - {number: '1', run: ['G1:L1', 'K1:A1']}
roles: {}
complaints: {}
"""


def _loaded(text: str) -> Circuit:
    found = load_circuit(text, "test.yaml")
    assert isinstance(found, Circuit), found
    return found


PRESS = Path(__file__).parents[2] / "against" / "press-3.yaml"
MACHINES = sorted((Path(troubleshoot.__file__).parent / "machines").glob("*.yaml"))
DEVICES = [
    pytest.param(device, id=f"{circuit.name} {device.tag}")
    for circuit in (
        _loaded(MORE),
        _loaded(PRESS.read_text(encoding="utf-8")),
        *(_loaded(path.read_text(encoding="utf-8")) for path in MACHINES),
    )
    for device in circuit.devices.values()
]
each_device = pytest.mark.parametrize("device", DEVICES)


def test_every_kind_stands_in_some_circuit_here():
    """A new kind comes with a device of it: in a demo machine or in MORE above."""
    assert {param.values[0].kind for param in DEVICES} == set(KINDS)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_kind_has_a_name_words_and_ratings_that_say_what_they_are(kind):
    assert KINDS[kind.name] is kind
    assert kind.words
    assert kind.weight >= 0
    assert len({rating.name for rating in kind.ratings}) == len(kind.ratings)
    assert all(rating.words for rating in kind.ratings)


@each_device
def test_terminals_are_named_once_each(device: Device):
    pins = KINDS[device.kind].pins(device)
    assert pins
    assert len(set(pins)) == len(pins)


@each_device
def test_parts_end_on_terminals_of_their_own_device(device: Device):
    kind = KINDS[device.kind]
    own = set(kind.pins(device))
    parts = kind.parts(device)
    assert len({part.name for part in parts}) == len(parts)
    for part in parts:
        for end in (part.a, part.b):
            assert end in own or end.startswith("@"), part
        assert part.a != part.b, part


def _made(branches: list[Branch], current: str) -> tuple[float, float]:
    """Least and greatest power, in watts for one volt, that a device's branches can take together."""
    ends = sorted({end for part in branches for end in (part.a, part.b)})
    taken = np.zeros((len(ends), len(ends)), complex)
    for part in branches:
        ohms = complex(part.ac if current == "ac" else part.dc)
        way = np.array([(end == part.a) - (end == part.b) for end in ends])
        taken += np.outer(way, way) * (0.0 if np.isinf(ohms.real) else 1 / ohms)
    watts = np.linalg.eigvalsh((taken + taken.conj().T) / 2)
    return float(watts[0]), float(watts[-1])


@each_device
def test_no_part_makes_energy(device: Device):
    """Whatever volts stand at a device's terminals, its passive parts take power and never give any.

    A lone branch therefore has a positive resistance; the crosswise arms of a transformer's lattice only do so together.
    Source: a network is passive where the Hermitian part of its admittance is not negative (any text on network theory).
    """
    branches: list[Branch] = []
    for part in KINDS[device.kind].parts(device):
        match part:
            case Branch():
                branches.append(part)
                continue
            case Intake() | Spare():
                continue  # what a rectifier takes is what it gives; a spare joins nothing
            case Converter():
                values = [complex(part.ohms), complex(part.off_ohms)]
                # The mean of a sine's size is at most its r.m.s. value, and so is what is left of it.
                squares = [part.mean[flaw] ** 2 + part.ripple[flaw] ** 2 for flaw in part.mean]
                assert max(squares) <= 1 + 1e-9
                assert part.mean.keys() == part.ripple.keys()
            case Switch():
                values = [complex(part.ohms)]
                assert part.leak is None or part.leak > 50 * part.ohms
            case Variable():
                values = [*map(complex, part.ac.values()), *map(complex, part.dc.values())]
                assert part.ac.keys() == part.dc.keys()
            case Source():
                values = [complex(part.ohms), complex(part.off_ohms)]
        assert all(value.real > 0 and math.isfinite(abs(value)) for value in values), part
    for current in ("ac", "dc") if branches else ():
        least, most = _made(branches, current)
        assert least >= -1e-9 * most, current


@each_device
def test_laws_watch_terminals_and_parts_of_their_own_device(device: Device):
    kind = KINDS[device.kind]
    pins, parts = set(kind.pins(device)), {part.name for part in kind.parts(device)}
    pins |= {end for part in kind.parts(device) for end in (part.a, part.b)}
    for law in kind.laws(device):
        match law:
            case Law():
                assert {law.a, law.b} <= pins
                assert law.rise.low <= law.rise.high
                assert law.fall.low <= law.fall.high
                # A magnet lets go at less than it needs to pull in; a comparator has one threshold.
                assert law.same or law.fall.high <= law.rise.high
            case CurrentLaw() | LimitLaw():
                assert law.part in parts
                assert law.amps > 0
            case MotorLaw():
                assert {*law.windings, *law.cores} <= parts
                assert law.rated_amps > 0
                assert law.load_watts > 0
            case HeatLaw():
                assert set(law.parts) <= parts
                assert 0 < law.cools < law.trips
                assert 0 < law.seconds.low <= law.seconds.high
            case DelayLaw():
                assert law.before != law.after
                assert law.when
                assert law.seconds >= 0
            case Given():
                assert law.var.startswith(device.tag)
            case InterlockLaw():
                assert law.ends[0] == device.tag != law.ends[1]
            case Cpu():
                assert not law.inputs.keys() & law.outputs.keys()


@each_device
def test_every_state_that_a_part_asks_for_is_moved_by_something(device: Device):
    kind = KINDS[device.kind]
    moved = {control.var for control in kind.controls(device)}
    for law in kind.laws(device):
        moved |= set(law.outputs.values()) if isinstance(law, Cpu) else {law.var}
    for part in kind.parts(device):
        asked = (
            {when.var for when in part.when} if isinstance(part, Switch)
            else {part.var} if isinstance(part, Variable)
            else {part.when.var} if isinstance(part, Source) and part.when
            else {part.when.var, part.flaw} if isinstance(part, Converter)
            else set()
        )  # fmt: skip
        assert asked <= moved, part


@each_device
def test_what_breaks_shares_out_to_one_and_each_has_something_that_mends_it(device: Device):
    kind = KINDS[device.kind]
    modes = kind.modes(device)
    assert len({mode.name for mode in modes}) == len(modes)
    for mode in modes:
        assert mode.share > 0
        assert mode.words
        assert mode.edits
        assert mode.act
        assert mode.item
    broken = [mode.share for mode in modes if mode.broken]
    if broken:
        assert math.fsum(broken) == pytest.approx(1)
        assert kind.weight > 0


@each_device
def test_a_way_to_fail_edits_what_the_device_has(device: Device):
    kind = KINDS[device.kind]
    parts, pins = {part.name: part for part in kind.parts(device)}, set(kind.pins(device))
    states = {control.var: set(control.positions) for control in kind.controls(device)}
    laws = kind.laws(device)
    for mode in kind.modes(device):
        for edit in mode.edits:
            match edit.does:
                case "siemens" | "times":
                    assert edit.name in parts, mode
                case "earth":
                    assert edit.name in pins, mode
                case "threshold":
                    assert any(isinstance(law, Law) and law.var == edit.name for law in laws), mode
                case "left" if edit.name in states:
                    assert edit.value in states[edit.name], mode
                case "left" | "stuck":
                    own = {law.var for law in laws if not isinstance(law, Cpu)} | states.keys()
                    # A brake that drags is on the shaft of the motor it holds.
                    shafts = {f"{device.tag} shaft", f"{device.ratings.get('holds')} shaft"}
                    assert edit.name in own | shafts or edit.name.startswith(device.tag), mode


@each_device
def test_controls_usually_stand_in_one_of_their_positions(device: Device):
    for control in KINDS[device.kind].controls(device):
        assert control.usual in control.positions
        assert len(set(control.positions)) == len(control.positions) > 1


@each_device
def test_faces_are_pairs_of_its_terminals_and_signs_have_words(device: Device):
    kind = KINDS[device.kind]
    for pair in kind.faces(device).values():
        assert set(pair) <= set(kind.pins(device))
    for sign in kind.signs(device):
        assert sign.words
        assert sign.shows
        assert sign.name.startswith(device.tag)


class TestPublishedLimits:
    """Bands lie inside what the standards promise."""

    def volts(self, tag: str) -> tuple[Law, float]:
        device = _loaded(MORE).devices[tag]
        law = next(law for law in KINDS[device.kind].laws(device) if isinstance(law, Law))
        return law, device.ratings["coil"][0]  # type: ignore[index]

    @pytest.mark.parametrize("tag", ["K1", "KM1"])
    def test_a_coil_pulls_in_at_85_percent(self, tag):
        """IEC 60947-4-1 and IEC 61810-1, limits of operation: 85 % of rated volts (from memory)."""
        law, rated = self.volts(tag)
        assert law.rise.high <= 0.85 * rated

    def test_an_alternating_coil_holds_at_75_percent_and_has_let_go_at_20(self):
        """IEC 60947-4-1: must hold down to 75 %, must have dropped out by 20 % (from memory)."""
        law, rated = self.volts("K1")
        assert 0.20 * rated <= law.fall.low
        assert law.fall.high <= 0.75 * rated

    def test_a_direct_coil_of_a_contactor_has_let_go_at_10_percent(self):
        """IEC 60947-4-1: 10 % for DC (from memory)."""
        law, rated = self.volts("KM1")
        assert 0.10 * rated <= law.fall.low

    def test_a_type_3_input_is_off_below_5_and_on_above_11_volts(self):
        """IEC 61131-2 (from memory; same figures in data pages of inputs)."""
        device = _loaded(MORE).devices["A1"]
        law = next(law for law in KINDS["plc"].laws(device) if isinstance(law, Law) and law.same)
        assert (law.rise.low, law.rise.high) == (5.0, 11.0)
