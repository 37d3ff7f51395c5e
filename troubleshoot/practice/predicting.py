"""What should be there is said before it is shown: the sheet that asks, and what was said beside what is right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Word
from troubleshoot.evidence.words import AskBack, Asked, read_typed
from troubleshoot.job.codec import put_item, put_understood
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.lists import item_keys, list_situation, listed
from troubleshoot.job.naming import device_words, should_be
from troubleshoot.job.page import E
from troubleshoot.job.pen import Pen
from troubleshoot.job.rung import rung_lines
from troubleshoot.job.sheet import Entry, Line, LiveKey, Role, Sheet
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import State
from troubleshoot.job.view import title, view
from troubleshoot.practice.bench_sheet import UNDO
from troubleshoot.solve.meters import RANGES, unit_of

ENTER: Final = LiveKey("enter", "that is it", "these are the lights that you expect")
SKIP: Final = LiveKey("z", "don't know", "goes on without saying what should be there")


def asks(stage: Stage) -> bool:
    """Whether something is to be predicted: readings and lights of the search; what is only looked at is not."""
    step = stage.step
    return step is not None and stage.name in ("search", "confirm") and step.kind in ("measure", "confirm", "lights")


def key_of(stage: Stage, state: State) -> str:
    """What one prediction counts for."""
    assert stage.step is not None
    return f"{stage.step.id}|{state.epoch}"


def values(desk: Desk, item: Light | Look) -> tuple[str, ...]:
    """What can be seen there, in the order of its kind, so that the order gives nothing away."""
    found = tuple(dict.fromkeys(desk.machine.net.signs[item.name].shows.values()))
    return tuple(v for v in ("off", *found) if v in found)


def first_guess(desk: Desk, stage: Stage) -> dict[str, str]:
    """Every row before anything was said."""
    return {item.name: values(desk, item)[0] for item in listed(stage)}


def sheet_of(
    desk: Desk, state: State, stage: Stage, guess: Mapping[str, str], first: Mapping[str, str], *, id: str, echo: str, width: int, saved: int,
    undo: bool = False,
) -> Sheet:  # fmt: skip
    """The question: what should a good machine show here? first: how its rows began, which nobody has said yet."""
    pen = Pen(width)
    assert stage.step is not None
    meters = [i for i in stage.step.items if isinstance(i, Meter)]
    named = stage.step.situation
    keys: tuple[LiveKey, ...]
    if meters:
        pen.put(f"First say it, then measure. {named.words[:1].upper()}{named.words[1:]}:", Role.TASK)
        pen.put("what should a good machine have here? In this order:", Role.TASK)
        for k, m in enumerate(meters, 1):
            pen.put(
                f"{k}  {m.red} to {m.black}  {device_words(desk, m)}, {RANGES[m.mode].words}", Role.ROW, indent="   "
            )
        for line in rung_lines(desk, meters, named.situation, pen.width):
            pen.fixed(line)
        pen.put("A number, or: nothing, OL. What should be there is shown after that.", Role.NOTE)
        entry, keys = Entry("What should be there", example="a number, or a word, for each"), (SKIP,)
    else:
        step_id, _ = list_situation(stage)
        marks = {(step_id, name): shown for name, shown in guess.items()}
        drawn = view(desk, replace(state, marks=marks), Ui(), width, saved)
        pen.put(f"First say it, then look. {named.words[:1].upper()}{named.words[1:]}:", Role.TASK)
        pen.put("which of these should be on, or otherwise than drawn? Press its key; then Enter.", Role.TASK)
        if any(first.get(name) != value for name, value in first_guess(desk, stage).items()):
            pen.put("They begin as you said them before, right or not.", Role.NOTE)
        # What nobody has touched yet nobody has said.
        keys_of = dict(zip(item_keys(stage), listed(stage), strict=False))
        unsaid = {key for key, item in keys_of.items() if guess.get(item.name) == first[item.name]}
        rows = [_unmarked(line, unsaid) for line in drawn.lines if line.role in (Role.ROW, Role.FACE)]
        pen.lines += rows
        row_keys = tuple(
            LiveKey(key, item.name[:14], f"{item.name}: the next of what it can show", shown=False)
            for key, item in zip(item_keys(stage), listed(stage), strict=False)
        )
        entry, keys = None, (ENTER, SKIP, *row_keys)
    if echo:
        pen.put(echo, Role.ECHO)
    keys = (*keys, *((UNDO,) if undo else ()), E)
    return Sheet(id, title(desk, state, stage, width - len(f" saved {saved}")), tuple(pen.lines), keys, entry, saved)


def _unmarked(line: Line, keys: set[str]) -> Line:
    """A row without the mark that somebody said it, for these keys; everything else stays in its column."""
    text = line.text
    if not line.parts:
        return replace(line, text=text.replace("<- you", "").rstrip()) if set(line.keys) & keys else line
    for part in line.parts:
        if part.key in keys:
            there = text[part.start : part.end]
            text = text[: part.start] + there.replace("<- you", "      ") + text[part.end :]
    return replace(line, text=text)


def of_readings(desk: Desk, stage: Stage, text: str) -> list[list[Any]] | str:
    """What was said of every reading beside what is right: [item, said, understood, should be, right]; or a question back."""
    assert stage.step is not None
    meters = [i for i in stage.step.items if isinstance(i, Meter)]
    read = read_typed(text, asked=tuple(Asked(unit_of(m.mode), None, False, m.mode != "dc volts") for m in meters))
    if isinstance(read, AskBack):
        return read.words
    out: list[list[Any]] = []
    for meter, answer in zip(meters, read.answers, strict=True):
        if answer.understood is None:
            return f"All {len(meters)} of them, please: {read.echo}"
        right = is_right(desk, meter, stage, answer.understood)
        named = stage.step.situation
        out.append(
            [put_item(meter), answer.said, put_understood(answer.understood), should_be(desk, meter, named), right]
        )
    return out


def is_right(desk: Desk, meter: Meter, stage: Stage, said: Interval | Word) -> bool:
    """Whether a good machine has that there."""
    assert stage.step is not None
    if said in (Word.RIGHT, Word.COULDNT, Word.LOW, Word.HIGH):
        return False
    if isinstance(said, Interval) and said.unit == "V" and abs(said.middle) < 1:
        said = Word.NOTHING
    return desk.as_it_should(meter, stage.step.situation, said)


def of_lights(desk: Desk, stage: Stage, guess: Mapping[str, str]) -> list[list[Any]]:
    """What was said of every row beside what is right, as in `of_readings`."""
    _, named = list_situation(stage)
    out: list[list[Any]] = []
    for item in listed(stage):
        should = desk.shown(item, named)
        out.append([put_item(item), guess[item.name], guess[item.name], should, guess[item.name] == should])
    return out


def beside(items: list[list[Any]]) -> str:
    """How the prediction went, in a sentence."""
    wrong = [row for row in items if not row[4]]
    if not wrong:
        return "All as it should be."
    names = [_name(row[0]) for row in wrong[:3]]
    return f"{len(items) - len(wrong)} of {len(items)} as it should be; look again at {', '.join(names)}" + (
        ", ..." if len(wrong) > 3 else "."
    )


def _name(item: list[Any]) -> str:
    return f"{item[2][0]}:{item[2][1]}" if item[0] == "meter" else str(item[1])
