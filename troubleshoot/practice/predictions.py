"""What somebody said should be there, in one exercise: what is due, what was said, what is taken back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from troubleshoot.job.desk import Desk
from troubleshoot.job.lists import item_keys, listed
from troubleshoot.job.sheet import Input, Typed
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import State
from troubleshoot.log.event import Event
from troubleshoot.practice import predicting
from troubleshoot.practice.kinds import OWN


@dataclass(frozen=True, slots=True)
class AskedBack:
    """What was typed was not understood."""

    words: str


class Predictions:
    """Everything that was said beforehand, and the guess that is being made row by row."""

    def __init__(self, write: Callable[[str, Mapping[str, Any]], None]) -> None:
        """write: (kind, data) of an event, on the disk before it returns; raises OSError with words."""
        self._write = write
        self.said: frozenset[str] = frozenset()
        """Keys (`predicting.key_of`) of what was said and stands."""
        self._guess: dict[str, str] = {}
        self._before: dict[str, str] = {}
        """How each light was said to be the last time that it was asked, in whatever state of the machine."""

    def take_up(self, events: Sequence[Event], gone: frozenset[int]) -> None:
        """What was said in a log. gone: numbers of events that were taken back."""
        self.said = frozenset(
            str(e.data["key"]) for e in events if e.kind == "predicted" and e.n not in gone and "key" in e.data
        )
        for e in events:
            if e.kind == "predicted" and e.n not in gone:
                self._remember(e.data["items"])  # type: ignore[arg-type]

    def _remember(self, items: Sequence[Sequence[Any]]) -> None:
        self._before |= {str(row[0][1]): str(row[1]) for row in items if row[0][0] != "meter"}

    def first(self, desk: Desk, stage: Stage) -> dict[str, str]:
        """How the rows of a list begin: as this person said them before, and off where they have said nothing of them yet.

        Beginning from what a good machine shows would give it away.
        """
        off = predicting.first_guess(desk, stage)
        can = {item.name: predicting.values(desk, item) for item in listed(stage)}
        return {name: said if (said := self._before.get(name)) in can[name] else value for name, value in off.items()}

    def due(self, stage: Stage, state: State) -> bool:
        """Whether something is to be said before this step."""
        return predicting.asks(stage) and predicting.key_of(stage, state) not in self.said

    def guess(self, desk: Desk, stage: Stage) -> Mapping[str, str]:
        """The rows of a list as they are guessed now, by name."""
        if not self._guess and listed(stage):
            self._guess = self.first(desk, stage)
        return self._guess

    def forget_guess(self) -> None:
        """Another question: its rows are guessed from the beginning."""
        self._guess = {}

    def give(self, said: Input, desk: Desk, stage: Stage, state: State) -> AskedBack | str | None:
        """Take a key or a line: how it went, in a sentence; a question back; None where a row went on or nothing was meant."""
        if isinstance(said, Typed):
            items = predicting.of_readings(desk, stage, said.text)
            if isinstance(items, str):
                return AskedBack(items)
            return self._say(stage, state, items, predicting.beside(items))
        if said.key == predicting.SKIP.key:
            return self._say(stage, state, [], "Not said.")
        rows = dict(zip(item_keys(stage), listed(stage), strict=False))
        if said.key == "enter" and rows:
            items = predicting.of_lights(desk, stage, self.guess(desk, stage))
            return self._say(stage, state, items, predicting.beside(items))
        if said.key in rows:
            item = rows[said.key]
            can, now = predicting.values(desk, item), self.guess(desk, stage)[item.name]
            self._guess[item.name] = can[(can.index(now) + 1) % len(can)]
        return None

    def _say(self, stage: Stage, state: State, items: list[list[Any]], words: str) -> str:
        assert stage.step is not None
        key = predicting.key_of(stage, state)
        self._write("predicted", {"step": stage.step.id, "key": key, "items": items})
        self.said |= {key}
        self._remember(items)
        self._guess = {}
        return words

    def last(self, events: Sequence[Event], stage: Stage, state: State) -> Event | None:
        """What was said for this step, where it is the last thing that was answered."""
        if not predicting.asks(stage):
            return None
        key = predicting.key_of(stage, state)
        last = next((e for e in reversed(events) if e.kind == "predicted" or e.kind not in OWN), None)
        said = key in self.said and last is not None and last.kind == "predicted" and last.data.get("key") == key
        return last if said else None

    def unsay(self, last: Event) -> None:
        """Take back what was said; what was shown stays shown, so the debrief counts it all the same."""
        self._write("undone", {"of": last.n})
        self.said -= {str(last.data["key"])}
