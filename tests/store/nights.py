"""Logs of whole jobs without a machine: each event as the job writes it, the content varied by a seed."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from troubleshoot.log.clock import SetClock
from troubleshoot.log.event import Event, line_of
from troubleshoot.log.memory import MemoryLog

ZONE = timezone(timedelta(hours=1))
NIGHT = datetime(2026, 11, 25, 3, 10, tzinfo=ZONE)
AT_REST = {"name": "at rest", "words": "at rest", "hands": 1, "origin": "rest", "hold": [], "acts": []}
HELD = {
    "name": "start held", "words": "Start held by a helper", "hands": 2, "origin": "rest", "hold": [],
    "acts": [["press", "S1", ""]],
}  # fmt: skip
CAUTION = ["DANGER: up to 211 V AC at the points.", "Keep 0.3 m (1 ft) from bare live parts."]
MACHINES = ("belt-7", "mixer-4", "press-2", "fan-9", "hoist-1", "saw-3")
PARTS = (
    ("wire 12, K1:14 to FR1:95", "12:K1:14>FR1:95 open", "wire 12 open between K1:14 and FR1:95", "re-make", True),
    ("K1 13-14", "K1 13-14 film", "K1 contact 13-14 makes badly", "replace", True),
    ("KM1", "KM1 coil open", "KM1 coil open", "replace", True),
    ("F6", "F6 open", "fuse F6 open", "find the cause, then replace", True),
    ("S2", "S2 left in", "S2 was left pressed in", "release", False),
)
CHECKS = (
    ("at rest", "Power on, nobody at the buttons: nothing starts."),
    ("start S1", "Hold S1 (start button): it starts."),
    ("stop S2", "Running, then hold S2 (stop button) in: it stops."),
    ("emergency stop ES1", "Running, then push ES1 (emergency stop) in: it stops."),
)

Said = tuple[str, Mapping[str, Any]]


def opened(machine: str = "belt-7", said: str = "conv dead", who: str = "Ana") -> Said:
    return "opened", {
        "machine": machine, "circuit": "5d17" * 16, "who": who, "complaint": "wont-start", "said": said, "shows": HELD,
    }  # fmt: skip


def looked(step: str = "face", at: Mapping[str, Any] = AT_REST) -> Said:
    items = [[["light", f"A1 %IX0.{k}"], "on", False] for k in range(6)]
    return "looked", {"step": step, "situation": at, "items": items, "cost": 42.0, "program": []}


def caution(text: list[str] | None = None) -> Said:
    return "caution", {
        "key": "rung|46332c49|Ana|0|True|0", "digest": "f861" * 16, "text": text or CAUTION, "level": "danger",
        "readings": [["meter", "ac volts", ["K1", "14"], ["NB", "1"]]], "situation": HELD, "by": "Ana", "drawn_ms": 2912,
    }  # fmt: skip


def reading(
    said: str = "120.0 V", *, group: str = "", agrees: bool = False, shown: bool = True, mode: str = "ac volts"
) -> Said:
    items = [[["meter", mode, ["K1", "14"], ["NB", "1"]], said, [119.95, 120.05, "V"]]]
    return "reading", {
        "step": "rung", "group": group, "agrees": agrees, "situation": HELD, "items": items, "said": said,
        "source": "asked" if shown else "unasked", "shown": shown, "cost": 60.0,
    }  # fmt: skip


def isolation(step: str = "lock Q1") -> Said:
    return "isolation", {"step": step, "words": "Your own lock and tag on Q1.", "said": "done"}


def repaired(part: int = 0, *, confirmed: bool = True, note: str = "", **others: Any) -> Said:
    group, suspect, words, act, broken = PARTS[part]
    return "repaired", {
        "group": group, "suspect": suspect, "act": act, "item": group, "note": note, "chance": 0.93, "words": words,
        "confirmed": confirmed, "broken": broken, **others,
    }  # fmt: skip


def power() -> Said:
    return "power", {"on": True, "told": ["Closing Q1 can start M1."], "by": "Ana", "drawn_ms": 700}


def proved(check: int, passed: bool = True) -> Said:
    name, words = CHECKS[check]
    items = [[["look", "M1"], "still", "still"], [["meter", "amps", ["M1", "U1"], ["X2", "1"]], "4.1", [4.0, 4.2, "A"]]]
    return "proved", {"check": name, "words": words, "passed": passed, "situation": AT_REST, "items": items}


def ended(how: str = "mended", **others: Any) -> Said:
    if how == "mended":
        return "ended", {"how": how, "note": "", "not_proved": [], "second": "", **others}
    return "ended", {"how": how, "note": "", "temporary": [], **others}


def whole(said: str = "conv dead", *, machine: str = "belt-7", part: int = 0, who: str = "Ana") -> list[Said]:
    """A careful job from complaint to hand-back."""
    return [
        opened(machine, said, who), ("people", {"clear": True}), looked(), caution(), reading(), caution(),
        reading("0 V"), isolation(), reading("OL", group=PARTS[part][0], agrees=True, mode="ohms"), repaired(part), power(),
        *(proved(k) for k in range(len(CHECKS))), ended(),
    ]  # fmt: skip


def log(*said: Said, session: str = "belt-7-0001", at: datetime = NIGHT, minutes: float = 1.0) -> tuple[Event, ...]:
    """The log of a job, its events so many minutes apart."""
    clock = SetClock(at)
    memory = MemoryLog(session=session, version="0.1.0", who="Ana", clock=clock)
    for kind, data in said:
        memory.append(kind, data)
        clock.pass_time(round(minutes * 60_000))
    return memory.events


def many(
    jobs: int, seed: int = 0, end: datetime = NIGHT, machines: int = len(MACHINES)
) -> Iterator[tuple[str, tuple[Event, ...]]]:
    """(machine, log) of so many jobs over the year before `end`, of 40 to 80 events each, as a plant would have them."""
    chance = random.Random(seed)
    names = (*MACHINES, *(f"line-{k}" for k in range(machines - len(MACHINES))))[:machines]
    for k in range(jobs):
        machine = chance.choice(names)
        at = end - timedelta(minutes=chance.randrange(60, 365 * 24 * 60))
        yield (
            machine,
            log(*_varied(chance, machine), session=f"{machine}-{k:06x}", at=at, minutes=chance.uniform(0.5, 2.5)),
        )


def _varied(chance: random.Random, machine: str) -> list[Said]:
    part = chance.choices(range(len(PARTS)), (5, 3, 2, 1, 4))[0]
    who = chance.choice(("Ana", "R. Tal", "J. Smit", "Ömer"))
    since = chance.choice(("", "", " since 2:50", " for 40 min"))
    out = [opened(machine, f"{machine} dead{since}", who), ("people", {"clear": True}), looked("round"), looked()]
    for _ in range(chance.randrange(12, 18)):
        out += [caution(), reading(f"{chance.uniform(0, 240):.1f} V")]
    out += [("mark", {"step": "see", "item": "M1", "shown": "still"})] * chance.randrange(4, 15)
    if chance.random() < 0.2:
        out.append(
            (
                "cannot",
                {"words": "PB7 cannot be opened", "reason": chance.choice(("reach", "permit")), "targets": ["PB7"]},
            )
        )
    if chance.random() < 0.1:
        out.append(("temporary", {"what": "cover or guard off", "by": who}))
    out += [isolation(f"step {k}") for k in range(8)]
    if chance.random() < 0.15:
        return [*out, ended(chance.choice(("waiting: part", "watching", "made safe", "not found")))]
    out += [repaired(part, confirmed=chance.random() < 0.8), power()]
    out += [proved(k % len(CHECKS)) for k in range(chance.randrange(0, 14))]
    return [*out, ended()]


def put(plant: Path, machine: str, events: tuple[Event, ...]) -> Path:
    """A log where a job would keep it."""
    path = plant / machine / "jobs" / f"{events[0].data['session']}.jsonl"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"".join(map(line_of, events)))
    return path
