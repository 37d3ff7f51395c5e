"""After a passed proof: six good readings for next time, and what is made of them then. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import NamedSituation, Pin
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.baseline import Good, drift
from troubleshoot.evidence.seen import Interval, Meter
from troubleshoot.job.codec import get_item, get_situation, get_understood
from troubleshoot.job.keys import KEYS
from troubleshoot.job.state import KEPT
from troubleshoot.trees.walk import price

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.state import State
    from troubleshoot.log.standing import Happened

MOST: Final = 6
SECONDS: Final = 30.0
SET_S: Final = 15.0
"""Seconds in which a meter is set to another mode and its leads moved. Common practice, no published source."""
"""A person who stands there with the meter in hand, the machine running. Common practice."""
KEY: Final = KEYS["six readings"].live


def six(desk: Desk) -> Step | None:
    """The card: volts between the motor's lines, coil, 24 V, brake, with the machine running; None where it cannot be.

    Their caution comes first, as before every live reading.
    """
    running = desk.machine.circuit.situations.get("running")
    if running is None:
        return None
    meters = [m for m in _worth(desk) if _live(desk, m, running)][:MOST]
    if not meters:
        return None
    words = f"{running.words[:1].upper()}{running.words[1:]}, good readings for next time"
    why = "A reading of the good machine tells more, next time, than a computed one."
    return Step("measure", KEPT, tuple(meters), running, words, why, cost=SECONDS)


def _worth(desk: Desk) -> Iterable[Meter]:
    circuit = desk.machine.circuit
    for role, faces in (("overload", ("heater 1", "heater 2", "heater 3")),):
        for tag in circuit.roles.get(role, ())[:1]:
            found = KINDS[circuit.devices[tag].kind].faces(circuit.devices[tag])
            outs = [Pin(tag, found[f][1]) for f in faces if f in found]
            yield from (Meter("ac volts", a, b) for a, b in combinations(outs, 2))
    for role, face in (("contactor", "coil"), ("dc supply", "output"), ("brake", "coil")):
        for tag in circuit.roles.get(role, ())[:1]:
            pair = KINDS[circuit.devices[tag].kind].faces(circuit.devices[tag]).get(face)
            if pair is not None:
                red, black = (Pin(tag, p) for p in pair)
                yield Meter(desk.mode_between(red, black), red, black)


def _live(desk: Desk, meter: Meter, running: NamedSituation) -> bool:
    return abs(desk.reasoner.predict(meter, running.situation).right) >= 1.0


def seconds(desk: Desk) -> float:
    """What the card takes a careful person: the meter set anew for each mode, each place walked to and opened."""
    card = six(desk)
    if card is None:
        return 0.0
    modes = {m.mode for m in card.items if isinstance(m, Meter)}
    return SET_S * len(modes) + price(desk.machine.circuit, card.items, card.situation)


def offered(desk: Desk, state: State) -> bool:
    """Whether the six readings can be taken now: proved, and not taken yet in this job."""
    return not state.kept and six(desk) is not None


def goods(events: Sequence[Happened], gone: frozenset[int], day: str, who: str) -> tuple[Good, ...]:
    """The good readings of a job as they are kept. gone: events that were taken back; day: ``2026-11-25``."""
    found = []
    for event in events:
        if event.kind != "reading" or event.n in gone or event.data["step"] != KEPT:
            continue
        named = get_situation(event.data["situation"])
        for item, _, understood in event.data["items"]:
            meter, value = get_item(item), get_understood(understood)
            if isinstance(meter, Meter) and isinstance(value, Interval):
                found.append(Good(meter, named.name, value.middle, day, "", who))
    return tuple(found)


def remembered(desk: Desk, meter: Meter, named: NamedSituation) -> Good | None:
    """The newest good reading at these points in this state."""
    return desk.baseline.get((meter, named.name))


def drifted(desk: Desk, named: NamedSituation, items: Iterable[Sequence[Any]]) -> str:
    """What of a card is far from its good readings, in words; items as a `reading` event holds them."""
    out = []
    for item, _, understood in items:
        meter, value = get_item(item), get_understood(understood)
        good = remembered(desk, meter, named) if isinstance(meter, Meter) else None
        if good is not None and isinstance(value, Interval) and (words := drift(good, value)):
            out.append(words)
    return "; ".join(out)
