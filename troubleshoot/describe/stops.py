"""Where the stops and buttons of a machine stand, and emergency stops and pull cords beyond the first one, in series.

A plant's machine seldom has one emergency stop only: one at each end, a cord along the belt (common practice, no published
source; ISO 13850 asks for one wherever it can be needed, from memory). What is said is two answers that nobody has to give:
`STOPS` in the order of the wire, and `OPERATED`, where start and stop are pressed. The same two changes serve a
circuit of any origin, while a job goes on.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, cast

from troubleshoot.circuit.changing import moved
from troubleshoot.circuit.model import Act, Circuit, Device, Hop, NamedSituation, Pin, Place
from troubleshoot.circuit.rows import METRES_BETWEEN, METRES_WITHIN

STOPS: Final = "stops"
"""Answer that is never asked for: where each stands, in the order of the wire, parted by semicolons."""
OPERATED: Final = "operated"
"""Answer that is never asked for: `AT_DOOR` where start and stop are in the panel's own door."""
AT_DOOR: Final = "panel door"
HEAD, CORD = "emergency stop", "pull cord"
KINDS_OF_STOP: Final = (HEAD, CORD)
MOST: Final = 6
"""Stops that can be said at the door; more are said while the job goes on."""
LONGEST: Final = 24
"""Letters of a place, so that it has room in a list of 80 columns."""
_WALK: Final = 40.0
_CORD: Final = re.compile(r"(?i)\s*(?:pull[ -]?)?(?:cord|rope)\b[:,]?\s*(?:at |along )?(.*)")
_DOOR: Final = re.compile(
    r"(?i)(?:(?:in|at|on) )?(?:the )?(?:(?:panel|box|cabinet|its own)'?s? ?)?(?:own )?(?:door|panel|box)"
)


@dataclass(frozen=True, slots=True)
class Stop:
    """One emergency stop head or pull cord, as it was said."""

    place: str
    """Where it stands, in the person's words."""
    cord: bool = False

    @property
    def words(self) -> str:
        """As a list shows it."""
        return f"{'pull cord' if self.cord else 'mushroom'}, {self.place}"

    @property
    def said(self) -> str:
        """As an answer keeps it, and as it can be typed again."""
        return f"cord {self.place}" if self.cord else self.place


def stop_said(text: str) -> Stop | str:
    """``boot pit`` or ``cord tail end``; a text where it cannot be a place: why not, for the person."""
    found = _CORD.fullmatch(text)
    place = " ".join((found[1] if found else text).split()).strip(" ,.")
    if not place or not re.search(r"\w", place):
        return "Where does it stand? A word or two: boot pit."
    if len(place) > LONGEST:
        return f"At most {LONGEST} letters, so that it fits beside its name: {place[:LONGEST].rsplit(' ', 1)[0]}?"
    if bad := re.search(r"[^\w \-/.]", place):
        return f"A place of plain words, without {bad[0]!r}."
    return Stop(place, cord=found is not None)


def stops_in(answers: Mapping[str, str]) -> tuple[Stop, ...]:
    """The stops that were said, in the order of the wire; none where nobody said any."""
    found = (stop_said(part) for part in answers.get(STOPS, "").split(";") if part.strip())
    return tuple(s for s in found if isinstance(s, Stop))


def answer_of(stops: tuple[Stop, ...]) -> dict[str, str]:
    """The stops as an answer; nothing where there are none."""
    return {STOPS: "; ".join(s.said for s in stops)} if stops else {}


def stops_kept(answers: Mapping[str, str]) -> dict[str, str]:
    """Of the answers, those of this module."""
    return {key: answers[key] for key in (STOPS, OPERATED) if answers.get(key)}


def stood(circuit: Circuit, answers: Mapping[str, str]) -> Circuit:
    """A composed circuit with its stops and buttons where they were said to stand."""
    if answers.get(OPERATED) == AT_DOOR:
        for tag in [t for role in ("start", "stop", "mode") for t in circuit.roles.get(role, ())]:
            circuit = stands_at(circuit, tag, AT_DOOR)
    stops = stops_in(answers)
    if stops and (first := circuit.roles.get(HEAD, ())):
        tag = first[0]
        if stops[0].cord:
            circuit = _as_cord(circuit, tag)
        circuit = stands_at(circuit, tag, stops[0].place)
        for stop in stops[1:]:
            circuit = another_stop(circuit, tag, stop)
            tag = circuit.roles[HEAD][-1]
    used = {d.place for d in circuit.devices.values()}
    return replace(circuit, places={name: p for name, p in circuit.places.items() if name in used})


def next_tag(circuit: Circuit) -> str:
    """The tag of a further stop, assumed until it is read."""
    return next(f"ES{k}" for k in range(2, 10000) if f"ES{k}" not in circuit.devices)


def another_stop(circuit: Circuit, beside: str, stop: Stop) -> Circuit:
    """One more stop, in series behind another one in each of its wires; itself where there is nothing to stand behind.

    beside: the tag of a stop or cord of the circuit. In a line it is one whichever side it stands on; which terminal the
    wire comes from is for the hands to say, as every mark of it is.
    """
    device = circuit.devices.get(beside)
    if device is None or device.kind not in KINDS_OF_STOP:
        return circuit
    tag = next_tag(circuit)
    kept = cast("Mapping[tuple[str, str], tuple[str, ...]]", device.ratings["blocks"])
    ends = {p for h in circuit.hops for p in (h.a, h.b)} | {
        p for v in circuit.variants.values() for j in v.join for p in j
    }
    wired = [(a, b) for a, b in kept if Pin(beside, a) in ends and Pin(beside, b) in ends and "nc" in kept[a, b]]
    if not wired:
        return circuit
    place, circuit = _place(circuit, stop.place)
    new = Device(
        tag, CORD if stop.cord else HEAD, place, f"{'pull cord' if stop.cord else 'emergency stop mushroom'}, {stop.place}",
        {**device.ratings, "blocks": dict.fromkeys(wired, ("nc",))}, "told",
    )  # fmt: skip
    far = {Pin(beside, b): Pin(tag, b) for _, b in wired}
    numbers = {b: _number(circuit, Pin(beside, b)) for _, b in wired}
    circuit = moved(circuit, lambda pin: far.get(pin, pin))
    devices = {}
    for t, d in circuit.devices.items():
        devices[t] = d
        if t == beside:
            devices[tag] = new
    circuit = replace(circuit, devices=devices)
    taken = {h.number for h in circuit.hops}
    for a, b in wired:
        number = next(n for letter in "abcdefghijklmnopqrstuvwxyz" if (n := f"{numbers[b]}{letter}") not in taken)
        taken.add(number)
        laid = Hop(number, Pin(beside, b), Pin(tag, a), METRES_WITHIN, field=False, known="assumed")
        circuit = replace(circuit, hops=(*circuit.hops, laid))
    held = circuit.roles.get(HEAD, ())
    at = held.index(beside) + 1 if beside in held else len(held)
    roles = {**circuit.roles, HEAD: (*held[:at], tag, *held[at:])}
    return _laid(replace(circuit, roles=roles), {tag, beside})


def _number(circuit: Circuit, pin: Pin) -> str:
    return next((h.number for h in circuit.hops if pin in (h.a, h.b)), f"{pin.device}-{pin.pin}")


def last_stop(circuit: Circuit) -> str:
    """The tag of the stop behind which a further one is described; empty where there is none."""
    stops = [t for t in circuit.roles.get(HEAD, ()) if circuit.devices[t].kind in KINDS_OF_STOP]
    every = stops or [t for t, d in circuit.devices.items() if d.kind in KINDS_OF_STOP]
    return every[-1] if every else ""


def stands_at(circuit: Circuit, tag: str, place: str) -> Circuit:
    """A device where a person says it stands; itself where it is described there already.

    place: a described place by its name or words, the panel's own door, or any other: then that is a new place.
    """
    device = circuit.devices.get(tag)
    if device is None:
        return circuit
    name, circuit = _place(circuit, place)
    words = device.words
    if device.kind in KINDS_OF_STOP:
        words = f"{device.words.partition(',')[0]}, {place}"
    if (name, words) == (device.place, device.words):
        return circuit
    known = "told" if device.known in ("assumed", "copied") else device.known
    devices = {**circuit.devices, tag: replace(device, place=name, words=words, known=known)}
    return _laid(replace(circuit, devices=devices), {tag})


def _place(circuit: Circuit, said: str) -> tuple[str, Circuit]:
    """The name of a place that was said, and the circuit that has it."""
    wanted = said.casefold()
    for name, place in circuit.places.items():
        if wanted in (name.casefold(), place.words.casefold()):
            return name, circuit
    if _DOOR.fullmatch(said) and (panel := next((n for n, p in circuit.places.items() if p.door), "")):
        return panel, circuit
    new = Place(wanted, said, _WALK)
    return wanted, replace(circuit, places={**circuit.places, wanted: new})


def _laid(circuit: Circuit, tags: set[str]) -> Circuit:
    """With the wires of some devices as long as it is between where they stand."""

    def wire(hop: Hop) -> Hop:
        if not {hop.a.device, hop.b.device} & tags:
            return hop
        leaves = circuit.devices[hop.a.device].place != circuit.devices[hop.b.device].place
        if leaves == hop.field:
            return hop
        return replace(hop, field=leaves, metres=METRES_BETWEEN if leaves else METRES_WITHIN)

    return replace(circuit, hops=tuple(wire(h) for h in circuit.hops))


def _as_cord(circuit: Circuit, tag: str) -> Circuit:
    """A composed circuit's stop as a pull cord: what is pressed there is pulled, what is let out is reset."""
    verbs: Final = {"press": "pull", "release": "reset"}

    def act(one: Act) -> Act:
        return replace(one, verb=verbs[one.verb]) if one.device == tag and one.verb in verbs else one  # type: ignore[arg-type]

    def named(one: NamedSituation) -> NamedSituation:
        return replace(
            one, words=one.words.replace("the emergency stop pushed in", "the cord pulled"),
            situation=replace(one.situation, acts=tuple(act(a) for a in one.situation.acts)),
        )  # fmt: skip

    device = replace(circuit.devices[tag], kind=CORD, words="pull cord")
    return replace(
        circuit, devices={**circuit.devices, tag: device},
        situations={name: named(s) for name, s in circuit.situations.items()},
    )  # fmt: skip
