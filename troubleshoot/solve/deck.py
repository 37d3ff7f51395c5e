"""A settled network as a SPICE deck, so that any general circuit simulator can check our numbers.

One deck holds both networks, side by side and joined only at earth (node 0): the AC network on nodes 1 .. n, for
``.ac`` at the supply frequency; the DC network on nodes 10001 .. 10000 + n, for ``.op``. The AC sources are zero in
``.op`` and the DC sources zero in ``.ac``, so neither disturbs the other. An open part is left out, as an exact zero is
left out in our own solve. A motor that turns is a plain branch for each winding and controlled sources beside them. Every
node keeps its leak to earth, so nothing floats free in the simulator either. Node names are numbers, which every
simulator takes; the table at the top says which terminal each one is.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterator
from typing import Final

from troubleshoot.circuit.kinds.base import Source
from troubleshoot.solve.columns import LIMITING_S
from troubleshoot.solve.compiled import Element, Net, frequency
from troubleshoot.solve.elimination import EARTH, LEAK_S
from troubleshoot.solve.network import limiting
from troubleshoot.solve.settle import Outcome
from troubleshoot.solve.turning import motor_ports

DC_OFFSET: Final = 10_000
"""Added to a node's number in the DC section. Inner points of a series R-L or R-C have 20000 and more."""
_INNER: Final = 20_000
_TURNED: Final = 60_000
"""Nodes that carry the volts across the cores of motors, turned by 90 degrees."""


def node_number(net: Net, name: str) -> int:
    """Number in the AC section of a pin (``K1:14``) or inner point (``M1@star``); 0 for earth. DC: + DC_OFFSET."""
    return net.index[name] + 1


def spice_deck(net: Net, outcome: Outcome, *, title: str) -> str:
    """The settled network of one outcome as text in SPICE's common language, ending in ``.end``.

    title: the first line; line breaks in it become spaces. Volts are r.m.s. (``.ac`` magnitudes are then r.m.s. too),
    the phase of L1 is 0. A source in current limit appears as its current source. Raises nothing.
    """
    hz = frequency(net.circuit)
    lines = [
        " ".join(title.split()) or "settled network",
        f"* machine {net.circuit.name}; state: {'settled' if outcome.settled else 'one moment of an endless change'}",
        "* AC node, DC node: terminal",
        *(f"* {k + 1:5d} {k + 1 + DC_OFFSET:6d}: {name}" for k, name in enumerate(net.nodes)),
        "*",
        f"* ---- AC network, {hz:g} Hz, r.m.s. volts ----",
        *_section(net, outcome, "ac", hz),
        "*",
        "* ---- DC network ----",
        *_section(net, outcome, "dc", hz),
        "*",
        f".ac lin 1 {hz:.9g} {hz:.9g}",
        ".op",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def _section(net: Net, outcome: Outcome, kind: str, hz: float) -> Iterator[str]:
    network = outcome.network
    letter = "a" if kind == "ac" else "d"
    offset = 0 if kind == "ac" else DC_OFFSET

    def at(node: int) -> str:
        return "0" if node == EARTH else str(node + 1 + offset)

    for k, element in enumerate(net.elements):
        siemens = complex(network.ac_s[k] if kind == "ac" else network.dc_s[k])
        if siemens == 0:
            yield f"* {element.slot}: open"
            continue
        yield f"* {element.slot}"
        a, b = at(element.a), at(element.b)
        name = f"{letter}{k + 1}"
        emf = network.emf_ac.get(k, 0) if kind == "ac" else network.emf_dc.get(k, 0)
        limit = _limit(element, outcome)
        if kind == "dc" and limit is not None and network.dc_s[k] == LIMITING_S:
            # Our own source of constant current: `limit` amperes into a, beside LIMITING_S.
            yield f"I{name} {b} {a} DC {limit:.17g}"
            yield f"R{name} {a} {b} {1 / LIMITING_S:.17g}"
            continue
        if emf:
            inner = str(2 * _INNER + offset + k)
            yield _emf(name, inner, b, complex(emf), kind)
            yield from _impedance(name, a, inner, 1 / siemens, hz, offset + k)
        else:
            yield from _impedance(name, a, b, 1 / siemens, hz, offset + k)
    if kind == "ac":
        yield from _motors(net, outcome, at, hz)
    yield f"* leak of {LEAK_S:g} siemens from every node, and faults to earth"
    for node in range(len(net.nodes)):
        yield f"RL{letter}{node + 1} {at(node)} 0 {1 / LEAK_S:.17g}"
    for k, (node, earth_s) in enumerate(network.earth):
        if earth_s:
            yield f"RE{letter}{k + 1} {at(node)} 0 {1 / earth_s:.17g}"


def _motors(net: Net, outcome: Outcome, at: Callable[[int], str], hz: float) -> Iterator[str]:
    """What the cores of motors take over their plain branches: each winding's current by the volts across all three.

    A controlled source has a real gain. So the volts of each core drive, besides, a current of their own size into an
    inductor of one ohm, whose volts are then the same turned by 90 degrees.
    """
    cores = outcome.network.cores
    if cores is None:
        return
    ends = [(at(a), at(b)) for port in motor_ports(net) for a, b in port.ends]
    for port, slip in zip(motor_ports(net), outcome.network.slips, strict=True):
        yield f"* {port.var}: a machine of two sequences, slip {slip:.6g}"
    for k, (a, b) in enumerate(ends):
        yield f"GTurn{k + 1} 0 {_TURNED + k} {a} {b} 1"
        yield f"LTurn{k + 1} {_TURNED + k} 0 {1 / (2 * math.pi * hz):.17g}"
    for k, (a, b) in enumerate(ends):
        for j, (c, d) in enumerate(ends):
            siemens = complex(cores[k, j])
            if siemens.real:
                yield f"GRe{k + 1}x{j + 1} {a} {b} {c} {d} {siemens.real:.17g}"
            if siemens.imag:
                yield f"GIm{k + 1}x{j + 1} {a} {b} {_TURNED + j} 0 {siemens.imag:.17g}"


def _limit(element: Element, outcome: Outcome) -> float | None:
    """Amperes of a source that has turned into a source of constant current; None for anything else."""
    part = element.part
    return part.limit if isinstance(part, Source) and limiting(part, outcome.state) else None


def _emf(name: str, plus: str, minus: str, volts: complex, kind: str) -> str:
    if kind == "dc":
        return f"V{name} {plus} {minus} DC {volts.real:.17g} AC 0"
    size, angle = cmath.polar(volts)
    return f"V{name} {plus} {minus} DC 0 AC {size:.17g} {math.degrees(angle):.17g}"


def _impedance(name: str, a: str, b: str, ohms: complex, hz: float, inner: int) -> Iterator[str]:
    """R, L or C in series that have these ohms at `hz`."""
    if ohms.imag == 0:
        yield f"R{name} {a} {b} {ohms.real:.17g}"
        return
    omega = 2 * math.pi * hz
    middle = a
    if ohms.real:
        middle = str(_INNER + inner)
        yield f"R{name} {a} {middle} {ohms.real:.17g}"
    if ohms.imag > 0:
        yield f"L{name} {middle} {b} {ohms.imag / omega:.17g}"
    else:
        yield f"C{name} {middle} {b} {-1 / (ohms.imag * omega):.17g}"
