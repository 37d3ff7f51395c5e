"""Which readings are worth considering in one situation: every reachable point against its reference, and across parts.

Readings that every suspect answers alike, or that tell the same as one already listed, are merged away, the cheapest kept.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Circuit, Device, Pin
from troubleshoot.diagnosis.information import Labels, alike
from troubleshoot.diagnosis.tables import Floats, Table
from troubleshoot.evidence.likelihood import JUMPS_FROM, NOTHING_BELOW, RIGHT_FROM, RIGHT_TO, stray_classes
from troubleshoot.evidence.seen import Meter, Mode
from troubleshoot.solve.converters import computed

NOISE = 0.03
"""Chance, for planning, that a reading lands in a wrong class."""
CLASSES = ("nothing", "low", "right", "high", "unsteady")
STRAY = np.array([0.5, 0.35, 0.1, 0.0, 0.05])
"""How a floating point reads, by `CLASSES`, where the circuit file does not say what runs beside it. Common practice, no
published source. Reckoned from the length alone instead, rehearsals on belt-7 take 1 % longer."""
FLOATING, JUMPS = 4, 5
"""Computed classes beside nothing, low, right, high."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading that could be asked."""

    meter: Meter
    place: str
    parked: bool
    """The black lead can stay on the reference for the whole trip."""


@dataclass(frozen=True)
class Candidates:
    """All readings worth asking in one situation, with the chance of each class per outcome."""

    items: tuple[Candidate, ...]
    chances: Floats
    """(items, outcomes, classes)."""

    @cached_property
    def alike(self) -> Labels:
        """(outcomes,) a number for each, the same where every one of these readings has the same chances."""
        return alike(self.chances)


def references(circuit: Circuit, current: str) -> tuple[Pin, ...]:
    """Where the black lead is parked: a bar nearest by wire to what each feed returns to, or that terminal itself.

    AC: the return of every transformer's secondary; then the supply's neutral where a wire leaves it, else the fuse that a
    coil between two lines returns to, else its earth where something of it is earthed. DC: the minus of the first supply.
    """
    near: dict[Pin, list[Pin]] = {}
    for hop in circuit.hops:
        near.setdefault(hop.a, []).append(hop.b)
        near.setdefault(hop.b, []).append(hop.a)
    devices = circuit.devices.values()
    if current == "dc":
        roots = [Pin(d.tag, "-") for d in devices if d.kind == "dc supply"][:1]
    else:
        roots = [Pin(d.tag, back) for d in devices for _, back in KINDS[d.kind].gives(d)]
        for d in [d for d in devices if d.kind == "supply"][:1]:
            neutral = Pin(d.tag, "N")
            if neutral in near:
                roots.append(neutral)
            elif (back := _coil_return(circuit, near)) is not None and not roots:
                roots.append(back)
            elif d.ratings["earthing"] != "none":
                roots.append(Pin(d.tag, "PE"))
            elif not roots:
                roots.append(neutral)
    return tuple(dict.fromkeys(_bar_at(circuit, root, near) for root in roots))


def _coil_return(circuit: Circuit, near: Mapping[Pin, list[Pin]]) -> Pin | None:
    """The fuse that a coil returns to, where it hangs between two lines: to earth both its sides would read alike."""
    for coil in (d for d in circuit.devices.values() if d.kind == "contactor" and d.ratings["coil"][1] == "ac"):  # type: ignore[index]
        reached, todo = {Pin(coil.tag, "A2")}, [Pin(coil.tag, "A2")]
        while todo:
            pin = todo.pop()
            device = circuit.devices[pin.device]
            if device.kind in ("fuse", "breaker"):
                return pin
            across = {"95": "96", "96": "95"}.get(pin.pin, "") if device.kind == "overload" else ""
            for other in (*near.get(pin, ()), *((Pin(pin.device, across),) if across else ())):
                if other not in reached:
                    reached.add(other)
                    todo.append(other)
    return None


def _bar_at(circuit: Circuit, root: Pin, near: Mapping[Pin, list[Pin]]) -> Pin:
    queue, visited = deque([root]), {root}
    while queue:
        pin = queue.popleft()
        if circuit.devices[pin.device].kind == "bar":
            # One place on a bar for every trip: a black lead that moves along it for no reason makes people wonder.
            return Pin(pin.device, KINDS["bar"].pins(circuit.devices[pin.device])[0])
        for other in near.get(pin, ()):
            if other not in visited:
                visited.add(other)
                queue.append(other)
    return root


def across_pairs(circuit: Circuit) -> list[tuple[Pin, Pin]]:
    """Both ends of every named face: contacts, fuses, coils, poles, lines of a motor."""
    return [
        (Pin(d.tag, a), Pin(d.tag, b)) for d in circuit.devices.values() for a, b in KINDS[d.kind].faces(d).values()
    ]


def between_lines(circuit: Circuit) -> list[tuple[Pin, Pin]]:
    """From line to line: the same side of every two poles of one device, and of every two like fuses of one place.

    A line that is lost is fed back through whatever hangs between it and another: to earth it reads as if it were there.
    Only from line to line it shows.
    """
    sides: list[list[Pin]] = []
    fuses: dict[object, list[Device]] = {}
    for device in circuit.devices.values():
        faces = KINDS[device.kind].faces(device)
        poles = [pins for name, pins in faces.items() if name.startswith(("pole ", "heater "))]
        sides += [[Pin(device.tag, pins[end]) for pins in poles] for end in (0, 1)]
        if device.kind == "fuse":
            fuses.setdefault((device.place, device.ratings.get("amps")), []).append(device)
    for some in fuses.values():
        ends = [next(iter(KINDS[d.kind].faces(d).values())) for d in some]
        sides += [[Pin(d.tag, pins[end]) for d, pins in zip(some, ends, strict=True)] for end in (0, 1)]
    return [pair for side in sides for pair in combinations(side, 2)]


def candidates(table: Table) -> Candidates:
    """Everything worth reading in the table's situation."""
    circuit = table.machine.circuit
    pins = [
        Pin(d.tag, p)
        for d in circuit.devices.values()
        if d.kind not in ("bar", "supply")
        for p in KINDS[d.kind].pins(d)
    ]
    found: list[Candidate] = []
    rows: list[Floats] = []
    taken: set[bytes] = set()

    def consider(mode: Mode, every: list[tuple[Pin, Pin]], *, parked: bool) -> None:
        pairs = [pair for pair in every if computed(table.machine.net, *pair)]
        if not pairs:
            return
        kind = "dc" if mode == "dc volts" else "ac"
        classes, nominal = classes_of(table, kind, pairs)
        new: list[int] = []
        for number, ((red, black), row) in enumerate(zip(pairs, classes, strict=True)):
            if (row == row[0]).all():
                continue
            place = circuit.devices[red.device].place
            key = place.encode() + bytes([parked]) + row.tobytes()
            if key in taken:
                continue
            taken.add(key)
            found.append(Candidate(Meter(mode, red, black), place, parked))
            new.append(number)
        floats = (classes == FLOATING).any()
        spans = table.spans(mode, [pairs[k] for k in new]) if floats and new else None
        for row, number in enumerate(new):
            stray = None
            if spans is not None:
                stray = stray_shares((spans[0][row], spans[1][row]), float(nominal[number]), table.scale[kind])
            rows.append(spread(classes[number], stray))

    modes: tuple[tuple[str, Mode], ...] = (("ac", "ac volts"), ("dc", "dc volts"))
    for current, mode in modes:
        for black in references(circuit, current):
            here = circuit.devices[black.device].place
            consider(
                mode,
                [(p, black) for p in pins if circuit.devices[p.device].place == here],
                parked=True,
            )
    across = across_pairs(circuit)
    consider("ac volts", across, parked=False)
    consider("dc volts", across, parked=False)
    consider("ac volts", between_lines(circuit), parked=False)
    _clamps(table, found, rows)
    chances = np.stack(rows) if rows else np.zeros((0, len(table.outcomes), len(CLASSES)))
    return Candidates(tuple(found), chances)


def classes_of(table: Table, kind: str, pairs: list[tuple[Pin, Pin]]) -> tuple[npt.NDArray[np.int8], Floats]:
    """Classes by open-circuit volts, and what they are measured against.

    (pairs, outcomes): 0 nothing, 1 low, 2 right, 3 high, 4 floating, 5 unsteady. (pairs,): the volts that are right, or the
    supply's where those are nothing.
    """
    volts, swing = table.open_range(kind, pairs)
    scale = max(table.scale[kind], 1e-9)
    right = volts[:, table.healthy]
    nominal = np.where(right > NOTHING_BELOW * scale, right, scale)
    found = np.digitize(volts / nominal[:, None], [NOTHING_BELOW, RIGHT_FROM, RIGHT_TO])
    found = np.where(table.loose(pairs), FLOATING, found)
    return np.where(2 * swing > JUMPS_FROM * nominal[:, None], JUMPS, found).astype(np.int8), nominal


def spread(row: npt.NDArray[np.int8], stray: Floats | None = None) -> Floats:
    """(outcomes, classes) chance of each class seen, for one row of computed classes. stray: as for `sure_of`."""
    mixed: Floats = (1 - NOISE) * sure_of(row, stray) + NOISE / len(CLASSES)
    return mixed


def sure_of(classes: npt.NDArray[np.integer[Any]], stray: Floats | None = None) -> Floats:
    """(outcomes, seen classes) chance of each class of volts read without a slip, for computed classes.

    stray: (outcomes, seen classes) from `stray_shares`, wherever one of the classes is FLOATING.
    """
    sure: Floats = np.eye(len(CLASSES))[np.where(classes == JUMPS, CLASSES.index("unsteady"), np.minimum(classes, 3))]
    if stray is not None:
        sure[classes == FLOATING] = stray[classes == FLOATING]
    return sure


def stray_shares(span: tuple[Floats, Floats], nominal: float, scale: float) -> Floats:
    """(outcomes, seen classes) how a floating point reads: by its span where the circuit file describes what runs beside it.

    Arguments as of `stray_classes`; a span that begins at nothing is one that nobody has described.
    """
    computed = (1 - STRAY[-1]) * stray_classes(span, nominal, scale)
    every = np.vstack([computed, np.full((1, computed.shape[1]), STRAY[-1])]).T
    return np.where((span[0] > 0)[:, None], every, STRAY)


def _clamps(table: Table, found: list[Candidate], rows: list[Floats]) -> None:
    """Clamp readings on the conductors that leave for the motor: an open winding shows only in three currents."""
    circuit = table.machine.circuit
    motors = {d.tag for d in circuit.devices.values() if d.kind == "motor"}
    hops = [h for h in circuit.hops if h.b.device in motors or h.a.device in motors]
    chosen = [
        Meter("amps", h.a, h.b)
        for h in hops
        if {circuit.devices[p.device].kind for p in (h.a, h.b)} & {"terminals", "overload"}
    ]
    if not chosen:
        return
    for meter, predicted in zip(chosen, table.predict_meters(chosen), strict=True):
        amps = predicted.value
        right = abs(predicted.right)
        nominal = right if right > 0.05 * predicted.scale else max(predicted.scale, 1e-9)
        row = np.digitize(amps / nominal, [NOTHING_BELOW, 0.5, 2.0]).astype(np.int8)
        row[2 * predicted.swing > JUMPS_FROM * nominal] = JUMPS
        if not (row == row[0]).all():
            found.append(Candidate(meter, circuit.devices[meter.red.device].place, False))
            rows.append(spread(row))
