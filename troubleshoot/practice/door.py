"""The door to practice: the steps of the course, which machine, and what comes next for this person. A runner."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from troubleshoot.job.runner import Runner
from troubleshoot.job.sheet import Input, Line, LiveKey, Pressed, Role, Sheet
from troubleshoot.practice.again import Left
from troubleshoot.practice.bench_sheet import short
from troubleshoot.practice.exercise import BY_NUMBER, LEVELS, Nothing
from troubleshoot.practice.progress import Past, next_of
from troubleshoot.text.showing import show

ROWS: Final = "123456789abd"
MACHINE: Final = LiveKey("m", "machine", "practises on the next machine")
BACK: Final = LiveKey("escape", "back", "back to the plant")
AGAIN: Final = LiveKey("a", "again", "practises the same step once more, with something else hidden")
GO_ON: Final = LiveKey("g", "go on", "goes on with the exercise that was left half-way, where it was left")
COURSE: Final = LiveKey("enter", "course", "goes to the course: what comes next, or another step")


@dataclass(frozen=True, slots=True)
class Ways:
    """What the door needs of the disk. The edge (cli) fills it in."""

    machines: Sequence[str]
    begin: Callable[[str, int], Runner]
    """(machine, level) to its exercise with a seed of its own. Raises `Nothing` with words, and OSError."""
    past: Callable[[], tuple[Past, ...]] = tuple
    """What is remembered of this person; nothing where nothing is."""
    remembers: bool = False
    left: Callable[[], Left | None] = lambda: None
    """The newest exercise that this person left half-way."""
    again: Callable[[Left], Runner] | None = None
    """Goes on with it. Raises `Nothing` with words, and OSError."""


class Door:
    """Implements `job.runner.Runner`; once an exercise is chosen it is that exercise's."""

    def __init__(
        self, ways: Ways, machine: str, back: Callable[[], None] | None = None, inside: tuple[Runner, int] | None = None
    ) -> None:
        """machine: which one is offered first; back: leads back to where the door was opened, where there is such.

        inside: an exercise that has been chosen already, with its level.
        """
        self._ways, self._machine, self._back = ways, machine, back
        self._inside: Runner | None = inside[0] if inside is not None else None
        self._level = inside[1] if inside is not None else 0
        self._turn, self._echo, self._busy = 0, "", ""
        self._left = ways.left() if inside is None else None

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        if self._inside is not None:
            sheet = self._inside.sheet(width, height)
            if not sheet.done:
                return sheet
            # An exercise that is over leads on: not into the shell.
            return replace(sheet, keys=(COURSE, AGAIN, *sheet.keys), done=False, leaving="the exercise is over")
        past = self._ways.past()
        following = next_of(past)
        passed = {p.level for p in past if p.passed}
        lines = [
            Line(
                f"Practise on {self._machine}. Nothing here is real; none of it counts as a job."[:width],
                Role.TASK,
            )
        ]
        for key, level in zip(ROWS, LEVELS, strict=True):
            done = (
                "done"
                if level.number in passed
                else "next"
                if self._ways.remembers and level.number == following.level
                else ""
            )
            text = f"{key}  {level.name:<17}  {level.words}"
            room = width - 6
            lines.append(Line(f"{text[:room]:<{room}}{done:>5}".rstrip(), Role.ROW, key))
        why = f"Enter: {LEVELS[following.level - 1].name}, {following.why}."
        lines.append(Line(why[:width], Role.NOTE))
        lines.append(Line("m  another machine"[:width], Role.ROW, "m"))
        if self._left is not None:
            lines.append(Line(f"g  go on with {left_words(self._left)}"[:width], Role.ROW, "g"))
        if not self._ways.remembers:
            lines.append(
                Line("Nothing is remembered of you. troubleshoot practice --remember changes that."[:width], Role.NOTE)
            )
        if self._echo:
            lines.append(Line(self._echo[:width], Role.ECHO))
        keys = (
            LiveKey("enter", "next", why), MACHINE, *((GO_ON,) if self._left is not None else ()),
            *((BACK,) if self._back is not None else ()),
            *(LiveKey(k, short(level.name), level.words, shown=False) for k, level in zip(ROWS, LEVELS, strict=True)),
        )  # fmt: skip
        return Sheet(f"practice door {self._turn}", "PRACTICE  the course", tuple(lines), keys, None, 0)

    def give(self, said: Input) -> None:
        """See `Runner.give`."""
        if self._inside is not None:
            sheet = self._inside.sheet(80, 24)
            if (
                sheet.done
                and isinstance(said, Pressed)
                and said.key in (COURSE.key, AGAIN.key)
                and said.sheet == sheet.id
            ):
                self._over(again=said.key == AGAIN.key)
            else:
                self._inside.give(said)
            return
        if said.sheet != f"practice door {self._turn}" or not isinstance(said, Pressed):
            return
        self._turn += 1
        self._echo = ""
        if said.key == "m":
            machines = list(self._ways.machines)
            at = machines.index(self._machine) if self._machine in machines else -1
            self._machine = machines[(at + 1) % len(machines)]
        elif said.key == "g" and self._left is not None:
            self._go_on(self._left)
        elif said.key == "escape" and self._back is not None:
            self._back()
        elif said.key == "enter":
            self._begin(next_of(self._ways.past()).level)
        elif said.key in ROWS:
            self._begin(LEVELS[ROWS.index(said.key)].number)

    def _over(self, *, again: bool) -> None:
        """Out of an exercise that is over: to the course, or into another one of its level."""
        assert self._inside is not None
        self._inside.close()
        self._inside = None
        self._turn += 1
        self._echo = ""
        self._left = self._ways.left()
        if again:
            self._begin(self._level)

    def _begin(self, level: int) -> None:
        self._level = level
        self._busy = f"reading {self._machine} and choosing what is to be found"
        try:
            self._inside = self._ways.begin(self._machine, level)
        except Nothing as no:
            self._echo = str(no)
        finally:
            self._busy = ""

    def _go_on(self, left: Left) -> None:
        assert self._ways.again is not None
        self._machine, self._level = left.exercise.machine, left.exercise.level
        self._busy = f"reading {self._machine} and doing once more what was done"
        try:
            self._inside = self._ways.again(left)
        except Nothing as no:
            self._echo, self._left = str(no), None
        finally:
            self._busy = ""

    def busy(self) -> str:
        """See `Runner.busy`."""
        return self._busy or (self._inside.busy() if self._inside is not None else "")

    def pump(self) -> bool:
        """See `Runner.pump`."""
        return self._inside.pump() if self._inside is not None else False

    def close(self) -> None:
        """See `Runner.close`."""
        if self._inside is not None:
            self._inside.close()


def left_words(left: Left) -> str:
    """An exercise that was left, in a few words; what it hides is not among them."""
    what = left.exercise.title or BY_NUMBER[left.exercise.level].name
    return show(f"{left.exercise.machine}, {what}, begun {left.at[:16].replace('T', ' ')}")
