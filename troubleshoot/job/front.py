"""The front page: the complaint in anybody's words becomes a machine and a complaint, an open job, or a machine to be described.

Belongs here: what is shown before there is a job, and what was said there. Not here: beginning a job, writing, computing;
what was chosen comes out as a `Begin`, a `TakeUp` or a `Doorway`, and the session does it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from troubleshoot.circuit.model import Circuit
from troubleshoot.job.another import KEY as ANOTHER
from troubleshoot.job.describing import Door, Made, Meant, door_sheet, nearest_first, through
from troubleshoot.job.opening import ENOUGH, Match, called_in, matches, unknown_machine
from troubleshoot.job.pen import Pen
from troubleshoot.job.plant import Doorway, Looked, OpenJob, Plant
from troubleshoot.job.saying import runs_on
from troubleshoot.job.sheet import Entry, Input, Line, LiveKey, Pressed, Refusal, Role, Sheet, Typed

_ROWS: Final = "123456789"


@dataclass(frozen=True, slots=True)
class Begin:
    """A new job is to be begun."""

    machine: str
    complaint: str
    """Name of the complaint in the machine's description."""
    said: str
    """The person's own words."""
    described: Made | None
    """The machine was described for this job, so."""


@dataclass(frozen=True, slots=True)
class TakeUp:
    """An open job is to be gone on with."""

    job: OpenJob


Chosen = Begin | TakeUp | Doorway | None
"""What was chosen; None: the front page stays."""


@dataclass(frozen=True, slots=True)
class Mark:
    """How the front page stood, to go back to where what was chosen could not be done."""

    asked: str
    candidates: tuple[Match, ...]
    echo: str
    turn: int


class FrontPage:
    """What is on the screen while there is no job."""

    def __init__(self, plant: Plant, *, machine: str = "", describe: bool = False, pattern: str = "") -> None:
        """machine: the only one it can be; describe: it is a new one, whatever it is called; pattern: the ready circuit it is like."""
        self._plant = plant
        self._machine = machine
        self._describe = describe
        self._pattern = pattern
        self._door: Door | None = None
        self._described: Made | None = None
        self._echo = plant.notices[0] if plant.notices else ""
        self._asked = ""
        self._candidates: tuple[Match, ...] = ()
        self._starters: dict[str, Circuit] | None = None
        self._turn = 0
        self._looking = plant.looking is not None

    def found(self, looked: Looked) -> None:
        """The open jobs are known now. The sheet keeps its name: what is being typed on it stays."""
        self._looking = False
        self._plant = replace(
            self._plant, open_jobs=looked.open_jobs, notices=(*self._plant.notices, *looked.notices), looking=None
        )
        if looked.notices and not self._echo:
            self._echo = looked.notices[0]

    def mark(self) -> Mark:
        """How it stands now."""
        return Mark(self._asked, self._candidates, self._echo, self._turn)

    def back_to(self, mark: Mark) -> None:
        """As it stood then; a machine that was saved meanwhile stays saved."""
        self._asked, self._candidates, self._echo, self._turn = mark.asked, mark.candidates, mark.echo, mark.turn

    def sheet(self, width: int) -> Sheet:
        """What is shown, for that many columns."""
        lines: list[Line] = []
        keys: list[LiveKey] = []
        if self._door is not None and not self._candidates:
            drawn = door_sheet(self._door, self._plant.circuits, self._ready(), width)
            return Sheet(self._id(), drawn[0], self._echoed(drawn[1]), drawn[2], drawn[3], 0)
        if self._candidates:
            if runs_on(self._asked):
                lines.append(
                    Line("Does it move when it must not? Open its disconnect NOW. Then come back here.", Role.DANGER)
                )
            one = len({m.machine for m in self._candidates}) == 1
            title = self._plant.circuits[self._candidates[0].machine].title
            asks = f"{title}: what is wrong?" if one else "which of these?"
            lines += _wrapped(f'"{self._asked}". {asks[:1].upper()}{asks[1:]}', Role.TASK, width)
            for key, match in zip(_ROWS, self._candidates, strict=False):
                circuit = self._plant.circuits[match.machine]
                words = circuit.complaints[match.complaint].words[0]
                row = words if one else f"{circuit.title}: {words}"
                lines += _row(key, row, width)
                keys.append(LiveKey(key, match.machine[:14], f"{circuit.title}: {words}", shown=False))
            if self._described is None:
                lines += _row(ANOTHER.key, ANOTHER.does, width)
                keys.append(replace(ANOTHER, shown=False))
            keys.append(LiveKey("escape", "back", "back to the question"))
            which = "what is wrong?" if one else "which machine?"
            return Sheet(self._id(), f"TROUBLESHOOT  {which}", self._echoed(lines), tuple(keys), None, 0)
        if self._describe:
            lines += [
                Line("A new machine: what is it called, and what does it do? Say it your way.", Role.TASK),
                Line("", Role.BLANK),
                Line("Nothing to fill in: the rest comes by single keys, and not knowing is an answer.", Role.NOTE),
            ]
            return Sheet(
                self._id(), "TROUBLESHOOT  a new machine", self._echoed(lines), (),
                Entry("Machine and complaint", example="belt 12 dead"), 0,
            )  # fmt: skip
        lines.append(Line("What is wrong? Say it as it was told to you: machine and what it does.", Role.TASK))
        lines.append(Line("", Role.BLANK))
        for key, job in zip(_ROWS, self._plant.open_jobs, strict=False):
            lines += _row(key, f"go on with: {job.words}", width)
            keys.append(LiveKey(key, "go on", f"takes up: {job.words}", shown=False))
        if self._looking:
            lines.append(Line("   Jobs left open are still being looked for; nothing waits for that.", Role.NOTE))
        for door in self._plant.doors:
            lines.append(Line(f"{door.key}  {door.words}"[: width - 2], Role.ROW, door.key))
            keys.append(LiveKey(door.key, door.label, door.words))
        if self._plant.open_jobs or self._plant.doors or self._looking:
            lines.append(Line("", Role.BLANK))
        if not self._plant.circuits:
            lines.append(Line("No machine is known here yet. Say what is wrong all the same.", Role.NOTE))
        else:
            lines.append(Line("Machines known here:", Role.NOTE))
        lines += [
            Line(f"   {c.name}: {c.title}"[: width - 2], Role.NOTE) for c in list(self._plant.circuits.values())[:8]
        ]
        entry = Entry("Machine and complaint", example=self._example())
        return Sheet(self._id(), "TROUBLESHOOT", self._echoed(lines), tuple(keys), entry, 0)

    def _example(self) -> str:
        first = next(iter(self._plant.circuits.values()), None)
        return f"{first.name.replace('-', ' ')} dead" if first else "belt 12 dead"

    def _echoed(self, lines: list[Line]) -> tuple[Line, ...]:
        return (*lines, Line(self._echo, Role.ECHO)) if self._echo else tuple(lines)

    def _id(self) -> str:
        return f"front {self._turn}"

    def given(self, said: Input) -> Chosen:
        """What an input chooses. Raises OSError, with words, where a machine that was described cannot be saved."""
        if said.sheet != self._id():
            return None
        self._turn += 1
        self._echo = ""
        if (
            self._door is not None
            and not self._candidates
            and (not isinstance(said, Typed) or self._door.where == "stops")
        ):
            return self._at_the_door(self._door, said)
        match said:
            case Pressed(key="escape"):
                self._candidates = ()
            case Pressed(key=ANOTHER.key) if self._candidates and self._described is None:
                self.at_the_door(self._asked)
            case Pressed(key=key) if key in _ROWS and self._candidates:
                if _ROWS.index(key) < len(self._candidates):
                    match = self._candidates[_ROWS.index(key)]
                    return self._begin(match, self._asked)
            case Pressed(key=key) if (
                not self._describe and not self._candidates and any(key == door.key for door in self._plant.doors)
            ):
                return next(door for door in self._plant.doors if door.key == key)
            case Pressed(key=key) if key in _ROWS and _ROWS.index(key) < len(self._plant.open_jobs):
                return TakeUp(self._plant.open_jobs[_ROWS.index(key)])
            case Typed(text=text):
                if text.strip() in _ROWS[: len(self._plant.open_jobs)]:
                    return TakeUp(self._plant.open_jobs[_ROWS.index(text.strip())])
                return self.said(text)
            case _:
                pass
        return None

    def begun(self) -> None:
        """The job that was chosen has begun: what was described for it is written there."""
        self._described = None

    def _at_the_door(self, door: Door, said: Input) -> Chosen:
        taken = self._plant.taken() | frozenset(self._plant.circuits)
        match through(door, said, self._plant.circuits, self._ready(), taken):
            case Door() as further:
                self._door = further
            case "back":
                self._door = None
            case Made() as made:
                return self._keep(made)
            case Meant(machine):
                self._door, self._machine = None, machine
                return self.said(door.said)
            case Refusal(words):
                self._echo = words
            case None:
                self._turn -= 1  # nothing was asked for: what else was typed on this sheet still counts
        return None

    def _keep(self, made: Made) -> Chosen:
        """Save a machine that was described, and go straight on with the complaint."""
        circuit = self._plant.save(made.machine, made.text, made.made_from)
        self._plant = replace(self._plant, circuits={**self._plant.circuits, made.machine: circuit})
        self._door, self._machine, self._described = None, made.machine, made
        self._describe = False
        return self.said(self._asked)

    def _ready(self) -> Mapping[str, Circuit]:
        if self._starters is None:
            self._starters = dict(self._plant.ready())
        return self._starters

    def _stand_at_the_door(self, text: str, called: str) -> Chosen:
        known = self._plant.circuits
        self._door = Door(text, called, meant=tuple(nearest_first(called, known)[:2]))
        if self._pattern:
            keys = dict(zip(self._ready(), _ROWS + "0", strict=False))
            return self._at_the_door(replace(self._door, where="starter"), Pressed(keys[self._pattern], self._id()))
        return None

    def at_the_door(self, text: str) -> None:
        """Another machine was meant by these words than the one a job was opened on."""
        self._asked, self._candidates, self._machine, self._described = text, (), "", None
        self._turn += 1
        self._door = Door(
            text, called_in(text, self._plant.circuits), meant=tuple(nearest_first(text, self._plant.circuits)[:4])
        )

    def _begin(self, match: Match, said: str) -> Begin:
        return Begin(match.machine, match.complaint, said, self._described)

    def said(self, text: str) -> Chosen:
        """What the complaint in somebody's words chooses: at once, where only one thing can be meant."""
        self._asked = text
        circuits = self._plant.circuits
        if self._describe:
            return self._stand_at_the_door(text, unknown_machine(text, {}) or "")
        if not self._machine:
            called = unknown_machine(text, circuits)
            if called is not None:
                return self._stand_at_the_door(text, called)
        self._door = None
        if self._machine:
            circuits = {self._machine: circuits[self._machine]}
        found = matches(text, circuits)
        if self._machine:
            found = [replace(m, machine_score=100.0) for m in found]
        if len(circuits) == 1 and found:
            # Only one machine is known: no need to name it.
            found = [replace(m, machine_score=100.0) for m in found]
        best = [m for m in found if m.sure]
        if len(best) == 1 or (len(best) > 1 and best[0].machine_score > best[1].machine_score + 10):
            return self._begin(best[0], text)
        if best:
            self._candidates = tuple(best[:9])
            return None
        # A machine but no symptom, or a symptom but no machine: show what could be meant, never an error.
        near = [m for m in found if m.machine_score >= ENOUGH] or found
        self._candidates = tuple(
            Match(m.machine, c, m.machine_score, m.complaint_score)
            for m in near[:9]
            for c in ([m.complaint] if m.complaint_score >= ENOUGH else m.complaints)
        )[:9]
        if not self._candidates:
            self._echo = "No machine is described here yet."
        return None


def _wrapped(words: str, role: Role, width: int) -> list[Line]:
    pen = Pen(width - 2)
    pen.put(words, role, indent="  ")
    return pen.lines


def _row(key: str, words: str, width: int) -> list[Line]:
    pen = Pen(width - 2)
    pen.put(f"{key}  {words}", Role.ROW, key=key, indent="   ")
    return pen.lines
