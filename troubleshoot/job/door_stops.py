"""At the door: where the emergency stops and the buttons of a machine stand, and how many stops there are. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from string import ascii_lowercase
from typing import Final

from troubleshoot.describe.stops import (
    AT_DOOR,
    MOST,
    OPERATED,
    STOPS,
    answer_of,
    stop_said,
    stops_in,
)
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, Input, Line, LiveKey, Pressed, Refusal, Role

STOPS_KEY: Final = "s"
"""Key that leads to the stops, at every question."""
_DOOR_KEY: Final = "1"


@dataclass(frozen=True, slots=True)
class Stood:
    """What is said by now, and whether more is to be said here."""

    answers: dict[str, str]
    more: bool


def stops_row(answers: Mapping[str, str]) -> str:
    """What is said of the stops so far, for the row that leads there."""
    stops = stops_in(answers)
    if not stops:
        return "several emergency stops or pull cords? Say where they stand"
    return f"stops: {len(stops)}, first {stops[0].words}"


def draw_stops(
    answers: Mapping[str, str], called: str, width: int
) -> tuple[str, list[Line], tuple[LiveKey, ...], Entry]:
    """Title, lines, keys and the place to type."""
    pen = Pen(width - 2)
    pen.put("Where does each emergency stop and pull cord stand?", Role.TASK)
    pen.put("In the order of the wire, from the control fuse on; not known is any order.", Role.NOTE)
    pen.put("")
    stops = stops_in(answers)
    for k, stop in enumerate(stops, 1):
        pen.put(f"   stop {k}: {stop.words}", Role.NOTE)
    if not stops:
        pen.put("   So far: one mushroom, where it is operated, away from the panel.", Role.NOTE)
    at_door = answers.get(OPERATED) == AT_DOOR
    where = "in the panel's own door" if at_door else "away from the panel"
    other = "away from the panel" if at_door else "in the panel's own door"
    pen.put(f"{_DOOR_KEY}  start and stop: {where} (press for: {other})", Role.ROW, key=_DOOR_KEY, indent="   ")
    pen.put("")
    pen.put(
        "Type where the next one stands: boot pit. A pull cord: cord tail end. Enter alone: that is all.", Role.NOTE
    )
    keys = (
        LiveKey("enter", "that is all", "goes back to the questions"),
        LiveKey(_DOOR_KEY, "the door", "start and stop are in the panel's own door, or not", shown=False),
        LiveKey("u", "undo", "takes the last one back"), LiveKey("escape", "back", "goes back to the questions"),
    )  # fmt: skip
    entry = Entry("Where the next one stands", example="boot pit", begins=frozenset(ascii_lowercase), digits_act=True)
    return f"TROUBLESHOOT  {called}  its stops", pen.lines, keys, entry


def stops_given(answers: dict[str, str], said: Input) -> Stood | Refusal | None:
    """What an input does there. None: it is not live here."""
    stops = stops_in(answers)
    rest = {key: value for key, value in answers.items() if key != STOPS}
    if isinstance(said, Pressed):
        if said.key in ("enter", "escape"):
            return Stood(answers, more=False)
        if said.key == "u":
            return Stood({**rest, **answer_of(stops[:-1])}, more=bool(stops))
        if said.key == _DOOR_KEY:
            if answers.get(OPERATED) == AT_DOOR:
                return Stood({k: v for k, v in answers.items() if k != OPERATED}, more=True)
            return Stood({**answers, OPERATED: AT_DOOR}, more=True)
        return None
    stop = stop_said(said.text)
    if isinstance(stop, str):
        return Refusal(stop)
    if len(stops) == MOST:
        return Refusal(f"{MOST} fit here; say the others later, with v.")
    if stop in stops:
        return Refusal(f"There is a {stop.words} already. Two there? Say which: {stop.said} left.")
    return Stood({**rest, **answer_of((*stops, stop))}, more=True)


__all__ = ["STOPS_KEY", "Stood", "draw_stops", "stops_given", "stops_row"]
