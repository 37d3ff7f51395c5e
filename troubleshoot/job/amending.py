"""*It is not wired like that*: one key, then what is there, by single keys or a word. Pure.

`about` is what the panel is about: nothing (which point?), a point, or the first answers.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Circuit, Pin
from troubleshoot.describe.pattern import variant_name
from troubleshoot.describe.taps import QUESTIONS, Option, asked, fitted, options_of
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Entry, Input, LiveKey, Pressed, Refusal, Role
from troubleshoot.job.state import State
from troubleshoot.machine.amending import (
    Absent,
    Alias,
    Answered,
    Change,
    Empty,
    Goes,
    Halved,
    Wired,
    can_be_absent,
    chain_of,
    goes_to,
    number_at,
    put_change,
    seen,
    with_names,
)
from troubleshoot.machine.supply import main_supply
from troubleshoot.text.names import flaw_in_name
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.stage import Stage

KEY: Final = KEYS["not so"].usual
"""A letter that no list uses: no digit, not the caution's key."""
NOT_SO: Final = KEYS["not so"].live
LETTERS: Final = "abdfghijkmoprsy"
ROWS: Final = "123456789"
KEYS_OF_OPTIONS: Final = ROWS + "ab"


@dataclass(frozen=True, slots=True)
class Amending:
    """What saying it does: events to be written, the panel that follows, and an echo."""

    events: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    panel: str = ""
    echo: str = ""


def key_of(desk: Desk) -> LiveKey:
    """The key; in the key row where something of the description is not seen yet, otherwise in the help."""
    known = {d.known for d in desk.machine.circuit.devices.values()}
    return replace(NOT_SO, shown=bool(known & {"assumed", "copied", "told"}))


# ---------------------------------------------------------------------------------------------------------- what is shown


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
    for key, variant in zip(LETTERS, circuit.variants.values(), strict=False):
        lines.append((f"{key}  {variant.words}", Role.ROW, key))
    for key, (tag, a, b) in _halves(desk).items():
        words = circuit.devices[tag].words
        lines.append((f"{key}  look inside {tag}, {words}: a terminal between {a} and {b}", Role.ROW, key))
    if state.answers:
        lines.append(("0  one of the first answers was wrong (supply, brake, overload ...)", Role.ROW, "0"))
    elif main_supply(circuit) is not None:
        lines.append(("0  the plant feeds it with another supply", Role.ROW, "0"))
    keys = tuple(LiveKey(key, text[3:17].strip(), text[3:], shown=False) for text, _, key in lines if key)
    return lines, Entry("Or type the point, as it is called here", example="K1:14"), (*keys, _BACK)


def _halves(desk: Desk) -> dict[str, tuple[str, str, str]]:
    """Key to a stretch of a chain that nobody has looked into: its tag and the marks at its ends."""
    circuit = desk.machine.circuit
    stretches = [(d.tag, a, b) for d in circuit.devices.values() for a, b in pairwise(chain_of(d))]
    return dict(zip(LETTERS[len(circuit.variants) :], stretches, strict=False))


def _half_panel(desk: Desk, about: str) -> tuple[list[tuple[str, Role, str]], Entry | None, tuple[LiveKey, ...]]:
    tag, a, b = about.split(" ")[1:]
    words = desk.machine.circuit.devices[tag].words
    lines = [
        (f"{tag}, {words}: open somewhere between {a} and {b}?", Role.TASK, ""),
        ("Follow its wire numbers to a terminal about half way. What is printed there?", Role.TASK, ""),
        ("It is asked for like any other point from then on, so each reading halves what is left.", Role.NOTE, ""),
    ]
    return lines, Entry("Terminal or wire number half way", example="X3:7"), (_BACK,)


_BACK: Final = LiveKey("escape", "back", "closes this; nothing is changed")


def _described(desk: Desk, pin: Pin) -> str:
    circuit = desk.machine.circuit
    device = circuit.devices[pin.device]
    to = ", ".join(str(p) for p in goes_to(circuit, pin)) or "nothing"
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
        ("   another terminal, as it is called here (X1:4): what is there goes to that", Role.NOTE, ""),
        ("   wire 34: another wire number is on it", Role.NOTE, ""),
        ("   CR1: the device has another name", Role.NOTE, ""),
    ]
    absent = tuple(LiveKey(key, "there is none", text[3:]) for text, _, key in none)
    keys = (LiveKey("1", "empty", "nothing is connected there"), *absent, _BACK)
    return lines, Entry("What is there", example="wire 34"), keys


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
        ("Or type another name for it, or one of its terminals:", Role.NOTE, ""),
        (f"   {', '.join(p for p in sorted(map(str, desk.pins.values())) if p.startswith(f'{tag}:'))}", Role.NOTE, ""),
    ]
    keys = tuple(LiveKey(key, "there is none", text[3:]) for text, _, key in none)
    return lines, Entry("Its name, or a terminal", example="CR1"), (*keys, _BACK)


def _of_device(desk: Desk, state: State, stage: Stage, tag: str, said: Input) -> Amending | Refusal | None:
    if isinstance(said, Pressed):
        if said.key != NONE or not can_be_absent(desk.machine.circuit, tag):
            return None
        return _changed(Absent(tag), f"there is no {tag}")
    text = said.text.strip()
    if text.upper() in desk.pins:
        return amend(desk, state, stage, "", said)
    return _named_device(desk, tag, text)


def _named_device(desk: Desk, tag: str, printed: str) -> Amending | Refusal:
    if flaw := flaw_in_name(printed):
        return Refusal(f"What you typed {flaw}.")
    if printed in desk.machine.circuit.devices:
        return Refusal(f"{printed} is described already. Type one of its terminals, like {printed}:1.")
    return Amending((("alias", put_alias(Alias("device", tag, printed))),), echo=_called(printed))


def _composed(question: str, state: State) -> Sequence[Option]:
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
        options = _composed(question, state)
        lines += [(f"{key}  {o.words}", Role.ROW, key) for key, o in zip(KEYS_OF_OPTIONS, options, strict=False)]
    keys = tuple(LiveKey(key, text[3:17].strip(), text[3:], shown=False) for text, _, key in lines if key)
    return lines, None, (*keys, _BACK)


# ------------------------------------------------------------------------------------------------------------- what is said


def amend(desk: Desk, state: State, stage: Stage, about: str, said: Input) -> Amending | Refusal | None:
    """What a key or a word in the panel does; None where the key is not live there."""
    if about.startswith("half "):
        return _half(desk, about, said)
    if about.startswith("device "):
        return _of_device(desk, state, stage, about.removeprefix("device "), said)
    if about == "answers" or about.startswith("answers "):
        return _answer(state, about.removeprefix("answers").strip(), said)
    if about:
        return _at(desk, state, desk.pins[about.upper()], said)
    if not isinstance(said, Pressed):
        pin = desk.pins.get(said.text.strip().upper())
        if pin is not None:
            return Amending(panel=f"amend {pin}")
        tags = {tag.upper(): tag for tag in desk.machine.circuit.devices}
        if (tag := tags.get(said.text.strip().upper())) is not None:
            return Amending(panel=f"amend device {tag}")
        near = nearest(said.text.strip().upper(), desk.pins)
        return Refusal(
            f"There is no point {show(said.text.strip())} here" + (f"; nearest is {desk.pins[near]}." if near else ".")
        )
    here, variants = points(stage), list(desk.machine.circuit.variants.values())
    if said.key in ROWS[: len(here)]:
        return Amending(panel=f"amend {here[ROWS.index(said.key)]}")
    if said.key in LETTERS[: len(variants)]:
        variant = variants[LETTERS.index(said.key)]
        return _changed(_as_answer(state, variant.name) or Wired(variant.name), variant.words)
    if said.key in _halves(desk):
        return Amending(panel=f"amend half {' '.join(_halves(desk)[said.key])}")
    if said.key == "0" and state.answers:
        return Amending(panel="amend answers")
    if said.key == "0" and main_supply(desk.machine.circuit) is not None:
        return Amending(panel="supply")
    return None


def _half(desk: Desk, about: str, said: Input) -> Amending | Refusal | None:
    if isinstance(said, Pressed):
        return None
    tag, a, b = about.split(" ")[1:]
    # One word: the marks stand in the panel's name, parted by blanks.
    mark = said.text.strip().replace(" ", "-")
    if flaw := flaw_in_name(mark):
        return Refusal(f"What you typed {flaw}.")
    if mark in chain_of(desk.machine.circuit.devices[tag]) or f"{tag}:{mark}".upper() in desk.pins:
        return Refusal(f"{mark} is known in {tag} already.")
    return _changed(Halved(tag, mark, a, b), f"{tag}:{mark} lies between {a} and {b}")


def _as_answer(state: State, variant: str) -> Answered | None:
    """A variant as the answer that it stands for, where the machine was made from answers: then the program fits as well."""
    for question in asked(state.answers):
        for option in question.options:
            if variant == variant_name(question.id, option.id) and question.id in state.answers:
                return Answered(tuple({**state.answers, question.id: option.id}.items()))
    return None


def _answer(state: State, question: str, said: Input) -> Amending | None:
    if not isinstance(said, Pressed):
        return None
    if not question:
        every = asked(state.answers)
        place = ROWS.find(said.key)
        return Amending(panel=f"amend answers {every[place].id}") if 0 <= place < len(every) else None
    options = _composed(question, state)
    place = KEYS_OF_OPTIONS.find(said.key)
    if not 0 <= place < len(options):
        return None
    answers = fitted({**state.answers, question: options[place].id})
    return _changed(Answered(tuple(answers.items())), options[place].words)


def _at(desk: Desk, state: State, pin: Pin, said: Input) -> Amending | Refusal | None:
    if isinstance(said, Pressed):
        if said.key == NONE and can_be_absent(desk.machine.circuit, pin.device):
            return _changed(Absent(pin.device), f"there is no {pin.device}")
        if said.key != "1":
            return None
        if not goes_to(desk.machine.circuit, pin):
            return Refusal(f"Nothing is described at {pin} either.")
        return _changed(Empty(pin), f"nothing is connected at {pin}")
    text = said.text.strip()
    if re.fullmatch(r"(?i)nothing|empty|bare|none", text):
        return _at(desk, state, pin, Pressed("1", said.sheet))
    wire = re.fullmatch(r"(?i)(?:wire|no\.?|number)\s+(\S+)", text)
    if wire:
        return _numbered(desk, pin, wire[1])
    if text.upper() in desk.pins:
        return _goes(desk, pin, desk.pins[text.upper()])
    if flaw := flaw_in_name(text):
        return Refusal(f"What you typed {flaw}.")
    if ":" in text:
        return Amending((("alias", put_alias(Alias("point", str(pin), text))),), echo=_called(text))
    if text.isdigit():
        return Refusal(f"A wire number? Type: wire {text}. A terminal? Type it with its device: X1:{text}")
    return _named_device(desk, pin.device, text)


def _goes(desk: Desk, pin: Pin, to: Pin) -> Amending | Refusal:
    if to == pin:
        return Refusal("That is the point itself.")
    if goes_to(desk.machine.circuit, pin) == (to,):
        return Refusal(f"{pin} goes to {to} as it is described.")
    return _changed(Goes(pin, to), f"{pin} goes to {to}")


def _numbered(desk: Desk, pin: Pin, number: str) -> Amending | Refusal:
    """A number that is described elsewhere: the terminal is on that wire. Any other: that is what the wire is called."""
    circuit = desk.machine.circuit
    here = number_at(circuit, pin)
    if flaw := flaw_in_name(number):
        return Refusal(f"That number {flaw}.")
    if number == here:
        return Refusal(f"{pin} is on wire {number} as it is described.")
    place = circuit.devices[pin.device].place
    there = [p for h in circuit.hops if h.number == number for p in (h.a, h.b) if p != pin]
    if there:
        to = next((p for p in there if circuit.devices[p.device].place == place), there[0])
        return _changed(Goes(pin, to), f"{pin} is on wire {number}")
    if not here:
        return Refusal(f"No wire is described at {pin}. Where does it go? Type that terminal.")
    return Amending((("alias", put_alias(Alias("wire", here, number))),), echo=_called(f"wire {number}"))


def _changed(change: Change, words: str) -> Amending:
    return Amending(
        (("amended", {"change": put_change(change), "words": words}),),
        echo=f"Taken in: {words}. What was read before is judged again; u takes it back.",
    )


def _called(printed: str) -> str:
    return f"Noted: called {printed} from now on."


def put_alias(alias: Alias) -> dict[str, Any]:
    """An alias as plain data, for a log event."""
    return {"of": alias.of, "described": alias.described, "printed": alias.printed}


def get_alias(data: Mapping[str, Any]) -> Alias:
    """What `put_alias` wrote."""
    return Alias(str(data["of"]), str(data["described"]), str(data["printed"]))


# --------------------------------------------------------------------------------------------- names come with the hands


def unread(desk: Desk, state: State, stage: Stage) -> tuple[int, ...]:
    """Numbers of the rows of a card whose device nobody has seen yet, and whose mark nobody has read."""
    if stage.step is None:
        return ()
    meters = [i for i in stage.step.items if isinstance(i, Meter)]
    devices = desk.machine.circuit.devices
    read = {str(a["described"]) for a in state.aliases} | {
        f"{s.what.red}" for s in state.evidence if isinstance(s.what, Meter)
    }
    return tuple(
        k
        for k, m in enumerate(meters, 1)
        if devices[m.red.device].known in ("assumed", "copied") and not {str(m.red), m.red.device} & read
    )


def asks_name(desk: Desk, state: State, stage: Stage) -> str:
    """The line under a card with points that nobody has met: go by the words, and how to say what is printed."""
    rows = unread(desk, state, stage)
    if not rows:
        return ""
    black = next(i.black for i in stage.step.items if isinstance(i, Meter)) if stage.step is not None else ""
    return (
        f"Marks not read yet: go by the words. Printed otherwise? Type {rows[0]} = CR1:7, or black = X2:4. "
        f"Another point? Both names and the value: KM1:A1 {black} 120"
    )


_NAMED: Final = re.compile(r"\s*(\S+)\s*=\s*(\S.*?)\s*")
_BLACK: Final = "black"


def named(desk: Desk, stage: Stage, text: str) -> Amending | Refusal | None:
    """``1 = CR1:7``, ``black = X2:4``, ``NB:3 = X2:4``, ``F4 = FU6``: what is printed there. None where it is something else."""
    found = _NAMED.fullmatch(text)
    if found is None:
        return None
    meters = [i for i in stage.step.items if isinstance(i, Meter)] if stage.step is not None else []
    said, printed = found[1], found[2]
    tags = {tag.upper(): tag for tag in desk.machine.circuit.devices}
    if said.isdigit():
        if not 0 < int(said) <= len(meters):
            return Refusal(f"This card has no row {said}.") if meters else None
        pin = meters[int(said) - 1].red
    elif said.casefold() == _BLACK and len({m.black for m in meters}) == 1:
        pin = meters[0].black
    elif said.upper() in desk.pins:
        pin = desk.pins[said.upper()]
    elif said.upper() in tags:
        return _named_device(desk, tags[said.upper()], printed)
    else:
        near = nearest(said.upper(), {**desk.pins, **tags})
        return Refusal(f"There is no {show(said)} here" + (f"; nearest is {near}." if near else "."))
    return _printed_at(desk, pin, printed)


def _printed_at(desk: Desk, pin: Pin, printed: str) -> Amending | Refusal:
    """The alias of a terminal, and of its device where the printed name says that as well."""
    if flaw := flaw_in_name(printed):
        return Refusal(f"What you typed {flaw}.")
    device, colon, mark = printed.partition(":")
    if printed == str(pin) or (not colon and printed == pin.device):
        return Refusal(f"It is called {printed} here too.")
    if not colon or mark == pin.pin:
        return Amending((("alias", put_alias(Alias("device", pin.device, device))),), echo=_called(device))
    data = put_alias(Alias("point", str(pin), printed))
    if device != pin.device and desk.machine.circuit.devices[pin.device].kind not in ("terminals", "bar"):
        # One device has one name. Of a strip or a bar each terminal may be on another one.
        data["with"] = put_alias(Alias("device", pin.device, device))
    return Amending((("alias", data),), echo=_called(printed))


# ------------------------------------------------------------------------------------------------- what still has a place


def desk_of(desk: Desk, state: State) -> Desk:
    """The desk of the machine as a job has it by now: with its past, as it was amended, and, where somebody worked on it, with
    what they may have left behind.
    """
    described = desk.with_past(state.past).amended(state.amended)
    return described.after_work if state.worked_on else described


def fitting(desk: Desk, state: State) -> State:
    """The state without readings at points, and of lights, that the description no longer has; the log keeps them."""
    nodes, signs = desk.machine.net.index, desk.machine.net.signs
    devices = desk.machine.circuit.devices

    def there(item: object) -> bool:
        match item:
            case Meter(_, red, black):
                return str(red) in nodes and str(black) in nodes
            case Light(name) | Look(name):
                return name in signs
            case _:
                return True

    def reachable(at: Any) -> bool:
        return all(a.device in devices for a in at.acts if a.device) and all(d in devices for d, _ in at.hold)

    kept = tuple(s for s in state.evidence if there(s.what) and reachable(s.at))
    return state if len(kept) == len(state.evidence) else replace(state, evidence=kept)


def grown(desk: Desk, state: State) -> Circuit:
    """The description as it leaves a job: amended, with the printed names, and what hands have met known as seen.

    desk: of the machine as amended.
    """
    met = [p for s in state.evidence if isinstance(s.what, Meter) for p in (s.what.red, s.what.black)]
    return with_names(seen(desk.machine.circuit, met), [get_alias(alias) for alias in state.aliases])


__all__ = ["KEY", "Amending", "amend", "desk_of", "fitting", "get_alias", "grown", "key_of", "panel", "points"]
