"""Everything that would explain a fault in one circuit: device modes, broken and loose conductors, conditions.

Built from the kinds' own rows and from the conductors; nothing here knows a particular machine.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Branch, Kind, Mode, ModeEdit, coil_of
from troubleshoot.circuit.kinds.controller import forces, program
from troubleshoot.circuit.model import Circuit, Device, Hop, Pin
from troubleshoot.program import Change
from troubleshoot.solve.edits import Edit

OUTSIDE: Final = "something not in this model"
"""Id of the suspect that is always there."""

CONDITIONS, BROKEN, NOT_MODELLED = 0.49, 0.49, 0.02
"""What a "does not start" call turns out to be: nothing broken, something broken, not in the model. Common practice."""

FIELD_HOP, PANEL_HOP = 0.4, 0.05
"""Weight of one conductor that leaves the panel, and of one inside it, beside a relay's 1.0. Common practice."""
HOP_SHARES: Final = {"open": 0.50, "loose": 0.28, "earth": 0.22}
"""Open, high resistance, to earth (connection modes 0.61 open, 0.23 intermittent, 0.16 short: MIL-HDBK-338B, memory)."""
LOOSE_OHMS: Final = {False: 200.0, True: 3.0}
"""A joint that no longer carries its load: control circuit, power circuit (sampling range 0.05 to 5 ohm there)."""
BURNS: Final = frozenset({"coil", "U", "V", "W", "primary", "secondary"})
"""Parts that stay open once they are: coils and windings; heaters too."""
POWER_KINDS: Final = frozenset({"supply", "disconnect", "motor", "brake"})


@dataclass(frozen=True, slots=True)
class Suspect:
    """One thing that would explain what is seen."""

    id: str
    words: str
    prior: float
    """Chance before anything is seen; all suspects of a circuit with OUTSIDE sum to 1."""
    repair: tuple[str, str]
    """(act, item): what mends it. Suspects with the same item are one repair group."""
    edits: tuple[Edit, ...]
    broken: bool = True
    """False: a condition (stop left in, selector, disconnect off)."""
    places: tuple[str, ...] = ()
    """Where it can be reached."""
    course: str = "steady"
    sort: str = "part"
    """``condition``, ``trip``, ``short``, ``wire``, ``contact``, ``mechanical``, ``program``, ``wiring`` or ``part``: what answers
    tell apart."""
    signs: tuple[tuple[str, str, float], ...] = ()
    """Question, answer and its chance, where this suspect answers otherwise than its sort (`kinds.base.Mode.signs`)."""

    @property
    def comes_and_goes(self) -> bool:
        """Whether it can be there one hour and not the next: a joint, a contact, a jam, something left in and let go.

        What has blown, burnt through, shorted or been programmed otherwise stays so until somebody mends it.
        """
        if self.course == "intermittent" or self.sort in ("condition", "trip", "wire"):
            return True
        burnt = " heater " in self.id or any(
            e.does == "siemens" and e.slot.rpartition(" ")[2] in BURNS for e in self.edits
        )
        return self.sort in ("contact", "mechanical", "part") and not burnt

    @property
    def group(self) -> str:
        """Name of the repair group: the item."""
        return self.repair[1]


def suspects_of(
    circuit: Circuit,
    kinds: Mapping[str, Kind] = KINDS,
    *,
    changes: Sequence[Change] = (),
    also: Sequence[tuple[Suspect, float]] = (),
) -> tuple[Suspect, ...]:
    """All suspects of a circuit, priors scaled to sum to 1, OUTSIDE last.

    changes: what may be wrong with the controller's program (`program.changes`); none where the program is not doubted.
    also: further suspects, broken ones, with their weights. `circuit.priors` says, by suspect id, how many times as likely
    as usual one is on this machine.
    """
    raw: list[tuple[Suspect, float, bool]] = []
    for device in circuit.devices.values():
        kind = kinds[device.kind]
        for mode in kind.modes(device):
            if any(not _is_there(circuit, e) for e in mode.edits):
                continue
            weight = mode.share * (kind.weight if mode.broken else 1.0)
            raw.append((_from_mode(device, mode), weight, mode.broken))
    solid = _solid(circuit, kinds)
    for hop in circuit.hops:
        weight = FIELD_HOP if hop.field else PANEL_HOP
        raw += [(s, weight * HOP_SHARES[name], True) for name, s in _from_hop(circuit, hop, solid[hop.a])]
    raw += _from_program(circuit, changes)
    raw += [(s, weight, True) for s, weight in also]
    weighed = [(s, w * circuit.priors.get(s.id, 1.0), broken) for s, w, broken in raw]
    totals = {b: sum(w for _, w, broken in weighed if broken is b) for b in (True, False)}
    shares = {True: BROKEN, False: CONDITIONS}
    out = [
        Suspect(
            s.id,
            s.words,
            shares[broken] * w / totals[broken],
            s.repair,
            s.edits,
            broken,
            s.places,
            s.course,
            s.sort,
            s.signs,
        )
        for s, w, broken in weighed
    ]
    missing = 1.0 - sum(s.prior for s in out)
    return (*out, Suspect(OUTSIDE, OUTSIDE, max(missing, NOT_MODELLED), ("look further", OUTSIDE), (), True))


def _is_there(circuit: Circuit, edit: ModeEdit) -> bool:
    """Whether what an edit changes is there: a brake may hold what is described as no motor, and has no shaft."""
    tag, _, of = edit.name.rpartition(" ")
    return of != "shaft" or (tag in circuit.devices and circuit.devices[tag].kind == "motor")


def _from_mode(device: Device, mode: Mode) -> Suspect:
    return Suspect(
        f"{device.tag} {mode.name}", mode.words, 0.0, (mode.act, mode.item),
        tuple(_edit(device, e) for e in mode.edits), mode.broken, (device.place,), mode.course,
        _sort(device, mode), mode.signs,
    )  # fmt: skip


PROGRAM_WEIGHT: Final[Mapping[str, float]] = {
    "forced": 0.012, "inverted": 0.004, "missing": 0.004, "address": 0.004, "no reset": 0.002, "retained": 0.001,
}  # fmt: skip
"""Weight of all program suspects of one sort together, beside a controller left in stop at 0.03. A program that ran
yesterday runs today unless somebody was at it, and then points are left forced before anything else. Common practice, no
published source."""


UNSEEN: Final = "which nobody has seen"
"""Behind the name of a program that was only assumed."""
GUESSED: Final = 10.0
"""How many times as likely a program that was only assumed is another one than a described one is. Judgement."""


def _from_program(circuit: Circuit, changes: Sequence[Change]) -> list[tuple[Suspect, float, bool]]:
    """Program suspects: nothing is broken, what is loaded is not what is described.

    The same act mends all that differ from the copy, and another all that is forced: two repair groups. Both are seen to
    be so without a meter.
    """
    device = next((d for d in circuit.devices.values() if d.kind == "plc"), None)
    if device is None:
        return []
    times = Counter(change.sort for change in changes)
    # Of a program that nobody gave there is no copy to compare with or to load: that it is another one is far likelier.
    guessed = circuit.program is not None and circuit.program.known == "assumed"
    out = []
    for change in changes:
        if change.sort == "forced":
            seen, repair = Edit("stuck", forces(device), "forced"), ("take off", f"the forces in {device.tag}")
        else:
            seen = Edit("stuck", program(device), "differs")
            whole = f"the program of {device.tag}"
            repair = ("find out what is in", f"{whole}, {UNSEEN}") if guessed else ("load the copy of", whole)
        name = f"{device.tag} {change.id}" if change.sort == "forced" else f"{device.tag} program {change.id}"
        edits = (Edit("program", change.id, change.sort), seen)
        words = f"the program is not the one assumed, as if: {change.words}" if guessed else change.words
        suspect = Suspect(name, words, 0.0, repair, edits, False, (device.place,), "steady", "program")
        likelier = GUESSED if guessed and change.sort != "forced" else 1.0
        out.append((suspect, likelier * PROGRAM_WEIGHT[change.sort] / times[change.sort], False))
    return out


def _sort(device: Device, mode: Mode) -> str:
    if mode.name == "tripped":
        return "trip"
    if not mode.broken:
        return "condition"
    if "short" in mode.name or device.kind == "fuse":
        return "short"
    if device.kind == "motor" or (device.kind == "brake" and mode.name != "coil open"):
        return "mechanical"
    return "contact" if any(word in mode.name for word in ("film", "holder", "open")) else "part"


def _edit(device: Device, edit: ModeEdit) -> Edit:
    match edit.does:
        case "siemens" | "times":
            return Edit(edit.does, f"{device.tag} {edit.name}", edit.value)
        case "earth":
            return Edit("earth", f"{device.tag}:{edit.name}", edit.value)
        case _:
            return Edit(edit.does, edit.name, edit.value)


SOLID_OHMS = 1.0
"""Parts below this (a heater, a bar) join two wire numbers to one potential that no meter and no hand takes apart."""


def _solid(circuit: Circuit, kinds: Mapping[str, Kind]) -> Mapping[Pin, str]:
    """Pin to the words for its potential: every wire number that is joined to it for good.

    An earth fault reads the same from anywhere on one potential, so all of them there are one repair: find it and clear
    it, wire by wire lifted.
    """
    near: dict[Pin, set[Pin]] = {}

    def join(a: Pin, b: Pin) -> None:
        near.setdefault(a, set()).add(b)
        near.setdefault(b, set()).add(a)

    for hop in circuit.hops:
        join(hop.a, hop.b)
    for device in circuit.devices.values():
        for part in kinds[device.kind].parts(device):
            if isinstance(part, Branch) and 0 <= part.dc < SOLID_OHMS and "earth" not in part.b:
                join(Pin(device.tag, part.a), Pin(device.tag, part.b))
    words: dict[Pin, str] = {}
    for start in near:
        if start in words:
            continue
        island, queue = {start}, [start]
        while queue:
            for other in near[queue.pop()] - island:
                island.add(other)
                queue.append(other)
        numbers = list(dict.fromkeys(h.number for h in circuit.hops if h.a in island))
        text = f"wire{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"
        words |= dict.fromkeys(island, text)
    return words


def _from_hop(circuit: Circuit, hop: Hop, potential: str) -> list[tuple[str, Suspect]]:
    ends = f"{hop.a} to {hop.b}"
    item = f"wire {hop.number}, {ends}"
    places = tuple(dict.fromkeys(circuit.devices[p.device].place for p in (hop.a, hop.b)))
    power = any(_is_power(circuit.devices[p.device]) for p in (hop.a, hop.b)) or _between_poles(circuit, hop)
    repair = ("re-make", item)
    return [
        ("open", Suspect(f"{hop.id} open", f"wire {hop.number} open between {hop.a} and {hop.b}", 0.0, repair,
                         (Edit("siemens", hop.id, 0.0),), True, places, "steady", "wire")),
        ("loose", Suspect(f"{hop.id} loose", f"wire {hop.number} makes badly between {hop.a} and {hop.b}", 0.0, repair,
                          (Edit("siemens", hop.id, 1 / LOOSE_OHMS[power]),), True, places, "steady", "wire")),
        ("earth", Suspect(f"{hop.id} to earth", f"wire {hop.number} touches earth near {hop.a}", 0.0,
                           ("find and clear", f"earth fault on {potential}"),
                          (Edit("earth", str(hop.a), 20.0),), True, places, "steady", "short")),
    ]  # fmt: skip


def _is_power(device: Device) -> bool:
    """A DC brake draws no more than a contactor's coil: a joint that spoils it has as many ohms as one there."""
    return device.kind in POWER_KINDS and not (device.kind == "brake" and coil_of(device)[1] == "dc")


def _between_poles(circuit: Circuit, hop: Hop) -> bool:
    poles = {"1", "2", "3", "4", "5", "6"}
    return all(circuit.devices[p.device].kind in {"contactor", "overload"} and p.pin in poles for p in (hop.a, hop.b))
