"""Motors in the network: the slip at which torque balances the load, and the currents that a turning rotor adds.

A turning cage motor is three windings whose admittances are a circulant: forward and backward sequence meet other ohms,
so what winding U takes depends on the volts across V and W, and not in the same way as V's on U's. That is no mesh of
branches. Each core therefore stands in the network as a plain branch, and the rest (the circulant less that branch) as
currents into it: with Z the impedance that the network shows the core terminals, volts v = v0 - Z dY v. Exact, one small
system a network. The slip comes first, from the same Z: torque of the forward sequence less that of the backward one
equals the load's. Sources: compensation theorem (nodal analysis, any textbook); symmetrical components, Fortescue, Trans.
AIEE 37 (1918) 1027; both from memory.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import MotorLaw, Variable
from troubleshoot.circuit.kinds.induction import Cage
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.elimination import EARTH

Complexes = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]

_A = cmath.rect(1.0, 2 * math.pi / 3)
SEQUENCES: Complexes = np.array([[1, 1, 1], [1, _A**2, _A], [1, _A, _A**2]])
"""Columns: what windings U V W see of one volt of zero, forward and backward sequence."""
_INTO: Complexes = SEQUENCES.conj().T / 3

_SLIPS: Floats = np.geomspace(1e-5, 1.0, 80)
"""Where the torque is looked at, from synchronous speed down: the first time it reaches the load the motor runs."""
_MOST_TRIES = 60
_SWEEPS = 40
_AT_REST = 1e-14
_SAME = 12
"""Digits of what a motor meets by which it is known again: far fewer than are right, far more than anybody reads."""
_MOST_SLIPS = 500

FORWARD, BACKWARD = "turning", "turning backward"
"""States of a motor that turns."""
STALLED = 1.0
"""Slip of a motor that has no speed at which it can carry its load."""


@dataclass(frozen=True, slots=True)
class Port:
    """Where one motor meets the network: the ends of its three cores, and what stands there by itself."""

    motor: MotorLaw
    elements: tuple[int, int, int]
    ends: tuple[tuple[int, int], ...]

    @property
    def var(self) -> str:
        """State variable of the motor."""
        return self.motor.var


def motor_ports(net: Net) -> tuple[Port, ...]:
    """One a motor, in the order of the net's motors; kept on the net."""
    found = net.scratch.get("ports of motors")
    if found is None:
        found = net.scratch["ports of motors"] = tuple(_port(net, motor) for motor in net.motors)
    assert isinstance(found, tuple)
    return found


def _port(net: Net, motor: MotorLaw) -> Port:
    u, v, w = (net.element_index[name] for name in motor.cores)
    return Port(motor, (u, v, w), tuple((net.elements[k].a, net.elements[k].b) for k in (u, v, w)))


def direction(state: str) -> int:
    """1 for a motor that turns forward, -1 backward, 0 where it does not turn."""
    return {FORWARD: 1, BACKWARD: -1}.get(state, 0)


def dipoles(net: Net, ports: Sequence[Port]) -> Complexes:
    """(nodes, 3 a motor) one ampere into the begin of each core and out of its end."""
    unit = np.zeros((len(net.nodes), 3 * len(ports)), np.complex128)
    for k, (a, b) in enumerate(end for port in ports for end in port.ends):
        for node, amps in ((a, 1.0), (b, -1.0)):
            if node != EARTH:
                unit[node, k] += amps
    return unit


def across_ports(ports: Sequence[Port], volts: npt.NDArray[np.inexact]) -> Complexes:
    """Volts across the cores, from volts of the nodes along the first axis."""
    ends = np.array([end for port in ports for end in port.ends], dtype=np.intp).reshape(-1, 2)
    begin, end = (np.asarray(volts[nodes], np.complex128) for nodes in ends.T)  # not views
    begin[ends[:, 0] == EARTH], end[ends[:, 1] == EARTH] = 0, 0
    return begin - end


def _core_siemens(net: Net, port: Port, turns: int) -> complex:
    """Siemens of the plain branch that stands for a core in the network."""
    part = net.elements[port.elements[0]].part
    assert isinstance(part, Variable)
    return 1 / part.ac["still" if turns == 0 else "turning"]


def coupled(net: Net, turns: npt.NDArray[np.intp]) -> Mapping[tuple[int, ...], npt.NDArray[np.intp]]:
    """By the motors that are more than three plain branches, the networks in which just those are.

    turns: (motors, networks).
    """
    closed = np.array([port.motor.closed for port in motor_ports(net)], dtype=np.bool_)
    if not turns.any() and not closed.any():
        return {}
    more = (turns != 0) | closed[:, None]
    alike: dict[tuple[int, ...], list[int]] = {}
    some = np.flatnonzero(more.any(axis=0))
    for k, several in zip(some.tolist(), more[:, some].T.tolist(), strict=True):
        alike.setdefault(tuple(several), []).append(k)
    return {
        tuple(m for m, is_more in enumerate(several) if is_more): np.array(networks, dtype=np.intp)
        for several, networks in alike.items()
    }


def _over_branch(port: Port, plain: complex, turns: Floats, slip: Floats) -> Complexes:
    """(3, ...) siemens of zero, forward and backward sequence over the plain branch, in the order of the windings."""
    cage = port.motor.cage
    with_field, against = 1 / _behind(cage, slip), 1 / _behind(cage, 2 - slip)
    forward, backward = np.where(turns < 0, against, with_field), np.where(turns < 0, with_field, against)
    zero = np.full_like(forward, 1 / (1j * cage.x1) if port.motor.closed else plain)
    return np.stack([zero, forward, backward]) - plain


def _behind(cage: Cage, slip: Floats) -> Complexes:
    return np.asarray(cage.behind(slip), np.complex128)


@dataclass(frozen=True, slots=True)
class Turning:
    """What the motors of some networks do to them."""

    slips: Floats
    """(motors, networks); STALLED where it does not turn or cannot carry its load."""
    siemens: Complexes
    """(networks, ports, ports) what the cores take over their plain branches, amperes a volt."""
    injected: Complexes
    """(ports, networks) amperes into the network."""


def turn(
    net: Net, ports: Sequence[Port], turns: npt.NDArray[np.intp], volts: Complexes, ohms: Complexes, loads: Floats
) -> Turning:
    """Slip and currents of some motors, the others being plain branches.

    turns: (motors, networks), as `direction`. volts: (ports, networks) across the cores as plain branches. ohms: (ports,
    ports, networks) that the network, plain branches included, shows there. loads: (motors, networks) what each drives, as
    a share of its usual load. Raises nothing.
    """
    cases = volts.shape[1]
    z = np.moveaxis(ohms, 2, 0)
    open_volts = volts.T[:, :, None]
    slips = np.full((len(ports), cases), STALLED)
    # Several motors see each other through the supply's impedance, a thousandth of their own: a few sweeps settle it.
    for _ in range(_SWEEPS):
        before = slips.copy()
        for m, port in enumerate(ports):
            running = np.flatnonzero(turns[m] != 0)
            if not running.size:
                continue
            system = np.concatenate([open_volts[running], z[running]], axis=2)
            if len(ports) > 1:
                others = _siemens(net, ports, turns[:, running], slips[:, running], without=m)
                system = _solved(z[running], others, system)
            rows = slice(3 * m, 3 * m + 3)
            meets = system[:, rows, 0], system[:, rows, 1:][:, :, rows]
            slips[m, running] = _slip(net, port, turns[m, running], *meets, loads[m, running])
        if len(ports) == 1 or float(np.max(np.abs(slips - before))) < _AT_REST:
            break
    siemens = _siemens(net, ports, turns, slips) if cases > 1 else _siemens_again(net, ports, turns, slips)
    at_ports = _solved(z, siemens, open_volts)
    return Turning(slips, siemens, -(siemens @ at_ports)[:, :, 0].T)


def _siemens_again(net: Net, ports: Sequence[Port], turns: npt.NDArray[np.intp], slips: Floats) -> Complexes:
    """`_siemens` of one network; a slip that was looked up has met them."""
    known = net.scratch.setdefault("siemens of motors", {})
    assert isinstance(known, dict)
    key = (*(port.elements for port in ports), turns.tobytes(), slips.tobytes())
    if key not in known:
        if len(known) >= _MOST_SLIPS:
            known.clear()
        known[key] = _siemens(net, ports, turns, slips)
    found: Complexes = known[key]
    return found


def _siemens(
    net: Net, ports: Sequence[Port], turns: npt.NDArray[np.intp], slips: Floats, without: int = -1
) -> Complexes:
    """(networks, ports, ports) siemens over the plain branches at these slips, but of motor `without`."""
    cases = slips.shape[1]
    whole = np.zeros((cases, 3 * len(ports), 3 * len(ports)), np.complex128)
    for m, port in enumerate(ports):
        if m == without:
            continue
        for turning in (False, True):
            some = np.flatnonzero((turns[m] != 0) == turning)
            if not some.size or not (turning or port.motor.closed):
                continue
            plain = _core_siemens(net, port, int(turning))
            over = _over_branch(port, plain, turns[m, some], slips[m, some])
            whole[some, 3 * m : 3 * m + 3, 3 * m : 3 * m + 3] = (SEQUENCES * over.T[:, None]) @ _INTO
    return whole


def _solved(z: Complexes, siemens: Complexes, right: Complexes) -> Complexes:
    """What stands across the ports when currents -siemens * volts flow into them: (1 + Z dY)^-1 right."""
    return np.asarray(np.linalg.solve(np.eye(z.shape[1]) + z @ siemens, right), np.complex128)


@dataclass(frozen=True, slots=True)
class _Meets:
    """What the sequences along the way of turning and against it meet at some slips."""

    along: Any
    """Ohms."""
    against: Any
    drives: Any
    """Watts of air gap of one ampere along the way."""
    brakes: Any


def _meets(cage: Cage, slip: Any) -> _Meets:
    """slip: one number or an array of them; what comes back likewise."""
    return _Meets(
        cage.behind(slip), cage.behind(2 - slip), cage.air_gap_watts(1.0, slip), cage.air_gap_watts(1.0, 2 - slip)
    )


@lru_cache(maxsize=64)
def _everywhere(cage: Cage) -> _Meets:
    return _meets(cage, _SLIPS)


def _slip(
    net: Net, port: Port, turns: npt.NDArray[np.intp], volts: Complexes, ohms: Complexes, loads: Floats
) -> Floats:
    """(networks,) slip at which one motor carries its load, STALLED where there is none.

    volts: (networks, 3) across its cores as plain branches; ohms: (networks, 3, 3) that the rest shows there; loads:
    (networks,) what it drives, as a share of its usual load.
    """
    cage, plain = port.motor.cage, _core_siemens(net, port, 1)
    rows, order = np.arange(len(turns))[:, None], np.where(turns[:, None] < 0, (0, 2, 1), (0, 1, 2))
    v = (_INTO @ volts[:, :, None])[:, :, 0][rows, order]
    z = (_INTO @ ohms @ SEQUENCES)[rows[:, :, None], order[:, :, None], order[:, None]]
    # Sequence zero meets the same at any slip: what it takes away from the other two, once.
    over = (1 / (1j * cage.x1) if port.motor.closed else plain) - plain
    share = z[:, 1:, 0] * (over / (1 + z[:, 0, 0] * over))[:, None]
    v = v[:, 1:] - share * v[:, :1]
    z = z[:, 1:, 1:] - share[:, :, None] * z[:, :1, 1:]
    if len(turns) > 1:
        return _carrying(port, plain, v, z, loads)
    # One network is often met again but for its last digits: pressing a button far from the motor changes no more.
    known = net.scratch.setdefault("slips", {})
    assert isinstance(known, dict)
    key = (port.elements, turns.item(), loads.item(), _digits(v), _digits(z))
    if key not in known:
        if len(known) >= _MOST_SLIPS:
            known.clear()
        known[key] = _carrying(port, plain, v, z, loads)
    found: Floats = known[key]
    return found


def _digits(meets: Complexes) -> tuple[int, bytes]:
    """What is the same for numbers that are the same to `_SAME` digits of the largest of them."""
    scale = math.frexp(float(np.abs(meets).max()))[1]
    return scale, (np.round(meets * 2.0**-scale, _SAME) + 0.0).tobytes()


def _carrying(port: Port, plain: complex, v: Complexes, z: Complexes, loads: Floats) -> Floats:
    """`_slip` from volts and ohms of the sequences along the way of turning and against it."""
    cage = port.motor.cage
    sequences: list[Any] = [part[:, None] for part in (v[:, 0], v[:, 1], *z.reshape(-1, 4).T)]
    load: Any = (port.motor.load_watts * loads)[:, None]
    if len(v) == 1:  # plain numbers, for which a call of numpy takes ten times as long as the work
        sequences, load = [part.item() for part in sequences], load.item()
    v1, v2, z11, z12, z21, z22 = sequences

    def over_load(meets: _Meets) -> Any:
        """Watts of air gap over what the load takes."""
        y1, y2 = 1 / meets.along - plain, 1 / meets.against - plain
        a, b, c, d = 1 + z11 * y1, z12 * y2, z21 * y1, 1 + z22 * y2
        det = a * d - b * c
        drives = meets.drives * abs((v1 * d - b * v2) / (det * meets.along)) ** 2
        brakes = meets.brakes * abs((a * v2 - c * v1) / (det * meets.against)) ** 2
        return drives - brakes - load

    def spare(slip: Any) -> Any:
        return over_load(_meets(cage, slip))

    seen = np.atleast_2d(over_load(_everywhere(cage)))
    if len(v) == 1:
        return np.array([_first(spare, seen[0].tolist(), load)])
    carries = (seen >= 0).any(axis=1)
    first = np.argmax(seen >= 0, axis=1)
    before = np.maximum(first - 1, 0)
    rows = np.arange(len(v))
    high, spare_high = _SLIPS[first][:, None], seen[rows, first][:, None]
    low = np.where(first > 0, _SLIPS[before], 0.0)[:, None]
    spare_low = np.where(first > 0, seen[rows, before], -load[:, 0])[:, None]
    return np.where(carries, _crossing(spare, low, high, spare_low, spare_high)[:, 0], STALLED)


def _first(spare: Callable[[float], float], seen: Sequence[float], load: float) -> float:
    """`_carrying` of one network. seen: what there is to spare at `_SLIPS`."""
    first = next((k for k, watts in enumerate(seen) if watts >= 0), None)
    if first is None:
        return STALLED
    low, spare_low = (_SLIPS.item(first - 1), seen[first - 1]) if first else (0.0, -load)
    return _crossing_of_one(spare, low, _SLIPS.item(first), spare_low, seen[first])


def _crossing_of_one(f: Callable[[float], float], low: float, high: float, f_low: float, f_high: float) -> float:
    """`_crossing` of one element, in plain numbers."""
    at, side = high, 0
    for _ in range(_MOST_TRIES):
        following = high - f_high * (high - low) / (f_high - f_low) if f_high > f_low else high
        if abs(following - at) <= _AT_REST * abs(following):
            return following
        at = following
        here = f(at)
        if here >= 0:
            high, f_high = at, here
            f_low, side = (f_low / 2 if side > 0 else f_low), 1
        else:
            low, f_low = at, here
            f_high, side = (f_high / 2 if side < 0 else f_high), -1
    return at


def _crossing(f: Callable[[Floats], Floats], low: Floats, high: Floats, f_low: Floats, f_high: Floats) -> Floats:
    """Where `f` rises through zero between `low` and `high`, every element by itself.

    False position; an end that stays twice running counts half (the Illinois method, Dowell and Jarratt, BIT 11 (1971)
    168, from memory). Elements without a crossing come back as anything.
    """
    side = np.zeros_like(low)
    at = high
    for _ in range(_MOST_TRIES):
        width = f_high - f_low
        following = np.where(width > 0, high - f_high * (high - low) / np.where(width > 0, width, 1.0), high)
        still = np.abs(following - at) <= _AT_REST * np.abs(following)
        at = following
        if bool(np.all(still)):
            break
        here = f(at)
        over = here >= 0
        f_low = np.where(over, np.where(side > 0, f_low / 2, f_low), here)
        f_high = np.where(over, here, np.where(side < 0, f_high / 2, f_high))
        low, high = np.where(over, low, at), np.where(over, at, high)
        side = np.where(over, 1.0, -1.0)
    return at
