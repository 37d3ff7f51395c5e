"""*It is not wired like that*: one key, then what is there, by single keys or a word. Pure.

`about` is what the panel is about: nothing (which point?), a point, or the first answers.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.circuit.model import Pin
from troubleshoot.describe.pattern import variant_name
from troubleshoot.describe.taps import asked, fitted
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.draw_amending import KEYS_OF_OPTIONS, LETTERS, NONE, ROWS, composed, halves, points
from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Input, Pressed, Refusal
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


@dataclass(frozen=True, slots=True)
class Amending:
    """What saying it does: events to be written, the panel that follows, and an echo."""

    events: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    panel: str = ""
    echo: str = ""


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
    if said.key in halves(desk):
        return Amending(panel=f"amend half {' '.join(halves(desk)[said.key])}")
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
    options = composed(question, state)
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
