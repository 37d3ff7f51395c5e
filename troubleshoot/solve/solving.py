"""Volts of many networks side by side, and what a settle looks at in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Source
from troubleshoot.solve.columns import Columns, Complexes, Floats, Indices, inject, layout
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.converters import Port, ports_of
from troubleshoot.solve.elimination import LEAK_S, Array, Eliminated, Sums, eliminate, sums
from troubleshoot.solve.turning import STALLED, across_ports, coupled, dipoles, motor_ports, turn


@dataclass(frozen=True, slots=True)
class Cores:
    """What the motors of one network that are no plain branches take over their plain branches."""

    motors: tuple[int, ...]
    siemens: Complexes
    """(3 a motor, 3 a motor)."""


@dataclass(frozen=True, slots=True)
class Solved:
    """What the networks of some `Columns` give, in their order along the last axis."""

    ac_v: Complexes
    dc_v: Floats
    slips: Floats
    cores: tuple[Cores | None, ...]
    watched: Floats
    """(what is watched, networks), see `Watch`."""
    windings: Complexes
    """(3 a motor, networks) amperes."""


def solve(net: Net, columns: Columns) -> Solved:
    """Solve every column. Fills in what rectifiers take and give. Raises nothing."""
    extra = columns.to_earth()
    direct = eliminate(net.plan, columns.dc_s, extra)
    ports = ports_of(net)
    if ports:
        _load(net, columns, ports, direct)
    ac_v, slips, cores = _alternating(net, columns, extra)
    if ports:
        _feed(net, columns, ports, ac_v)
    dc_v = np.real(direct.volts(columns.dc_a[:, None])[:, 0]).astype(np.float64)
    dc_v += _correction(net, columns, direct, dc_v, extra)
    return Solved(ac_v, dc_v, slips, cores, *_watched(net, columns, ac_v, dc_v))


def _load(net: Net, columns: Columns, ports: tuple[Port, ...], direct: Eliminated) -> None:
    """Put on the AC side of every rectifier the conductance that takes the power drawn on its DC side."""
    nodes = np.array([node for port in ports for node in port.dc], dtype=np.intp)
    z = np.real(direct.volts(units(net, nodes, columns.dc_s))[nodes])
    place = {k: row for row, (k, _) in enumerate(layout(net).converters)}
    parts = dict(layout(net).converters)
    for p, port in enumerate(ports):
        a, b = 2 * p, 2 * p + 1
        seen = z[a, a] + z[b, b] - z[a, b] - z[b, a]
        own = columns.dc_s[list(port.outputs)]
        whole = own.all(axis=0)
        inner = np.where(whole, (1 / np.where(own == 0, 1.0, own)).sum(axis=0), np.inf)
        # What stands outside the port: take its own conductance out of the parallel.
        outside = 1 / seen - 1 / inner
        mean = columns.mean[[place[e] for e in port.outputs]].sum(axis=0)
        ohms = sum(parts[e].ohms for e in port.outputs)
        drawn = outside > 0
        taken = np.where(drawn & whole, mean**2 / (ohms + 1 / np.where(drawn, outside, 1.0)), 0.0)
        # Where a diode has shorted, what it takes is that.
        columns.ac_s[port.intake] = np.where(columns.ac_s[port.intake] == 0, taken, columns.ac_s[port.intake])


def _feed(net: Net, columns: Columns, ports: tuple[Port, ...], ac_v: Complexes) -> None:
    """Set the DC sources of the rectifiers by the AC volts at their intakes."""
    made = layout(net)
    place = {k: row for row, (k, _) in enumerate(made.converters)}
    padded = np.vstack([ac_v, np.zeros((1, ac_v.shape[1]))])  # EARTH is -1, the last row
    for port in ports:
        volts = np.abs(padded[port.ac[0]] - padded[port.ac[1]])
        for e in port.outputs:
            emf = np.where(columns.on[place[e]], columns.mean[place[e]] * volts, 0.0)
            columns.dc_emf[made.dc_sources.index(e)] = emf
            inject(columns.dc_a, net.elements[e], emf * columns.dc_s[e])


def units(net: Net, nodes: Indices, like: Array) -> Array:
    """(nodes of the net, len(nodes), networks) one ampere into each of `nodes` by itself."""
    unit = np.zeros((len(net.nodes), len(nodes), like.shape[1]), like.dtype)
    unit[nodes, np.arange(len(nodes))] = 1.0
    return unit


def _alternating(
    net: Net, columns: Columns, extra: Floats | None
) -> tuple[Complexes, Floats, tuple[Cores | None, ...]]:
    """(nodes, networks) volts at supply frequency; settles the slip of the motors on the way."""
    eliminated = eliminate(net.plan, columns.ac_s, extra)
    volts = np.asarray(eliminated.volts(columns.ac_a[:, None])[:, 0], np.complex128)
    count = volts.shape[1]
    slips = np.full((len(net.motors), count), STALLED)
    cores: list[Cores | None] = [None] * count
    alike: dict[tuple[int, ...], list[int]] = {}
    for k, ways in enumerate(columns.turns.T.tolist()):
        numbers = coupled(net, ways)
        if numbers:
            alike.setdefault(numbers, []).append(k)
    for numbers, several in alike.items():
        ports, wound = [motor_ports(net)[m] for m in numbers], np.array(several, dtype=np.intp)
        own = np.repeat(dipoles(net, ports)[:, :, None], wound.size, 2)
        response = np.asarray(eliminated.some(wound).volts(own), np.complex128)
        done = turn(
            net, ports, columns.turns[np.array(numbers)[:, None], wound], across_ports(ports, volts[:, wound]),
            across_ports(ports, response),
        )  # fmt: skip
        volts[:, wound] += (response * done.injected[None]).sum(axis=1)
        slips[np.array(numbers)[:, None], wound] = done.slips
        for k, siemens in zip(several, done.siemens, strict=True):
            cores[k] = Cores(numbers, siemens)
    return volts, slips, tuple(cores)


def _correction(net: Net, columns: Columns, direct: Eliminated, volts: Floats, extra: Floats | None) -> Floats:
    """One step of refinement of the DC volts: what the currents that are left over at the nodes still move.

    A floating 24 V supply is a pair of 1200 A injections that must cancel to the last digit over an island held by
    nanosiemens; they leave microvolts. Taken branch by branch, each current is added at one end exactly as it is taken
    from the other, so the left-over is right to 1e-16 of a real current, not of a short-circuit current. The AC star
    point is always earthed, so no AC source floats. Source: Wilkinson, Rounding Errors in Algebraic Processes (1963),
    from memory.
    """
    ends = net.plan.element_nodes
    padded = np.vstack([volts, np.zeros((1, volts.shape[1]))])  # EARTH is -1, the last row
    across = padded[ends[:, 0]] - padded[ends[:, 1]]
    across[list(layout(net).dc_sources)] -= columns.dc_emf
    amps = columns.dc_s * across
    left = -LEAK_S * padded
    into, out = _ends(net)
    out.add(left, -amps)
    into.add(left, amps)
    left = left[:-1]
    if extra is not None:
        left -= extra * volts
    return np.real(direct.volts(left[:, None])[:, 0]).astype(np.float64)


def _ends(net: Net) -> tuple[Sums, Sums]:
    """From elements to the nodes at their ends b and a; earth is the node after the last."""
    found = net.scratch.get("ends")
    if found is None:
        ends = net.plan.element_nodes % (len(net.nodes) + 1)
        found = net.scratch["ends"] = (sums(ends[:, 1].tolist()), sums(ends[:, 0].tolist()))
    assert isinstance(found, tuple)
    return found


@dataclass(frozen=True, slots=True)
class Watch:
    """Node and element numbers of everything that `settle` looks at, for one net.

    In this order along the first axis of `Solved.watched`: volts (magnitude, unless the law is signed) across the
    terminals of each of the net's laws; current over what it stands, of each of its current laws; amperes out of, and then
    volts across, the source of each of its limit laws.
    """

    law_ends: Indices
    law_is_dc: npt.NDArray[np.bool_]
    law_is_signed: npt.NDArray[np.bool_]
    stressed: Indices
    stands: Floats
    limited: Indices
    limited_emf: Indices
    wound: Indices

    @property
    def laws(self) -> slice:
        return slice(0, len(self.law_ends))

    @property
    def stress(self) -> slice:
        return slice(self.laws.stop, self.laws.stop + len(self.stressed))

    @property
    def amps(self) -> slice:
        return slice(self.stress.stop, self.stress.stop + len(self.limited))

    @property
    def volts(self) -> slice:
        return slice(self.amps.stop, self.amps.stop + len(self.limited))


def watch_of(net: Net) -> Watch:
    """What is watched in a net; kept on it."""
    found = net.scratch.get("watch")
    if found is None:
        index, numbers = net.index, net.element_index
        limited = [numbers[law.part] for law in net.limits]
        assert all(isinstance(net.elements[k].part, Source) for k in limited)
        found = net.scratch["watch"] = Watch(
            np.array([(index[law.a], index[law.b]) for law in net.laws], dtype=np.intp).reshape(-1, 2),
            np.array([law.net == "dc" for law in net.laws], dtype=np.bool_),
            np.array([law.signed for law in net.laws], dtype=np.bool_),
            np.array([numbers[law.part] for law in net.currents], dtype=np.intp),
            np.array([law.amps for law in net.currents]),
            np.array(limited, dtype=np.intp),
            np.array([layout(net).dc_sources.index(k) for k in limited], dtype=np.intp),
            np.array([numbers[name] for motor in net.motors for name in motor.windings], dtype=np.intp),
        )
    assert isinstance(found, Watch)
    return found


def _watched(net: Net, columns: Columns, ac_v: Complexes, dc_v: Floats) -> tuple[Floats, Complexes]:
    """Work out, for all networks at once, what the laws look at: a settle then only compares plain numbers."""
    watch, ends = watch_of(net), net.plan.element_nodes
    earth = np.zeros((1, ac_v.shape[1]))
    ac, dc = np.vstack([ac_v, earth]), np.vstack([dc_v, earth])  # EARTH is -1, the last row
    a, b = watch.law_ends[:, 0], watch.law_ends[:, 1]
    direct = dc[a] - dc[b]
    direct = np.where(watch.law_is_signed[:, None], direct, np.abs(direct))
    across = np.where(watch.law_is_dc[:, None], direct, np.abs(ac[a] - ac[b]))
    c, d = ends[watch.stressed, 0], ends[watch.stressed, 1]
    through = np.hypot(
        np.abs((ac[c] - ac[d]) * columns.ac_s[watch.stressed]), np.abs((dc[c] - dc[d]) * columns.dc_s[watch.stressed])
    )
    e, f = ends[watch.limited, 0], ends[watch.limited, 1]
    volts = dc[e] - dc[f]
    amps = (columns.dc_emf[watch.limited_emf] - volts) * columns.dc_s[watch.limited]
    g, h = ends[watch.wound, 0], ends[watch.wound, 1]
    windings = (ac[g] - ac[h]) * columns.ac_s[watch.wound]
    return np.vstack([across, through / watch.stands[:, None], amps, volts]), windings
