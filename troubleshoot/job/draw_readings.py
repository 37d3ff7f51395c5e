"""Pages with a meter in the hand: where the leads go, what it should show, an example of an answer."""

from __future__ import annotations

import textwrap

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.evidence.seen import Meter
from troubleshoot.job import calling, draw_amending
from troubleshoot.job.beginnings import reading_or_point
from troubleshoot.job.clipping import clip_key
from troubleshoot.job.desk import Desk
from troubleshoot.job.doors import place_dangers, to_take_along
from troubleshoot.job.due import caution_of
from troubleshoot.job.naming import METER_ON, UNITS, black_words, device_words, red_words, should_be, where_to
from troubleshoot.job.page import Drawn, E, N, U, W, X, capital, tree_key
from troubleshoot.job.pen import Pen
from troubleshoot.job.rung import rung_lines
from troubleshoot.job.sheet import Entry, Role
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import State


def draw_measure(pen: Pen, desk: Desk, state: State, stage: Stage, *, unread: bool) -> Drawn:
    step = stage.step
    assert step is not None
    meters = [i for i in step.items if isinstance(i, Meter)]
    place = desk.machine.circuit.places[desk.machine.circuit.devices[meters[0].red.device].place]
    # How it must stand is said on every card: nobody at Start, and a good relay reads as faulty.
    held = step.situation.words
    about = f"{step.words}, {held}" if stage.name == "confirm" and held not in step.words else capital(held)
    about = step.words if stage.name == "confirm" and held in step.words else about
    if caution_of(desk, state, stage) is None:  # dead: what hurts there besides volts is still there
        for text in place_dangers(desk, (p.device for m in meters for p in (m.red, m.black))):
            pen.put(f"CAUTION  {text}", Role.CAUTION, indent="  ")
    if along := to_take_along(desk, state, (p.device for m in meters for p in (m.red, m.black))):
        pen.put(f"Take along: {along}.", Role.TASK)
    pen.put(f"{about}, at {place.words}:", Role.TASK)
    if state.clip is not None:
        pen.put("Both leads hang there, clipped on dead: touch nothing, read the meter from outside.", Role.TASK)
    draw_points(pen, desk, meters, step.situation)
    if not unread:
        # While the caution is unread it has the room; the rung and the look-ahead come with the typing.
        for line in rung_lines(desk, meters, step.situation.situation, pen.width - pen.spare):
            pen.fixed(line)
        for line in step.ahead:
            pen.put(line, Role.NOTE, indent="  ")
        if asked := calling.asks_name(desk, state, stage):
            pen.put(asked, Role.NOTE, indent="  ")
    example = " ".join(example_of(desk, m, step.situation) for m in meters)
    # With the leads clipped on that one reading is taken, or given up.
    free = stage.name == "search" and state.clip is None
    keys = (W, N, X, *tree_key(state), U, E) if free else (W, N, U, E)
    keys = (*keys[:-2], *clip_key(desk, state, stage), draw_amending.key_of(desk), *keys[-2:])
    return Entry("Type what the meter shows, in this order", example=example, begins=reading_or_point(desk)), keys


def draw_points(pen: Pen, desk: Desk, meters: list[Meter], named: NamedSituation) -> None:
    parked, modes = len({(m.black, desk.away(m)) for m in meters}) == 1, {m.mode for m in meters}
    heading = [METER_ON[meters[0].mode]] if len(modes) == 1 else []
    if parked:
        black = black_words(desk, meters[0])
        if black == "earth there":
            # The caution names the described point, which is at another place: it is tied to the earth at hand.
            tied = f"; {meters[0].black} is tied to it" if meters[0].black.pin != "PE" else ""
            black = f"earth where you stand (its PE, or bare metal of the box{tied})"
        else:
            black = f"{black}{where_to(desk, meters[0].black, in_brackets=True)}"
        heading.append(f"Black lead on {black} and leave it there. Red on:" if len(meters) > 1 else
                       f"Black on {black}, red on:")  # fmt: skip
    if modes == {"amps"}:
        # A wire has two ends: the clamp goes on at the first, in the panel, and not at what turns.
        places = desk.machine.circuit.places
        where_to_clamp = dict.fromkeys(places[desk.machine.circuit.devices[m.red.device].place].words for m in meters)
        heading.append(f"At {' and '.join(w for w in where_to_clamp if w)}.")
    if heading:
        pen.put(" ".join(heading), Role.TASK)
    where = [red_words(desk, m, meters) + ("" if parked else f" to {black_words(desk, m)}") for m in meters]
    should = [f"should be {should_be(desk, m, named)}" for m in meters]
    wide, last = max(map(len, where)), max(map(len, should))
    texts = [device_words(desk, m) for m in meters]
    ons = [
        f" ({UNITS[m.mode]})" if len(modes) > 1 and UNITS[m.mode] not in words else ""
        for m, words in zip(meters, should, strict=True)
    ]
    spare = pen.width - wide - last - max(map(len, ons)) - 7
    room = max(8, min(max(map(len, texts)), spare))
    for k, (point, what, words, on) in enumerate(zip(where, texts, should, ons, strict=True), 1):
        first, *more = textwrap.wrap(what, room) or [""]
        pen.put(f"{k}  {point:<{wide}}  {first:<{room}}  {words}{on}", Role.ROW, indent="   ")
        for rest in more:
            pen.fixed(f"{'':{wide + 5}}{rest}", Role.ROW)


def example_of(desk: Desk, meter: Meter, named: NamedSituation) -> str:
    expected = desk.reasoner.expected(meter, named.situation)
    if expected.value == float("inf"):
        return "OL"
    if abs(expected.value) < 0.5:
        return "0" if expected.unit == "V" else "0.3"
    return f"{abs(expected.value):.1f}" if abs(expected.value) < 40 else f"{abs(expected.value):.0f}"
