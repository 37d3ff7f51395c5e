"""Pages without a meter: the first questions, what to look at, and what the program makes of the lights."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final

from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Light, Look
from troubleshoot.job import draw_amending
from troubleshoot.job.against import in_short, lights_taken, sentences
from troubleshoot.job.asking import answers_of, due_question
from troubleshoot.job.decide import has_rungs
from troubleshoot.job.decided import Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.doors import devices_seen, door_caution, place_dangers, shut_places
from troubleshoot.job.face import LEAST_WIDTH, Lamp, face_lines, fits, lamp_mark, side_by_side
from troubleshoot.job.keys import KEYS
from troubleshoot.job.lists import item_keys, lights_of, list_situation, listed, marked
from troubleshoot.job.page import ENTER, HIGHEST, LEFT_TAKES, Drawn, E, L, N, U, W, X, capital, tree_key
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Line, LiveKey, Role
from troubleshoot.job.stage import Stage, on_dead_parts
from troubleshoot.job.state import State
from troubleshoot.safety.doings import doings
from troubleshoot.text.showing import show

_HELP_AND_LEAVE: Final = len("? help   q leave")
"""Columns of the keys that every screen has besides its own."""


def draw_people(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put(f'{desk.machine.circuit.title}: "{state.said}"', Role.TASK)
    complaint = desk.machine.circuit.complaints.get(state.complaint)
    if complaint is not None:
        pen.put(f"Taken for: {show(complaint.words[0])}. Something else? u", Role.NOTE)
    pen.put("")
    pen.put("Is everybody clear: nobody in it, on it, under it?", Role.TASK)
    pen.put("y  yes, all clear", Role.ROW, key="y")
    pen.put("m  no, or not sure", Role.ROW, key="m")
    pen.put("")
    pen.put("Site rules, local codes and your own licence come before anything said here.", Role.NOTE)
    return None, (LiveKey("y", "all clear", "nobody is in, on or under the machine"),
                  LiveKey("m", "not clear", "stops here until they are"), U)  # fmt: skip


def draw_last(pen: Pen, state: State) -> Drawn:
    question = due_question(state)
    assert question is not None
    answers = answers_of(question, state)
    pen.put(f"{question.whom}: {question.words}", Role.TASK)
    for k, answer in enumerate(answers, 1):
        pen.put(f"{k}  {answer.words}", Role.ROW, key=str(k))
    count = len(answers) + 1
    pen.put(f"{count}  nobody knows", Role.ROW, key=str(count))
    if question is told.LAST:
        pen.put("Two of them fit? Take the one further down: it tells more.", Role.NOTE)
    pen.put("")
    if state.power:
        pen.put("Switch nothing off yet: flags, lights and what was latched go with the power.", Role.NOTE)
    keys = tuple(LiveKey(str(k), a.words[:14], f"they say: {a.words}", shown=False) for k, a in enumerate(answers, 1))
    return None, (LiveKey("1", f"to {count}: answer", f"they say: {answers[0].words}"), *keys[1:],
                  LiveKey(str(count), "nobody knows", "goes on without an answer", shown=False), U, E)  # fmt: skip


def draw_door(pen: Pen, desk: Desk, state: State, stage: Stage) -> None:
    """The caution of a look behind a door, above what is to be looked at."""
    named = list_situation(stage)[1]
    if state.power and not on_dead_parts(desk, (), named) and (text := door_caution(desk, listed(stage))):
        pen.put(f"CAUTION  {text}", Role.CAUTION, indent="  ")
    for text in place_dangers(desk, devices_seen(desk, listed(stage))):
        pen.put(f"CAUTION  {text}", Role.CAUTION, indent="  ")


def draw_list(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    assert stage.step is not None
    if stage.step.situation.situation.acts and not on_dead_parts(desk, (), stage.step.situation):
        pen.put(f"It may start: stand clear. How it is done: {stage.step.situation.words}.", Role.CAUTION)
    draw_door(pen, desk, state, stage)
    words = for_this_machine(desk, stage.step)
    pen.put(words if words.endswith("?") else f"{words.rstrip('.')}.", Role.TASK)
    if shut := shut_places(desk, state.out):
        pen.put(f"{capital(shut)} stays shut: leave out what is in it.", Role.NOTE)
    pen.put("Different? Press its key; press again for the next. All as shown: Enter.", Role.TASK)
    draw_rows(pen, desk, state, stage, listed(stage))
    dark = KEYS["all dark"].live
    guessed = {"assumed", "copied"} & {d.known for d in desk.machine.circuit.devices.values()}
    if guessed and len(pen.lines) + 1 + LEFT_TAKES <= HIGHEST:
        pen.put("One of these is not on it? Its key, until it says: there is none.", Role.NOTE)
    for item in listed(stage):
        sign = desk.machine.net.signs[item.name]
        if sign.kind == "compare" and (drawn := desk.rung_to_compare(state, sign.var, pen.width)):
            pen.put("The copy has this rung, the first to compare:", Role.NOTE)
            for line in drawn:
                pen.fixed(line)
    all_dark = (dark,) if lights_of(desk, stage) else ()
    return None, (ENTER, *all_dark, W, N, X, *tree_key(state), draw_amending.key_of(desk), U, E, *row_keys(stage))


_START: Final = re.compile(r"Have Start held(?: for two or three seconds)?(?:, no longer,)?(?: and|,)? ?")
_MODE: Final = ", above all at the run and jog switch"


def for_this_machine(desk: Desk, step: Step) -> str:
    """The words of a step without what this machine does not have: a start button, a switch to choose with."""
    has = doings(desk.machine)
    words = step.words if has.modes else step.words.replace(_MODE, "")
    held = _START.match(words)
    if held is None or has.starts:
        return words
    return f"{capital(step.situation.words)}: {words[held.end() :]}"


def draw_rows(pen: Pen, desk: Desk, state: State, stage: Stage, items: Iterable[Light | Look]) -> None:
    """One row an item; the lights of a module drawn as its face where there is room, in the place of its first one."""
    signs = desk.machine.net.signs
    keys = dict(zip(listed(stage), item_keys(stage), strict=False))
    items = [i for i in items if i in keys]
    faces = {i: lines for group, lines in _faces(pen, desk, state, stage, keys) for i in group}
    alone = [i for i in items if i not in faces]
    lamps = any(signs[i.name].kind == "light" for i in alone)
    names = {i: i.name if signs[i.name].kind in ("light", "stop") else signs[i.name].var for i in alone}
    wide = max(map(len, names.values()), default=0)
    room = max((len(signs[i.name].words) for i in alone), default=0)
    room = min(room, max(12, pen.width - wide - 36))
    tall = (
        len(pen.lines) + len(alone) + len({line for lines in faces.values() for line in lines}) + LEFT_TAKES > HIGHEST
    )
    beside = tall and pen.width >= LEAST_WIDTH
    if beside:
        looks = [Lamp(keys[i], names[i], signs[i.name].words, *marked(desk, state, stage, i)) for i in alone]
    drawn: set[str] = set()
    for item in items:
        sign = signs[item.name]
        if item in faces:
            pen.lines += faces[item] if sign.face not in drawn else ()
            drawn.add(sign.face)
            continue
        if beside:
            continue
        key = keys[item]
        shown, by_person = marked(desk, state, stage, item)
        lamp = f"{lamp_mark(shown) if sign.kind == 'light' else '   '} " if lamps else ""
        word = f"{shown.upper()}  <- you" if by_person else shown
        first, *more = textwrap.wrap(sign.words, room) or [""]
        pen.fixed(f"{key}  {lamp}{names[item]:<{wide}}  {first:<{room}}  {word}", Role.ROW, key)
        for words in more:
            pen.fixed(f"{'':{3 + len(lamp) + wide + 2}}{words}", Role.ROW, key)
    if beside:
        pen.lines += side_by_side(looks, pen.width)


def _faces(
    pen: Pen, desk: Desk, state: State, stage: Stage, keys: Mapping[Light | Look, str]
) -> Iterable[tuple[tuple[Light | Look, ...], tuple[Line, ...]]]:
    """The modules whose lights can be drawn as a face: which items each holds, and its lines."""
    signs = desk.machine.net.signs
    for face in dict.fromkeys(signs[i.name].face for i in keys if signs[i.name].face):
        here = [i for i in keys if signs[i.name].face == face]
        lamps: dict[str, list[Lamp]] = {"": [], "input": [], "output": []}
        for item in here:
            sign = signs[item.name]
            side, _, words = sign.words.partition(" ")
            label = item.name.removeprefix(f"{face} ")
            side, words = (side, words) if side in ("input", "output") else ("", "")
            lamps[side].append(Lamp(keys[item], label, words, *marked(desk, state, stage, item)))
        title = f"{face} {desk.machine.circuit.devices[face].words}".strip()
        if fits(lamps["input"], lamps["output"], pen.width):
            yield tuple(here), face_lines(title, lamps[""], lamps["input"], lamps["output"], pen.width)


def row_keys(stage: Stage) -> tuple[LiveKey, ...]:
    return tuple(
        LiveKey(key, item.name[:14], f"{item.name}: the next of what it can show, last that there is none", shown=False)
        for key, item in zip(item_keys(stage), listed(stage), strict=False)
    )


def draw_program(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui, drawn: Drawn, *, unread: bool) -> Drawn:
    """What the program makes of the lights taken, where there is room for it, and the key to its rungs."""
    if not has_rungs(desk, state, stage):
        return drawn
    entry, keys = drawn
    # Its key never costs a second row of keys, which a long list has no room for; unshown it works all the same.
    row = sum(len(f"{k.key} {k.label}") + 3 for k in (L, *keys) if k.shown)
    rung = replace(L, shown=not unread and row + _HELP_AND_LEAVE <= pen.width)
    keys = (*keys[:1], rung, *keys[1:]) if keys and keys[0] is ENTER else (rung, *keys)
    taken = lights_taken(desk, state)
    assert taken is not None
    if ui.panel == "why":
        for text in sentences(desk, taken):
            pen.put(f"Program: {text}", Role.NOTE, indent="  ")
    elif not unread and len(pen.lines) + 2 + LEFT_TAKES <= HIGHEST and (text := in_short(desk, taken, pen.width)):
        pen.put(f"{text} l: its rung." if not rung.shown else text, Role.NOTE, key="l", indent="  ")
    return entry, keys
