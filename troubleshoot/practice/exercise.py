"""What is practised: the course, its levels, and how a seed chooses a fault. The same seed, the same exercise. Pure."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from troubleshoot.evidence.seen import Meter
from troubleshoot.faults.suspects import OUTSIDE, Suspect
from troubleshoot.job.codec import get_item, put_item
from troubleshoot.job.desk import Desk
from troubleshoot.practice.meter import Setting

FLAWED: Final = 0.15
"""How often the meter comes out of the bag as somebody left it. Judgement."""
SHOWS: Final = 0.9
"""Chance from which a complaint counts as shown by a suspect."""
COMPLAINTS: Final = (
    "wont-start",
    "wont-hold",
    "hums",
    "chatters",
    "wont-stop",
    "starts-itself",
    "light-lies",
    "brake-drags",
)
"""Complaints that a fault is chosen for, in this order where several would do."""


@dataclass(frozen=True, slots=True)
class Level:
    """One step of the course."""

    number: int
    name: str
    words: str
    lesson: bool = False
    """One thing practised by itself; else a whole job."""


LEVELS: Final = (
    Level(1, "predict", "no fault: say what should be there, then measure", lesson=True),
    Level(2, "halves", "find an open place on one rung by halves", lesson=True),
    Level(3, "stray", "stray voltage, with and without load", lesson=True),
    Level(4, "meter", "the meter comes set wrongly, as the last one left it", lesson=True),
    Level(5, "isolation", "make it dead, prove it, find what stays live", lesson=True),
    Level(6, "conditions", "nothing is broken: something was left so"),
    Level(7, "opens", "an open wire, contact, coil or fuse"),
    Level(8, "joints", "a joint or contact that makes badly"),
    Level(9, "intermittent", "it comes and goes"),
    Level(10, "two faults", "two things at once"),
    Level(11, "wrong description", "not wired as described: somebody worked on it"),
    Level(12, "wrong note", "a colleague's note in the record is wrong"),
)
BY_NUMBER: Final = {level.number: level for level in LEVELS}
BY_NAME: Final = {level.name: level for level in LEVELS}
WORKED_ON: Final = "Somebody worked on it last shift."


@dataclass(frozen=True, slots=True)
class Note:
    """A reading that a colleague left in the record, and that was never so."""

    by: str
    meter: Meter
    said: str


@dataclass(frozen=True, slots=True)
class Exercise:
    """One thing to practise, with what is hidden in it."""

    machine: str
    level: int
    seed: int
    complaint: str = ""
    said: str = ""
    faults: tuple[str, ...] = ()
    """Ids of the hidden suspects."""
    setting: Setting = field(default_factory=Setting)
    note: Note | None = None
    title: str = ""

    @property
    def comes_and_goes(self) -> bool:
        return self.level == BY_NAME["intermittent"].number

    @property
    def worked_on(self) -> bool:
        """Whether the wiring suspects of a machine that was worked on are among what can be wrong."""
        return self.level == BY_NAME["wrong description"].number

    def true_desk(self, desk: Desk) -> Desk:
        """The desk of the machine as it truly is."""
        return desk.after_work if self.worked_on else desk

    def suspects(self, desk: Desk) -> tuple[Suspect, ...]:
        """What is hidden, from the machine's own suspects. Raises KeyError with an id that the machine has not."""
        known = {s.id: s for s in self.true_desk(desk).machine.suspects if s.id != OUTSIDE}
        return tuple(known[fault] for fault in self.faults)


class Nothing(ValueError):
    """This machine has nothing to practise at that level; the words say why."""


def is_condition(s: Suspect) -> bool:
    return not s.broken and s.sort in ("condition", "trip")


def is_open(s: Suspect) -> bool:
    return s.broken and s.sort in ("wire", "contact", "short") and s.id.endswith(" open")


def is_joint(s: Suspect) -> bool:
    return s.broken and s.id.endswith((" loose", " film", " holder"))


def is_fleeting(s: Suspect) -> bool:
    """An open that can come and go: a joint or contact, not a fuse, which stays blown."""
    return is_open(s) and s.comes_and_goes


_FIT: Final[dict[int, Callable[[Suspect], bool]]] = {
    6: is_condition, 7: is_open, 8: is_joint, 9: is_fleeting, 10: is_open, 11: lambda s: s.sort == "wiring", 12: is_open,
}  # fmt: skip


def choose(desk: Desk, level: int, seed: int) -> Exercise:
    """The exercise of one level on one machine. Raises `Nothing` where the machine has no such fault."""
    name = desk.machine.name
    dice = random.Random(f"{name} {level} {seed}")
    setting = meter_as_left(dice) if dice.random() < FLAWED and level > 5 else Setting()
    if BY_NUMBER[level].lesson:
        return Exercise(name, level, seed, setting=setting)
    true = desk.after_work if BY_NUMBER[level].name == "wrong description" else desk
    complaint, found = _shown(true, _FIT[level], dice)
    first = dice.choices(found, [s.prior for s in found])[0]
    faults = [first.id]
    note = None
    if BY_NUMBER[level].name == "two faults":
        others = [s for s in found if s.group != first.group]
        if not others:
            raise Nothing(f"{name} has no two faults that show the same complaint.")
        faults.append(dice.choices(others, [s.prior for s in others])[0].id)
    if BY_NUMBER[level].name == "wrong note":
        # Not every fault leaves a point where a wrong note leads astray: a lost phase has half its volts everywhere.
        order = [first, *dice.sample(found, len(found))]
        noted = ((s, _wrong_note(desk, complaint, s, dice)) for s in order)
        first, note = next(((s, n) for s, n in noted if n is not None), (first, None))
        if note is None:
            raise Nothing(f"{name} has no point at which a wrong note would lead astray.")
        faults = [first.id]
    return Exercise(
        name, level, seed, complaint, desk.machine.circuit.complaints[complaint].words[0], tuple(faults), setting, note
    )


def _shown(desk: Desk, fits: Callable[[Suspect], bool], dice: random.Random) -> tuple[str, list[Suspect]]:
    """A complaint, and the suspects of the wanted sort that show it."""
    wanted = [k for k, s in enumerate(desk.machine.suspects) if fits(s)]
    known = [c for c in COMPLAINTS if c in desk.machine.circuit.complaints]
    known += [c for c in desk.machine.circuit.complaints if c not in known]
    # Mostly the commonest call, now and then another one.
    tail = known[1:]
    dice.shuffle(tail)
    order = [*known[:1], *tail] if dice.random() < 0.75 else [*tail, *known[:1]]
    for complaint in order:
        seen = desk.reasoner.complained(complaint, desk.shows(complaint).situation)
        found = [desk.machine.suspects[k] for k in wanted if seen[k] >= SHOWS]
        if found:
            return complaint, found
    raise Nothing(f"{desk.machine.name} has nothing of that sort that anybody would complain of.")


def shown_by(desk: Desk, suspect: Suspect) -> str:
    """The complaint that this suspect shows best; the machine's first one where it shows none."""
    k = desk.machine.suspects.index(suspect)
    best, most = next(iter(desk.machine.circuit.complaints)), 0.0
    for complaint in (c for c in COMPLAINTS if c in desk.machine.circuit.complaints):
        chance = float(desk.reasoner.complained(complaint, desk.shows(complaint).situation)[k])
        if chance > most:
            best, most = complaint, chance
        if most >= SHOWS:
            break
    return best


def meter_as_left(dice: random.Random) -> Setting:
    """A meter as the last one put it back."""
    return dice.choice((
        Setting(mode="dc volts"), Setting(full=6.0), Setting(lead_broken=True), Setting(mode="ohms"),
        Setting(amps_jack=True, fuse_blown=True),
    ))  # fmt: skip


def _wrong_note(desk: Desk, complaint: str, truth: Suspect, dice: random.Random) -> Note | None:
    """A reading that says the opposite of what stands there, at a point that would lead past the fault."""
    shows = desk.shows(complaint).situation
    table = desk.reasoner.table(shows)
    mine = next(k for k, owner in enumerate(table.owner) if desk.machine.suspects[owner].id == truth.id)
    meters = [c.meter for c in desk.planner.candidates(shows).items if c.meter.mode.endswith("volts")]
    dice.shuffle(meters)
    desk.reasoner.predict_all(meters, shows)
    for meter in meters:
        predicted = desk.reasoner.predict(meter, shows)
        right, now = abs(predicted.right), abs(float(predicted.value[mine]))
        if right > 10 and now < 0.2 * right and not predicted.floating[mine]:
            return Note("NB, last shift", meter, f"{right:.0f}")
    return None


# ----------------------------------------------------------------------------------------------- as plain data, and back


def put_hidden(exercise: Exercise) -> dict[str, Any]:
    """What is hidden in it, as plain data."""
    s, note = exercise.setting, exercise.note
    return {
        "level": BY_NUMBER[exercise.level].name,
        "faults": list(exercise.faults),
        "meter": [s.mode, s.full, s.amps_jack, s.lead_broken, s.fuse_blown],
        "note": [note.by, put_item(note.meter), note.said] if note else None,
    }


def get_hidden(data: Any) -> tuple[tuple[str, ...], Setting, Note | None]:
    """What `put_hidden` wrote. Raises KeyError, TypeError, ValueError or IndexError where it is not that."""
    mode, full, jack, lead, fuse = data["meter"]
    note = None
    if data["note"]:
        by, raw, said = data["note"]
        meter = get_item(raw)
        if not isinstance(meter, Meter):
            raise TypeError("a note is a reading")
        note = Note(str(by), meter, str(said))
    return (
        tuple(str(f) for f in data["faults"]),
        Setting(mode, float(full), bool(jack), bool(lead), bool(fuse)),
        note,
    )
