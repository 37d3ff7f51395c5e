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
from troubleshoot.describe.stops import another_stop, last_stop, next_tag, stands_at, stop_said
from troubleshoot.describe.taps import CONTROLLER, FEEDBACK, asked, fitted
from troubleshoot.job.calling import Called, call_device, call_point, call_wire, calling
from troubleshoot.job.draw_amending import (
    KEYS_OF_OPTIONS,
    NONE,
    ROWS,
    can_be_watched,
    composed,
    halves,
    letters,
    own_keys,
    points,
)
from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Input, Pressed, Refusal
from troubleshoot.job.state import State
from troubleshoot.machine.amending import (
    Absent,
    Another,
    Answered,
    Change,
    Empty,
    Goes,
    Halved,
    Stands,
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
    if (stands := _stands(desk, tag, text)) is not None:
        return stands
    return _called(call_device(desk, state, tag, text))


def _called(done: Called | Refusal) -> Amending | Refusal:
    return done if isinstance(done, Refusal) else Amending(done.events, echo=done.echo)


def amend(desk: Desk, state: State, stage: Stage, about: str, said: Input) -> Amending | Refusal | None:
    """What a key or a word in the panel does; None where the key is not live there."""
    if about.startswith("half "):
        return _half(desk, about, said)
    if about.startswith("stop "):
        return _stop(desk, about, said)
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
        if (tag := calling(desk, state).device(said.text.strip())) is not None:
            return Amending(panel=f"amend device {tag}")
        near = nearest(said.text.strip().upper(), desk.pins)
        return Refusal(
            f"There is no point {show(said.text.strip())} here" + (f"; nearest is {desk.pins[near]}." if near else ".")
        )
    here, variants = points(stage), list(desk.machine.circuit.variants.values())
    if said.key in ROWS[: len(here)]:
        return Amending(panel=f"amend {here[ROWS.index(said.key)]}")
    free = letters(desk, state)
    if said.key in free[: len(variants)]:
        variant = variants[free.index(said.key)]
        return _changed(_as_answer(state, variant.name) or Wired(variant.name), variant.words)
    if said.key in halves(desk, state):
        return Amending(panel=f"amend half {' '.join(halves(desk, state)[said.key])}")
    watched, more = own_keys(desk, state)
    if said.key == more and (beside := last_stop(desk.machine.circuit)):
        return Amending(panel=f"amend stop {beside}")
    if said.key == watched and can_be_watched(state):
        return watches(state)
    if said.key == "0" and state.answers:
        return Amending(panel="amend answers")
    if said.key == "0" and main_supply(desk.machine.circuit) is not None:
        return Amending(panel="supply")
    return None


def watches(state: State) -> Amending:
    """An input of the controller watches the contactor, by an auxiliary contact on it: the pattern is made so."""
    answers = {**state.answers, "buttons": CONTROLLER, FEEDBACK: "yes"}
    return _changed(Answered(tuple(answers.items())), "an input of the controller watches the contactor")


def _stop(desk: Desk, about: str, said: Input) -> Amending | Refusal | None:
    if isinstance(said, Pressed):
        return None
    beside = about.split(" ")[1]
    stop = stop_said(said.text)
    if isinstance(stop, str):
        return Refusal(stop)
    if another_stop(desk.machine.circuit, beside, stop) == desk.machine.circuit:
        return Refusal(f"No wire is described at {beside}, so none can lie behind it.")
    return _changed(Another(beside, stop), f"{next_tag(desk.machine.circuit)}, one more {stop.words}, behind {beside}")


_AT: Final = re.compile(r"(?i)(?:at|in|on) (?:the )?(.+)")


def _stands(desk: Desk, tag: str, text: str) -> Amending | Refusal | None:
    """``at boot pit``: where a device stands. None where something else was typed."""
    found = _AT.fullmatch(text)
    if found is None:
        return None
    stop = stop_said(found[1])
    if isinstance(stop, str):
        return Refusal(stop)
    if stands_at(desk.machine.circuit, tag, stop.place) == desk.machine.circuit:
        return Refusal(f"{tag} is described there already.")
    return _changed(Stands(tag, stop.place), f"{tag} stands at {stop.place}")


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
    if (stands := _stands(desk, pin.device, text)) is not None:
        return stands
    wire = re.fullmatch(r"(?i)(?:wire|no\.?|number)\s+(\S+)", text)
    if wire:
        return _numbered(desk, state, pin, calling(desk, state).wire(wire[1]))
    if text.upper() in desk.pins:
        return _goes(desk, pin, desk.pins[text.upper()])
    if flaw := flaw_in_name(text):
        return Refusal(f"What you typed {flaw}.")
    if ":" in text:
        return _called(call_point(desk, state, pin, text))
    if text.isdigit():
        return Refusal(f"A wire number? Type: wire {text}. A terminal? Type it with its device: X1:{text}")
    if pin.pin.startswith("%"):  # of a module each point has its own label, whatever the module is called
        return _called(call_point(desk, state, pin, f"{calling(desk, state).tag(pin.device)}:{text}"))
    return _called(call_device(desk, state, pin.device, text))


def _goes(desk: Desk, pin: Pin, to: Pin) -> Amending | Refusal:
    if to == pin:
        return Refusal("That is the point itself.")
    if goes_to(desk.machine.circuit, pin) == (to,):
        return Refusal(f"{pin} goes to {to} as it is described.")
    return _changed(Goes(pin, to), f"{pin} goes to {to}")


def _numbered(desk: Desk, state: State, pin: Pin, number: str) -> Amending | Refusal:
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
    return _called(call_wire(desk, state, here, number))


def _changed(change: Change, words: str) -> Amending:
    return Amending(
        (("amended", {"change": put_change(change), "words": words}),),
        echo=f"Taken in: {words}. What was read before is judged again; u takes it back.",
    )
