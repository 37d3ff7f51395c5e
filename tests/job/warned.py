"""Reads the events of a job as a safety officer would: was every live reading taken behind its own accepted caution?

Written against the events alone, not against the program's state, so that a mistake there cannot hide here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from troubleshoot.circuit.model import Pin
from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.codec import get_item, get_situation, get_understood
from troubleshoot.job.desk import Desk
from troubleshoot.log.standing import Happened
from troubleshoot.safety.isolation import Isolation, isolation, open_all

LEAST_MS = 300
"""How long a caution must have been on the screen before it can have been read."""
DEAD_V = 3.0
"""Under this a conductor counts as dead. Common practice, no published source."""


def meters_of(items: Sequence[Any]) -> tuple[Meter, ...]:
    found = (get_item(item if isinstance(item[0], str) else item[0]) for item in items)
    return tuple(item for item in found if isinstance(item, Meter))


def trespasses(desk: Desk, events: Sequence[Happened]) -> list[str]:
    """Every reading, dead test or repair that was let through without what must come before it, in words."""
    out: list[str] = []
    accepted: tuple[frozenset[Meter], Any] | None = None
    power_on_again = 0
    opened: set[str] = set()
    before: frozenset[str] = frozenset()
    for place, event in enumerate(events):
        data = event.data
        match event.kind:
            case "caution":
                if data["drawn_ms"] < LEAST_MS:
                    out.append(f"{event.n}: a caution was accepted after {data['drawn_ms']} ms")
                if not data["text"] or not data["by"]:
                    out.append(f"{event.n}: a caution without words, or accepted by nobody")
                accepted = (frozenset(meters_of(data["readings"])), get_situation(data["situation"]).situation)
            case "reading" | "proved":
                meters = meters_of(data["items"])
                named = get_situation(data["situation"])
                if event.kind == "reading" and data["source"] == "unasked":
                    pass  # taken before it was asked for: it counts, and the record says so
                elif (
                    meters
                    and open_all(desk.machine).acts
                    and named.situation.acts[:1] == open_all(desk.machine).acts[:1]
                ):
                    out += _not_dead(desk, events[power_on_again:place], meters, str(data["step"]), event.n, before)
                elif meters:
                    out += _not_warned(accepted, frozenset(meters), named.situation, event.n)
                accepted = None
            case "isolation":
                meters = meters_of(data.get("readings", ()))
                if meters:
                    out += _not_warned(accepted, frozenset(meters), desk.at_rest.situation, event.n)
                if str(data["step"]).startswith("open "):
                    opened.add(str(data["step"]).removeprefix("open "))
                if not meters and not data.get("proves"):
                    # A step by a hand changes the machine. Tests that follow each other do not: one caution that names all of
                    # their points stands for all of them.
                    accepted = None
            case "repaired":
                fault = next(s for s in desk.machine.suspects if s.id == data["suspect"])
                if fault.broken:
                    out += _repaired_live(desk, events[power_on_again:place], fault, event.n, before)
                accepted = None
            case "power":
                if data["drawn_ms"] < LEAST_MS:
                    out.append(f"{event.n}: power was put on after {data['drawn_ms']} ms")
                power_on_again = place + 1
                opened, before = set(), frozenset()
                accepted = None
            case "resumed":
                power_on_again = place + 1
                before = frozenset(opened)
                accepted = None
            case "stopped":
                power_on_again = place
                opened |= set(data["disconnects"]) if data["how"] else set()
                accepted = None
            case "retract" | "looked":
                accepted = None
    return out


def _not_warned(accepted: Any, meters: frozenset[Meter], situation: Any, n: int) -> list[str]:
    what = ", ".join(sorted(str(m.red) for m in meters))
    if accepted is None:
        return [f"{n}: {what} was read live with no caution accepted for it"]
    if not meters <= accepted[0]:
        return [f"{n}: {what} was read live behind a caution for other points"]
    if situation != accepted[1]:
        return [f"{n}: {what} was read live behind a caution for another state"]
    return []


_ASKED = re.compile(r"(\S+):([^\s:>]+)>(\S+):([^\s:>]+)")


def _not_dead(
    desk: Desk, since: Sequence[Happened], meters: Sequence[Meter], step: str, n: int, before: frozenset[str]
) -> list[str]:
    """before: what stood open when it was taken up last; step: id of the card, which may name its points: who answers a part of a card has made the whole of it dead.

    A machine that was made dead for work at more points than were read is dead for these: of many conductors other pairs are
    tested than of few.
    """
    read = tuple(dict.fromkeys(p for m in meters for p in (m.red, m.black)))
    named = [Pin(*pair) for found in _ASKED.findall(step) for pair in (found[:2], found[2:])]
    tested = {p for e in since if e.kind == "isolation" for m in _proved_dead(e.data) for p in (m.red, m.black)}
    beside = [p for p in desk.pins.values() if p in tested and p.device in {r.device for r in read}]
    out: list[str] = []
    for more in ((), named, beside, [p for p in desk.pins.values() if p in tested]):
        points = tuple(dict.fromkeys((*read, *more)))
        undone = _undone(desk, since, _plan(desk, tuple(p for p in points if p not in desk.live_when_dead)), n, before)
        if not undone:
            return []
        out = out or undone
    return out


_PLANS: dict[tuple[int, tuple[Pin, ...]], tuple[Desk, Isolation]] = {}


def _plan(desk: Desk, points: tuple[Pin, ...]) -> Isolation:
    """What must come before work at some points, worked out once."""
    if (id(desk), points) not in _PLANS:
        _PLANS[id(desk), points] = desk, isolation(desk.reasoner, points)
    return _PLANS[id(desk), points][1]


def _repaired_live(desk: Desk, since: Sequence[Happened], fault: Suspect, n: int, before: frozenset[str]) -> list[str]:
    points = tuple(p for p in desk.points_of(fault.group) if p not in desk.live_when_dead)
    return _undone(desk, since, _plan(desk, points), n, before)


def _undone(desk: Desk, since: Sequence[Happened], plan: Isolation, n: int, before: frozenset[str]) -> list[str]:
    """What of a plan was not done since. Who takes up a machine that stands open has nothing to stop it from."""
    gone = {int(k) for e in since if e.kind == "retract" for k in e.data["of"]}
    done = [e for e in since if e.kind == "isolation" and e.n not in gone]
    stopped = [e for e in since if e.kind == "stopped" and e.data["how"] and e.n not in gone]
    names = {e.data["step"] for e in done} | {"stop" for _ in stopped}
    names |= {f"open {tag}" for e in stopped for tag in e.data["disconnects"]}
    own = set(desk.machine.own_disconnects)
    names |= {"stop"} if own and own <= before else set()
    dead = {meter for e in done for meter in _proved_dead(e.data)}
    out = [
        f"{n}: dead work without: {step.words}" for step in plan.steps if step.ask == "done" and step.id not in names
    ]
    for step in plan.steps:
        if step.ask == "reading" and not step.id.startswith("prove") and not dead.issuperset(step.readings):
            out.append(f"{n}: dead work on conductors that were not tested dead: {step.words}")
    proofs = [e.n for e in done if str(e.data["step"]).startswith("prove")]
    tests = [e.n for e in done if _proved_dead(e.data)]
    if not proofs or (tests and not (min(proofs) < min(tests) and max(proofs) > max(tests))):
        out.append(f"{n}: dead work with a tester that was not proved before and after")
    return out


def _proved_dead(data: Mapping[str, Any]) -> tuple[Meter, ...]:
    if str(data["step"]).startswith("prove"):
        return ()
    meters = meters_of(data.get("readings", ()))
    seen = [get_understood(u) for u in data.get("understood", ())]
    return tuple(m for m, value in zip(meters, seen, strict=True) if _is_dead(value))


def _is_dead(value: Interval | Word | str) -> bool:
    return value is Word.NOTHING or (isinstance(value, Interval) and max(abs(value.low), abs(value.high)) <= DEAD_V)
