"""Everything one fault, one act or one joint that heals can do to people on a machine, from its circuit alone.

The list is for whoever is responsible for the machine: it says what happens, when and with which single fault, and which
class of remedy the standards name. It designs none. What a step needs of it is told there by `hazards` and `caution`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.drive import lining
from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.seen import Meter
from troubleshoot.machine import Machine
from troubleshoot.safety.doings import after, doings, to_and_fro
from troubleshoot.safety.hazards import Hazard, dangerous_acts, hazards_of_act, others, prepare_acts
from troubleshoot.safety.metering import moved_by_meters
from troubleshoot.safety.motion import Movable, chance_of, movables, slides, stayed
from troubleshoot.safety.naming import named
from troubleshoot.text.showing import show

Sort = Literal[
    "starts at rest", "starts by an act", "restarts", "does not stop", "jog does not let go", "one channel", "brake free",
    "stays live", "meter",
]  # fmt: skip
LIKELY: Final = 0.5
"""Chance, given a suspect, from which it counts as doing something."""
LIVE: Final = 50.0
"""Volts to earth from which a lead counts as live (OSHA 1910.333(a)(1))."""

REMEDY: Final[Mapping[Sort, str]] = MappingProxyType({
    "starts at rest": "start only by a deliberate act; control functions in case of failure (IEC 60204-1 9.2.3, 9.4)",
    "starts by an act": "start only by a deliberate act; choosing a mode starts nothing (IEC 60204-1 9.2.3)",
    "restarts": "no restart when power comes back, on reset or on release (IEC 60204-1 7.5, 9.2.3; NFPA 79)",
    "does not stop": "stop functions in case of failure: proven parts, a second channel, a test (IEC 60204-1 9.2, 9.4)",
    "jog does not let go": "hold-to-run moves only while actuated; jog cannot seal in (IEC 60204-1 9.2.3; NFPA 79)",
    "one channel": "a second channel, or one that is tested (IEC 60204-1 9.4)",
    "brake free": "stored energy and loads that run back: secure before work; failure of a brake (IEC 60204-1 9.4)",
    "stays live": "supply disconnecting, exceptions marked and said (IEC 60204-1 5.3; NFPA 79)",
    "meter": "read each side to its return; no low-impedance meter across an open contact (common practice)",
})  # fmt: skip
"""Class of remedy that the standards name; clauses from memory."""
_ORDER: Final = tuple(REMEDY)


@dataclass(frozen=True, slots=True)
class Listed:
    """One line of the list."""

    sort: Sort
    words: str
    """One sentence: when, what, with which fault."""
    suspects: tuple[str, ...]
    """Ids of the single faults under which it happens, likeliest first; empty where it happens with nothing wrong."""
    healthy: bool
    situation: Situation
    act: Act | None

    @property
    def remedy(self) -> str:
        """Class of remedy, with the clause that names it."""
        return REMEDY[self.sort]


def hazard_list(reasoner: Reasoner) -> tuple[Listed, ...]:
    """Everything of every sort, worst sort first, what needs no fault before what needs one. Pure; settles on first use."""
    acts = dangerous_acts(reasoner)
    jogs = [at for _, held, let_go in _let_go(reasoner.machine) for at in (held, let_go)]
    prepare_acts(reasoner, acts, (after(), *jogs))
    found = [
        *_at_rest(reasoner), *_by_acts(reasoner, acts), *_jogs(reasoner), *_channels(reasoner), *_stays_live(reasoner),
        *_meters(reasoner),
    ]  # fmt: skip
    merged = {(one.sort, one.words): one for one in reversed(found)}
    return tuple(
        sorted(
            merged.values(), key=lambda one: (_ORDER.index(one.sort), not one.healthy, -len(one.suspects), one.words)
        )
    )


# ------------------------------------------------------------------------------------------------------------- sorts


def _at_rest(reasoner: Reasoner) -> Iterable[Listed]:
    """The supply is on, nobody has touched anything, and it turns."""
    situation = Situation()
    found = reasoner.standings(situation)
    for thing in movables(reasoner.machine):
        if thing.change not in ("turns", "brake free"):
            continue
        chance = chance_of(found, thing.moved)
        sort: Sort = "starts at rest" if thing.change == "turns" else "brake free"
        does = "turns" if thing.change == "turns" else "is lifted with nothing driving"
        ids = _ids(reasoner, chance)
        name = named(reasoner.machine, thing.tag)
        if chance[found.whole] >= LIKELY:
            yield Listed(
                sort, f"Power on, nobody at the buttons: {name} {does}, with nothing wrong.", (), True, situation, None
            )
        elif ids:
            words = f"Power on, nobody at the buttons: {name} {does}, if {_causes(reasoner, ids)}."
            yield Listed(sort, words, ids, False, situation, None)
    for motor in reasoner.machine.net.motors:
        for brake in reasoner.machine.net.brakes.get(motor.var, ()):
            worn = lining(reasoner.machine.circuit.devices[brake])
            if ids := _ids(reasoner, chance_of(found, partial(slides, brake, worn, motor.var))):
                name = named(reasoner.machine, brake)
                words = (
                    f"Nothing driving: {name} is set and does not hold, the load can run, if {_causes(reasoner, ids)}."
                )
                yield Listed("brake free", words, ids, False, situation, None)


def _by_acts(reasoner: Reasoner, acts: Sequence[tuple[Situation, Act]]) -> Iterable[Listed]:
    """What a hand, returning power or a joint that makes contact does."""
    sorts: dict[str, Sort] = {
        "starts": "starts by an act", "restarts": "restarts", "does not stop": "does not stop", "brake free": "brake free",
    }  # fmt: skip
    for situation, act in acts:
        for hazard in hazards_of_act(reasoner, reasoner.prior, situation, act):
            yield _listed(hazard, sorts[hazard.kind])


def _listed(hazard: Hazard, sort: Sort) -> Listed:
    # Where it happens with nothing wrong, further faults under which it happens too say nothing.
    return Listed(
        sort, hazard.words, () if hazard.healthy else hazard.suspects, hazard.healthy, hazard.situation, hazard.act
    )


def _jogs(reasoner: Reasoner) -> Iterable[Listed]:
    """In every position of a mode switch in which a whole machine stops when Start is let go: where it does not."""
    machine = reasoner.machine
    for mode, held, let_go in _let_go(machine):
        before, behind, release = reasoner.standings(held), reasoner.standings(let_go), let_go.acts[-1]
        for thing in _turning(machine):
            runs = chance_of(before, thing.moved)[before.whole] >= LIKELY
            if not runs or chance_of(behind, thing.moved)[before.whole] >= LIKELY:
                continue  # it does not jog in this position
            ids = _ids(reasoner, stayed(before, behind, thing.moved))
            if ids:
                words = (
                    f"{mode.device} in {mode.value}, {named(machine, release.device)} let go: "
                    f"{named(machine, thing.tag)} keeps running, if {_causes(reasoner, ids)}."
                )
                yield Listed("jog does not let go", words, ids, False, let_go, release)


def _let_go(machine: Machine) -> Iterable[tuple[Act, Situation, Situation]]:
    """In every position of a mode switch: that position, the first start held, and let go."""
    has = doings(machine)
    for tag in has.modes:
        for position in machine.net.controls[tag].positions:
            for start in has.starts[:1]:
                mode = Act("put", tag, position)
                held = after(mode, *has.ready(), Act("press", start))
                yield mode, held, after(*held.acts, Act("release", start))


def _channels(reasoner: Reasoner) -> Iterable[Listed]:
    """Stops that hang on one contact block, and those that one further part behind them defeats."""
    has, machine = doings(reasoner.machine), reasoner.machine
    by_id = {s.id: s for s in machine.suspects}
    for tag in (*has.emergency_stops, *has.stops):
        stop, _ = to_and_fro(machine, tag)
        for thing in _turning(machine):
            chance, held = np.zeros(len(machine.suspects)), None
            for run in has.runs:
                before, behind = reasoner.standings(after(*run.acts)), reasoner.standings(after(*run.acts, stop))
                runs_on = stayed(before, behind, thing.moved)
                if chance_of(before, thing.moved)[before.whole] >= LIKELY and runs_on[before.whole] < LIKELY:
                    chance, held = np.maximum(chance, runs_on), held or after(*run.acts, stop)
            if held is None:
                continue
            fails = _ids(reasoner, chance)
            own = [i for i in fails if any(e.slot.partition(" ")[0] == tag for e in by_id[i].edits)]
            motor, name = named(machine, thing.tag), named(machine, tag)
            if own:
                words = f"{name} stops {motor} by one channel only: not if {_causes(reasoner, tuple(own))}."
                yield Listed("one channel", words, tuple(own), False, held, stop)
            behind_it = tuple(i for i in fails if i not in own)
            if behind_it:
                words = f"Behind {name} one part alone stops {motor}: not if {_causes(reasoner, behind_it)}."
                yield Listed("one channel", words, behind_it, False, held, stop)


def _stays_live(reasoner: Reasoner) -> Iterable[Listed]:
    """With every disconnect open: leads that are live all the same, on a whole machine and under single faults."""
    machine = reasoner.machine
    acts = tuple(Act("open", tag) for tag in machine.disconnects)
    if not acts:
        return
    situation = Situation("rest", acts)
    table = reasoner.table(situation)
    pins = [Pin(d.tag, p) for d in machine.circuit.devices.values() for p in KINDS[d.kind].pins(d)]
    rows = np.array([machine.net.node(p) for p in pins], dtype=np.intp)
    live = np.zeros((len(pins), len(machine.suspects)), np.bool_)
    for kind in ("ac", "dc"):
        high = np.abs(table.volts[kind][rows])[:, table.inverse] > LIVE
        for row in range(len(pins)):
            chance = np.bincount(table.owner, table.weight * high[row], len(machine.suspects))
            live[row] |= chance >= LIKELY
    whole = live[:, table.owner[table.healthy]]
    opened = " and ".join(machine.disconnects)
    if whole.any():
        words = f"{opened} open: {_leads(machine, pins, whole)} stay live, with nothing wrong."
        yield Listed("stays live", words, (), True, situation, None)
    ways: dict[bytes, list[int]] = {}
    for k, suspect in enumerate(machine.suspects[:-1]):
        more = live[:, k] & ~whole
        if more.any() and suspect.edits:
            ways.setdefault(more.tobytes(), []).append(k)
    for suspects in ways.values():
        more = live[:, suspects[0]] & ~whole
        ids = tuple(machine.suspects[k].id for k in sorted(suspects, key=lambda k: -machine.suspects[k].prior))
        words = f"{opened} open: {_leads(machine, pins, more)} stay live, if {_causes(reasoner, ids)}."
        yield Listed("stays live", words, ids, False, situation, None)


def _meters(reasoner: Reasoner) -> Iterable[Listed]:
    """A low-impedance meter laid across an open contact that moves something on a machine with nothing wrong."""
    machine = reasoner.machine
    faces = [
        (device, Meter("low-impedance volts", Pin(device.tag, a), Pin(device.tag, b)))
        for device in machine.circuit.devices.values()
        if device.kind not in ("motor", "plc", "supply")
        for a, b in KINDS[device.kind].faces(device).values()
    ]
    moved = moved_by_meters(reasoner, [reading for _, reading in faces], Situation())
    for device, reading in (face for face, moves in zip(faces, moved, strict=True) if moves):
        words = (
            f"A low-impedance meter laid across {reading.red} and {reading.black} "
            f"({show(device.words) or device.tag}) moves the machine by itself, with nothing wrong."
        )
        yield Listed("meter", words, (), True, Situation(), None)


# ------------------------------------------------------------------------------------------------------------- words


def _turning(machine: Machine) -> tuple[Movable, ...]:
    return tuple(thing for thing in movables(machine) if thing.change == "turns")


def _ids(reasoner: Reasoner, chance: Floats) -> tuple[str, ...]:
    """Single faults, likeliest first, under which something is likelier than not; the whole machine is none of them."""
    suspects = reasoner.machine.suspects
    hit = [k for k in range(len(suspects) - 1) if chance[k] >= LIKELY and suspects[k].edits]
    return tuple(suspects[k].id for k in sorted(hit, key=lambda k: (-suspects[k].prior, k)))


def _causes(reasoner: Reasoner, ids: tuple[str, ...], most: int = 2) -> str:
    by_id = {s.id: s for s in reasoner.machine.suspects}
    said = " or ".join(show(by_id[i].words) for i in ids[:most])
    return said + others(len(ids) - most)


def _leads(machine: Machine, pins: list[Pin], which: np.typing.NDArray[np.bool_]) -> str:
    """Terminals by their wire number, few words: ``wires L1, L2, L3``."""
    live = {p for p, on in zip(pins, which, strict=True) if on}
    numbers = dict.fromkeys(h.number for h in machine.circuit.hops if h.a in live or h.b in live)
    first = list(numbers)[:6]
    more = f" and {len(numbers) - 6} more" if len(numbers) > 6 else ""
    if not first:
        return ", ".join(map(str, sorted(live, key=str)[:4]))
    return f"{'wire' if len(numbers) == 1 else 'wires'} {', '.join(show(n) for n in first)}{more}"
