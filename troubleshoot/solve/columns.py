"""Conductances and sources of many networks of one net side by side, a column each: what goes into the elimination."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Branch, Converter, Source, Switch, Variable, When, shaft_of
from troubleshoot.solve.codes import NOBODY, Codes, Tests, book_of, tests
from troubleshoot.solve.compiled import Element, Net
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.elimination import EARTH
from troubleshoot.solve.turning import direction, motor_ports

LIMITING_S = 1e-4
"""Siemens across a source in current limit: stiff enough to be a current source, never an open circuit."""
LIMITING = "limiting"

Complexes = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Columns:
    """Many networks of one net. What a rectifier takes and gives is filled in when they are solved."""

    ac_s: Complexes
    """(elements, networks) siemens at supply frequency."""
    dc_s: Floats
    """(elements, networks) siemens at zero frequency."""
    ac_a: Complexes
    """(nodes, networks) amperes r.m.s. injected at supply frequency."""
    dc_a: Floats
    """(nodes, networks) amperes injected at zero frequency."""
    ac_emf: Complexes
    """(AC sources, networks) in the order of `Layout.ac_sources`."""
    dc_emf: Floats
    """(DC sources and rectifier outputs, networks) in the order of `Layout.dc_sources`."""
    mean: Floats
    """(rectifier outputs, networks) DC volts for one volt r.m.s. of AC, in the order of `Layout.converters`."""
    ripple: Floats
    """The same: r.m.s. volts of what an AC range still sees."""
    on: npt.NDArray[np.bool_]
    """The same: whether its diodes conduct."""
    earth: tuple[tuple[tuple[int, float], ...], ...]
    """Of each network, nodes with a fault to earth and its siemens."""
    turns: Indices
    """(motors, networks): 1 forward, -1 backward, 0 where it does not turn."""
    loads: Floats
    """(motors, networks): what each has to drive, as a share of its usual load."""

    def to_earth(self) -> Floats | None:
        """(nodes, networks) siemens of the faults to earth; None where there are none."""
        if not any(self.earth):
            return None
        extra = np.zeros(self.dc_a.shape)
        for column, faults in enumerate(self.earth):
            for node, siemens in faults:
                extra[node, column] += siemens
        return extra

    def by_network(self) -> Columns:
        """The same with the numbers of each network beside each other in memory, to be handed out one by one."""
        return Columns(
            np.asfortranarray(self.ac_s), np.asfortranarray(self.dc_s), np.asfortranarray(self.ac_a),
            np.asfortranarray(self.dc_a), self.ac_emf, self.dc_emf, self.mean, self.ripple, self.on, self.earth, self.turns,
            self.loads,
        )  # fmt: skip

    def some(self, which: Indices) -> Columns:
        """Some of the networks."""
        return Columns(
            self.ac_s[:, which], self.dc_s[:, which], self.ac_a[:, which], self.dc_a[:, which], self.ac_emf[:, which],
            self.dc_emf[:, which], self.mean[:, which], self.ripple[:, which], self.on[:, which],
            tuple(self.earth[k] for k in which.tolist()), self.turns[:, which], self.loads[:, which],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Layout:
    """Where in a net the elements stand that a state or an edit changes, with what they are in each state."""

    fixed_ac: Complexes
    fixed_dc: Floats
    switches: Indices
    closed: Tests
    closed_s: Floats
    open_s: Floats
    variables: Indices
    variable_columns: Indices
    variable_ac: Complexes
    """(variables, codes); infinite where a variable has no such state."""
    variable_dc: Floats
    sources: tuple[tuple[int, Source], ...]
    sources_on: Tests
    sources_limit: Tests
    ac_sources: tuple[int, ...]
    dc_sources: tuple[int, ...]
    converters: tuple[tuple[int, Converter], ...]
    converters_on: Tests
    relevant: Indices
    """Columns of the variables that make a difference to a network."""
    motor_of: Mapping[int, int]
    """By the element of a motor's core, the motor's number."""


def layout(net: Net) -> Layout:
    """The layout of a net; kept on it."""
    return net.kept("layout", Layout, _layout)


def _layout(net: Net) -> Layout:
    book = book_of(net)
    ac, dc = np.zeros(len(net.elements), np.complex128), np.zeros(len(net.elements))
    switches: list[tuple[int, Switch]] = []
    variables: list[tuple[int, Variable]] = []
    sources: list[tuple[int, Source]] = []
    converters: list[tuple[int, Converter]] = []
    relevant: dict[str, None] = {}
    for k, element in enumerate(net.elements):
        match element.part:
            case Branch() as part:
                ac[k], dc[k] = 1 / part.ac, 1 / part.dc
            case Switch() as part:
                switches.append((k, part))
                relevant |= {when.var: None for when in part.when}
            case Variable() as part:
                variables.append((k, part))
                relevant[part.var] = None
            case Source() as part:
                sources.append((k, part))
                relevant |= {when.var: None for when in _when(part)}
            case Converter() as part:
                converters.append((k, part))
                relevant |= {part.when.var: None, part.flaw: None}
            case _:
                pass
    # What a motor drives decides its slip, and so what its windings take.
    relevant |= {shaft_of(motor): None for motor in net.motors if motor.shares}
    by_code_ac = np.full((len(variables), len(book.values) + 64), np.inf, np.complex128)
    by_code_dc = np.full(by_code_ac.shape, np.inf)
    for row, (_, part) in enumerate(variables):
        for value in part.ac:
            code = book.code(value)
            by_code_ac[row, code], by_code_dc[row, code] = 1 / part.ac[value], 1 / part.dc[value]
    return Layout(
        ac, dc,
        _numbers(k for k, _ in switches),
        tests(book, [part.when for _, part in switches]),
        np.array([1 / part.ohms for _, part in switches]),
        np.array([0.0 if part.leak is None else 1 / part.leak for _, part in switches]),
        _numbers(k for k, _ in variables),
        _numbers(book.column(part.var) for _, part in variables),
        by_code_ac, by_code_dc, tuple(sources),
        tests(book, [_when(part) for _, part in sources]),
        tests(book, [_limited(part) for _, part in sources]),
        tuple(k for k, part in sources if part.net == "ac"),
        tuple(sorted([k for k, part in sources if part.net == "dc"] + [k for k, _ in converters])),
        tuple(converters),
        tests(book, [(part.when,) for _, part in converters]),
        _numbers(book.column(var) for var in relevant),
        {k: m for m, port in enumerate(motor_ports(net)) for k in port.elements},
    )  # fmt: skip


def _numbers(found: Iterable[int]) -> Indices:
    return np.array(list(found), dtype=np.intp)


def _when(part: Source) -> tuple[When, ...]:
    return () if part.when is None else (part.when,)


def _limited(part: Source) -> tuple[When, ...]:
    """When a source has turned into a source of constant current; one without a limit never does."""
    return (NOBODY if part.when is None or part.limit is None else When(part.when.var, (LIMITING,)),)


def build(net: Net, codes: Codes, edits: Sequence[tuple[Edit, ...]]) -> Columns:
    """The networks of many states, each with its edits laid over it.

    codes: (networks, variables) by the net's book. Raises KeyError for a state that a part does not know.
    """
    made, across = layout(net), np.ascontiguousarray(codes.T)
    count = codes.shape[0]
    ac_s, dc_s = np.repeat(made.fixed_ac[:, None], count, 1), np.repeat(made.fixed_dc[:, None], count, 1)
    if made.switches.size:
        siemens = np.where(made.closed.hold(across), made.closed_s[:, None], made.open_s[:, None])
        ac_s[made.switches], dc_s[made.switches] = siemens, siemens
    if made.variables.size:
        rows, now = np.arange(made.variables.size)[:, None], across[made.variable_columns]
        now = np.minimum(now, made.variable_ac.shape[1] - 1)
        dc_s[made.variables] = made.variable_dc[rows, now]
        ac_s[made.variables] = made.variable_ac[rows, now]
        if np.isinf(dc_s[made.variables]).any():
            raise KeyError("a part is in a state that its kind does not have")
    columns = Columns(
        ac_s, dc_s,
        np.zeros((len(net.nodes), count), np.complex128), np.zeros((len(net.nodes), count)),
        np.zeros((len(made.ac_sources), count), np.complex128), np.zeros((len(made.dc_sources), count)),
        *_rectifiers(net, made, across, dc_s),
        earthed(net, edits), turns(net, codes), loads(net, codes),
    )  # fmt: skip
    _put_sources(net, made, across, columns, edits)
    for column, some in enumerate(edits):
        if some:
            lay(net, made, columns, column, some)
    return columns


def _rectifiers(net: Net, made: Layout, across: Codes, dc_s: Floats) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Mean, ripple and conduction of every rectifier output; its siemens go into `dc_s`."""
    book, on = book_of(net), made.converters_on.hold(across)
    mean, ripple = np.zeros(on.shape), np.zeros(on.shape)
    for row, (k, part) in enumerate(made.converters):
        dc_s[k] = np.where(on[row], 1 / part.ohms, 1 / part.off_ohms)
        for value in part.mean:
            flawed = across[book.column(part.flaw)] == book.code(value)
            mean[row, flawed] = part.share * part.mean[value]
            ripple[row, flawed] = part.share * part.ripple[value]
    return mean, ripple, on


def turns(net: Net, codes: Codes) -> Indices:
    """(motors, networks) which way each turns, of many states. codes: (networks, variables)."""
    book = book_of(net)
    ways = np.zeros(len(book.values), dtype=np.intp)
    for code, value in enumerate(book.values):
        ways[code] = 0 if value is None else direction(value)
    columns = [book.column(port.var) for port in motor_ports(net)]
    return np.asarray(ways[codes[:, columns].T], dtype=np.intp).reshape(len(columns), codes.shape[0])


def loads(net: Net, codes: Codes) -> Floats:
    """(motors, networks) what each drives, of many states. codes: (networks, variables)."""
    book, out = book_of(net), np.ones((len(net.motors), codes.shape[0]))
    for m, motor in enumerate(net.motors):
        shaft = codes[:, book.column(shaft_of(motor))]
        for state, share in motor.shares.items():
            out[m, shaft == book.code(state)] = share
    return out


def _put_sources(net: Net, made: Layout, across: Codes, columns: Columns, edits: Sequence[tuple[Edit, ...]]) -> None:
    on, limit = made.sources_on.hold(across), made.sources_limit.hold(across)
    changed: dict[int, list[tuple[int, float]]] = {}
    numbers = {k for k, _ in made.sources}
    for column, some in enumerate(edits):
        for e in some:
            if e.does == "siemens" and net.element_index[e.slot] in numbers:
                changed.setdefault(net.element_index[e.slot], []).append((column, float(e.value)))
    for row, (k, part) in enumerate(made.sources):
        inner = np.where(on[row], 1 / part.ohms, 1 / part.off_ohms)
        # Norton's current as an emf behind LIMITING_S, so that the current through it comes out right.
        siemens = np.where(limit[row], LIMITING_S, inner)
        driven = np.where(on[row], part.volts, 0.0)
        emf = np.where(limit[row], (part.limit or 0.0) / LIMITING_S, driven)
        for column, value in changed.get(k, ()):
            siemens[column], emf[column] = value, driven[column]
        columns.ac_s[k], columns.dc_s[k] = siemens, np.abs(siemens)
        if part.net == "ac":
            columns.ac_emf[made.ac_sources.index(k)] = emf
            inject(columns.ac_a, net.elements[k], emf * columns.ac_s[k])
        else:
            columns.dc_emf[made.dc_sources.index(k)] = np.real(emf)
            inject(columns.dc_a, net.elements[k], np.real(emf) * columns.dc_s[k])


def inject(into: npt.NDArray[np.inexact], element: Element, amps: npt.NDArray[np.inexact]) -> None:
    """Put the current of a source into the nodes at its ends, in place."""
    if element.a != EARTH:
        into[element.a] += amps
    if element.b != EARTH:
        into[element.b] -= amps


def earthed(net: Net, edits: Sequence[tuple[Edit, ...]]) -> tuple[tuple[tuple[int, float], ...], ...]:
    """Of each network, nodes with a fault to earth and its siemens."""
    return tuple(tuple((net.index[e.slot], float(e.value)) for e in some if e.does == "earth") for some in edits)


def lay(net: Net, made: Layout, columns: Columns, column: int, edits: tuple[Edit, ...]) -> None:
    """Change what the edits change in one column."""
    for e in edits:
        if e.does == "times":
            k, factor = net.element_index[e.slot], float(e.value)
            columns.ac_s[k, column] *= factor
            columns.dc_s[k, column] *= factor
    for e in edits:
        if e.does == "siemens":
            k, siemens = net.element_index[e.slot], float(e.value)
            columns.ac_s[k, column] = columns.dc_s[k, column] = siemens
            if k in made.motor_of:
                # A core that a fault has changed is what the fault makes it, whatever the rotor does.
                columns.turns[made.motor_of[k], column] = 0


__all__ = ["LIMITING_S", "Columns", "Layout", "build", "earthed", "inject", "lay", "layout", "loads", "turns"]
