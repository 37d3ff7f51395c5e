"""One settled set of conductances and what follows from it: voltages, currents, what any meter reads."""

from __future__ import annotations

import math
import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Branch, Converter, Intake, Source, Spare, Switch, Variable, When
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.converters import Port, ports_of
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import EARTH, LEAK_S, Array, node_voltages
from troubleshoot.solve.turning import STALLED, across_ports, couples, dipoles, direction, motor_ports, turn

LIMITING_S = 1e-4
"""Siemens across a source in current limit: stiff enough to be a current source, never an open circuit."""

Complexes = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rectified:
    """What a rectifier's output, or a half of it, gives for one volt r.m.s. of AC in one state of its diodes."""

    mean: float
    ripple: float
    on: bool


@dataclass(eq=False)
class Network:
    """Conductances of every element and what they give. One object per distinct network; treat as frozen.

    Two entries a rectifier, what it takes on its AC side and what it gives on its DC side, are filled in by `solve_all`.
    """

    ac_s: Complexes
    """(elements,) siemens at supply frequency."""
    dc_s: Floats
    """(elements,) siemens at zero frequency."""
    ac_a: Complexes
    """(nodes,) amperes r.m.s. injected at supply frequency."""
    dc_a: Floats
    """(nodes,) amperes injected at zero frequency."""
    earth: tuple[tuple[int, float], ...]
    """Nodes with a fault to earth and its siemens."""
    emf_ac: Mapping[int, complex] = field(default_factory=dict)
    emf_dc: dict[int, float] = field(default_factory=dict)
    rectified: Mapping[int, Rectified] = field(default_factory=dict)
    """By the element of a rectifier's output."""
    turns: tuple[int, ...] = ()
    """Of each motor: 1 forward, -1 backward, 0 where it does not turn."""
    ac_v: Complexes | None = None
    """(nodes,) volts r.m.s., phase of L1 = 0; filled by `solve_all`."""
    dc_v: Floats | None = None
    stress: tuple[float, ...] | None = None
    """Current over what it stands, of each of the net's current laws; filled by `solve_all`."""
    across: tuple[float, ...] | None = None
    """Volts (magnitude, unless the law is signed) across the terminals of each of the net's laws, in their order; filled by `solve_all`."""
    windings: tuple[complex, ...] | None = None
    """Amperes in the windings of each motor, three a motor; filled by `solve_all`."""

    slips: tuple[float, ...] = ()
    """Of each motor, STALLED where it does not turn or cannot carry its load; filled by `solve_all`."""
    cores: Complexes | None = None
    """(ports, ports) siemens that the motors take over the plain branches of their cores; filled by `solve_all`."""

    def volts(self, kind: str) -> Array:
        """(nodes,) volts of one kind of current, ``ac`` or ``dc``, once `solve_all` has filled them in."""
        volts = self.ac_v if kind == "ac" else self.dc_v
        assert volts is not None
        return volts


def holds(when: When | None, state: Mapping[str, str]) -> bool:
    """Whether a condition on a state variable holds; no condition always does."""
    return when is None or state.get(when.var) in when.values


def limiting(part: Source, state: Mapping[str, str]) -> bool:
    """Whether a source has turned into a source of constant current."""
    return part.limit is not None and part.when is not None and state.get(part.when.var) == "limiting"


def network_of(net: Net, state: Mapping[str, str], edits: Sequence[Edit]) -> Network:
    """The network for one state of every variable, with edits laid over it; cached by content on the net."""
    numeric = tuple(e for e in edits if e.does in ("siemens", "earth", "times"))
    relevant = _state_slots(net)
    key = (numeric, tuple(state.get(var) for var in relevant))
    cache = net.scratch.get("networks")
    if cache is None:
        # Weak: a network that no outcome stands on is let go, so that a night's work does not fill a small laptop.
        cache = net.scratch["networks"] = weakref.WeakValueDictionary()
    assert isinstance(cache, weakref.WeakValueDictionary)
    found = cache.get(key)
    if found is None:
        found = cache[key] = _build(net, state, numeric)
    assert isinstance(found, Network)
    return found


def _state_slots(net: Net) -> tuple[str, ...]:
    found = net.scratch.get("state slots")
    if found is None:
        names: dict[str, None] = {}
        for element in net.elements:
            match element.part:
                case Switch():
                    names |= {w.var: None for w in element.part.when}
                case Variable():
                    names[element.part.var] = None
                case Source() if element.part.when is not None:
                    names[element.part.when.var] = None
                case Converter():
                    names |= {element.part.when.var: None, element.part.flaw: None}
                case _:
                    pass
        found = net.scratch["state slots"] = tuple(names)
    assert isinstance(found, tuple)
    return found


@dataclass(frozen=True, slots=True)
class _Fixed:
    """The part of every network of one net that no state changes."""

    ac_s: Complexes
    dc_s: Floats
    moving: tuple[int, ...]
    """Numbers of the elements that a state variable changes."""


def _fixed(net: Net) -> _Fixed:
    found = net.scratch.get("fixed")
    if found is None:
        ac_s, dc_s = np.zeros(len(net.elements), np.complex128), np.zeros(len(net.elements))
        moving = []
        for k, element in enumerate(net.elements):
            if isinstance(element.part, Branch):
                ac_s[k], dc_s[k] = 1 / element.part.ac, 1 / element.part.dc
            elif not isinstance(element.part, Spare):
                moving.append(k)
        found = net.scratch["fixed"] = _Fixed(ac_s, dc_s, tuple(moving))
    assert isinstance(found, _Fixed)
    return found


def _build(net: Net, state: Mapping[str, str], edits: Sequence[Edit]) -> Network:
    fixed = _fixed(net)
    ac_s, dc_s = fixed.ac_s.copy(), fixed.dc_s.copy()
    ac_a, dc_a = np.zeros(len(net.nodes), np.complex128), np.zeros(len(net.nodes))
    changed = {net.element_index[e.slot]: float(e.value) for e in edits if e.does == "siemens"}
    emf_ac: dict[int, complex] = {}
    emf_dc: dict[int, float] = {}
    rectified: dict[int, Rectified] = {}
    for k in fixed.moving:
        part = net.elements[k].part
        match part:
            case Switch():
                if all(holds(w, state) for w in part.when):
                    ac_s[k] = dc_s[k] = 1 / part.ohms
                elif part.leak is not None:
                    ac_s[k] = dc_s[k] = 1 / part.leak
            case Variable():
                ac_s[k], dc_s[k] = 1 / part.ac[state[part.var]], 1 / part.dc[state[part.var]]
            case Source():
                ac, dc, emf = _source(part, state, changed.get(k))
                ac_s[k], dc_s[k] = ac, dc
                if part.net == "ac":
                    emf_ac[k] = emf
                    _inject(ac_a, net.elements[k].a, net.elements[k].b, emf * ac)
                else:
                    emf_dc[k] = float(np.real(emf))
                    _inject(dc_a, net.elements[k].a, net.elements[k].b, emf * dc)
            case Converter():
                on = holds(part.when, state)
                dc_s[k] = 1 / (part.ohms if on else part.off_ohms)
                flaw = state[part.flaw]
                rectified[k] = Rectified(part.share * part.mean[flaw], part.share * part.ripple[flaw], on)
            case Branch() | Intake() | Spare():
                pass
    for e in edits:
        if e.does == "times":
            ac_s[net.element_index[e.slot]] *= float(e.value)
            dc_s[net.element_index[e.slot]] *= float(e.value)
    for k, siemens in changed.items():
        ac_s[k] = dc_s[k] = siemens
    earth = tuple((net.index[e.slot], float(e.value)) for e in edits if e.does == "earth")
    # A core that a fault has changed is what the fault makes it, whatever the rotor does.
    turns = tuple(0 if changed.keys() & set(port.elements) else direction(state[port.var]) for port in motor_ports(net))
    return Network(ac_s, dc_s, ac_a, dc_a, earth, emf_ac, emf_dc, rectified, turns)


def _source(part: Source, state: Mapping[str, str], changed: float | None) -> tuple[complex, float, complex]:
    """AC and DC siemens and the emf of a source in one state."""
    on = holds(part.when, state)
    emf = part.volts if on else 0.0
    if changed is not None:
        return changed, changed, emf
    if limiting(part, state):
        # Norton's current as an emf behind LIMITING_S, so that the current through it comes out right.
        return LIMITING_S, LIMITING_S, (part.limit or 0.0) / LIMITING_S
    inner = part.ohms if on else part.off_ohms
    return 1 / inner, abs(1 / inner), emf


def _inject(into: Complexes | Floats, a: int, b: int, amps: complex) -> None:
    value = amps if into.dtype == np.complex128 else float(np.real(amps))
    if a != EARTH:
        into[a] += value
    if b != EARTH:
        into[b] -= value


def solve_all(net: Net, networks: Sequence[Network], chunk: int = 512) -> None:
    """Fill in the voltages of every network that has none yet, each distinct one once, in lockstep."""
    todo = list({id(n): n for n in networks if n.ac_v is None}.values())
    for start in range(0, len(todo), chunk):
        part = todo[start : start + chunk]
        ports = ports_of(net)
        if ports:
            _load(net, part, ports)
        ac_v = _alternating(net, part)
        for k, network in enumerate(part if ports else ()):
            _feed(net, network, ports, ac_v[:, k])
        dc_v = _solve(net, part, "dc", np.stack([n.dc_a for n in part], axis=1)[:, None, :])[:, 0, :]
        dc_v = np.real(dc_v) + _correction(net, part, np.real(dc_v))
        for k, network in enumerate(part):
            network.ac_v, network.dc_v = ac_v[:, k].astype(np.complex128), np.real(dc_v[:, k]).astype(np.float64)
        _fill_in(net, part, np.asarray(ac_v, np.complex128), np.real(dc_v).astype(np.float64))


def _load(net: Net, networks: Sequence[Network], ports: Sequence[Port]) -> None:
    """Put on the AC side of every rectifier the conductance that takes the power drawn on its DC side."""
    nodes = [node for port in ports for node in port.dc]
    z = transfer(net, networks, "dc", nodes)
    for p, port in enumerate(ports):
        a, b = 2 * p, 2 * p + 1
        seen = np.real(z[a, a] + z[b, b] - z[a, b] - z[b, a])
        for k, network in enumerate(networks):
            if network.ac_s[port.intake]:
                continue  # a diode has shorted: what it takes is that
            own = [float(network.dc_s[e]) for e in port.outputs]
            inner = sum(1 / s for s in own) if all(own) else math.inf
            # What stands outside the port: take its own conductance out of the parallel.
            outside = 1 / seen[k] - 1 / inner
            mean = sum(network.rectified[e].mean for e in port.outputs)
            ohms = sum(_diode_ohms(net, e) for e in port.outputs)
            network.ac_s[port.intake] = mean**2 / (ohms + 1 / outside) if outside > 0 and all(own) else 0.0


def _diode_ohms(net: Net, element: int) -> float:
    part = net.elements[element].part
    assert isinstance(part, Converter)
    return part.ohms


def _feed(net: Net, network: Network, ports: Sequence[Port], ac_v: Array) -> None:
    """Set the DC sources of one network's rectifiers by the AC volts at their intakes."""
    for port in ports:
        volts = [0.0 if node == EARTH else ac_v[node] for node in port.ac]
        for e in port.outputs:
            what = network.rectified[e]
            emf = what.mean * float(np.abs(volts[0] - volts[1])) if what.on else 0.0
            network.emf_dc[e] = emf
            _inject(network.dc_a, net.elements[e].a, net.elements[e].b, emf * network.dc_s[e])


def _alternating(net: Net, networks: Sequence[Network]) -> Complexes:
    """(nodes, networks) volts at supply frequency; settles the slip of the motors on the way."""
    volts = np.empty((len(net.nodes), len(networks)), np.complex128)
    coupled = [couples(net, n.turns) for n in networks]
    plain = [k for k, wound_one in enumerate(coupled) if not wound_one]
    wound = [k for k, wound_one in enumerate(coupled) if wound_one]
    if plain:
        some = [networks[k] for k in plain]
        volts[:, plain] = _solve(net, some, "ac", np.stack([n.ac_a for n in some], axis=1)[:, None, :])[:, 0, :]
        for network in some:
            network.slips = (STALLED,) * len(network.turns)
    if wound:
        some = [networks[k] for k in wound]
        both = np.concatenate(
            [np.stack([n.ac_a for n in some], axis=1)[:, None, :], np.repeat(dipoles(net)[:, :, None], len(some), 2)], 1
        )
        solved = np.asarray(_solve(net, some, "ac", both), np.complex128)
        alone, response = solved[:, 0, :], solved[:, 1:, :]
        turns = np.array([n.turns for n in some], dtype=np.intp).T
        done = turn(net, turns, across_ports(net, alone), across_ports(net, response))
        volts[:, wound] = alone + (response * done.injected[None]).sum(axis=1)
        for k, network in enumerate(some):
            network.slips, network.cores = tuple(done.slips[:, k].tolist()), done.siemens[k]
    return volts


@dataclass(frozen=True, slots=True)
class _Watched:
    """Node and element numbers of everything that `settle` looks at, for one net."""

    law_ends: npt.NDArray[np.intp]
    law_is_dc: npt.NDArray[np.bool_]
    law_is_signed: npt.NDArray[np.bool_]
    stressed: npt.NDArray[np.intp]
    stands: Floats
    wound: npt.NDArray[np.intp]


def _watched(net: Net) -> _Watched:
    found = net.scratch.get("watched")
    if found is None:
        index, numbers = net.index, net.element_index
        found = net.scratch["watched"] = _Watched(
            np.array([(index[law.a], index[law.b]) for law in net.laws], dtype=np.intp).reshape(-1, 2),
            np.array([law.net == "dc" for law in net.laws], dtype=np.bool_),
            np.array([law.signed for law in net.laws], dtype=np.bool_),
            np.array([numbers[law.part] for law in net.currents], dtype=np.intp),
            np.array([law.amps for law in net.currents]),
            np.array([numbers[name] for motor in net.motors for name in motor.windings], dtype=np.intp),
        )
    assert isinstance(found, _Watched)
    return found


def _fill_in(net: Net, networks: Sequence[Network], ac_v: Complexes, dc_v: Floats) -> None:
    """Work out, for all networks at once, what the laws look at: a settle then only compares plain numbers."""
    watched, ends = _watched(net), net.plan.element_nodes
    earth = np.zeros((1, len(networks)))
    ac, dc = np.vstack([ac_v, earth]), np.vstack([dc_v, earth])  # EARTH is -1, the last row
    a, b = watched.law_ends[:, 0], watched.law_ends[:, 1]
    direct = np.where(watched.law_is_signed[:, None], dc[a] - dc[b], np.abs(dc[a] - dc[b]))
    across = np.where(watched.law_is_dc[:, None], direct, np.abs(ac[a] - ac[b])).T.tolist()
    ac_s, dc_s = np.stack([n.ac_s for n in networks], axis=1), np.stack([n.dc_s for n in networks], axis=1)
    c, d = ends[watched.stressed, 0], ends[watched.stressed, 1]
    through = np.hypot(
        np.abs((ac[c] - ac[d]) * ac_s[watched.stressed]), np.abs((dc[c] - dc[d]) * dc_s[watched.stressed])
    )
    stress = (through / watched.stands[:, None]).T.tolist()
    e, f = ends[watched.wound, 0], ends[watched.wound, 1]
    windings = ((ac[e] - ac[f]) * ac_s[watched.wound]).T.tolist()
    for k, network in enumerate(networks):
        network.across, network.stress, network.windings = tuple(across[k]), tuple(stress[k]), tuple(windings[k])


def _correction(net: Net, networks: Sequence[Network], volts: Floats) -> Floats:
    """One step of refinement of the DC volts: what the currents that are left over at the nodes still move.

    A floating 24 V supply is a pair of 1200 A injections that must cancel to the last digit over an island held by
    nanosiemens; they leave microvolts. Taken branch by branch, each current is added at one end exactly as it is taken
    from the other, so the left-over is right to 1e-16 of a real current, not of a short-circuit current. The AC star
    point is always earthed, so no AC source floats. Source: Wilkinson, Rounding Errors in Algebraic Processes (1963),
    from memory.
    """
    left = -LEAK_S * volts
    siemens_of = np.stack([n.dc_s for n in networks], axis=1)
    padded = np.vstack([volts, np.zeros((1, len(networks)))])  # EARTH is -1, the last row
    for k, element in enumerate(net.elements):
        emf: Floats | float = 0.0
        if isinstance(element.part, Source | Converter):
            emf = np.array([n.emf_dc.get(k, 0.0) for n in networks])
        amps = siemens_of[k] * (padded[element.a] - padded[element.b] - emf)
        if element.a != EARTH:
            left[element.a] -= amps
        if element.b != EARTH:
            left[element.b] += amps
    for k, network in enumerate(networks):
        for node, siemens in network.earth:
            left[node, k] -= siemens * volts[node, k]
    return np.real(_solve(net, networks, "dc", left[:, None, :])[:, 0, :]).astype(np.float64)


def _solve(net: Net, networks: Sequence[Network], kind: str, injected: Array) -> Array:
    siemens: Array = np.stack([n.ac_s if kind == "ac" else n.dc_s for n in networks], axis=1)
    if not any(n.earth for n in networks):
        return node_voltages(net.plan, siemens, injected)
    extra = np.zeros((len(net.nodes), len(networks)), siemens.dtype)
    for k, network in enumerate(networks):
        for node, value in network.earth:
            extra[node, k] += value
    return node_voltages(net.plan, siemens, injected, extra)


def transfer(net: Net, networks: Sequence[Network], kind: str, nodes: Sequence[int]) -> Array:
    """Transfer impedances between `nodes`, ohms: (len(nodes), len(nodes), networks); sources at rest.

    A turning motor counts with the slip that it has: a meter is too small a load to change it.
    """
    unit = np.zeros((len(net.nodes), len(nodes), len(networks)), np.complex128 if kind == "ac" else np.float64)
    for k, node in enumerate(nodes):
        unit[node, k, :] = 1.0
    index = np.array(nodes, dtype=np.intp)
    wound = [k for k, n in enumerate(networks) if n.cores is not None] if kind == "ac" else []
    if not wound:
        return _solve(net, networks, kind, unit)[index]
    own = np.repeat(dipoles(net)[:, :, None], len(networks), 2)
    solved = _solve(net, networks, kind, np.concatenate([unit, own], axis=1))
    plain, response = solved[:, : len(nodes)], solved[:, len(nodes) :]
    z, at_ports = np.moveaxis(across_ports(net, response), 2, 0), np.moveaxis(across_ports(net, plain), 2, 0)
    found = np.asarray(plain[index], np.complex128)
    for k in wound:
        cores = networks[k].cores
        assert cores is not None
        volts = np.linalg.solve(np.eye(len(cores)) + z[k] @ cores, at_ports[k])
        found[:, :, k] -= response[index, :, k] @ (cores @ volts)
    return found


def volts_between(network: Network, kind: str, a: int, b: int) -> complex:
    """Open-circuit volts from b to a, r.m.s. phasor or DC volts."""
    volts = network.volts(kind)
    va = 0.0 if a == EARTH else volts[a]
    vb = 0.0 if b == EARTH else volts[b]
    return complex(va - vb)


def amps_through(net: Net, network: Network, element: int) -> tuple[complex, float]:
    """AC phasor and DC amperes from end a to end b of one element (for a source: delivered out of a)."""
    found = net.elements[element]
    ac = volts_between(network, "ac", found.a, found.b)
    dc = volts_between(network, "dc", found.a, found.b).real
    if isinstance(found.part, Source | Converter):
        return (
            complex((network.emf_ac.get(element, 0.0) - ac) * network.ac_s[element]),
            float((network.emf_dc.get(element, 0.0) - dc) * network.dc_s[element]),
        )
    return complex(ac * network.ac_s[element] + _field_amps(net, network, element)), float(dc * network.dc_s[element])


def _field_amps(net: Net, network: Network, element: int) -> complex:
    """What the core of a motor takes beside its plain branch; nothing for any other element."""
    if network.cores is None:
        return 0.0
    cores = [k for port in motor_ports(net) for k in port.elements]
    if element not in cores:
        return 0.0
    return complex(network.cores[cores.index(element)] @ across_ports(net, network.volts("ac")))
