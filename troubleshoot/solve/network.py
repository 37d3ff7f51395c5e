"""One settled set of conductances and what follows from it: voltages, currents, what any meter reads."""

from __future__ import annotations

import weakref
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Converter, Source, When
from troubleshoot.solve.codes import Codes, book_of
from troubleshoot.solve.columns import LIMITING, Columns, Complexes, Floats, Indices, build, layout
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import EARTH, Array, node_voltages
from troubleshoot.solve.nearby import beside
from troubleshoot.solve.sides import Laid, laid_of
from troubleshoot.solve.solving import Cores, Solved, solve, units
from troubleshoot.solve.turning import across_ports, dipoles, motor_ports

_MOST_AMPS = 256


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
    emf_dc: Mapping[int, float] = field(default_factory=dict)
    rectified: Mapping[int, Rectified] = field(default_factory=dict)
    """By the element of a rectifier's output."""
    turns: tuple[int, ...] = ()
    """Of each motor: 1 forward, -1 backward, 0 where it does not turn."""
    loads: tuple[float, ...] = ()
    """Of each motor: what it has to drive, as a share of its usual load."""
    ac_v: Complexes | None = None
    """(nodes,) volts r.m.s., phase of L1 = 0; filled by `solve_all`."""
    dc_v: Floats | None = None
    windings: Complexes | None = None
    """Amperes in the windings of each motor, three a motor; filled by `solve_all`."""
    slips: tuple[float, ...] = ()
    """Of each motor, STALLED where it does not turn or cannot carry its load; filled by `solve_all`."""
    taken: Cores | None = None
    """What motors take over the plain branches of their cores; filled by `solve_all`."""

    @property
    def cores(self) -> Complexes | None:
        """(ports, ports) the same of all motors, in siemens; None where every one is plain branches."""
        if self.taken is None:
            return None
        rows = np.array([3 * m + k for m in self.taken.motors for k in range(3)], dtype=np.intp)
        whole = np.zeros((3 * len(self.turns), 3 * len(self.turns)), np.complex128)
        whole[rows[:, None], rows] = self.taken.siemens
        return whole

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
    return part.limit is not None and part.when is not None and state.get(part.when.var) == LIMITING


def numeric(edits: Sequence[Edit]) -> tuple[Edit, ...]:
    """The edits that change a network by themselves, whatever its state."""
    return tuple(e for e in edits if e.does in ("siemens", "earth", "times"))


def network_of(net: Net, state: Mapping[str, str], edits: Sequence[Edit]) -> Network:
    """The network for one state of every variable, with edits laid over it, not yet solved; cached by content."""
    codes = book_of(net).row(state)[None]
    laid = laid_of(net, numeric(edits))
    key = keys_of(net, codes, [laid])[0]
    known = _known(net)
    found = known.get(key)
    return (
        found if found is not None else known.setdefault(key, _unsolved(net, beside(net, codes[0], laid), 0, _Alike()))
    )


Key = tuple[Laid, bytes]
"""What makes a network: edits, and the variables that a network depends on."""


def keys_of(net: Net, codes: Codes, edits: Sequence[Laid]) -> list[Key]:
    """What tells the networks of many states apart. codes: (networks, variables)."""
    relevant = codes[:, layout(net).relevant]
    content, width = relevant.tobytes(), relevant.shape[1] * relevant.itemsize
    return [(laid, content[k * width : (k + 1) * width]) for k, laid in enumerate(edits)]


def _known(net: Net) -> weakref.WeakValueDictionary[Key, Network]:
    """Networks that somebody holds.

    Weak: a network that no outcome stands on is let go, so that a night's work does not fill a small laptop.
    """
    found = net.scratch.get("networks")
    if found is None:
        found = net.scratch["networks"] = weakref.WeakValueDictionary()
    assert isinstance(found, weakref.WeakValueDictionary)
    return found


def networks_at(net: Net, codes: Codes, edits: Sequence[Laid]) -> list[Network]:
    """The networks of many states, solved, to be kept by whoever asks. Arguments as of `keys_of`."""
    known = _known(net)
    keys = keys_of(net, codes, edits)
    found = {key: known.get(key) for key in keys}
    new: dict[Key, int] = {}
    for k, key in enumerate(keys):
        old = found[key]
        if old is None or old.ac_v is None:
            new.setdefault(key, k)
    places = list(new.values())
    for start in range(0, len(places), chunk(net)):
        part = places[start : start + chunk(net)]
        states, laid = codes[part], [edits[k] for k in part]
        one = len(part) == 1
        columns = beside(net, states[0], laid[0]) if one else build(net, states, [some.edits for some in laid])
        solved = solve(net, columns)
        columns = columns if one else columns.by_network()
        alike = _Alike()
        for column, k in enumerate(part):
            network = found[keys[k]]
            if network is None:
                network = known[keys[k]] = found[keys[k]] = _unsolved(net, columns, column, alike)
            _give(network, columns, solved, column, alike)
    if 0 < len(places) <= _FEW:  # of more than a few the arrays are shared: one would hold on to all
        _lately(net).extend(network for key in new if (network := found[key]) is not None)
    return [network for key in keys if (network := found[key]) is not None]


_FEW = 8


def _lately(net: Net) -> deque[Network]:
    """Networks that were solved by themselves lately: pressed again, a button meets the same ones."""
    found = net.scratch.setdefault("lately", deque(maxlen=4 * _FEW))
    assert isinstance(found, deque)
    return found


def chunk(net: Net) -> int:
    """How many networks are solved at once: so many that the calls cost little beside the work, in some 30 MB at most."""
    return max(256, min(2048, 230_000 // max(1, len(net.nodes))))


class _Alike:
    """One object for what is equal in networks that are made together: a third of their arrays, and most of the rest. Whoever
    holds a network treats it as frozen."""

    def __init__(self) -> None:
        self._arrays: dict[bytes, npt.NDArray[Any]] = {}
        self._values: dict[object, Any] = {}

    def array(self, column: npt.NDArray[Any]) -> Any:
        """A copy of a column; the one that was made of an equal one."""
        content = column.tobytes()
        found = self._arrays.get(content)
        if found is None or found.dtype != column.dtype:
            found = self._arrays[content] = column.copy()
        return found

    def numbers(self, column: npt.NDArray[Any]) -> tuple[Any, ...]:
        """The same of a tuple."""
        key = (column.dtype.char, column.tobytes())
        found = self._values.get(key)
        if found is None:
            found = self._values[key] = tuple(column.tolist())
        return found

    def named(self, names: Iterable[int], column: npt.NDArray[Any]) -> Mapping[int, Any]:
        """The same of a mapping from elements."""
        key = (tuple(names), column.dtype.char, column.tobytes())
        found = self._values.get(key)
        if found is None:
            found = self._values[key] = dict(zip(key[0], column.tolist(), strict=True))
        return found


def _give(network: Network, columns: Columns, solved: Solved, k: int, alike: _Alike) -> None:
    """Hand one column of what was solved to its network."""
    network.ac_v, network.dc_v = alike.array(solved.ac_v[:, k]), alike.array(solved.dc_v[:, k])
    network.windings = alike.array(solved.windings[:, k])
    network.slips, network.taken = alike.numbers(solved.slips[:, k]), solved.cores[k]
    # What a rectifier takes and gives is known only now.
    if network.rectified:
        network.ac_s, network.dc_a = columns.ac_s[:, k].copy(), columns.dc_a[:, k].copy()
        network.emf_dc = dict(zip(network.emf_dc, columns.dc_emf[:, k].tolist(), strict=True))


def _unsolved(net: Net, columns: Columns, k: int, alike: _Alike) -> Network:
    """One column as an object of its own."""
    made = layout(net)
    return Network(
        alike.array(columns.ac_s[:, k]), alike.array(columns.dc_s[:, k]),
        _shared(net, columns.ac_a[:, k]), _shared(net, columns.dc_a[:, k]),
        columns.earth[k],
        alike.named(made.ac_sources, columns.ac_emf[:, k]), alike.named(made.dc_sources, columns.dc_emf[:, k]),
        {
            e: Rectified(float(columns.mean[r, k]), float(columns.ripple[r, k]), bool(columns.on[r, k]))
            for r, (e, _) in enumerate(made.converters)
        },
        alike.numbers(columns.turns[:, k]), alike.numbers(columns.loads[:, k]),
    )  # fmt: skip


def _shared(net: Net, amps: npt.NDArray[Any]) -> Any:
    """One array for all networks with the same sources: there are few of them."""
    known = net.scratch.setdefault("amps", {})
    assert isinstance(known, dict)
    if len(known) > _MOST_AMPS:
        known.clear()
    content = amps.tobytes()
    found = known.get(content)
    if found is None:
        found = known[content] = amps.copy()
    return found


def solve_all(net: Net, networks: Sequence[Network]) -> None:
    """Fill in the voltages of every network that has none yet, each distinct one once, in lockstep."""
    todo = list({id(n): n for n in networks if n.ac_v is None}.values())
    for start in range(0, len(todo), chunk(net)):
        part = todo[start : start + chunk(net)]
        columns = _beside(net, part)
        solved, alike = solve(net, columns), _Alike()
        for k, network in enumerate(part):
            _give(network, columns, solved, k, alike)


def _beside(net: Net, networks: Sequence[Network]) -> Columns:
    made = layout(net)
    outputs = [[n.rectified[e] for e, _ in made.converters] for n in networks]
    return Columns(
        np.stack([n.ac_s for n in networks], axis=1), np.stack([n.dc_s for n in networks], axis=1),
        np.stack([n.ac_a for n in networks], axis=1), np.stack([n.dc_a for n in networks], axis=1),
        _side([[n.emf_ac.get(k, 0.0) for k in made.ac_sources] for n in networks], np.complex128),
        _side([[n.emf_dc.get(k, 0.0) for k in made.dc_sources] for n in networks], np.float64),
        _side([[out.mean for out in row] for row in outputs], np.float64),
        _side([[out.ripple for out in row] for row in outputs], np.float64),
        _side([[out.on for out in row] for row in outputs], np.bool_),
        tuple(n.earth for n in networks),
        _side([n.turns for n in networks], np.intp), _side([n.loads for n in networks], np.float64),
    )  # fmt: skip


def _side(rows: Sequence[Sequence[complex]], like: type) -> Any:
    """Rows of numbers, one a network, as columns."""
    return np.array(rows, dtype=like).reshape(len(rows), -1).T.copy()


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
    index = np.array(nodes, dtype=np.intp)
    unit = units(net, index, np.zeros((0, len(networks)), np.complex128 if kind == "ac" else np.float64))
    found = _solve(net, networks, kind, unit)[index]
    alike: dict[tuple[int, ...], list[int]] = {}
    for k, network in enumerate(networks if kind == "ac" else ()):
        if network.taken is not None:
            alike.setdefault(network.taken.motors, []).append(k)
    for numbers, wound in alike.items():
        found[:, :, wound] = _with_motors(net, [networks[k] for k in wound], numbers, unit[:, :, wound], index)
    return found


def _with_motors(net: Net, networks: Sequence[Network], numbers: tuple[int, ...], unit: Array, index: Indices) -> Array:
    """`transfer` where some motors are no plain branches."""
    ports, count = [motor_ports(net)[m] for m in numbers], unit.shape[1]
    own = np.repeat(dipoles(net, ports)[:, :, None], len(networks), 2)
    solved = _solve(net, networks, "ac", np.concatenate([unit, own], axis=1))
    plain, response = solved[:, :count], solved[:, count:]
    z, at_ports = np.moveaxis(across_ports(ports, response), 2, 0), np.moveaxis(across_ports(ports, plain), 2, 0)
    found = np.asarray(plain[index], np.complex128)
    for k, network in enumerate(networks):
        assert network.taken is not None
        siemens = network.taken.siemens
        volts = np.linalg.solve(np.eye(len(siemens)) + z[k] @ siemens, at_ports[k])
        found[:, :, k] -= response[index, :, k] @ (siemens @ volts)
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
    if network.taken is None:
        return 0.0
    ports = [motor_ports(net)[m] for m in network.taken.motors]
    numbers = [k for port in ports for k in port.elements]
    if element not in numbers:
        return 0.0
    return complex(network.taken.siemens[numbers.index(element)] @ across_ports(ports, network.volts("ac")))
