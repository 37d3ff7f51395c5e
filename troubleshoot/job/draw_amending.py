"""What *it is not wired like that* shows: which point, what is there instead, which first answer was wrong. Pure.

`about` is what the panel is about: nothing (which point?), a point, or the first answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Pin
from troubleshoot.describe.stops import last_stop
from troubleshoot.describe.taps import CONTROLLER, FEEDBACK, QUESTIONS, UNKNOWN, Option, asked, options_of
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.aliases import get_alias
from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Entry, LiveKey, Role
from troubleshoot.job.state import State
from troubleshoot.machine.amending import can_be_absent, chain_of, goes_to, number_at
from troubleshoot.machine.supply import main_supply

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.stage import Stage
from dataclasses import replace
from itertools import pairwise

NOT_SO: Final = KEYS["not so"].live
LETTERS: Final = "abdfghijkmprsyvwzolnte"
ROWS: Final = "123456789"
WATCHED: Final = "1"
"""Key that says at once, where it would explain what was read, that an input watches the contactor."""
KEYS_OF_OPTIONS: Final = ROWS + "ab"


def key_of(desk: Desk) -> LiveKey:
    """The key; in the key row where something of the description is not seen yet, otherwise in the help."""
    known = {d.known for d in desk.machine.circuit.devices.values()}
    return replace(NOT_SO, shown=bool(known & {"assumed", "copied", "told"}))


def points(stage: Stage) -> tuple[Pin, ...]:
    """The points of what is asked now, red ones first, each once."""
    meters = [i for i in stage.step.items if isinstance(i, Meter)] if stage.step is not None else []
    return tuple(dict.fromkeys((*(m.red for m in meters), *(m.black for m in meters))))[: len(ROWS)]


def panel(
    desk: Desk, state: State, stage: Stage, about: str
) -> tuple[list[tuple[str, Role, str]], Entry | None, tuple[LiveKey, ...]]:
    """Lines as (text, role, key), the place to type, and the keys."""
    if about.startswith("half "):
        return _half_panel(desk, about)
    if about.startswith("stop "):
        return _stop_panel(desk, about.removeprefix("stop "))
    if about.startswith("device "):
        return _device_panel(desk, about.removeprefix("device "))
    if about == "answers" or about.startswith("answers "):
        return _answers_panel(state, about.removeprefix("answers").strip())
    if about:
        return _point_panel(desk, about)
    circuit = desk.machine.circuit
    lines: list[tuple[str, Role, str]] = [("Not wired like that? Where is it otherwise?", Role.TASK, "")]
    for key, pin in zip(ROWS, points(stage), strict=False):
        lines.append((f"{key}  {pin}  {_described(desk, pin)}", Role.ROW, key))
    for key, variant in zip(letters(desk, state), circuit.variants.values(), strict=False):
        lines.append((f"{key}  {variant.words}", Role.ROW, key))
    for key, (tag, a, b) in halves(desk, state).items():
        words = circuit.devices[tag].words
        lines.append((f"{key}  look inside {tag}, {words}: a terminal between {a} and {b}", Role.ROW, key))
    watched, more = own_keys(desk, state)
    if can_be_watched(state):
        lines.append(
            (
                f"{watched}  an input of the controller watches the contactor (an auxiliary contact on it)",
                Role.ROW,
                watched,
            )
        )
    if beside := last_stop(circuit):
        words = circuit.devices[beside].words
        lines.append((f"{more}  one more emergency stop or pull cord than {beside} ({words})", Role.ROW, more))
    if state.answers:
        lines.append(("0  one of the first answers was wrong (supply, brake, overload ...)", Role.ROW, "0"))
    elif main_supply(circuit) is not None:
        lines.append(("0  the plant feeds it with another supply", Role.ROW, "0"))
    keys = tuple(LiveKey(key, text[3:17].strip(), text[3:], shown=False) for text, _, key in lines if key)
    begins = _begins(desk, state)
    entry = Entry(
        "Or type the point or the device", example="K1:14", begins=begins,
        digits_act=not any(c.isdigit() for c in begins),
    )  # fmt: skip
    return lines, entry, (*keys, _BACK)


def _begins(desk: Desk, state: State) -> frozenset[str]:
    """The letters and digits with which the tags here begin, described and printed."""
    printed = [get_alias(alias).printed for alias in state.aliases]
    return frozenset(name[0].casefold() for name in (*desk.machine.circuit.devices, *printed) if name)


def letters(desk: Desk, state: State) -> str:
    """Keys of rows that are no digits: letters with which no name here begins first, as they act at once."""
    begins, own = _begins(desk, state), own_keys(desk, state)
    left = [c for c in LETTERS if c not in own]
    return "".join(sorted(left, key=lambda c: c in begins))


def own_keys(desk: Desk, state: State) -> tuple[str, str]:
    """The keys that say that an input watches the contactor, and that there is one more emergency stop."""
    begins = _begins(desk, state)
    watched, more, *_ = (*(c for c in "tnwzjhrdi" if c not in begins), "t", "n")
    return watched, more


def can_be_watched(state: State) -> bool:
    """Whether it can be said that an input of the controller watches the contactor."""
    return state.answers.get("buttons") in (CONTROLLER, UNKNOWN) and state.answers.get(FEEDBACK) != "yes"


def halves(desk: Desk, state: State) -> dict[str, tuple[str, str, str]]:
    """Key to a stretch of a chain that nobody has looked into: its tag and the marks at its ends."""
    circuit = desk.machine.circuit
    stretches = [(d.tag, a, b) for d in circuit.devices.values() for a, b in pairwise(chain_of(d))]
    return dict(zip(letters(desk, state)[len(circuit.variants) :], stretches, strict=False))


def _half_panel(desk: Desk, about: str) -> tuple[list[tuple[str, Role, str]], Entry | None, tuple[LiveKey, ...]]:
    tag, a, b = about.split(" ")[1:]
    words = desk.machine.circuit.devices[tag].words
    lines = [
        (f"{tag}, {words}: open somewhere between {a} and {b}?", Role.TASK, ""),
        ("Follow its wire numbers to a terminal about half way. What is printed there?", Role.TASK, ""),
        ("It is asked for like any other point from then on, so each reading halves what is left.", Role.NOTE, ""),
    ]
    return lines, Entry("Terminal or wire number half way", example="X3:7"), (_BACK,)


def _stop_panel(desk: Desk, tag: str) -> tuple[list[tuple[str, Role, str]], Entry | None, tuple[LiveKey, ...]]:
    lines = [
        (f"One more, in the same wires behind {tag} ({desk.machine.circuit.devices[tag].words}). Where does it stand?",
         Role.TASK, ""),
        ("Only a place: boot pit. A pull cord: cord tail end. Its marks are asked for when you get there.", Role.NOTE, ""),
        (f"{tag} itself stands elsewhere than it says? Esc, then {tag}, then: at boot pit.", Role.NOTE, ""),
    ]  # fmt: skip
    return lines, Entry("Where it stands", example="boot pit"), (_BACK,)


_BACK: Final = LiveKey("escape", "back", "closes this; nothing is changed")


def _described(desk: Desk, pin: Pin) -> str:
    circuit = desk.machine.circuit
    device = circuit.devices[pin.device]
    goes = goes_to(circuit, pin)
    if not goes and device.kind == "bar":
        return f"{device.words or KINDS[device.kind].words}: a free place on it"
    if not goes:
        return f"{device.words or KINDS[device.kind].words}: no wire is described there"
    to = ", ".join(str(p) for p in goes)
    number = number_at(circuit, pin)
    return f"{device.words or KINDS[device.kind].words}: {f'wire {number} ' if number else ''}to {to}"


def _point_panel(desk: Desk, about: str) -> tuple[list[tuple[str, Role, str]], Entry | None, tuple[LiveKey, ...]]:
    pin = desk.pins[about.upper()]
    none = _none_of(desk, pin.device)
    lines = [
        (f"{pin} is described as {_described(desk, pin)}. What is there?", Role.TASK, ""),
        ("1  nothing is connected there", Role.ROW, "1"),
        *none,
        ("Or type what you see:", Role.NOTE, ""),
        (f"   at boot pit: {pin.device} stands there, not at {_place(desk, pin.device)}", Role.NOTE, ""),
        ("   another terminal, as it is called here (X1:4): what is there goes to that", Role.NOTE, ""),
        ("   wire 34: another wire number is on it", Role.NOTE, ""),
        ("   IN0: what is printed beside this point", Role.NOTE, "")
        if pin.pin.startswith("%")
        else ("   CR1: the device has another name", Role.NOTE, ""),
    ]
    absent = tuple(LiveKey(key, "there is none", text[3:]) for text, _, key in none)
    keys = (LiveKey("1", "empty", "nothing is connected there"), *absent, _BACK)
    return lines, Entry("What is there", example="wire 34"), keys


def _place(desk: Desk, tag: str) -> str:
    place = desk.machine.circuit.places[desk.machine.circuit.devices[tag].place]
    return place.words or place.name


NONE: Final = "2"
"""Key that says that a device is not there."""


def _none_of(desk: Desk, tag: str) -> list[tuple[str, Role, str]]:
    device = desk.machine.circuit.devices[tag]
    if not can_be_absent(desk.machine.circuit, tag):
        return []
    return [
        (
            f"{NONE}  there is no {tag} ({device.words or KINDS[device.kind].words}): it goes straight through",
            Role.ROW,
            NONE,
        )
    ]


def _device_panel(desk: Desk, tag: str) -> tuple[list[tuple[str, Role, str]], Entry | None, tuple[LiveKey, ...]]:
    device = desk.machine.circuit.devices[tag]
    none = _none_of(desk, tag)
    lines = [
        (f"{tag}, {device.words or KINDS[device.kind].words}: what is otherwise?", Role.TASK, ""),
        *none,
        (f"at boot pit: it stands there, not at {_place(desk, tag)}. Or type another name", Role.NOTE, ""),
        ("for it, or one of its terminals:", Role.NOTE, ""),
        (f"   {', '.join(p for p in sorted(map(str, desk.pins.values())) if p.startswith(f'{tag}:'))}", Role.NOTE, ""),
    ]
    keys = tuple(LiveKey(key, "there is none", text[3:]) for text, _, key in none)
    return lines, Entry("Its name, or a terminal", example="CR1"), (*keys, _BACK)


def composed(question: str, state: State) -> Sequence[Option]:
    """The options that can be changed to during a job; another ready circuit is another job."""
    return [o for o in options_of(QUESTIONS[question], state.answers) if not o.pattern]


def _answers_panel(
    state: State, question: str
) -> tuple[list[tuple[str, Role, str]], Entry | None, tuple[LiveKey, ...]]:
    if not question:
        lines = [("Which answer was wrong?", Role.TASK, "")]
        for key, q in zip(ROWS, asked(state.answers), strict=False):
            said = next((o.words for o in q.options if o.id == state.answers.get(q.id)), "not known")
            lines.append((f"{key}  {q.words} {said}", Role.ROW, key))
    else:
        lines = [(QUESTIONS[question].words, Role.TASK, "")]
        options = composed(question, state)
        lines += [(f"{key}  {o.words}", Role.ROW, key) for key, o in zip(KEYS_OF_OPTIONS, options, strict=False)]
    keys = tuple(LiveKey(key, text[3:17].strip(), text[3:], shown=False) for text, _, key in lines if key)
    return lines, None, (*keys, _BACK)
