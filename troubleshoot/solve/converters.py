"""Where power crosses from AC to DC: the ports of rectifiers, and the points that lie behind them.

A port takes from its AC side what is drawn on its DC side. Both sides are linear as long as the diodes conduct, so no
iteration is needed: the conductance that the DC side shows the port follows from the DC network with its sources at
rest, mean squared of it stands on the AC side (the same power), and the AC volts then set the DC source.

Points behind a rectifier are galvanically part of the AC (a half-wave unit passes one line straight through), in a wave
form that neither network holds. So they are measured across only: between a point behind a rectifier and one that is
not there, no reading is computed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import Converter, Intake, Source, Spare
from troubleshoot.circuit.model import Pin
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.elimination import EARTH


@dataclass(frozen=True, slots=True)
class Port:
    """One rectifier of a net, by element and node numbers."""

    intake: int
    outputs: tuple[int, ...]
    ac: tuple[int, int]
    dc: tuple[int, int]
    """Nodes of plus and minus."""
    inside: frozenset[int]
    """Every node that stands behind it, its own DC terminals included."""


def ports_of(net: Net) -> tuple[Port, ...]:
    """Every rectifier of the net. Kept on the net."""
    found = net.scratch.get("ports")
    if found is None:
        found = net.scratch["ports"] = tuple(
            _port(net, k, element.part) for k, element in enumerate(net.elements) if isinstance(element.part, Intake)
        )
    assert isinstance(found, tuple)
    return found


def _port(net: Net, k: int, part: Intake) -> Port:
    element = net.elements[k]
    tag = element.slot.removesuffix(f" {part.name}")
    outputs = tuple(net.element_index[f"{tag} {name}"] for name in part.outputs)
    dc = (net.index[f"{tag}:{part.plus}"], net.index[f"{tag}:{part.minus}"])
    return Port(k, outputs, (element.a, element.b), dc, _behind(net, tag, dc))


def _behind(net: Net, tag: str, dc: tuple[int, int]) -> frozenset[int]:
    """All that hangs on the DC terminals, whatever its switches do; a source there makes it another circuit's too."""
    near: dict[int, list[int]] = {}
    sources: set[int] = set()
    for k, element in enumerate(net.elements):
        # A cable's capacitance brings no other circuit's source behind the diodes.
        if k in net.stray or isinstance(element.part, Spare):
            continue
        if element.slot.startswith(f"{tag} ") or element.slot == "meter":
            continue
        if isinstance(element.part, Source | Converter) or EARTH in (element.a, element.b):
            sources |= {element.a, element.b}
        near.setdefault(element.a, []).append(element.b)
        near.setdefault(element.b, []).append(element.a)
    found, queue = set(dc), list(dc)
    while queue:
        for other in near.get(queue.pop(), ()):
            if other not in found:
                found.add(other)
                queue.append(other)
    return frozenset(dc) if found & sources else frozenset(found)


def domain(net: Net) -> npt.NDArray[np.intp]:
    """(nodes + 1,) 0 for a point that is behind no rectifier, else 1 + the number of its port; the last row is earth."""
    found = net.scratch.get("domain")
    if found is None:
        found = np.zeros(len(net.nodes) + 1, dtype=np.intp)
        for number, port in enumerate(ports_of(net)):
            found[list(port.inside)] = number + 1
        net.scratch["domain"] = found
    assert isinstance(found, np.ndarray)
    return found


def computed(net: Net, red: Pin, black: Pin) -> bool:
    """Whether a reading between two points can be computed: both behind one rectifier, or neither behind any."""
    of = domain(net)
    return bool(of[net.node(red)] == of[net.node(black)])


def ac_ends(net: Net, node: int) -> tuple[int, ...]:
    """Nodes of the AC terminals of the rectifier that a node is behind: it can be as high as either of them."""
    number = domain(net)[node]
    return ports_of(net)[number - 1].ac if number else ()
