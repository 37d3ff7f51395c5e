"""The cage motor by its equivalent circuit per phase: from a nameplate to ohms, impedance and torque at a slip.

One phase, to the star point: R1 and X1 in series, then core loss Rc beside the magnetising reactance Xm beside the rotor,
X2 and R2/s. The forward (positive) sequence of the volts sees the slip s, the backward (negative) sequence 2 - s. Source:
Fortescue, Trans. AIEE 37 (1918) 1027; Fitzgerald, Kingsley, Umans, Electric Machinery, chapter on induction machines;
both from memory. A single cage: rotor bars that crowd the current at standstill (deep bars) are left out, so standstill
torque comes out low; good for volts and amperes, not for the time of a start.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

TABLE = (
    # kW     1/min  pf     LR    R1     X      R2     Xm     Rc
    (0.37, 1390.0, 0.72, 4.5, 24.94, 8.71, 23.30, 283.6, 4615.0, 1.02),
    (0.75, 1410.0, 0.77, 5.2, 10.46, 8.03, 9.61, 194.5, 3365.0, 1.77),
    (1.5, 1420.0, 0.79, 5.8, 4.53, 4.19, 4.42, 112.1, 2135.0, 3.31),
    (4.0, 1445.0, 0.82, 6.8, 1.52, 1.63, 1.19, 50.7, 1102.0, 8.13),
    (7.5, 1455.0, 0.83, 7.2, 0.70, 0.92, 0.53, 29.6, 725.0, 14.70),
)
"""Four-pole motors of 400 V 50 Hz, hot: power, speed, power factor, locked-rotor ratio, ohms per phase, rated amperes.
Fitted to typical efficiency-class nameplates so that rated current, power factor, shaft power and locked-rotor ratio come
out, X1 = X2, core loss a fifth of the losses. The nameplates are common practice; the ohms are derived."""

TABLE_VOLTS = 400.0
TABLE_SYNCHRONOUS = 1500.0


@dataclass(frozen=True, slots=True)
class Cage:
    """Ohms of one winding at supply frequency, hot. `r1` is the resistance of the winding itself."""

    r1: float
    x1: float
    r2: float
    x2: float
    xm: float
    rc: float

    def times(self, factor: float) -> Cage:
        """The same machine with every ohm `factor` times as large: 3 for a winding in delta."""
        return Cage(*(factor * z for z in (self.r1, self.x1, self.r2, self.x2, self.xm, self.rc)))

    # A slip may be one number or an array of them, amperes likewise; what comes back has the same shape.

    def behind(self, slip: Any) -> Any:
        """Ohms behind `r1` that one sequence of volts meets in a rotor at `slip` against it; 2 - s for the backward one."""
        return 1j * self.x1 + 1 / (1 / self.rc - 1j / self.xm + slip / (self.r2 + 1j * slip * self.x2))

    def at(self, slip: Any) -> Any:
        """Ohms of one winding that one sequence meets."""
        return self.r1 + self.behind(slip)

    def air_gap_watts(self, amps: Any, slip: Any) -> Any:
        """Watts that one sequence of winding current `amps` sends across the air gap of all three windings.

        Over the synchronous speed this is its torque; so watts of air gap serve as the unit of torque throughout.
        """
        branch = 1 / (1 / self.rc - 1j / self.xm + slip / (self.r2 + 1j * slip * self.x2))
        rotor = amps * branch / (self.r2 + 1j * slip * self.x2)
        return 3 * abs(rotor) ** 2 * self.r2 * slip

    def torque_watts(self, forward: Any, backward: Any, slip: Any) -> Any:
        """Net forward torque, in watts of air gap, of the two sequences of the winding currents."""
        return self.air_gap_watts(forward, slip) - self.air_gap_watts(backward, 2 - slip)

    def open_circuit_seconds(self, hertz: float) -> float:
        """Time constant with which the volts at open terminals decay after the motor is switched off."""
        return (self.x2 + self.xm) / (2 * math.pi * hertz * self.r2)


RESIDUAL = 0.95
"""Share of the supply's volts that stands at the terminals the moment the lines open. Common practice."""


def residual_seconds(cage: Cage, hertz: float, volts: float, least: float) -> float:
    """How long after switching off from `volts` the terminals of a motor may still carry more than `least` volts.

    The rotor's trapped flux decays with the open-circuit time constant while the shaft runs down freely. A brake only
    makes it shorter, so this is the longest; it says nothing about a motor that something else keeps turning.
    """
    return max(0.0, math.log(RESIDUAL * volts / least)) * cage.open_circuit_seconds(hertz)


@dataclass(frozen=True, slots=True)
class Typical:
    """What a motor of some power usually has; ohms in units of rated phase volts over rated amperes."""

    slip: float
    pf: float
    locked_ratio: float
    cage: Cage


def typical(watts: float) -> Typical:
    """Between the rows of `TABLE` by the logarithm of the power; beyond its ends, the end row."""
    x = [math.log(row[0] * 1e3) for row in TABLE]
    at = min(max(math.log(watts), x[0]), x[-1])
    k = next(i for i in range(len(x) - 1) if at <= x[i + 1])
    share = (at - x[k]) / (x[k + 1] - x[k])
    low, high = (_per_unit(row) for row in TABLE[k : k + 2])
    slip, pf, ratio, r1, leak, r2, xm, rc = (a + share * (b - a) for a, b in zip(low, high, strict=True))
    return Typical(slip, pf, ratio, Cage(r1, leak, r2, leak, xm, rc))


def _per_unit(row: Sequence[float]) -> tuple[float, ...]:
    _, rpm, pf, ratio, r1, x, r2, xm, rc, amps = row
    unit = TABLE_VOLTS / math.sqrt(3) / amps
    return (1 - rpm / TABLE_SYNCHRONOUS, pf, ratio, *(z / unit for z in (r1, x, r2, xm, rc)))


@cache
def fitted(start: Cage, slip: float, pf: float, locked_ratio: float) -> Cage:
    """`start` with X, R2 and Xm changed until rated current, power factor and locked-rotor ratio come out at `slip`.

    All in units of rated phase volts over rated amperes. Returns `start` itself where no motor has such a nameplate.
    """
    wanted = complex(pf, math.sqrt(1 - pf * pf))

    def off(u: Sequence[float]) -> list[float]:
        leak, r2, xm = (math.exp(v) for v in u)
        trial = Cage(start.r1, leak, r2, leak, xm, start.rc)
        rated = trial.at(slip) / wanted
        return [rated.real - 1, rated.imag, abs(trial.at(1.0)) * locked_ratio - 1]

    found = _newton(off, [math.log(start.x1), math.log(start.r2), math.log(start.xm)])
    if found is None:
        return start
    leak, r2, xm = (math.exp(v) for v in found)
    return Cage(start.r1, leak, r2, leak, xm, start.rc)


_STEP = 1e-6
_FIT_ROUNDS = 60
_FAR = 3.0
"""No real motor is e to this power away from the typical one."""


def _newton(off: Callable[[Sequence[float]], list[float]], at: list[float]) -> list[float] | None:
    """Three numbers for which `off` is zero, by Newton's steps held short; None where it does not come to rest."""
    start = list(at)
    for _ in range(_FIT_ROUNDS):
        here = off(at)
        if max(map(abs, here)) < 1e-13:
            return at
        columns = []
        for k in range(3):
            near = list(at)
            near[k] += _STEP
            columns.append([(n - h) / _STEP for n, h in zip(off(near), here, strict=True)])
        whole = _det(columns)
        if whole == 0:
            return None
        step = [_det([here if j == k else columns[j] for j in range(3)]) / whole for k in range(3)]
        longest = max(map(abs, step))
        if longest < 1e-13:
            return at
        at = [v - s * min(1.0, 0.5 / longest) for v, s in zip(at, step, strict=True)]
        if any(abs(v - s) > _FAR for v, s in zip(at, start, strict=True)):
            return None
    return at if max(map(abs, off(at))) < 1e-9 else None


def _det(c: Sequence[Sequence[float]]) -> float:
    return (
        c[0][0] * (c[1][1] * c[2][2] - c[2][1] * c[1][2])
        - c[1][0] * (c[0][1] * c[2][2] - c[2][1] * c[0][2])
        + c[2][0] * (c[0][1] * c[1][2] - c[1][1] * c[0][2])
    )
