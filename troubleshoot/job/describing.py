"""The door for a machine that nobody described: a few questions, a sister, or a starter pattern. Pure; nothing is ever a form.

`Door` is where one stands, `door_sheet` what is shown, `through` what an input does. What comes out is a `Made`: the text
of a circuit file, which the session saves before anything else.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from rapidfuzz import fuzz

from troubleshoot.circuit.model import Circuit
from troubleshoot.describe.copying import copy_of
from troubleshoot.describe.naming import short_name
from troubleshoot.describe.pattern import compose
from troubleshoot.describe.stops import stood, stops_kept
from troubleshoot.describe.taps import QUESTIONS, UNKNOWN, asked, counted_as, next_question, options_of
from troubleshoot.job.door_stops import STOPS_KEY, draw_stops, stops_given, stops_row
from troubleshoot.job.pen import Pen
from troubleshoot.job.saying import runs_on, single_phase
from troubleshoot.job.sheet import Entry, Input, Line, LiveKey, Pressed, Refusal, Role
from troubleshoot.machine.supply import supplied

ROWS: Final = "1234567890"
OPTIONS: Final = "123456789ab"
Where = Literal["door", "taps", "stops", "sister", "starter"]


@dataclass(frozen=True, slots=True)
class Door:
    """Where somebody stands with a machine that is not known."""

    said: str
    """The complaint in the person's own words."""
    called: str
    """What the machine is called: ``belt 12``; empty where only the trouble was told."""
    where: Where = "door"
    answers: tuple[tuple[str, str], ...] = ()
    """Answers so far, in the order in which they were given."""
    meant: tuple[str, ...] = ()
    """Known machines that may be meant after all."""


@dataclass(frozen=True, slots=True)
class Made:
    """A machine that was described: to be saved, and to be worked on at once."""

    machine: str
    title: str
    text: str
    made_from: str
    """``taps``, or the machine or ready circuit it was copied from."""
    answers: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Meant:
    """A known machine was meant after all."""

    machine: str


Back = Literal["back"]
Drawn = tuple[str, list[Line], tuple[LiveKey, ...], Entry | None]


def nearest_first(called: str, circuits: Mapping[str, Circuit]) -> list[str]:
    """Names of machines, the most alike first: ``belt 6`` is nearer to ``belt 12`` than ``mixer 4``."""
    return sorted(
        circuits, key=lambda n: -fuzz.token_set_ratio(called.casefold(), f"{n.replace('-', ' ')} {circuits[n].title}".casefold())
    )  # fmt: skip


def _shown(called: str) -> str:
    return called or "this machine"


def door_sheet(door: Door, circuits: Mapping[str, Circuit], ready: Mapping[str, Circuit], width: int) -> Drawn:
    """Title, lines, keys and the place to type. circuits: the known machines; ready: the starter patterns."""
    match door.where:
        case "door":
            drawn = _door(door, circuits, width)
        case "taps":
            drawn = _tap(door, width)
        case "stops":
            drawn = draw_stops(dict(door.answers), _shown(door.called), width)
        case "sister":
            drawn = _list(door, circuits, nearest_first(door.called, circuits), "Which machine is it like?", width)
        case "starter":
            drawn = _list(door, ready, list(ready), "Which of these is nearest?", width)
    first: list[Line] = []
    if runs_on(door.said):
        first.append(Line("Does it not stop? Open its disconnect NOW. Then come back here.", Role.DANGER))
    if single_phase(door.said):
        pen = Pen(width - 2)
        pen.put(ONE_PHASE, Role.DANGER, indent="  ")
        first += pen.lines
    return drawn[0], [*first, *drawn[1]], *drawn[2:]


ONE_PHASE: Final = (
    "A single-phase motor? I know three-phase ones only: describe none here, leave with Esc and go by its own drawing. "
    "Its capacitor holds a charge with the power off."
)
"""Said at the door: what is composed there has three phases, its cautions too."""


def _rows(rows: Mapping[str, str], width: int) -> list[Line]:
    """Rows with their keys, wrapped: nothing of them is cut off."""
    pen = Pen(width - 2)
    for key, words in rows.items():
        pen.put(f"{key}  {words}", Role.ROW, key=key, indent="   ")
    return pen.lines


def _door(door: Door, circuits: Mapping[str, Circuit], width: int) -> Drawn:
    called = _shown(door.called)
    near = nearest_first(door.called, circuits)[:1]
    like = f" ({near[0].replace('-', ' ')}?)" if near else ""
    rows = {"1": "go now: a few questions, then the first test; you tell me as we go"}
    if near:
        rows["2"] = f"it is like another machine{like}"
    rows["3"] = "pick a starter pattern"
    rows |= {ROWS[3 + k]: f"it is {circuits[name].title}, known already" for k, name in enumerate(door.meant[:4])}
    lines = [Line(f"I don't know {called} yet.", Role.TASK), Line("", Role.BLANK)]
    lines += _rows(rows, width)
    lines += [Line("", Role.BLANK), Line("Nothing to fill in. What you don't know stays open.", Role.NOTE)]
    keys = tuple(LiveKey(key, words[:14], words, shown=False) for key, words in rows.items())
    keys = (replace(keys[0], label="go now", shown=True), *keys[1:], _BACK)
    return f"TROUBLESHOOT  {called}", lines, keys, Entry("Or say it otherwise", example="belt 12 dead", rows_first=True)


_BACK: Final = LiveKey("escape", "back", "back to the question before")
_UNDO: Final = LiveKey("u", "undo", "takes the last answer back")
_GO: Final = LiveKey("g", "go now", "leaves the rest not known and goes on to the first test")


def _tap(door: Door, width: int) -> Drawn:
    answers = dict(door.answers)
    question = next_question(answers)
    assert question is not None
    every = asked(answers)
    number = every.index(question) + 1
    lines = [Line(question.words, Role.TASK), Line("", Role.BLANK)]
    options = options_of(question, answers)
    lines += _rows({OPTIONS[k]: o.words for k, o in enumerate(options)}, width)
    lines.append(Line("0  don't know", Role.ROW, "0"))
    lines += [Line("", Role.BLANK), Line(question.looks, Role.NOTE)]
    if door.answers:
        said = textwrap.wrap(f"So far: {_so_far(answers)}", width - 2, subsequent_indent="  ")
        lines += [Line(text, Role.NOTE) for text in said]
    lines += _rows({STOPS_KEY: stops_row(answers)}, width)
    lines.append(Line("g  go now: the rest is not known, the readings will tell", Role.ROW, "g"))
    keys = (
        *(LiveKey(OPTIONS[k], o.words[:14], o.words, shown=False) for k, o in enumerate(options)),
        LiveKey("0", "don't know", "both ways stay possible until a reading tells"), _GO, _UNDO, _BACK,
        LiveKey(STOPS_KEY, "stops", "says where its emergency stops and its buttons stand, and how many there are", shown=False),
    )  # fmt: skip
    return f"TROUBLESHOOT  {_shown(door.called)}  question {number} of {len(every)}", lines, keys, None


def _so_far(answers: Mapping[str, str]) -> str:
    words = []
    for id, said in ((q, a) for q, a in answers.items() if q in QUESTIONS):
        option = next((o for o in QUESTIONS[id].options if o.id == said), None)
        words.append(re.split(r"[:,(]", option.words)[0].strip() if option else f"{id}?")
    return "; ".join(words)


def _list(door: Door, circuits: Mapping[str, Circuit], names: list[str], ask: str, width: int) -> Drawn:
    lines = [Line(ask, Role.TASK), Line("", Role.BLANK)]
    for key, name in zip(ROWS, names, strict=False):
        title = circuits[name].title
        shown = title.partition(" (")[0] if door.where == "starter" else title
        lines += _rows({key: shown}, width)
    lines += [Line("", Role.BLANK), Line(
        "All of it is taken as copied, unseen: tell me where it is not so." if door.where == "sister" else
        "All of it is taken as assumed: tell me where it is not so.", Role.NOTE,
    )]  # fmt: skip
    keys = tuple(
        LiveKey(key, name[:14], circuits[name].title, shown=False) for key, name in zip(ROWS, names, strict=False)
    )
    return f"TROUBLESHOOT  {_shown(door.called)}", lines, (*keys, _UNDO, _BACK), None


def through(
    door: Door, said: Input, circuits: Mapping[str, Circuit], ready: Mapping[str, Circuit], taken: frozenset[str]
) -> Door | Made | Meant | Back | Refusal | None:
    """What a key does, or a place that was typed. None: it is not live here. taken: names of machines and folders that are there already."""
    if door.where == "stops":
        done = stops_given(dict(door.answers), said)
        if isinstance(done, Refusal) or done is None:
            return done
        return replace(door, where="stops" if done.more else "taps", answers=tuple(done.answers.items()))
    if not isinstance(said, Pressed):
        return None
    key = said.key
    if key == "escape" or key == "u":
        return _undone(door, key)
    match door.where:
        case "door":
            if key == "1":
                return replace(door, where="taps", answers=())
            if key == "2" and circuits:
                return replace(door, where="sister")
            if key == "3":
                return replace(door, where="starter")
            place = ROWS.find(key) - 3
            return Meant(door.meant[place]) if 0 <= place < min(4, len(door.meant)) else None
        case "taps":
            return _tapped(door, key, ready, taken)
        case "sister":
            names = nearest_first(door.called, circuits)
            return _copied(door, key, circuits, names, taken)
        case "starter":
            return _copied(door, key, ready, list(ready), taken)


def _undone(door: Door, key: str) -> Door | Back | None:
    if door.where == "taps" and key == "u" and (given := [q for q, _ in door.answers if q in QUESTIONS]):
        return replace(door, answers=tuple((q, a) for q, a in door.answers if q != given[-1]))
    if door.where != "door":
        return replace(door, where="door", answers=())
    return "back" if key == "escape" else None


def _tapped(door: Door, key: str, ready: Mapping[str, Circuit], taken: frozenset[str]) -> Door | Made | None:
    answers = dict(door.answers)
    question = next_question(answers)
    assert question is not None
    options = options_of(question, answers)
    if key == STOPS_KEY:
        return replace(door, where="stops")
    if key == "g":
        return _made(door, answers, taken)
    if key == "0":
        answers[question.id] = UNKNOWN
    elif key in OPTIONS[: len(options)]:
        option = options[OPTIONS.index(key)]
        if option.pattern:
            return _from_pattern(door, ready[option.pattern], answers, taken) if option.pattern in ready else None
        answers[question.id] = option.id
    else:
        return None
    if next_question(answers) is None:
        return _made(door, answers, taken)
    return replace(door, answers=tuple(answers.items()))


def _title(door: Door) -> str:
    called = _shown(door.called)
    return called[:1].upper() + called[1:]


def _made(door: Door, answers: Mapping[str, str], taken: frozenset[str]) -> Made:
    whole = {q.id: answers.get(q.id, UNKNOWN) for q in asked(answers)} | stops_kept(answers)
    name = short_name(door.called, taken)
    return Made(name, _title(door), compose(whole, machine=name, title=_title(door)), "taps", whole)


def _from_pattern(door: Door, circuit: Circuit, answers: Mapping[str, str], taken: frozenset[str]) -> Made:
    """A ready circuit in place of a composed one, behind the supply that was told, or the highest where none was."""
    name = short_name(door.called, taken)
    told = answers.get("supply", UNKNOWN)
    behind = supplied(circuit, counted_as({}) if told == UNKNOWN else told)
    behind = stood(behind, answers)
    return Made(
        name, _title(door), copy_of(behind, machine=name, title=_title(door), known="assumed"), circuit.name, {}
    )


def _copied(
    door: Door, key: str, circuits: Mapping[str, Circuit], names: list[str], taken: frozenset[str]
) -> Made | None:
    place = ROWS.find(key)
    if not 0 <= place < min(len(ROWS), len(names)):
        return None
    name = short_name(door.called, taken)
    known: Literal["copied", "assumed"] = "copied" if door.where == "sister" else "assumed"
    text = copy_of(circuits[names[place]], machine=name, title=_title(door), known=known)
    return Made(name, _title(door), text, names[place], {})


__all__ = ["Back", "Door", "Made", "Meant", "door_sheet", "nearest_first", "through"]
