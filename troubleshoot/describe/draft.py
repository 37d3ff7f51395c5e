"""A circuit file while it is written: what the frame of the machine is, and the devices, wires and notes so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from troubleshoot.describe.stops import STOPS
from troubleshoot.describe.taps import CONTROLLER, FEEDBACK, HOA, LINES, STRAIGHT, SYSTEMS, System

Choice = dict[str, str]
"""Question id to option id, nothing unknown."""
LIKELIEST: Final[Choice] = {
    "buttons": CONTROLLER, "relay": "yes", "volts": "120 transformer", "overload": "before",
    "brake": "elsewhere", "selector": "run/jog",
}  # fmt: skip
"""What is written down where one does not know: the way with the most devices, so that the others are less of it; a
brake that may have a feed of its own counts as live with the disconnect open. Of the supply see `taps.counted_as`."""


def source_of(volts: str, system: System) -> tuple[str, str]:
    """An answer for the control volts as volts and source; between two lines they are the supply's own."""
    number, _, source = volts.partition(" ")
    return (f"{system.line:g}", LINES) if volts == LINES else (number, source)


@dataclass(frozen=True, slots=True)
class Frame:
    """What a file and all its variants have in common: the same devices and marks, so that they can be compared."""

    choice: Choice
    either_source: bool
    either_buttons: bool

    @property
    def system(self) -> System:
        return SYSTEMS[self.choice["supply"]]

    @property
    def neutral(self) -> bool:
        """Whether the neutral of the incoming supply is brought into the panel."""
        return self.either_source or (self.control[1] not in ("transformer", LINES) and bool(self.system.neutral))

    @property
    def control(self) -> tuple[str, str]:
        """The volts that feed the coil's circuit, and where they come from."""
        return source_of(self.choice["volts"], self.system)

    @property
    def two_wire(self) -> bool:
        """Whether a switch and a float start it, no buttons."""
        return self.choice["selector"] == HOA

    @property
    def controller(self) -> bool:
        return self.choice["buttons"] == CONTROLLER

    @property
    def watched(self) -> bool:
        """Whether an input of the controller watches the contactor."""
        return self.controller and self.choice.get(FEEDBACK) == "yes"

    @property
    def stopped(self) -> bool:
        """Whether there is an emergency stop: always with buttons; where a float starts it, only if somebody said so."""
        return not self.two_wire or STOPS in self.choice

    @property
    def straight(self) -> bool:
        return self.choice["buttons"] == STRAIGHT or self.either_buttons

    @property
    def stop_block(self) -> tuple[str, str]:
        """The emergency stop's contact in the coil's circuit; the first one goes to the controller."""
        return ("21", "22") if self.controller else ("11", "12")


def quoted(text: str) -> str:
    return f"'{text}'"


@dataclass
class Draft:
    """Devices and wires as they are put down."""

    devices: list[str] = field(default_factory=list)
    wires: list[str] = field(default_factory=list)

    def device(self, tag: str, text: str, known: str = "assumed") -> None:
        self.devices.append(f"  {tag}: {{{text}, known: {known}}}")

    def wire(self, number: str, *pins: str, length: str = "") -> None:
        run = ", ".join(quoted(p) for p in pins)
        more = f", length: {length}" if length else ""
        self.wires.append(f"  - {{number: {quoted(number)}, run: [{run}]{more}, known: assumed}}")

    def chain(self, numbers: Sequence[str], pins: Sequence[tuple[str, str]]) -> None:
        """Things in series: from the out of each to the in of the next, with a wire number between."""
        for number, (_, out), (into, _) in zip(numbers, pins[:-1], pins[1:], strict=True):
            self.wire(number, out, into)

    def note(self, words: str) -> None:
        self.wires.append(f"  # {words}")
