"""Volts of many networks side by side, and what a settle looks at in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Branch, Source
from troubleshoot.solve.columns import Columns, Complexes, Floats, Indices, inject, layout
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.converters import Port, ports_of
from troubleshoot.solve.elimination import LEAK_S, Array, Eliminated, Sums, Way, eliminate, sums
from troubleshoot.solve.following import Followed, Follower, follower
from troubleshoot.solve.turning import STALLED, across_ports, coupled, dipoles, motor_ports, turn
from troubleshoot.solve.turning import Port as MotorPort

FEW = 6
"""Networks that come by themselves before it pays to make ready for more of them; nets with a meter laid see no more."""
_VAGUE_V = 1e-9
"""From here on the DC volts are refined; a thousandth of what the oracle asks for."""


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
    windings: Complexes
    """(3 a motor, networks) amperes."""


@dataclass(frozen=True, slots=True)
class Alternating:
    """What a settle looks at in the AC of many networks, a row each."""

    across: Floats
    """(networks, laws) volts across the terminals of each of the net's laws."""
    through: Floats
    """(networks, current laws) amperes."""
    windings: Complexes
    """(networks, 3 a motor) amperes."""
    slips: Floats
    """(networks, motors)."""


@dataclass(frozen=True, slots=True)
class Direct:
    """The same in the DC."""

    across: Floats
    """(networks, laws) volts, with their sign."""
    through: Floats
    amps: Floats
    """(networks, limit laws) amperes out of the source of each."""
    volts: Floats
    """(networks, limit laws) volts across it."""


@dataclass(frozen=True, slots=True)
class Ways:
    """What currents pass in one net on their way to earth."""

    whole: Way
    ac: Way
    """From the AC sources."""
    dc: Way
    """From the DC sources and the outputs of rectifiers."""
    rectified: Way
    """From the DC terminals of rectifiers."""


def ways_of(net: Net) -> Ways:
    """The ways of a net; kept on it."""
    found = net.scratch.get("ways")
    if found is None:
        made, plan = layout(net), net.plan
        ac, dc = ([n for k in some for n in _ends(net, k)] for some in (made.ac_sources, made.dc_sources))
        rectified = plan.way(node for port in ports_of(net) for node in port.dc)
        found = net.scratch["ways"] = Ways(plan.whole(), plan.way(ac), plan.way(dc), rectified)
    assert isinstance(found, Ways)
    return found


def eliminated(net: Net, kind: str, siemens: Array, to_earth: Array | None) -> Eliminated | Followed:
    """Networks of one kind of current with every node gone; one by itself follows the last one. As of `eliminate`."""
    if siemens.shape[1] != 1 or not _tied(net, siemens):
        return eliminate(net.plan, siemens, to_earth)
    kept: dict[str, Follower | int] = net.scratch.setdefault("followers", {})  # type: ignore[assignment]
    found = kept.get(kind, 0)
    if isinstance(found, int):
        met = next((other for other in kept.values() if isinstance(other, Follower)), None)
        kept[kind] = found + 1 if found < FEW else follower(net.plan) if met is None else met.another()
        return eliminate(net.plan, siemens, to_earth)
    return found.follow(siemens[:, 0], None if to_earth is None else to_earth[:, 0])


def _tied(net: Net, siemens: Array) -> bool:
    """Whether what ties supplies and bars to earth is whole in one network. Where it is not, volts hang on leaks of a gigaohm, and
    their last digits on the order in which sums are taken: that must not be another one after another past."""
    ties = net.kept("ties", tuple, _ties)
    return all(abs(siemens.item(k, 0)) > 1e6 * LEAK_S for k in ties)


def _ties(net: Net) -> tuple[int, ...]:
    kinds = {tag: device.kind for tag, device in net.circuit.devices.items()}
    return tuple(
        k for k, e in enumerate(net.elements)
        if isinstance(e.part, Branch) and kinds.get(e.slot.split(" ")[0]) in ("supply", "bar")
    )  # fmt: skip


def _ends(net: Net, element: int) -> tuple[int, int]:
    return net.elements[element].a, net.elements[element].b


def solve(net: Net, columns: Columns) -> Solved:
    """Solve every column. Fills in what rectifiers take and give. Raises nothing."""
    extra, ports = columns.to_earth(), ports_of(net)
    direct = eliminated(net, "dc", columns.dc_s, extra)
    if ports:
        _load(net, columns, ports, direct)
    ac_v, slips, cores = _alternating(net, columns, extra)
    if ports:
        _feed(net, columns, ports, ac_v)
    dc_v = _direct(net, columns, direct, extra)
    # From here on one network is looked at after the other.
    return Solved(
        np.asfortranarray(ac_v), np.asfortranarray(dc_v), np.asfortranarray(slips), cores,
        np.asfortranarray(_windings(net, columns, ac_v)),
    )  # fmt: skip


def glimpse_both(net: Net, columns: Columns) -> tuple[Alternating, Direct]:
    """What a settle looks at in every column."""
    solved = solve(net, columns)
    return _see_alternating(net, columns, solved.ac_v, solved.slips), _see_direct(net, columns, solved.dc_v)


def glimpse_ac(net: Net, columns: Columns) -> Alternating:
    """The AC alone, of a net without rectifiers."""
    ac_v, slips, _ = _alternating(net, columns, columns.to_earth())
    return _see_alternating(net, columns, ac_v, slips)


def glimpse_dc(net: Net, columns: Columns) -> Direct:
    """The DC alone, of a net without rectifiers."""
    extra = columns.to_earth()
    return _see_direct(net, columns, _direct(net, columns, eliminated(net, "dc", columns.dc_s, extra), extra))


def _direct(net: Net, columns: Columns, direct: Eliminated | Followed, extra: Floats | None) -> Floats:
    """(nodes, networks) DC volts."""
    ways = ways_of(net)
    supplied = direct.on(ways.dc)
    carried = supplied.carried(columns.dc_a[:, None].copy())
    dc_v = np.asarray(direct.on(ways.whole).volts(carried)[:, 0], np.float64)
    vague = np.flatnonzero(supplied.rounding(carried) > _VAGUE_V)
    if vague.size:
        dc_v[:, vague] += _correction(net, columns.some(vague), direct, vague, dc_v[:, vague], extra)
    return dc_v


def _load(net: Net, columns: Columns, ports: tuple[Port, ...], direct: Eliminated | Followed) -> None:
    """Put on the AC side of every rectifier the conductance that takes the power drawn on its DC side."""
    nodes = np.array([node for port in ports for node in port.dc], dtype=np.intp)
    on = direct.on(ways_of(net).rectified)
    z = np.asarray(on.volts(on.carried(units(net, nodes, columns.dc_s)))[nodes], np.float64)
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
    ways, gone = ways_of(net), eliminated(net, "ac", columns.ac_s, extra)
    carried = _complex(gone.on(ways.ac).carried(columns.ac_a[:, None].copy()))
    count = carried.shape[2]
    slips = np.full((len(net.motors), count), STALLED)
    cores: list[Cores | None] = [None] * count
    for several in _alike(_Coupled.of(wound, gone, carried, columns) for wound in _wound(net, columns)):
        done = turn(
            net, several[0].wound.ports, np.concatenate([c.turns for c in several], axis=1),
            np.concatenate([c.driven for c in several], axis=1), np.concatenate([c.ohms for c in several], axis=2),
            np.concatenate([c.loads for c in several], axis=1),
        )  # fmt: skip
        start = 0
        for one in several:
            networks, rows = one.wound.networks, one.wound.way.nodes
            part = slice(start, start := start + networks.size)
            carried[rows[:, None], 0, networks] += (one.own[rows] * done.injected[:, part]).sum(axis=1)
            slips[np.array(one.wound.motors)[:, None], networks] = done.slips[:, part]
            for k, siemens in zip(networks.tolist(), done.siemens[part], strict=True):
                cores[k] = Cores(one.wound.motors, siemens)
    return _complex(gone.on(ways.whole).volts(carried)[:, 0]), slips, tuple(cores)


def _complex(found: Array) -> Complexes:
    return np.asarray(found, np.complex128)


@dataclass(frozen=True, slots=True)
class _Wound:
    """Networks in which the same motors are more than plain branches."""

    motors: tuple[int, ...]
    ports: tuple[MotorPort, ...]
    dipoles: Complexes
    way: Way
    networks: Indices


def _wound(net: Net, columns: Columns) -> Iterator[_Wound]:
    kept = net.scratch.setdefault("ways of motors", {})
    assert isinstance(kept, dict)
    for numbers, networks in coupled(net, columns.turns).items():
        if numbers not in kept:
            ports = tuple(motor_ports(net)[m] for m in numbers)
            way = net.plan.way(node for port in ports for ends in port.ends for node in ends)
            kept[numbers] = (ports, dipoles(net, ports), way)
        ports, unit, way = kept[numbers]
        yield _Wound(numbers, ports, unit, way, networks)


@dataclass(frozen=True, slots=True)
class _Coupled:
    """What the cores of those motors meet in the rest of the network."""

    wound: _Wound
    turns: Indices
    loads: Floats
    """(motors, networks) what each drives, as a share of its usual load."""
    driven: Complexes
    """(ports, networks) volts that the rest drives through them."""
    ohms: Complexes
    """(ports, ports, networks) that it opposes to a current out of them."""
    own: Complexes
    """(nodes, ports, networks) what one ampere out of each carries to the nodes."""

    @classmethod
    def of(cls, wound: _Wound, gone: Eliminated | Followed, carried: Complexes, columns: Columns) -> _Coupled:
        near = gone.on(wound.way, wound.networks)
        own = _complex(near.carried(np.repeat(wound.dipoles[:, :, None], wound.networks.size, 2)))
        both = np.concatenate([carried[:, :, wound.networks], own], axis=1)
        across = across_ports(wound.ports, near.volts(both))
        at = np.array(wound.motors)[:, None], wound.networks
        return cls(wound, columns.turns[at], columns.loads[at], across[:, 0], across[:, 1:], own)


def _alike(coupled: Iterable[_Coupled]) -> Iterable[list[_Coupled]]:
    """Together what has motors of the same make."""
    out: dict[object, list[_Coupled]] = {}
    for one in coupled:
        make = tuple((m.cage, m.load_watts, m.closed) for m in (port.motor for port in one.wound.ports))
        out.setdefault(make, []).append(one)
    return out.values()


def _correction(
    net: Net, columns: Columns, direct: Eliminated | Followed, which: Indices, volts: Floats, extra: Floats | None
) -> Floats:
    """One step of refinement of the DC volts: what the currents that are left over at the nodes still move.

    which: the networks of `direct` that `columns` and `volts` are of.

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
    into, out = _sums(net)
    out.add(left, -amps)
    into.add(left, amps)
    left = left[:-1]
    if extra is not None:
        left -= extra[:, which] * volts
    passage = direct.on(ways_of(net).whole, which)
    return np.asarray(passage.volts(passage.carried(left[:, None]))[:, 0], np.float64)


def _sums(net: Net) -> tuple[Sums, Sums]:
    """From elements to the nodes at their ends b and a; earth is the node after the last."""
    found = net.scratch.get("ends")
    if found is None:
        ends = net.plan.element_nodes % (len(net.nodes) + 1)
        found = net.scratch["ends"] = (sums(ends[:, 1].tolist()), sums(ends[:, 0].tolist()))
    assert isinstance(found, tuple)
    return found


@dataclass(frozen=True)
class Watch:
    """Node and element numbers of everything that `settle` looks at, for one net.

    In this order along the last axis of `Group.watched`: volts (magnitude, unless the law is signed) across the terminals
    of each of the net's laws; current over what it stands, of each of its current laws; amperes out of, and then volts
    across, the source of each of its limit laws.
    """

    law_ends: Indices
    law_is_dc: npt.NDArray[np.bool_]
    law_is_signed: npt.NDArray[np.bool_]
    stressed: Indices
    stands: Floats
    limited: Indices
    limited_emf: Indices
    wound: Indices

    @cached_property
    def laws(self) -> slice:
        return slice(0, len(self.law_ends))

    @cached_property
    def stress(self) -> slice:
        return slice(self.laws.stop, self.laws.stop + len(self.stressed))

    @cached_property
    def amps(self) -> slice:
        return slice(self.stress.stop, self.stress.stop + len(self.limited))

    @cached_property
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


def watched(net: Net, ac: Alternating, dc: Direct) -> Floats:
    """(networks, what is watched): a settle then only compares plain numbers."""
    watch = watch_of(net)
    direct = np.where(watch.law_is_signed, dc.across, np.abs(dc.across))
    across = np.where(watch.law_is_dc, direct, ac.across)
    return np.hstack([across, np.hypot(ac.through, dc.through) / watch.stands, dc.amps, dc.volts])


def _see_alternating(net: Net, columns: Columns, ac_v: Complexes, slips: Floats) -> Alternating:
    watch, ends = watch_of(net), net.plan.element_nodes
    ac = np.vstack([ac_v, np.zeros((1, ac_v.shape[1]))])  # EARTH is -1, the last row
    a, b = watch.law_ends[:, 0], watch.law_ends[:, 1]
    c, d = ends[watch.stressed, 0], ends[watch.stressed, 1]
    through = np.abs((ac[c] - ac[d]) * columns.ac_s[watch.stressed])
    return Alternating(np.abs(ac[a] - ac[b]).T, through.T, _windings(net, columns, ac_v).T, slips.T)


def _see_direct(net: Net, columns: Columns, dc_v: Floats) -> Direct:
    watch, ends = watch_of(net), net.plan.element_nodes
    dc = np.vstack([dc_v, np.zeros((1, dc_v.shape[1]))])
    a, b = watch.law_ends[:, 0], watch.law_ends[:, 1]
    c, d = ends[watch.stressed, 0], ends[watch.stressed, 1]
    through = np.abs((dc[c] - dc[d]) * columns.dc_s[watch.stressed])
    e, f = ends[watch.limited, 0], ends[watch.limited, 1]
    volts = dc[e] - dc[f]
    amps = (columns.dc_emf[watch.limited_emf] - volts) * columns.dc_s[watch.limited]
    return Direct((dc[a] - dc[b]).T, through.T, amps.T, volts.T)


def _windings(net: Net, columns: Columns, ac_v: Complexes) -> Complexes:
    """(3 a motor, networks) amperes."""
    wound, ends = watch_of(net).wound, net.plan.element_nodes
    ac = np.vstack([ac_v, np.zeros((1, ac_v.shape[1]))])
    found: Complexes = (ac[ends[wound, 0]] - ac[ends[wound, 1]]) * columns.ac_s[wound]
    return found
