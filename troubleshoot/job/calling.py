"""What a person says is printed on a thing: taken as its name, or refused with what to do. Pure.

One printed name never stands for two things. Where the description has it for something else whose mark nobody has read,
that gives way and is called otherwise until somebody reads it; where a person has read it there, the new one is refused.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Circuit, Pin
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.aliases import get_alias, put_alias
from troubleshoot.job.page import capital
from troubleshoot.job.sheet import Refusal
from troubleshoot.machine.amending import Alias
from troubleshoot.text.names import flaw_in_name
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.stage import Stage
    from troubleshoot.job.state import State

OTHER: Final = "other-"
"""Before the mark of a thing that had to give it up: plainly not what is printed anywhere."""
MANY: Final = ("terminals", "bar")
"""Kinds of which each terminal may be on a strip or bar of its own; any other device has one name."""


@dataclass(frozen=True, slots=True)
class Called:
    """What saying a name does: events to be written, and an echo."""

    events: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    echo: str = ""


@dataclass(frozen=True)
class Calling:
    """What the things of a circuit are called on the screen, and whether somebody has read it."""

    circuit: Circuit
    aliases: Sequence[Alias]
    latest: dict[tuple[str, str], Alias] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "latest", {(a.of, a.described): a for a in self.aliases})

    def tag(self, tag: str) -> str:
        """What a device is called."""
        found = self.latest.get(("device", tag))
        return found.printed if found is not None else tag

    def point(self, pin: Pin) -> str:
        """What a terminal is called."""
        found = self.latest.get(("point", str(pin)))
        return found.printed if found is not None else f"{self.tag(pin.device)}:{pin.pin}"

    def wire(self, number: str) -> str:
        """The described number of the wire that is called so; what was typed where none is."""
        called = {a.printed.casefold(): a.described for (of, _), a in self.latest.items() if of == "wire"}
        return called.get(number.casefold(), number)

    def device(self, said: str) -> str | None:
        """Tag of the device that is called so; a described tag too, unless that is printed on something else."""
        called = {self.tag(tag).casefold(): tag for tag in self.circuit.devices}
        return called.get(said.casefold()) or next(
            (tag for tag in self.circuit.devices if tag.casefold() == said.casefold() and not self._gave_way(tag)), None
        )

    def _gave_way(self, tag: str) -> bool:
        found = self.latest.get(("device", tag))
        return found is not None and not found.read

    def is_read(self, tag: str) -> bool:
        """Whether somebody has read what is printed on a device."""
        found = self.latest.get(("device", tag))
        if found is not None:
            return found.read
        return not tag.startswith(OTHER) and self.circuit.devices[tag].known in ("seen", "measured")

    def free(self, name: str) -> str:
        """A name for what has to give this one up."""
        taken = {self.tag(tag).casefold() for tag in self.circuit.devices} | {
            t.casefold() for t in self.circuit.devices
        }
        out, count = f"{OTHER}{name}", 2
        while out.casefold() in taken:
            out, count = f"{OTHER}{name}-{count}", count + 1
        return out


def calling(desk: Desk, state: State) -> Calling:
    """What things are called in a job by now."""
    return Calling(desk.machine.circuit, [get_alias(alias) for alias in state.aliases])


def words_of(circuit: Circuit, tag: str) -> str:
    """What a device is, in words."""
    device = circuit.devices[tag]
    return device.words or KINDS[device.kind].words


def call_device(desk: Desk, state: State, tag: str, printed: str) -> Called | Refusal:
    """A device is called so from now on."""
    if flaw := flaw_in_name(printed):
        return Refusal(f"What you typed {flaw}.")
    if ":" in printed:
        return Refusal("That is the name of a terminal. A device is called by what stands before the colon.")
    return _take(calling(desk, state), Alias("device", tag, printed), ())


def call_point(desk: Desk, state: State, pin: Pin, printed: str) -> Called | Refusal:
    """A terminal is called so from now on, and its device where the printed name says that as well."""
    if flaw := flaw_in_name(printed):
        return Refusal(f"What you typed {flaw}.")
    now = calling(desk, state)
    device, colon, mark = printed.partition(":")
    if printed == now.point(pin) or (not colon and printed == now.tag(pin.device)):
        return Refusal(f"It is called {pin if colon else pin.device} here too.")
    many = now.circuit.devices[pin.device].kind in MANY
    if not colon or mark == pin.pin:
        return _take(now, Alias("device", pin.device, device), ())
    named = Alias("device", pin.device, device)
    also = (named,) if device != now.tag(pin.device) and not many else ()
    return _take(now, Alias("point", str(pin), printed), also)


def call_wire(desk: Desk, state: State, number: str, printed: str) -> Called | Refusal:
    """A wire has this number from now on. printed: one that no wire is described with, and none is called by."""
    return _take(calling(desk, state), Alias("wire", number, printed), ())


def _take(now: Calling, alias: Alias, also: tuple[Alias, ...]) -> Called | Refusal:
    circuit = now.circuit
    pin = Pin(*alias.described.split(":", 1)) if alias.of == "point" else None
    own = pin.device if pin is not None else alias.described
    given_up: list[Alias] = []
    strip = "" if alias.of == "wire" else alias.printed.partition(":")[0]
    for tag in circuit.devices:
        if tag == own or not strip or now.tag(tag).casefold() != strip.casefold():
            continue
        if not now.is_read(tag):
            given_up.append(Alias("device", tag, now.free(strip), read=False))
        elif alias.of == "device" or also or circuit.devices[tag].kind not in MANY:
            return Refusal(
                f"{tag} is {words_of(circuit, tag)} here, one name for one thing. Is that wrong? Say first what that is called: "
                f"{tag} = NEW. Then this."
            )
    then = Calling(circuit, [*now.aliases, *given_up, alias, *also])
    same: dict[str, list[Pin]] = {}
    for tag, device in circuit.devices.items():
        for mark in KINDS[device.kind].pins(device):
            same.setdefault(then.point(Pin(tag, mark)).casefold(), []).append(Pin(tag, mark))
    for pins in same.values():
        if len(pins) < 2:
            continue
        rest = [p for p in pins if p != pin]
        unread = [p for p in rest if p.device == own and ("point", str(p)) not in now.latest and pin is not None]
        if len(rest) != 1 or rest != unread:
            p = rest[0]
            return Refusal(
                f"{p} is {words_of(circuit, p.device)} here, one name for one point. Is that wrong? Say first what is printed "
                f"there: {p} = NEW. Then this."
            )
        (p,) = rest
        given_up.append(Alias("point", str(p), f"{then.tag(p.device)}:{OTHER}{p.pin}", read=False))
    data = put_alias(alias)
    if also:
        data["with"] = put_alias(also[0])
    if given_up:
        data["gives way"] = [put_alias(one) for one in given_up]
    # In the described names: the sheet puts what they are called now in their place.
    shown = f"wire {alias.described}" if alias.of == "wire" else alias.described
    echo = f"Noted: called {shown} from now on."
    for one in given_up:
        tag = one.described.partition(":")[0]
        echo += f" {capital(words_of(circuit, tag))} had that mark here, unread: {one.described} until you read it."
    return Called((("alias", data),), echo)


def unread(desk: Desk, state: State, stage: Stage) -> tuple[int, ...]:
    """Numbers of the rows of a card whose device nobody has seen yet, and whose mark nobody has read."""
    if stage.step is None:
        return ()
    meters = [i for i in stage.step.items if isinstance(i, Meter)]
    devices = desk.machine.circuit.devices
    read = {a.described for a in map(get_alias, state.aliases) if a.read} | {
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
        f"Marks not read yet: go by the words. Printed otherwise? Type {rows[0]} = CR1:7, or black = X9:4. "
        f"Another point? Both names and the value: KM1:A1 {black} 120"
    )


_NAMED: Final = re.compile(r"\s*(\S+)\s*=\s*(\S.*?)\s*")
_BLACK: Final = "black"


def named(desk: Desk, state: State, stage: Stage, text: str) -> Called | Refusal | None:
    """``1 = CR1:7``, ``black = X9:4``, ``NB:3 = X9:4``, ``F4 = FU6``: what is printed there. None where it is something else."""
    found = _NAMED.fullmatch(text)
    if found is None:
        return None
    meters = [i for i in stage.step.items if isinstance(i, Meter)] if stage.step is not None else []
    said, printed = found[1], found[2]
    if said.isdigit():
        if not 0 < int(said) <= len(meters):
            return Refusal(f"This card has no row {said}.") if meters else None
        pin = meters[int(said) - 1].red
    elif said.casefold() == _BLACK and len({m.black for m in meters}) == 1:
        pin = meters[0].black
    elif said.upper() in desk.pins:
        pin = desk.pins[said.upper()]
    elif len(marks := [p for p in desk.pins.values() if p.pin.startswith("%") and p.pin.upper() == said.upper()]) == 1:
        (pin,) = marks  # a point of the only module, by what is drawn on its face
        printed = printed if ":" in printed else f"{calling(desk, state).tag(pin.device)}:{printed}"
    elif (tag := calling(desk, state).device(said)) is not None:
        return call_device(desk, state, tag, printed)
    else:
        near = nearest(said.upper(), {**desk.pins, **{tag.upper(): tag for tag in desk.machine.circuit.devices}})
        return Refusal(f"There is no {show(said)} here" + (f"; nearest is {near}." if near else "."))
    return call_point(desk, state, pin, printed)
