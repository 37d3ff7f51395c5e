"""The controller's program read against the lights that a job has taken: what it says of them, and its rungs alive.

Only the lights of one reading count together, and only while the controller runs: a stopped one does nothing. Where an output
is dark that a healthy machine has lit, or lit and dark against the program, the contacts that hold it off are named.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from troubleshoot.circuit.kinds.controller import inputs_of, outputs_of
from troubleshoot.circuit.model import NamedSituation, Situation
from troubleshoot.evidence.seen import Light
from troubleshoot.job.desk import Desk
from troubleshoot.job.state import State
from troubleshoot.program import WIDTH, Against, Held, draw, read_against, unsettled, values_by_lights

MOST_LINES: Final = 15
"""Lines of a rung on one page; with its title, what holds it off and the echo it fits 80x24."""
_FEW: Final = 2
"""Lines that the reading may take on a step's screen."""


@dataclass(frozen=True, slots=True)
class Taken:
    """The lights of the controller as they were read together once, running."""

    situation: Situation
    points: Mapping[str, bool]
    """By direct address; a light that was unsteady, or that nobody saw, is not in it."""


@dataclass(frozen=True, slots=True)
class Page:
    """One page of the rungs."""

    title: str
    says: tuple[str, ...]
    lines: tuple[str, ...]


def taken_of(desk: Desk, shown: Mapping[str, str], situation: Situation) -> Taken | None:
    """The controller's lights among what was shown, by name of the light; None where it does not run or no output is lit up.

    shown: name of the light to what it showed, ``A1 %IX0.0`` to ``on``.
    """
    if desk.machine.program is None:
        return None
    lights = {sign.var: sign for sign in desk.machine.net.signs.values() if sign.kind == "light"}
    points: dict[str, bool] = {}
    for cpu in desk.machine.net.cpus:
        run = lights.get(cpu.var)
        if run is not None and shown.get(run.name) != run.shows.get("running"):
            continue
        for point, var in (*cpu.inputs.items(), *cpu.outputs.items()):
            sign = lights.get(var)
            seen = shown.get(sign.name) if sign is not None else None
            if sign is not None and seen in (sign.shows.get("on"), sign.shows.get("off")):
                points[point] = seen == sign.shows.get("on")
    return Taken(situation, points) if any(point.startswith("%Q") for point in points) else None


def lights_taken(desk: Desk, state: State) -> Taken | None:
    """The newest reading of the controller's lights since the last repair; None where there is none."""
    by_event: dict[int, dict[str, str]] = {}
    where: dict[int, Situation] = {}
    for seen in state.evidence:
        if isinstance(seen.what, Light) and seen.epoch == state.epoch:
            by_event.setdefault(seen.event, {})[seen.what.name] = str(seen.understood)
            where[seen.event] = seen.at
    found = (taken_of(desk, by_event[event], where[event]) for event in sorted(by_event, reverse=True))
    return next((taken for taken in found if taken is not None), None)


def says(desk: Desk, taken: Taken) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What the program says of these lights: an output and its state, and each contact that holds it off; worst first.

    Told are outputs that are lit or dark against the program, then those that a healthy machine has lit here and the
    program holds off. What only follows from another output told already is left out.
    """
    return tuple((_about(one), tuple(_held(desk, h) for h in _worth(one))) for one in _told(desk, taken))


def sentences(desk: Desk, taken: Taken) -> tuple[str, ...]:
    """`says` as whole sentences."""
    return tuple(_sentence(about, contacts) for about, contacts in says(desk, taken))


def in_short(desk: Desk, taken: Taken, width: int) -> str:
    """The first of `says` in at most two lines of `width` columns; empty where there is nothing to say."""
    for about, contacts in says(desk, taken)[:1]:
        for count in range(len(contacts), 0, -1):
            more = (f"{len(contacts) - count} more",) if count < len(contacts) else ()
            text = f"Program: {_sentence(about, (*contacts[:count], *more))}"
            if count == 1 or len(textwrap.wrap(text, width, subsequent_indent="  ")) <= _FEW:
                return text
        return f"Program: {_sentence(about, ())}"
    return ""


def pages(desk: Desk, taken: Taken, width: int) -> tuple[Page, ...]:
    """The rungs alive, as many pages as they need: first of what is told, with the bits behind it, then of every output."""
    program = desk.machine.program
    assert program is not None
    values, unknown = values_by_lights(program, taken.points), unsettled(program, taken.points)
    told = _told(desk, taken)
    about = {one.output: one for one in told}
    names = [name for one in told for name in (one.output, *(h.contact for h in _all(one.held) if h.by))]
    names += [one.output for one in read_against(program, taken.points)]
    by = f"by the lights, {_words(desk, taken.situation)}"
    out: list[Page] = []
    for name in dict.fromkeys(names):
        lines = draw(program, name, width=min(WIDTH, width), values=values, unknown=unknown)
        parts = list(_cut(lines))
        for k, part in enumerate(parts, 1):
            here = f"{name}, {by}" + (f" ({k} of {len(parts)})" if len(parts) > 1 else "")
            said = (
                (_sentence(_about(about[name]), [_held(desk, h) for h in _worth(about[name])]),)
                if name in about
                else ()
            )
            out.append(Page(here, said, part))
    return tuple(out)


def _cut(lines: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """A drawing in pieces of a page; networks that are drawn apart stay whole where they can."""
    piece: list[str] = []
    for block in _blocks(lines):
        if piece and len(piece) + 1 + len(block) > MOST_LINES:
            yield tuple(piece)
            piece = []
        piece += ["", *block] if piece else block
        while len(piece) > MOST_LINES:
            yield tuple(piece[:MOST_LINES])
            piece = piece[MOST_LINES:]
    if piece:
        yield tuple(piece)


def _blocks(lines: Iterable[str]) -> Iterator[list[str]]:
    block: list[str] = []
    for line in (*lines, ""):
        if line:
            block.append(line)
        elif block:
            yield block
            block = []


def _told(desk: Desk, taken: Taken) -> list[Against]:
    program = desk.machine.program
    assert program is not None
    read = read_against(program, taken.points)
    wrong = [one for one in read if not one.agrees]
    told: list[Against] = []
    for one in (
        *wrong,
        *(o for o in read if o.agrees and not o.lit and o.held and _lit_when_healthy(desk, taken, o.point)),
    ):
        roots = {h.address or h.contact for h in one.held if not h.itself}
        if one.agrees and roots and roots <= {t.point for t in told}:
            continue
        told.append(one)
    return told


def _lit_when_healthy(desk: Desk, taken: Taken, point: str) -> bool:
    names = [cpu.outputs[point] for cpu in desk.machine.net.cpus if point in cpu.outputs]
    lights = [s for s in desk.machine.net.signs.values() if s.kind == "light" and s.var in names]
    named = NamedSituation("", "", taken.situation)
    return any(desk.shown(Light(s.name), named) == s.shows.get("on") for s in lights)


def _about(one: Against) -> str:
    name = f"{one.output} ({one.point})" if one.output != one.point else one.point
    if one.expected and not one.lit:
        return f"{name} is off and should be on by these lights: a light misread, another program, or a forced point"
    return f"{name} is lit and should not be by these lights" if one.lit else f"{name} is off"


def _worth(one: Against) -> list[Held]:
    """The contacts worth naming: that it does not hold itself in follows, where anything else is open."""
    others = [h for h in one.held if not h.itself]
    return others or list(one.held)


def _all(contacts: Iterable[Held]) -> Iterator[Held]:
    for one in contacts:
        yield one
        yield from _all(one.by)


def _held(desk: Desk, one: Held) -> str:
    """A contact by name, address and place; where it is a bit of the program, the contacts behind it."""
    if one.by:
        others = [h for h in one.by if not h.itself] or list(one.by)
        return f"{', '.join(_held(desk, h) for h in others)}, so {one.contact} {one.state}"
    point = one.address or one.contact
    terminal = _terminal(desk, point)
    where = [point] if point != one.contact else []
    where += [f"at {terminal}"] if terminal else []
    where = [" ".join(where), *([f"line {one.line}"] if one.line else [])]
    told = ", ".join(filter(None, where))
    return f"{one.contact} ({told}) {one.state}" if told else f"{one.contact} {one.state}"


def _terminal(desk: Desk, point: str) -> str:
    """The terminal of a wired point, where it is called otherwise than the point."""
    for device in desk.machine.circuit.devices.values():
        for group in (*inputs_of(device), *outputs_of(device)) if device.kind == "plc" else ():
            for wired in group.points:
                if wired.address == point and wired.terminal != point:
                    return f"{device.tag}:{wired.terminal}"
    return ""


def _sentence(about: str, contacts: Iterable[str]) -> str:
    held = "; ".join(contacts)
    return f"{about}: {held}." if held else f"{about}."


def _words(desk: Desk, situation: Situation) -> str:
    known: list[Any] = [*desk.machine.circuit.situations.values(), desk.as_found, desk.at_rest]
    return next((named.words for named in known if named.situation == situation), "as they were read")
