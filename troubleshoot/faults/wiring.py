"""What somebody who worked on it may have left behind: neighbours bridged, a wire one terminal on, a wrong coil.

A list of its own. On the demonstration machine it is half as long again as all the rest, it needs open slots in the
network that nothing else needs, and together it weighs little until somebody says that the machine was worked on. A
machine takes it in on demand (`Machine.with_wiring`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Kind, coil_of
from troubleshoot.circuit.model import Circuit, Hop, Pin
from troubleshoot.faults.suspects import Suspect
from troubleshoot.solve.compiled import spare_slot
from troubleshoot.solve.edits import Edit

BRIDGE_S: Final = 100.0
"""A strand across two terminals, or a wire under the wrong screw: ten milliohms."""
NEIGHBOUR, MOVED, WRONG_COIL = 0.008, 0.0005, 0.01
"""Weights beside a relay's 1.0: a terminal (0.08) of whose failures a tenth are strand shorts; the others judgement."""
DOUBLE: Final = 2.0
"""The next usual coil up has about twice the volts: 120 for 240, 24 for 48, 230 for 400."""
SORT: Final = "wiring"


def neighbours(circuit: Circuit, kinds: Mapping[str, Kind] = KINDS) -> tuple[tuple[Pin, Pin], ...]:
    """Every two terminals that sit side by side on one device or strip."""
    return tuple(
        (Pin(device.tag, a), Pin(device.tag, b))
        for device in circuit.devices.values()
        for row in kinds[device.kind].rows(device)
        for a, b in pairwise(row)
    )


def wiring_suspects(
    circuit: Circuit, kinds: Mapping[str, Kind] = KINDS
) -> tuple[tuple[tuple[Suspect, float], ...], tuple[tuple[Pin, Pin], ...]]:
    """The suspects with their weights, and the pairs of terminals whose open slots the network must have for them."""
    numbers = {p: hop.number for hop in circuit.hops for p in (hop.a, hop.b)}
    beside: dict[Pin, list[Pin]] = {}
    found: list[tuple[Suspect, float]] = []
    pairs: dict[tuple[Pin, Pin], None] = {}
    for a, b in neighbours(circuit, kinds):
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
        # Two terminals of one potential may touch as they like, and a bare one beside a wired one carries nothing.
        if a in numbers and b in numbers and numbers[a] != numbers[b]:
            pairs[a, b] = None
            found.append((_bridged(circuit, a, b), NEIGHBOUR))
    for hop in circuit.hops:
        for suspect, pair in _moved(circuit, hop, beside, numbers):
            pairs[pair] = None
            found.append((suspect, MOVED))
    return (*found, *_coils(circuit, kinds)), tuple(pairs)


def _bridged(circuit: Circuit, a: Pin, b: Pin) -> Suspect:
    return Suspect(
        f"{a} to {b} bridged", f"terminals {a} and {b} touch", 0.0, ("clear", f"bridge between {a} and {b}"),
        (Edit("siemens", spare_slot(a, b), BRIDGE_S),), True, (circuit.devices[a.device].place,), "steady", SORT,
    )  # fmt: skip


def _moved(
    circuit: Circuit, hop: Hop, beside: Mapping[Pin, list[Pin]], numbers: Mapping[Pin, str]
) -> Iterator[tuple[Suspect, tuple[Pin, Pin]]]:
    places = tuple(dict.fromkeys(circuit.devices[p.device].place for p in (hop.a, hop.b)))
    for near, far in ((hop.a, hop.b), (hop.b, hop.a)):
        for landed in beside.get(near, ()):
            if landed == far or numbers.get(landed) == hop.number:
                continue
            words = f"wire {hop.number} from {far} is on {landed} instead of {near}"
            edits = (Edit("siemens", hop.id, 0.0), Edit("siemens", spare_slot(far, landed), BRIDGE_S))
            repair = ("put back", f"wire {hop.number}, {hop.a} to {hop.b}")
            yield (
                Suspect(f"{hop.id} moved to {landed}", words, 0.0, repair, edits, True, places, "steady", SORT),
                (far, landed),
            )


def _coils(circuit: Circuit, kinds: Mapping[str, Kind]) -> tuple[tuple[Suspect, float], ...]:
    out = []
    for device in circuit.devices.values():
        if device.kind not in ("relay", "contactor") or "coil" not in kinds[device.kind].faces(device):
            continue
        volts, current = coil_of(device)
        words = f"{device.tag} has a coil for {DOUBLE * volts:g} V {current.upper()} in it, not {volts:g} V"
        # Twice the volts at the same watts: a quarter of the conductance, and half of what it needs is there. A coil
        # for fewer volts burns out, and is then an open coil.
        edits = (Edit("threshold", device.tag, DOUBLE), Edit("times", f"{device.tag} coil", DOUBLE**-2))
        suspect = Suspect(
            f"{device.tag} wrong coil", words, 0.0, ("replace", device.tag), edits, True, (device.place,), "steady", SORT
        )  # fmt: skip
        out.append((suspect, WRONG_COIL))
    return tuple(out)
