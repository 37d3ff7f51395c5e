"""Small circuits with a motor, shared by the tests that hold it against handbooks and against other solvers."""

from __future__ import annotations

from against.belt7 import circuit_from, pin

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import Mode, read

CAGE = "r1: 15.2 ohm, x1: 16.3 ohm, r2: 11.9 ohm, xm: 507 ohm, rc: 11020 ohm"
"""Ten times the ohms of a 4 kW four-pole motor, so a tenth of its amperes at the same volts: beside them the 0.03 ohm of
feeder and panel are as small as the stiff supply of a closed form."""
PANEL = """
machine: motor
devices:
  G1: {kind: supply, volts: 400Y/230.94, frequency: 50 Hz}
  Q1: {kind: disconnect}
  QA: {kind: breaker, amps: 63 A}
  F2: {kind: fuse, amps: 63 A}
  F3: {kind: fuse, amps: 63 A}
  FR1: {kind: overload, %(relay)s}
  M1: {kind: motor, power: 0.4 kW, volts: 400 V, amps: 0.813 A, rated slip: 0.03667, %(motor)s}
%(more devices)s
wires:
  - {number: %(L1)s, run: ['G1:%(L1)s', 'Q1:1'], length: 0.1 m}
  - {number: %(L2)s, run: ['G1:%(L2)s', 'Q1:3'], length: 0.1 m}
  - {number: %(L3)s, run: ['G1:%(L3)s', 'Q1:5'], length: 0.1 m}
  - {number: 1L1, run: ['Q1:2', 'QA:1'], length: 0.1 m}
  - {number: 1L2, run: ['Q1:4', 'F2:1'], length: 0.1 m}
  - {number: 1L3, run: ['Q1:6', 'F3:1'], length: 0.1 m}
  - {number: 2L1, run: ['QA:2', 'FR1:1'], length: 0.1 m}
  - {number: 2L2, run: ['F2:2', 'FR1:3'], length: 0.1 m}
  - {number: 2L3, run: ['F3:2', 'FR1:5'], length: 0.1 m}
  - {number: U, run: ['FR1:2', 'M1:U1'], length: 0.1 m}
  - {number: V, run: ['FR1:4', 'M1:V1'], length: 0.1 m}
  - {number: W, run: ['FR1:6', 'M1:W1'], length: 0.1 m}
%(more wires)s
roles: {motor: M1}
complaints: {}
"""
LINES = {"A": ("FR1:2", "M1:U1"), "B": ("FR1:4", "M1:V1"), "C": ("FR1:6", "M1:W1")}
LINE_A_LOST = (Act("open", "QA"),)
"""While the motor runs."""
OPEN_A = (Edit("left", "QA", "tripped"),)
"""Before it starts."""


def panel(
    motor: str = "", relay: str = "set: 63 A", devices: str = "", wires: str = "", lines=("L1", "L2", "L3")
) -> Net:
    """A motor behind a one-pole breaker in line A and fuses in B and C; ratings of `motor` beside those of CAGE."""
    given = {key.partition(":")[0]: key for key in (*CAGE.split(", "), *filter(None, motor.split(", ")))}
    fill = {"motor": ", ".join(given.values()), "relay": relay, "more devices": devices, "more wires": wires}
    text = PANEL % (fill | dict(zip(("L1", "L2", "L3"), lines, strict=True)))
    return compile_circuit(circuit_from(text), None)


def reads(net: Net, points: tuple[str, str], mode: Mode = "ac volts", after=(), edits=()) -> float:
    """The one reading there is."""
    ((reading, _),) = read(net, edits, Situation(acts=after), mode, pin(points[0]), pin(points[1]))
    return reading.value


def amps(net: Net, line: str, after=(), edits=()) -> float:
    """A clamp around the lead of line A, B or C."""
    return reads(net, LINES[line], "amps", after, edits)


STAR_DELTA = """
machine: star-delta starter
devices:
  G1: {kind: supply, volts: 208Y/120, frequency: 60 Hz}
  Q1: {kind: disconnect}
  F1: {kind: fuse, amps: 63 A}
  F2: {kind: fuse, amps: 63 A}
  F3: {kind: fuse, amps: 63 A}
  F4: {kind: fuse, amps: 3 A}
  S3: {kind: selector, positions: ['off', star, delta], usual: 'off', blocks: {'13-14': [star], '23-24': [delta]}}
  KM2: {kind: contactor, coil: 120 V AC}
  KM3: {kind: contactor, coil: 120 V AC}
  M1: {kind: motor, power: 1.5 kW, volts: 208 V, amps: 6.4 A, windings: delta, leads: '6', load torque: %s}
wires:
  - {number: L1, run: ['G1:L1', 'Q1:1']}
  - {number: L2, run: ['G1:L2', 'Q1:3']}
  - {number: L3, run: ['G1:L3', 'Q1:5']}
  - {number: 1L1, run: ['Q1:2', 'F1:1', 'F4:1']}
  - {number: 1L2, run: ['Q1:4', 'F2:1']}
  - {number: 1L3, run: ['Q1:6', 'F3:1']}
  - {number: U1, run: ['F1:2', 'M1:U1', 'KM2:1']}
  - {number: V1, run: ['F2:2', 'M1:V1', 'KM2:3']}
  - {number: W1, run: ['F3:2', 'M1:W1', 'KM2:5']}
  - {number: W2, run: ['M1:W2', 'KM2:2', 'KM3:1']}
  - {number: U2, run: ['M1:U2', 'KM2:4', 'KM3:3']}
  - {number: V2, run: ['M1:V2', 'KM2:6', 'KM3:5']}
  - {number: S, run: ['KM3:2', 'KM3:4', 'KM3:6']}
  - {number: '1', run: ['F4:2', 'S3:13', 'S3:23']}
  - {number: '2', run: ['S3:14', 'KM3:A1']}
  - {number: '3', run: ['S3:24', 'KM2:A1']}
  - {number: N, run: ['G1:N', 'KM2:A2', 'KM3:A2']}
roles: {motor: M1}
complaints: {}
"""
IN_STAR = (Act("put", "S3", "star"),)
IN_DELTA = (*IN_STAR, Act("put", "S3", "delta"))
"""Started in star, then changed over."""
STRAIGHT_IN_DELTA = (Act("put", "S3", "delta"),)
