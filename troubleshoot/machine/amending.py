"""It is not wired like that: changes of a description, as values, and the machine with them taken in.

A change is made on what was described when the job began, in the order in which it was said; taking one back leaves the
others. Names are not changed here: a printed name is an alias, shown instead of the described one and written into the
file when the job has ended (`with_names`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, cast

from troubleshoot.circuit.changing import renumbered
from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.unknown import UNKNOWN_CHAIN
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Act, Circuit, Device, Hop, NamedSituation, Pin, Run, Variant
from troubleshoot.circuit.rows import METRES_BETWEEN, METRES_WITHIN
from troubleshoot.circuit.writing import write_circuit
from troubleshoot.describe.pattern import compose
from troubleshoot.describe.stops import Stop, another_stop, stands_at
from troubleshoot.machine.described import Machine, describe, suspect_ids
from troubleshoot.machine.supply import supplied


@dataclass(frozen=True, slots=True)
class Empty:
    """Nothing is connected at a terminal."""

    pin: Pin


@dataclass(frozen=True, slots=True)
class Goes:
    """What is at a terminal goes to another one, and to nothing else that was described."""

    pin: Pin
    to: Pin


@dataclass(frozen=True, slots=True)
class Wired:
    """It is wired as one of the variants says."""

    variant: str


@dataclass(frozen=True, slots=True)
class Answered:
    """One of the first answers was wrong, so the pattern is another one: all answers as they are now."""

    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Halved:
    """Half way inside a chain that nobody had looked into, a terminal: between two marks that were known."""

    chain: str
    mark: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Supplied:
    """The plant feeds the machine with another supply than was described: one of `describe.taps.SYSTEMS`."""

    supply: str


@dataclass(frozen=True, slots=True)
class Absent:
    """A device that was described is not there; what it would let through at rest goes straight through."""

    device: str


@dataclass(frozen=True, slots=True)
class Another:
    """One more emergency stop or pull cord, in series behind one that is described."""

    beside: str
    stop: Stop


@dataclass(frozen=True, slots=True)
class Stands:
    """A device stands somewhere else than was described."""

    device: str
    place: str


Change = Empty | Goes | Wired | Answered | Halved | Supplied | Absent | Another | Stands


def put_change(change: Change) -> dict[str, Any]:
    """A change as plain data, for a log event."""
    match change:
        case Empty(pin):
            return {"is": "empty", "pin": [pin.device, pin.pin]}
        case Goes(pin, to):
            return {"is": "goes", "pin": [pin.device, pin.pin], "to": [to.device, to.pin]}
        case Wired(variant):
            return {"is": "variant", "variant": variant}
        case Another(beside, stop):
            return {"is": "another", "beside": beside, "place": stop.place, "cord": stop.cord}
        case Stands(device, place):
            return {"is": "stands", "device": device, "place": place}
        case Answered(answers):
            return {"is": "answers", "answers": dict(answers)}
        case Halved(chain, mark, before, after):
            return {"is": "halved", "chain": chain, "mark": mark, "between": [before, after]}
        case Supplied(supply):
            return {"is": "supply", "supply": supply}
        case Absent(device):
            return {"is": "absent", "device": device}


def get_change(data: Mapping[str, Any]) -> Change | None:
    """The change that `put_change` wrote; None for a sort of a later program, which then changes nothing."""
    match data["is"]:
        case "empty":
            return Empty(Pin(*data["pin"]))
        case "goes":
            return Goes(Pin(*data["pin"]), Pin(*data["to"]))
        case "variant":
            return Wired(data["variant"])
        case "halved":
            return Halved(str(data["chain"]), str(data["mark"]), *(str(end) for end in data["between"]))
        case "absent":
            return Absent(str(data["device"]))
        case "supply":
            return Supplied(str(data["supply"]))
        case "another":
            return Another(str(data["beside"]), Stop(str(data["place"]), cord=bool(data["cord"])))
        case "stands":
            return Stands(str(data["device"]), str(data["place"]))
        case "answers":
            return Answered(tuple((str(q), str(a)) for q, a in data["answers"].items()))
        case _:
            return None


def amended(machine: Machine, changes: Sequence[Change]) -> Machine:
    """The machine with these changes of its description. A change that no longer fits (its point is gone) is left out."""
    circuit = machine.circuit
    # Answers make the whole pattern anew. What hands found at the panel stays true of it, whichever was said first.
    answered = [change for change in changes if isinstance(change, Answered)][-1:]
    for change in (*answered, *(c for c in changes if not isinstance(c, Answered))):
        circuit = amended_circuit(circuit, change)
    if circuit is machine.circuit:
        return machine
    if circuit.priors:
        # What is no longer there keeps no prior: the file that leaves the job would be refused for it.
        known = suspect_ids(replace(machine, circuit=circuit))
        circuit = replace(circuit, priors={name: weight for name, weight in circuit.priors.items() if name in known})
    if circuit.program != machine.circuit.program:
        # Another pattern has another program: read it as from its file.
        read = describe(write_circuit(circuit), circuit.source, program_doubted=machine.program_doubted)
        assert isinstance(read, Machine), read
        return replace(read, wiring=machine.wiring)
    content = hashlib.sha256(f"{machine.content}\n{tuple(changes)!r}".encode()).hexdigest()
    return replace(machine, circuit=circuit, content=content)


def amended_circuit(circuit: Circuit, change: Change) -> Circuit:
    """The circuit with one change; itself where the change does not fit it."""
    match change:
        case Empty(pin):
            return _emptied(circuit, pin)
        case Goes(pin, to):
            if not ({pin.device, to.device} <= set(circuit.devices)) or pin == to:
                return circuit
            number = number_at(circuit, to) or number_at(circuit, pin) or f"{to}"
            return _joined(_emptied(circuit, pin), pin, to, number)
        case Wired(variant):
            found = circuit.variants.get(variant)
            return _wired(circuit, found) if found is not None else circuit
        case Halved():
            return _halved(circuit, change)
        case Supplied(supply):
            return supplied(circuit, supply)
        case Absent(device):
            return without(circuit, device)
        case Another(beside, stop):
            return another_stop(circuit, beside, stop)
        case Stands(device, place):
            return stands_at(circuit, device, place)
        case Answered(answers):
            read = load_circuit(compose(dict(answers), machine=circuit.name, title=circuit.title), circuit.source)
            assert isinstance(read, Circuit), read
            return read


STRIP = "terminals"
"""Kind of a row of terminals: the wires that meet there meet without it as well."""


def passes(device: Device) -> tuple[tuple[str, str], ...]:
    """Terminal pairs that a device lets through at rest; empty for one that does not merely sit in a line."""
    if device.kind == UNKNOWN_CHAIN.name:
        marks = chain_of(device)
        return ((marks[0], marks[-1]),)
    if device.kind in ("fuse", "suppressor", "plug"):
        return (
            ((KINDS[device.kind].pins(device)[0], KINDS[device.kind].pins(device)[1]),) if device.kind == "fuse" else ()
        )
    if device.kind not in ("emergency stop", "pull cord", "push button", "selector", "process switch"):
        return ()
    usual = str(device.ratings.get("usual", ""))
    blocks = cast("Mapping[tuple[str, str], tuple[str, ...]]", device.ratings.get("blocks", {}))
    return tuple(pair for pair, closed in blocks.items() if "nc" in closed or usual in closed)


def can_be_absent(circuit: Circuit, tag: str) -> bool:
    """Whether one key may say that a device is not there: one in a line, that no symptom and no other device needs."""
    device = circuit.devices.get(tag)
    if device is None or not (passes(device) or device.kind == STRIP):
        return False
    needed = {c.shows for c in circuit.complaints.values()}
    acts = {n.name for n in circuit.situations.values() if any(a.device == tag for a in n.situation.acts)}
    return not acts & needed and circuit.roles.get("start", ()) != (tag,)


def without(circuit: Circuit, tag: str) -> Circuit:
    """The circuit as it is where a device is not there, its wires joined past it; itself where that cannot be said."""
    if not can_be_absent(circuit, tag):
        return circuit
    device = circuit.devices[tag]
    through = [(Pin(tag, a), Pin(tag, b)) for a, b in passes(device)]
    past = [(goes_to(circuit, a), goes_to(circuit, b), number_at(circuit, a)) for a, b in through]
    left = circuit
    for mark in KINDS[device.kind].pins(device):
        left = _emptied(left, Pin(tag, mark))
    for before, after, number in past:
        if before and after:
            left = _joined(left, before[0], after[0], number)
    situations = {
        name: n for name, n in left.situations.items()
        if all(a.device != tag for a in n.situation.acts) and all(d != tag for d, _ in n.situation.hold)
    }  # fmt: skip
    roles = {role: kept for role, tags in left.roles.items() if (kept := tuple(t for t in tags if t != tag))}
    variants = {
        name: v for name, v in left.variants.items()
        if all(tag not in (a.device, b.device) for a, b in v.join) and all(s.split(" ")[0] != tag for s, _ in v.stands)
    }  # fmt: skip
    return _tidied(replace(
        left, devices={t: d for t, d in left.devices.items() if t != tag}, roles=roles, situations=situations, variants=variants,
        priors={name: weight for name, weight in left.priors.items() if name.split(" ")[0] != tag},
    ))  # fmt: skip


def chain_of(device: Device) -> tuple[str, ...]:
    """The marks along a chain that nobody has looked into, its ends included; empty for any other device."""
    return KINDS[device.kind].pins(device) if device.kind == UNKNOWN_CHAIN.name else ()


def _halved(circuit: Circuit, change: Halved) -> Circuit:
    device = circuit.devices.get(change.chain)
    marks = chain_of(device) if device is not None else ()
    if device is None or (change.before, change.after) not in pairwise(marks) or change.mark in marks:
        return circuit
    at = marks.index(change.after)
    inside = (*marks[1:at], change.mark, *marks[at:-1])
    halved = replace(device, ratings={**device.ratings, "inside": inside})
    return replace(circuit, devices={**circuit.devices, change.chain: halved})


def number_at(circuit: Circuit, pin: Pin) -> str:
    """Wire number at a terminal; empty where none is described."""
    return next((h.number for h in circuit.hops if pin in (h.a, h.b)), "")


def goes_to(circuit: Circuit, pin: Pin) -> tuple[Pin, ...]:
    """Where the wires at a terminal lead, as described."""
    return tuple(h.b if h.a == pin else h.a for h in circuit.hops if pin in (h.a, h.b))


def _emptied(circuit: Circuit, pin: Pin) -> Circuit:
    """Without the wires at a terminal; where one was laid through it, it is laid past it."""
    here = [h for h in circuit.hops if pin in (h.a, h.b)]
    if not here:
        return circuit
    left = replace(circuit, hops=tuple(h for h in circuit.hops if h not in here))
    for (a, b), number in ((pair, here[0].number) for pair in pairwise(goes_to(circuit, pin))):
        left = _joined(left, a, b, number)
    return _tidied(left)


def _joined(circuit: Circuit, a: Pin, b: Pin, number: str) -> Circuit:
    if any({h.a, h.b} == {a, b} for h in circuit.hops) or a == b:
        return circuit
    # One terminal has one number: what is said to be joined is one potential now, whatever it was called.
    was = number_at(circuit, a) if number_at(circuit, b) == number else number_at(circuit, b)
    hops = circuit.hops
    if was and was != number:
        hops = tuple(replace(h, number=number) if h in _island(circuit, a, b) else h for h in hops)
    leaves = circuit.devices[a.device].place != circuit.devices[b.device].place
    laid = Hop(number, a, b, METRES_BETWEEN if leaves else METRES_WITHIN, leaves, "seen")
    return _tidied(replace(circuit, hops=(*hops, laid)))


def _island(circuit: Circuit, *pins: Pin) -> frozenset[Hop]:
    """Every hop that hangs together with some terminals."""
    reached, found = set(pins), set[Hop]()
    while True:
        more = {h for h in circuit.hops if h not in found and (h.a in reached or h.b in reached)}
        if not more:
            return frozenset(found)
        found |= more
        reached |= {p for h in more for p in (h.a, h.b)}


def _wired(circuit: Circuit, variant: Variant) -> Circuit:
    left = replace(circuit, hops=tuple(h for h in circuit.hops if h.id not in variant.cut))
    for a, b in variant.join:
        left = _joined(left, a, b, number_at(left, a) or number_at(left, b) or number_at(circuit, a) or f"{a}")
    variants = {name: v for name, v in left.variants.items() if name.split(" ")[0] != variant.name.split(" ")[0]}
    return _tidied(replace(left, variants=variants))


def _tidied(circuit: Circuit) -> Circuit:
    """Runs and variants without the hops that are no longer there."""
    ids = {hop.id for hop in circuit.hops}
    runs = tuple(Run(kept, r.metres, r.to_neighbour, r.to_earth) for r in circuit.runs if (kept := _kept(r.hops, ids)))
    variants = {
        name: replace(v, cut=_kept(v.cut, ids))
        for name, v in circuit.variants.items()
        if _kept(v.cut, ids) or v.join or v.stands
    }
    return replace(circuit, runs=runs, variants=variants)


def _kept(hops: Sequence[str], ids: set[str]) -> tuple[str, ...]:
    return tuple(hop for hop in hops if hop in ids)


# --------------------------------------------------------------------------------------------------------------- names


@dataclass(frozen=True, slots=True)
class Alias:
    """What is printed where the description says something else. of: ``device``, ``wire`` or ``point``."""

    of: str
    described: str
    printed: str
    read: bool = True
    """Whether somebody read it; otherwise what the thing is called because its own mark is printed on another one."""


def with_names(circuit: Circuit, aliases: Sequence[Alias]) -> Circuit:
    """The circuit with the printed tags and wire numbers in place of the described ones, each now ``seen``.

    A point printed otherwise than its device and mark stays as it is described: marks belong to the kind of the device.
    A name that is taken already is left out.
    """
    latest = {(a.of, a.described): a for a in aliases}
    tags = _free({a.described: a.printed for a in latest.values() if a.of == "device"}, circuit.devices)
    read = {old for old in tags if latest["device", old].read}
    # By way of names that nothing has: one may be printed where another one was described.
    between = {old: f"\0{k}" for k, old in enumerate(tags)}
    for old, middle in between.items():
        circuit = _tag_changed(circuit, old, middle, read=old in read)
    for old, middle in between.items():
        circuit = _tag_changed(circuit, middle, tags[old], read=old in read)
    numbers = _free(
        {a.described: a.printed for a in latest.values() if a.of == "wire"}, {h.number for h in circuit.hops}
    )
    hops = tuple(replace(h, number=numbers[h.number], known="seen") if h.number in numbers else h for h in circuit.hops)
    return renumbered(circuit, hops) if numbers else circuit


def _free(names: Mapping[str, str], there: Collection[str]) -> dict[str, str]:
    """Those of the new names that nothing has any more, once all that can be renamed is: described to printed."""
    kept = {old: new for old, new in names.items() if old in there and old != new}
    while True:
        staying = [name for name in there if name not in kept]
        both = [*staying, *kept.values()]
        clash = [old for old, new in kept.items() if both.count(new) > 1]
        if not clash:
            return kept
        del kept[clash[0]]


def _tag_changed(circuit: Circuit, old: str, new: str, *, read: bool) -> Circuit:
    def pin(p: Pin) -> Pin:
        return Pin(new, p.pin) if p.device == old else p

    def tag(text: str) -> str:
        return new + text[len(old) :] if text == old or text.startswith(f"{old} ") else text

    def act(one: Act) -> Act:
        return replace(one, device=tag(one.device))

    def named(one: NamedSituation) -> NamedSituation:
        at = one.situation
        hold = frozenset((tag(d), v) for d, v in at.hold)
        return replace(one, situation=replace(at, acts=tuple(act(a) for a in at.acts), hold=hold))

    changed = renumbered(circuit, tuple(replace(h, a=pin(h.a), b=pin(h.b)) for h in circuit.hops))
    devices = {
        tag(t): replace(
            d, tag=tag(t), known="seen" if t == old and read else d.known,
            ratings={k: tag(v) if k in ("holds", "interlocked with") and isinstance(v, str) else v for k, v in d.ratings.items()},
        )
        for t, d in circuit.devices.items()
    }  # fmt: skip
    return replace(
        changed,
        devices=devices,
        roles={role: tuple(tag(t) for t in tags) for role, tags in circuit.roles.items()},
        situations={name: named(s) for name, s in circuit.situations.items()},
        priors={tag(name): weight for name, weight in changed.priors.items()},
        variants={
            name: replace(
                v, join=tuple((pin(a), pin(b)) for a, b in v.join), stands=tuple((tag(s), x) for s, x in v.stands)
            )
            for name, v in changed.variants.items()
        },
    )


def seen(circuit: Circuit, met: Sequence[Pin]) -> Circuit:
    """The circuit after a meter's tips stood on these terminals: their devices and wires are there, so they are ``seen``."""
    pins, tags = set(met), {p.device for p in met}
    guessed = ("assumed", "copied", "told")
    return replace(
        circuit,
        devices={
            t: replace(d, known="seen") if t in tags and d.known in guessed else d for t, d in circuit.devices.items()
        },
        hops=tuple(
            replace(h, known="seen") if h.known in guessed and (h.a in pins or h.b in pins) else h for h in circuit.hops
        ),
    )
