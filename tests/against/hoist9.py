"""An invented hoist with what belt-7 lacks: reversing contactors on one lever, rectified brake, suppressors, a plug.

It has no controller; shared by the oracle, the simulator and the tests of wiring suspects.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from against.belt7 import circuit_from

from troubleshoot.circuit.model import Circuit
from troubleshoot.faults.suspects import Suspect, suspects_of
from troubleshoot.solve.compiled import Net, compile_circuit

TEXT = """
machine: hoist-9
devices:
  G1: {kind: supply, volts: 400Y/230, frequency: 50 Hz}
  Q1: {kind: disconnect}
  F1: {kind: fuse, amps: 10 A}
  F2: {kind: fuse, amps: 10 A}
  F3: {kind: fuse, amps: 10 A}
  F4: {kind: fuse, amps: 2 A}
  F5: {kind: fuse, amps: 2 A}
  FR1: {kind: overload, set: 3.3 A}
  KM1: {kind: contactor, coil: 230 V AC, blocks: {'21-22': nc, '13-14': no}, interlocked with: KM2}
  KM2: {kind: contactor, coil: 230 V AC, blocks: {'21-22': nc, '13-14': no}}
  Z1: {kind: suppressor, type: RC, farads: 47 nF, ohms: 220 ohm}
  Z2: {kind: suppressor, type: varistor}
  S1: {kind: push button, words: up, blocks: {'13-14': no}}
  S2: {kind: push button, words: down, blocks: {'13-14': no}}
  M1: {kind: motor, power: 1.5 kW, volts: 400 V, amps: 3.3 A}
  X5: {kind: plug, poles: ['1', '2', '3']}
  K3: {kind: relay, coil: 24 V DC, blocks: {'13-14': no}}
  V3: {kind: suppressor, type: diode}
  PS1: {kind: dc supply, in: 230 V, out: 24 V, limit: 3 A}
  TB1: {kind: rectifier, in: 230 V, form: %s}
  YB1: {kind: brake, coil: %s V DC, coil watts: 45 W, holds: M1}
  X1: {kind: terminals, pins: ['1', '2', '3', '4', '5']}
wires:
  - {number: L1, run: ['G1:L1', 'Q1:1']}
  - {number: L2, run: ['G1:L2', 'Q1:3']}
  - {number: L3, run: ['G1:L3', 'Q1:5']}
  - {number: 1L1, run: ['Q1:2', 'F1:1', 'F4:1', 'F5:1']}
  - {number: 1L2, run: ['Q1:4', 'F2:1']}
  - {number: 1L3, run: ['Q1:6', 'F3:1']}
  - {number: 2L1, run: ['F1:2', 'KM1:1', 'KM2:1']}
  - {number: 2L2, run: ['F2:2', 'KM1:3', 'KM2:3']}
  - {number: 2L3, run: ['F3:2', 'KM1:5', 'KM2:5']}
  - {number: 3L1, run: ['KM1:2', 'KM2:6', 'FR1:1']}
  - {number: 3L2, run: ['KM1:4', 'KM2:4', 'FR1:3']}
  - {number: 3L3, run: ['KM1:6', 'KM2:2', 'FR1:5']}
  - {number: U, run: ['FR1:2', 'X5:1 socket']}
  - {number: V, run: ['FR1:4', 'X5:2 socket']}
  - {number: W, run: ['FR1:6', 'X5:3 socket']}
  - {number: U1, run: ['X5:1 plug', 'M1:U1']}
  - {number: V1, run: ['X5:2 plug', 'M1:V1']}
  - {number: W1, run: ['X5:3 plug', 'M1:W1']}
  - {number: '1', run: ['F4:2', 'FR1:95']}
  - {number: '2', run: ['FR1:96', 'X1:1', 'S1:13', 'S2:13']}
  - {number: '3', run: ['S1:14', 'X1:2', 'KM2:21']}
  - {number: '4', run: ['KM2:22', 'KM1:A1', 'Z1:1']}
  - {number: '5', run: ['S2:14', 'X1:3', 'KM1:21']}
  - {number: '6', run: ['KM1:22', 'KM2:A1', 'Z2:1']}
  - {number: N, run: ['G1:N', 'X1:4', 'KM1:A2', 'Z1:2', 'KM2:A2', 'Z2:2', 'PS1:N', 'TB1:2']}
  - {number: '7', run: ['F5:2', 'PS1:L', 'K3:13']}
  - {number: '8', run: ['K3:14', 'TB1:1']}
  - {number: '20', run: ['PS1:+', 'KM1:13', 'KM2:13']}
  - {number: '21', run: ['KM1:14', 'KM2:14', 'K3:A1', 'V3:1']}
  - {number: 0V, run: ['PS1:-', 'K3:A2', 'V3:2']}
  - {number: 0V, run: ['PS1:-', 'X1:5']}
  - {number: PE, run: ['G1:PE', 'M1:PE']}
  - {number: '30', run: ['TB1:+', 'YB1:1']}
  - {number: '31', run: ['TB1:-', 'YB1:2']}
roles: {start: S1, contactor: KM1, brake: YB1, motor: M1, disconnect: Q1, control fuse: F4, overload: FR1}
situations:
  as found: {from: as-found}
  up held: {words: Up held by a helper, after: press S1, hands: 2}
  down held: {after: press S2}
  both held: {after: press S1; press S2}
  up let go: {after: press S1; release S1}
  unplugged: {after: 'put X5 in pulled; press S1'}
complaints:
  wont-start: {words: [won't go up, dead], shows: up held}
"""
FORMS: Mapping[str, int] = {"half-wave": 103, "full-wave": 205}


@lru_cache(maxsize=2)
def circuit(form: str) -> Circuit:
    return circuit_from(TEXT % (form, FORMS[form]))


@lru_cache(maxsize=2)
def net(form: str) -> Net:
    return compile_circuit(circuit(form), None)


@lru_cache(maxsize=2)
def suspects(form: str) -> Mapping[str, Suspect]:
    return {s.id: s for s in suspects_of(circuit(form))}
