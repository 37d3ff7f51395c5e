"""What the screen shows of a job, as a value. Pure: the same state gives the same sheet.

Lines are wrapped to the width; at 80 columns a sheet holds at most 21 lines where the caution allows it, and the caution
is never cut.
"""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.evidence.unbalance import MUCH_AMPS
from troubleshoot.job import amending, keeping, rotation, supply
from troubleshoot.job.against import in_short, lights_taken, pages, sentences
from troubleshoot.job.asking import answers_of, due_question
from troubleshoot.job.decide import (
    ALL_NOTHING,
    ENDINGS,
    MORE,
    Ui,
    caution_of,
    has_rungs,
    item_keys,
    lights_of,
    listed,
    marked,
    sheet_id,
)  # fmt: skip
from troubleshoot.job.desk import Desk
from troubleshoot.job.face import LEAST_WIDTH, Lamp, face_lines, fits, lamp_mark, side_by_side
from troubleshoot.job.facts import after_repair, contradictions
from troubleshoot.job.handing import (
    draw_able,
    draw_ledger,
    draw_over,
    draw_part,
    draw_putting_back,
    draw_taken,
    draw_temporary,
    draw_typed,
    draw_waiting,
)  # fmt: skip
from troubleshoot.job.keys import KEYS
from troubleshoot.job.naming import (
    METER_ON,
    UNITS,
    act_words,
    black_words,
    device_words,
    group_words,
    left_open,
    part_words,
    red_words,
    should_be,
    where_to,
)
from troubleshoot.job.pen import Pen
from troubleshoot.job.reasons import REASON_ROWS
from troubleshoot.job.rung import rung_lines
from troubleshoot.job.sheet import Entry, Line, LiveKey, Role, Sheet
from troubleshoot.job.stage import Stage, is_isolated, on_dead_parts, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.stopping import draw_stop, draw_symptoms, draw_tried
from troubleshoot.job.watching import FAILS, draw_watch, draw_watched, draw_watching
from troubleshoot.log.standing import OPEN_ENDS
from troubleshoot.machine.amending import chain_of
from troubleshoot.safety.caution import Caution
from troubleshoot.safety.isolation import IsolationStep
from troubleshoot.text.showing import show

DOING: Final[Mapping[str, str]] = {
    "stop": "STOP IT", "search": "finding", "confirm": "confirming", "isolate": "making safe", "repair": "mending", "putback": "putting back", "power": "before power",
    "watch": "watching", "watched": "watched", "proof": "proving", "handback": "handing back", "stuck": "stuck", "ended": "ended",
}  # fmt: skip
"""What the job is at, for the title."""

W, N, X, T, U, E, L = (KEYS[name].live for name in ("why", "cannot", "other", "tree", "undo", "end", "rung"))
ENTER = KEYS["as shown"].live


def view(desk: Desk, state: State, ui: Ui, width: int, saved: int, *, spare: int = 0) -> Sheet:
    """The sheet of a job as it stands. saved: number of the newest event on disk; spare: columns a rung leaves free."""
    stage = stage_of(desk, state)
    pen = Pen(width, spare)
    waiting = caution_of(desk, state, stage)
    unread = waiting is not None and state.accepted != waiting[1]
    # No panel covers the sheet: the reason stands beside the caution, it never takes its place.
    panel = _PANELS.get(ui.panel.partition(" ")[0])
    beside = panel is None
    if waiting is not None and beside:
        _draw_caution(pen, waiting[0], unread)
    entry, keys = (
        panel(pen, desk, state, stage, ui) if panel is not None else _body(pen, desk, state, stage, ui, unread)
    )
    if unread and beside:
        keys = (KEYS["caution"].live, *keys)
        keys = tuple(k for k in keys if k.key not in ("enter",))
        entry = Entry("Read the caution, then press c; typing opens after it", locked=True)
    if ui.echo:
        pen.put(ui.echo, Role.ECHO)
    return Sheet(
        sheet_id(state, ui), title(desk, state, stage, width - len(f" saved {saved}")), tuple(pen.lines), keys, entry, saved,
        needs_caution=(unread and beside) or stage.name == "power", done=stage.name == "ended",
    )  # fmt: skip


def title(desk: Desk, state: State, stage: Stage, width: int) -> str:
    """Machine, what the job is at, power, doors, parked lead: always visible. What finds no room is left out whole."""
    parts = [
        desk.machine.name.upper(),
        *([DOING[stage.name]] if stage.name in DOING else []),
        _power_words(desk, state),
    ]
    items = (
        stage.step.items if stage.step is not None else tuple(i for i, _ in stage.check.expects) if stage.check else ()
    )
    meters = [i for i in items if isinstance(i, Meter)] if stage.name != "isolate" else []
    if meters:
        place = desk.machine.circuit.places[desk.machine.circuit.devices[meters[0].red.device].place]
        parts.append(f"{place.name} {'OPEN' if place.door else ''}".strip())
        if len({m.black for m in meters}) == 1:
            parts.append(f"black lead: {black_words(desk, meters[0])}")
    if state.who:
        parts.append(state.who)
    while len("  ".join(parts)) > width and len(parts) > 3:
        parts.pop()
    return "  ".join(parts)


def _power_words(desk: Desk, state: State) -> str:
    """``locked`` is said only once the person's own lock is on every disconnect."""
    if state.power:
        return "power ON"
    locked = desk.machine.disconnects and all(f"lock {tag}" in state.isolation for tag in desk.machine.disconnects)
    return "power OFF, locked" if locked or "upstream" in state.isolation else "power OFF, NOT locked"


def _draw_caution(pen: Pen, caution: Caution, unread: bool) -> None:
    if not unread:
        # Accepted: one line stays, so that the danger is in sight at every reading.
        moves = [short for full, short in zip(caution.facts, caution.brief, strict=True) if full in caution.moves]
        level = f"{caution.level.upper()}: {caution.volts:.0f} V in reach"
        pen.put(f"CAUTION read. {', '.join((level, *moves))}.", Role.CAUTION)
        return
    for k, text in enumerate(caution.shown):
        pen.put(f"CAUTION  {text}" if k == 0 else text, Role.DANGER if k == 0 else Role.CAUTION, indent="  ")


Drawn = tuple[Entry | None, tuple[LiveKey, ...]]


def _body(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui, unread: bool) -> Drawn:
    match stage.name:
        case "stop":
            return None, draw_stop(pen, desk, state)
        case "tried":
            return None, (*draw_tried(pen, desk, state), U, E)
        case "waiting":
            entry, keys = draw_waiting(pen, desk, state, stage)
            return entry, (*keys, X, *_tree_key(state), U, E)
        case "handed":
            return draw_taken(pen, desk, state)
        case "people":
            return _people(pen, desk, state)
        case "last":
            return _last(pen, state)
        case "search" | "confirm":
            assert stage.step is not None
            if stage.step.kind in ("look", "lights"):
                drawn = _list(pen, desk, state, stage)
            else:
                drawn = _measure(pen, desk, state, stage, unread=unread)
            if not unread:
                for text in after_repair(desk, state):
                    pen.put(text, Role.ECHO, indent="  ")
            if ui.panel == "why":
                pen.put(f"Why: {stage.step.why}", Role.NOTE, indent="     ")
            drawn = _program(pen, desk, state, stage, ui, drawn, unread=unread)
            _left(pen, desk, state)
            return drawn
        case "isolate":
            return _isolate(pen, desk, state, stage)
        case "repair":
            return _repair(pen, desk, state, stage)
        case "putback":
            return None, (*draw_putting_back(pen, state), U, E)
        case "power":
            return _power(pen, desk, state)
        case "proof":
            return _proof(pen, desk, state, stage)
        case "handback":
            return _handback(pen, desk, state)
        case "stuck":
            return _stuck(pen, desk, state)
        case "watch":
            entry, keys = draw_watch(pen, desk, state)
            return entry, (*keys, X, *_tree_key(state), U, E)
        case "watched":
            entry, keys = draw_watched(pen, desk, state)
            return entry, (*keys, U, E)
        case "ended":
            return _ended(pen, desk, state)


# ---------------------------------------------------------------------------------------------------- first questions


def _people(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put(f'{desk.machine.circuit.title}: "{state.said}"', Role.TASK)
    pen.put("")
    pen.put("Is everybody clear: nobody in it, on it, under it?", Role.TASK)
    pen.put("y  yes, all clear", Role.ROW, key="y")
    pen.put("m  no, or not sure", Role.ROW, key="m")
    pen.put("")
    pen.put("Site rules, local codes and your own licence come before anything said here.", Role.NOTE)
    return None, (LiveKey("y", "all clear", "nobody is in, on or under the machine"),
                  LiveKey("m", "not clear", "stops here until they are"), U)  # fmt: skip


def _last(pen: Pen, state: State) -> Drawn:
    question = due_question(state)
    assert question is not None
    answers = answers_of(question, state)
    pen.put(f"{question.whom}: {question.words}", Role.TASK)
    for k, answer in enumerate(answers, 1):
        pen.put(f"{k}  {answer.words}", Role.ROW, key=str(k))
    count = len(answers) + 1
    pen.put(f"{count}  nobody knows", Role.ROW, key=str(count))
    pen.put("")
    if state.power:
        pen.put("Switch nothing off yet: flags, lights and what was latched go with the power.", Role.NOTE)
    keys = tuple(LiveKey(str(k), a.words[:14], f"they say: {a.words}", shown=False) for k, a in enumerate(answers, 1))
    return None, (LiveKey("1", f"to {count}: answer", f"they say: {answers[0].words}"), *keys[1:],
                  LiveKey(str(count), "nobody knows", "goes on without an answer", shown=False), U, E)  # fmt: skip


# ------------------------------------------------------------------------------------------------------- look, lights


def _list(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    assert stage.step is not None
    if stage.step.situation.situation.acts and not on_dead_parts(desk, (), stage.step.situation):
        pen.put(f"It may start. Stand clear. {_capital(stage.step.situation.words)}.", Role.CAUTION)
    pen.put(stage.step.words if stage.step.words.endswith("?") else f"{stage.step.words.rstrip('.')}.", Role.TASK)
    pen.put("Different? Press its key; press again for the next. All as shown: Enter.", Role.TASK)
    _rows(pen, desk, state, stage, listed(stage))
    dark = KEYS["all dark"].live
    for item in listed(stage):
        sign = desk.machine.net.signs[item.name]
        if sign.kind == "compare" and (drawn := desk.rung_to_compare(state, sign.var, pen.width)):
            pen.put("The copy has this rung, the first to compare:", Role.NOTE)
            for line in drawn:
                pen.fixed(line)
    all_dark = (dark,) if lights_of(desk, stage) else ()
    return None, (ENTER, *all_dark, W, N, X, *_tree_key(state), amending.key_of(desk), U, E, *_row_keys(stage))


def _rows(pen: Pen, desk: Desk, state: State, stage: Stage, items: Iterable[Light | Look]) -> None:
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
        len(pen.lines) + len(alone) + len({line for lines in faces.values() for line in lines}) + _LEFT_TAKES > HIGHEST
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


def _row_keys(stage: Stage) -> tuple[LiveKey, ...]:
    return tuple(
        LiveKey(key, item.name[:14], f"{item.name}: the next of what it can show", shown=False)
        for key, item in zip(item_keys(stage), listed(stage), strict=False)
    )


# ------------------------------------------------------------------------------------------------------------ readings


def _measure(pen: Pen, desk: Desk, state: State, stage: Stage, *, unread: bool) -> Drawn:
    step = stage.step
    assert step is not None
    meters = [i for i in step.items if isinstance(i, Meter)]
    place = desk.machine.circuit.places[desk.machine.circuit.devices[meters[0].red.device].place]
    # How it must stand is said on every card: nobody at Start, and a good relay reads as faulty.
    held = step.situation.words
    about = f"{step.words}, {held}" if stage.name == "confirm" and held not in step.words else _capital(held)
    about = step.words if stage.name == "confirm" and held in step.words else about
    pen.put(f"{about}, at {place.words}:", Role.TASK)
    _points(pen, desk, meters, step.situation)
    if not unread:
        # While the caution is unread it has the room; the rung and the look-ahead come with the typing.
        for line in rung_lines(desk, meters, step.situation.situation, pen.width - pen.spare):
            pen.fixed(line)
        for line in step.ahead:
            pen.put(line, Role.NOTE, indent="  ")
        if asked := amending.asks_name(desk, state, stage):
            pen.put(asked, Role.NOTE, indent="  ")
    example = " ".join(_example(desk, m, step.situation) for m in meters)
    keys = (W, N, X, *_tree_key(state), U, E) if stage.name == "search" else (W, N, U, E)
    keys = (*keys[:-2], amending.key_of(desk), *keys[-2:])
    return Entry("Type what the meter shows, in this order", example=example), keys


def _points(pen: Pen, desk: Desk, meters: list[Meter], named: NamedSituation) -> None:
    parked, modes = len({(m.black, desk.away(m)) for m in meters}) == 1, {m.mode for m in meters}
    heading = [METER_ON[meters[0].mode]] if len(modes) == 1 else []
    if parked:
        black = black_words(desk, meters[0])
        if black == "earth there":
            black = "earth where you stand (its PE, or bare metal of the box)"
        else:
            black = f"{black}{where_to(desk, meters[0].black, in_brackets=True)}"
        heading.append(f"Black lead on {black} and leave it there. Red on:" if len(meters) > 1 else
                       f"Black on {black}, red on:")  # fmt: skip
    if heading:
        pen.put(" ".join(heading), Role.TASK)
    where = [red_words(desk, m, meters) + ("" if parked else f" to {black_words(desk, m)}") for m in meters]
    should = [f"should be {should_be(desk, m, named)}" for m in meters]
    wide, last = max(map(len, where)), max(map(len, should))
    texts = [device_words(desk, m) for m in meters]
    ons = [
        f" on {UNITS[m.mode]}" if len(modes) > 1 and not words.endswith(UNITS[m.mode].split()[0]) else ""
        for m, words in zip(meters, should, strict=True)
    ]
    spare = pen.width - wide - last - max(map(len, ons)) - 7
    room = max(8, min(max(map(len, texts)), spare))
    for k, (point, what, words, on) in enumerate(zip(where, texts, should, ons, strict=True), 1):
        first, *more = textwrap.wrap(what, room) or [""]
        pen.put(f"{k}  {point:<{wide}}  {first:<{room}}  {words}{on}", Role.ROW, indent="   ")
        for rest in more:
            pen.fixed(f"{'':{wide + 5}}{rest}", Role.ROW)


def _example(desk: Desk, meter: Meter, named: NamedSituation) -> str:
    expected = desk.reasoner.expected(meter, named.situation)
    if expected.value == float("inf"):
        return "OL"
    if abs(expected.value) < 0.5:
        return "0" if expected.unit == "V" else "0.3"
    return f"{abs(expected.value):.1f}" if abs(expected.value) < 40 else f"{abs(expected.value):.0f}"


def _left(pen: Pen, desk: Desk, state: State) -> None:
    """What is left, in plain words; and at once, when nothing explains what was seen."""
    belief = desk.belief(state)
    groups = [(g, p) for g, p in desk.reasoner.groups(belief) if p > 0.005]
    start = [p for _, p in desk.reasoner.groups(desk.reasoner.belief(state.evidence[:1])) if p > 0.0005]
    before = _before_last(desk, state)
    was = f"was {len(start)}"
    if len(groups) > before > 0:
        was = f"{was}, then {before}: some of little chance are likelier now"
    names = [f"{group_words(desk, g)}{' (likely)' if p >= 0.5 else ''}" for g, p in groups]
    for count in range(min(5, len(names)), 0, -1):
        more = ", ..." if count < len(names) else "."
        text = f"{len(groups)} left: {', '.join(names[:count])}{more} ({was})"
        if count == 1 or len(textwrap.wrap(text, pen.width, subsequent_indent="  ")) <= 2:
            pen.put(text, Role.LEFT, indent="  ")
            break
    for text in contradictions(desk, state)[:1]:
        pen.put(text, Role.ECHO, indent="  ")


def _before_last(desk: Desk, state: State) -> int:
    """How many were left before the newest answer; 0 where it was the first."""
    earlier = tuple(s for s in state.evidence if s.event != state.evidence[-1].event) if state.evidence else ()
    if len(earlier) < 2 or any(s.epoch != state.epoch for s in earlier[-1:]):
        return 0
    belief = desk.belief(replace(state, evidence=earlier))
    return sum(p > 0.005 for _, p in desk.reasoner.groups(belief))


HIGHEST: Final = 21
"""Lines of a sheet at 80 columns beside which title, entry and a row of keys fit 80x24."""
ROOM_FOR_DONE: Final = 12
"""Lines above the card of a dead test up to which the step before it is still named."""
_HELP_AND_LEAVE: Final = len("? help   q leave")
"""Columns of the keys that every screen has besides its own."""
_LEFT_TAKES: Final = 3
"""Lines of what is left, with a reading that nothing explains."""


def _program(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui, drawn: Drawn, *, unread: bool) -> Drawn:
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
    elif not unread and len(pen.lines) + 2 + _LEFT_TAKES <= HIGHEST and (text := in_short(desk, taken, pen.width)):
        pen.put(f"{text} l: its rung." if not rung.shown else text, Role.NOTE, key="l", indent="  ")
    return entry, keys


def _likely(p: float) -> str:
    return "likely" if p >= 0.5 else "possible" if p >= 0.1 else "unlikely"


def _tree_key(state: State) -> tuple[LiveKey, ...]:
    return (T,) if state.source != "tree" or state.chosen is not None else ()


# ------------------------------------------------------------------------------------------------------- dead and mend


def _isolate(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    plan = stage.isolation
    assert plan is not None
    done = [s for s in plan.steps if is_isolated(state, s)]
    step = next(s for s in plan.steps if s.id == stage.next)
    what = f"Mend {stage.group}" if stage.group else "Put back what is temporary"
    what = stage.step.words if stage.step is not None else what
    pen.put(f"{what.rstrip('.')}: make it safe first.", Role.TASK)
    for text in (*plan.stays_live[:2], *(("; ".join(plan.stays_live[2:]),) if len(plan.stays_live) > 2 else ())):
        pen.put(f"STAYS LIVE: {text}", Role.CAUTION, indent="  ")
    pen.put(f"Step {len(done) + 1} of {len(plan.steps)}.", Role.NOTE)
    # A step with readings has a caution and a card; what was done before has less room there.
    # Where a caution of many lines stands above, what was done before has no room.
    for s in done[-3:] if step.ask == "done" else done[-1:] if len(pen.lines) < ROOM_FOR_DONE else ():
        said = state.isolation.get(s.id, "done")
        words = s.words if said in ("done", "") or s.readings else f"{_capital(s.id)}: {said}."
        pen.put(f"done  {words}", Role.NOTE, indent="      ")
    pen.put(f"now   {step.words}", Role.TASK, indent="      ")
    if step.ask == "done":
        pen.put("y     done, by me, just now", Role.ROW, key="y")
        for s in [s for s in plan.steps if not is_isolated(state, s) and s.id != step.id][:3]:
            pen.put(f"then  {s.words}", Role.NOTE, indent="      ")
        return None, (LiveKey("y", "done", "this step is done, by you, now"), U, E)
    _dead_card(pen, desk, step)
    other: tuple[LiveKey, ...] = ()
    if step.id.startswith("prove"):
        pen.put("p  that point is dead: proved on a proving unit or another live point", Role.ROW, key="p")
        other = (KEYS["proving unit"].live,)
    if not any(step.expects) and len(step.expects) > 1:
        return Entry(f"Type all {len(step.expects)}, in this order; or, each tested", example=ALL_NOTHING[0]), (U, E)
    example = " ".join("0" if v == 0 else f"{abs(v):.0f}" for v in step.expects)
    return Entry("Type what the tester shows, in this order", example=example), (*other, U, E)


def _dead_card(pen: Pen, desk: Desk, step: IsolationStep) -> None:
    """The points of a dead test or of proving the tester; many of them stand in two columns."""
    modes = {m.mode for m in step.readings}
    live = [abs(v) for v in step.expects if v]
    must = f"must show about {live[0]:.0f} V" if live else "must each show nothing"
    meter = METER_ON[step.readings[0].mode] if len(modes) == 1 else "Meter as each row says."
    pen.put(f"{meter} These {must}:" if len(step.readings) > 1 else f"{meter} This {must}:", Role.TASK)
    rows = [
        f"{k}  {red_words(desk, m, step.readings)} to {black_words(desk, m)}{f', {UNITS[m.mode]}' if len(modes) > 1 else ''}"
        for k, m in enumerate(step.readings, 1)
    ]
    half = -(-len(rows) // 2) if len(rows) > 4 else len(rows)
    wide = max(map(len, rows)) + 6
    for left, right in itertools.zip_longest(rows[:half], rows[half:], fillvalue=""):
        pen.put(f"{left:<{wide}}{right}".rstrip(), Role.ROW)


def _repair(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    suspect = stage.suspect
    assert suspect is not None
    act, item = suspect.repair
    pen.put(f"Found: {suspect.words}.", Role.TASK)
    pen.put((
        "Confirmed by its own test." if state.confirmed.get(stage.group) else
        "Seen with your own eyes." if not suspect.broken else
        "Its own test read as healthy; what is left of it shows in no test." if stage.group in state.confirmed else
        f"{_likely(stage.chance).capitalize()}. No test of its own confirms it; what was read is all there is."
    ), Role.NOTE)  # fmt: skip
    pen.put("")
    pen.put(f"Do: {act_words(act, item)}.", Role.TASK)
    tag = next((w for w in item.split(" ") if w in desk.machine.circuit.devices), "")
    looked_into: tuple[LiveKey, ...] = ()
    if tag and chain_of(desk.machine.circuit.devices[tag]):
        # Nothing to be had from the stores: first it is opened up, by halves.
        pen.put("v  look inside: follow its wire numbers to a terminal about half way", Role.ROW, key="v")
        tag, looked_into = "", (replace(amending.NOT_SO, label="look inside", shown=True),)
    if suspect.broken and tag:
        pen.put(f"Part: {part_words(desk, tag)}", Role.ROW, indent="      ")
    upstream = [str(p) for p in desk.points_of(stage.group) if p in desk.live_when_dead] if suspect.broken else []
    if upstream:
        pen.put(
            f"{', '.join(upstream)} STAYS LIVE with the disconnect open. This repair is for whoever may isolate "
            "upstream, behind their own isolation. Not for you, not now.", Role.DANGER, indent="  ",
        )  # fmt: skip
    if suspect.broken:
        pen.put("One change at a time. Both ends of the wire: tight, ferrule good, no strand out.", Role.NOTE)
        if tag:
            pen.put("Check the rating printed on the new part. Keep the old part and tag it.", Role.NOTE)
    else:
        for text in desk.act_hazards(state, suspect):
            pen.put(text, Role.DANGER, indent="  ")
        pen.put("First ask why it was so. Somebody may have had a reason.", Role.NOTE)
    if act.startswith("find the cause"):
        pen.put("This is never the end of it. Type the cause you found, or: cause not found", Role.TASK)
        return Entry("Cause", example="jam at the tail pulley"), (U, E)
    pen.put("y  done, then Enter; or type what you found, then Enter", Role.ROW, key="y")
    return Entry("Done, or a note with it", example="terminal was loose"), (
        LiveKey("y", "done", "it is mended"),
        *looked_into,
        U,
        E,
    )


def _power(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put("CAUTION  Before power goes back on:", Role.DANGER)
    starting, left = desk.starting(state)
    for thing in state.temporary:
        pen.put(f"Still temporary: {show(thing.what)}.", Role.DANGER, indent="  ")
    if starting:
        off = any("motor" in t.what.casefold() for t in state.temporary)
        pen.put(
            f"{starting} of the {left} faults still likely start it the moment power is back. " + (
                "The motor leads are off: keep them so until it stands still with power on." if off else
                "Motor leads off by an electrician (note it: e, 8, i), or guarded and everybody clear."
            ), Role.DANGER, indent="  ",
        )  # fmt: skip
    hazards = desk.before_power(state)
    for text in hazards:
        pen.put(f"- {text}", Role.CAUTION, indent="  ")
    if not hazards:
        pen.put("- nothing is known that starts by itself; stand clear all the same", Role.CAUTION)
    pen.put("Tools, leads, covers counted; people told, clear; own lock last; stand aside.", Role.CAUTION)
    pen.put("c  read; power is back on", Role.ROW, key="c")
    return None, (LiveKey("c", "read; power on", "you have read it and power is back on"), U, E)


# --------------------------------------------------------------------------------------------------------------- proof


_FEW: Final = 12
"""Faults shown by one check alone that are still worth a line: of a hundred, two names say nothing."""


def _proof(pen: Pen, desk: Desk, state: State, stage: Stage) -> Drawn:
    check = stage.check
    assert check is not None
    undone = desk.proof.undone(state.out)
    number = sum(1 for c in desk.proof.checks if c.id in state.proof or c in undone) + 1
    pen.put(f"Proof run, {number} of {len(desk.proof.checks)}: {check.words}", Role.TASK, indent="  ")
    meters = [i for i, _ in check.expects if isinstance(i, Meter)]
    if check.situation.situation.acts and not meters:
        pen.put("It runs, or may start, in this check. Everybody clear of it first.", Role.CAUTION)
    for tag in rotation.doubted(desk, state, check):
        pen.put(f"What feeds {tag} was worked on. Let it turn for a moment only, the load safe either way: is that the right way?",
                Role.CAUTION)  # fmt: skip
    # Letters that do something else on every screen are no keys of rows: said, where they would be the next ones.
    key = ("letter (not c, e)" if len(listed(stage)) > 2 else "letter") if meters else "number"
    pen.put(f"You must see this. Not so? Press its {key}; again for the next:", Role.NOTE)
    _rows(pen, desk, state, stage, listed(stage))
    if meters:
        _points(pen, desk, meters, check.situation)
    shown_before = {s for c in desk.proof.checks[: desk.proof.checks.index(check)] for s in c.proves}
    news = [s for s in desk.machine.suspects if s.id in check.proves and s.id not in shown_before]
    if 0 < len(news) <= _FEW:
        more = f", {len(news) - 2} more" if len(news) > 2 else ""
        pen.put(f"Only seen here: {', '.join(s.words for s in news[:2])}{more}.", Role.NOTE, indent="  ")
    keys = (N, U, E, *_row_keys(stage))
    if not meters:
        pen.put("All exactly so: Enter.", Role.NOTE)
        return None, (ENTER, *keys)
    example = " ".join(_example(desk, m, check.situation) for m in meters)
    return Entry("Type what the meter shows, in this order", example=example), keys


def _handback(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put(
        "The proof run is through."
        if state.temporary or state.uneven or desk.unproved_stops(state)
        else "Proved. Ready to hand back.",
        Role.TASK,
    )
    for percent in state.uneven.values():
        pen.put(
            f"NOT PASSED: the motor's currents are {percent:.0f} % uneven, over {MUCH_AMPS:.0f} %. Say so to whoever takes "
            "it: line volts, joints, contacts, winding.", Role.DANGER, indent="  ",
        )  # fmt: skip
    for text in summary(desk, state):
        pen.put(text, Role.ROW, indent="  ")
    _not_proved(pen, desk.not_proved(state))
    pen.put("Show the operator. Say what is not proved.", Role.NOTE)
    if state.temporary:
        pen.put("NOT to be handed back: still temporary. Put each back, then press its number.", Role.DANGER)
        return None, (*draw_ledger(pen, state), U, E)
    unproved = desk.unproved_stops(state)
    if unproved:
        pen.put("NOT to be handed back. A stop had failed, and these are not proved each by itself:", Role.DANGER)
        for text in unproved:
            pen.put(f"- {text}", Role.DANGER, indent="  ")
        pen.put("u takes back what could not be done; e ends the job another way: made safe, waiting.", Role.TASK)
        return None, (U, E)
    six: tuple[LiveKey, ...] = ()
    if keeping.offered(desk, state):
        pen.put("b  30 s: six good readings for next time", Role.ROW, key="b")
        six = (keeping.KEY,)
    if desk.stop_failed(state):
        pen.put("A stop had failed: a second person signs here. Type their name.", Role.DANGER)
        return Entry("Second name"), (*six, U, E)
    pen.put("y  hand it back", Role.ROW, key="y")
    return None, (LiveKey("y", "hand back", "ends the job as mended"), *six, U, E)


def _not_proved(pen: Pen, missing: Sequence[str]) -> None:
    if missing:
        pen.put(f"NOT PROVED by this run ({len(missing)}): {'; '.join(left_open(missing))}.", Role.TASK, indent="  ")


def summary(desk: Desk, state: State) -> list[str]:
    """What happened, in a few lines."""
    out = [f'Complaint: "{state.said}"']
    for data in state.repairs:
        seen = any(s.id == data["suspect"] and not s.broken for s in desk.machine.suspects)
        how = "confirmed" if data["confirmed"] else "seen" if seen else "not confirmed"
        note = f" ({data['note']})" if data["note"] else ""
        out.append(f"Found: {data['words']}, {how}. Done: {act_words(data['act'], data['item'])}{note}.")
    passed = sum(state.proof.values())
    out.append(f"Proof: {passed} of {len(desk.proof.checks)} checks passed. Trips to the panel: {state.trips}.")
    return out


def _stuck(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put("Nothing I know explains all of this.", Role.TASK)
    for text in contradictions(desk, state):
        pen.put(text, Role.NOTE, indent="  ")
    pen.put(
        "Likely: a reading at another point than meant, a drawing that is wrong, or a fault outside what is described.",
        Role.NOTE,
    )
    _left(pen, desk, state)
    pen.put(
        "u takes the last answer back; x shows other tests; v says what is wired otherwise; or two points: K1:14 NB:1",
        Role.TASK,
    )
    return Entry("Two points, or two points and a reading", example="K1:14 NB:1 120"), (
        X,
        *_tree_key(state),
        replace(amending.NOT_SO, shown=True),
        U,
        E,
    )


def _ended(pen: Pen, desk: Desk, state: State) -> Drawn:
    pen.put(f"This job has ended: {state.ended}.", Role.TASK)
    for text in summary(desk, state):
        pen.put(text, Role.ROW, indent="  ")
    for thing in state.temporary:
        pen.put(f"STILL TEMPORARY: {show(thing.what)}", Role.DANGER, indent="  ")
    for where, how, should in state.wanted:
        pen.put(f"Wanted: {where}, should be {should} ({how})", Role.ROW, indent="  ")
    draw_watching(pen, desk, state)
    if state.ended.startswith(OPEN_ENDS):
        pen.put("It stays on the first page: leave with q, take it up there when it can go on.", Role.NOTE)
    missing = desk.not_proved(state) if state.ended == "mended" else ()
    _not_proved(pen, missing)
    for note in state.notes:
        if note:
            pen.put(note, Role.NOTE)
    return None, (LiveKey("u", "undo", "takes the ending back"),)


# -------------------------------------------------------------------------------------------------------------- panels

BACK = KEYS["back"].live


def _cant_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    pen.put("Can't do that? Say why; it is as good an answer as any.", Role.TASK)
    for key, reason in REASON_ROWS.items():
        pen.put(f"{key}  {reason.words}", Role.ROW, key=key)
    return None, (*(LiveKey(k, r.name, r.words, shown=False) for k, r in REASON_ROWS.items()), BACK)


def _permit_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    meters = [i for i in (stage.step.items if stage.step is not None else ()) if isinstance(i, Meter)]
    place = desk.machine.circuit.places[desk.machine.circuit.devices[meters[0].red.device].place]
    pen.put("A permit or another trade: for what?", Role.TASK)
    pen.put(f"1  for all of {show(place.words or place.name)}: nothing there is asked again", Role.ROW, key="1")
    pen.put("2  for these points only", Role.ROW, key="2")
    keys = (LiveKey("1", "all of it", "nothing there is asked again", shown=False),
            LiveKey("2", "these points", "these points alone are left out", shown=False))  # fmt: skip
    return None, (*keys, BACK)


def _end_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    pen.put("End the job without a proof? Not every job ends mended.", Role.TASK)
    for key, (_, words) in ENDINGS.items():
        pen.put(f"{key}  {words}", Role.ROW, key=key)
    pen.put("Or go on with it:", Role.TASK)
    for key, (_, words) in MORE.items():
        pen.put(f"{key}  {words}", Role.ROW, key=key)
    phase: tuple[LiveKey, ...] = ()
    if state.complaint in told.COMES_AND_GOES:
        now = (
            "it runs now: what is read from here on is of a machine that works"
            if state.phase == "failing"
            else ("it fails now: what is read from here on is of the failed machine")
        )
        pen.put(f"{FAILS}  {now}", Role.ROW, key=FAILS)
        phase = (LiveKey(FAILS, "now", now, shown=False),)
    if state.temporary:
        pen.put(f"Still temporary: {', '.join(show(t.what) for t in state.temporary)}", Role.DANGER, indent="  ")
    return None, (*(LiveKey(k, r[:14], w, shown=False) for k, (r, w) in (ENDINGS | MORE).items()), *phase, BACK)


def _over_panel(draw: Callable[[Pen, Desk, State], Drawn]) -> Callable[[Pen, Desk, State, Stage, Ui], Drawn]:
    return lambda pen, desk, state, stage, ui: draw(pen, desk, state)


def _other_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    trips = desk.trips(state)
    pen.put(
        "Other tests, best first. The tree keeps your place." if trips else "No other test tells anything more.",
        Role.TASK,
    )
    for k, step in enumerate(trips, 1):
        points = ", ".join(
            str(m.red) if len({x.black for x in step.items if isinstance(x, Meter)}) == 1 else f"{m.red}-{m.black}"
            for m in step.items
            if isinstance(m, Meter)
        )
        pen.put(f"{k}  {step.words}: {points}", Role.ROW, key=str(k), indent="   ")
        pen.put(f"   {step.why} About {round(step.cost / 60, 1):g} min.", Role.NOTE, indent="   ")
        for text in step.ahead[:2]:
            pen.put(f"   {text}", Role.NOTE, indent="     ")
    return None, (*(LiveKey(str(k), "take it", s.words, shown=False) for k, s in enumerate(trips, 1)), BACK)


def _amend_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    lines, entry, keys = amending.panel(desk, state, stage, ui.panel.partition(" ")[2])
    for text, role, key in lines:
        pen.put(text, role, key=key, indent="   ")
    return entry, keys


def _supply_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    lines, keys = supply.panel(desk, state, ui.panel.partition(" ")[2])
    for text, role, key in lines:
        pen.put(text, role, key=key, indent="   ")
    return None, (*keys, U) if state.undoable else keys


def _rung_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    taken = lights_taken(desk, state)
    drawn = pages(desk, taken, pen.width) if taken is not None else ()
    if not drawn:
        pen.put("No output of the program is a plain rung.", Role.TASK)
        return None, (BACK,)
    number = int(ui.panel.partition(" ")[2] or 0) % len(drawn)
    page = drawn[number]
    pen.put(f"Rung of {page.title}:", Role.TASK)
    for line in page.lines:
        pen.fixed(line)
    for text in page.says:
        pen.put(text, Role.NOTE, indent="  ")
    pen.put("= has power, - has none; each contact says how it stands; ? has no light.", Role.NOTE)
    more = (
        (replace(L, label=f"rung {number + 1} of {len(drawn)}", does="shows the next page"),) if len(drawn) > 1 else ()
    )
    return None, (*more, BACK)


def _watch_panel(pen: Pen, desk: Desk, state: State, stage: Stage, ui: Ui) -> Drawn:
    entry, keys = draw_watch(pen, desk, state)
    return entry, (*keys, BACK)


_PANELS: Final[Mapping[str, Callable[[Pen, Desk, State, Stage, Ui], Drawn]]] = {
    "cant": _cant_panel, "permit": _permit_panel, "end": _end_panel, "other": _other_panel, "rung": _rung_panel, "amend": _amend_panel, "supply": _supply_panel, "over": _over_panel(draw_over),
    "temporary": _over_panel(draw_temporary), "typed": _over_panel(draw_typed), "able": _over_panel(draw_able), "symptom": _over_panel(draw_symptoms), "part": _over_panel(draw_part),
    "watch": _watch_panel,
}  # fmt: skip


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


__all__ = ["view"]
