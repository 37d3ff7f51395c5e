"""The keys of a circuit file as a table: the loader, the JSON Schema and the reference page all read it here.

The keys of one device kind are its own `Rating` rows, in `circuit.kinds`.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, get_args

from troubleshoot.circuit.model import Known, Origin
from troubleshoot.circuit.runs import USUAL

RowType = Literal[
    "name", "text", "choice", "yes or no", "seconds", "metres", "integer", "fraction", "texts", "pins", "pairs", "acts",
    "positions",
    "farads per metre", "program text", "section",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One key of a part of the circuit file."""

    name: str
    type: RowType
    words: str
    must: bool = False
    choices: tuple[str, ...] = ()


KNOWN: Final[tuple[Known, ...]] = get_args(Known)
ORIGINS: Final[tuple[Origin, ...]] = get_args(Origin)

_KNOWN_ROW: Final = Row("known", "choice", "how well it is known, worst first", choices=KNOWN)

TOP: Final = (
    Row("machine", "name", "short name of the machine; also the name of its folder", must=True),
    Row("title", "text", "what people call the machine and where it stands"),
    Row("places", "section", "where a person must go to reach the devices; without it there is one, the panel"),
    Row("devices", "section", "everything with terminals, by the tag printed on it", must=True),
    Row("wires", "section", "wire numbers and the terminals each one runs to", must=True),
    Row("runs", "section", "which wires share a conduit or a cable, and how far: what couples into a dead one"),
    Row("variants", "section", "other ways in which it may be wired, kept alive until a reading tells"),
    Row("program", "section", "the controller's program"),
    Row("roles", "section", "which device is the start button, the contactor, ...; {} for none", must=True),
    Row("situations", "section", "named states of the machine worth measuring in"),
    Row("complaints", "section", "how people report that something is wrong; {} for none", must=True),
    Row("priors", "section", "by suspect: how many times as likely as usual"),
)
LAST: Final = ("complaints", "priors")
"""These come last, so that a file cut off half-way is never taken for a smaller machine."""

PLACE: Final = (
    Row("words", "text", "what people call it"),
    Row("door", "yes or no", "yes: an enclosure must be opened there"),
    Row("walk", "seconds", "time to get there"),
    Row("needs", "texts", "what must be fetched: ladder, key, second person"),
    Row("danger", "text", "what can hurt there besides volts and what moves: gas, falling in, heat"),
)
DEVICE: Final = (
    Row("kind", "choice", "what it is", must=True),
    Row("at", "name", "the place it is at; needed where there are several"),
    Row("words", "text", "what people call it"),
    _KNOWN_ROW,
)
WIRE: Final = (
    Row("number", "name", "wire number as printed", must=True),
    Row("run", "pins", "terminals in the order in which the wire is laid: [K1:14, FR1:95]", must=True),
    Row("length", "metres", "length of each hop; 1 m within a place and 15 m between places where not given"),
    _KNOWN_ROW,
)
RUN: Final = (
    Row("conductors", "texts", "what lies in it: wire numbers, or single hops as 12:K1:14>FR1:95", must=True),
    Row("length", "metres", "how far they lie side by side", must=True),
    Row("in", "choice", "conduit: single wires, also in trunking; cable: cores", must=True, choices=tuple(USUAL)),
    Row("to neighbour", "farads per metre", "to one touching neighbour; 50 pF/m in a conduit, 100 in a cable"),
    Row("to earth", "farads per metre", "of one conductor; 60 pF/m in a conduit, 100 in a cable"),
)
VARIANT: Final = (
    Row("words", "text", "as one would say it: the overload contact sits behind the coil", must=True),
    Row("chance", "fraction", "chance that it is wired this way", must=True),
    Row("cut", "texts", "hops that are then not there, like 12:K1:14>FR1:95"),
    Row("join", "pairs", "terminals that a wire then joins: [[K1:14, KM1:A1]]"),
    Row("stands", "positions", "states that then never change, by state variable: {YB1: released}"),
)
PROGRAM: Final = (
    Row(
        "lang",
        "choice",
        "ST: Structured Text (IEC 61131-3); LD: a ladder in XML, PLCopen TC6 or IEC 61131-10",
        must=True,
        choices=("ST", "LD"),
    ),
    Row("text", "program text", "the program itself; or else file"),
    Row(
        "first scan edges",
        "yes or no",
        "yes (IEC 61131-3): an edge block may pulse in its very first scan; no: it waits",
    ),
    Row("file", "name", "a file beside this one that holds the program: belt.st, program/belt.xml"),
    _KNOWN_ROW,
)
SITUATION: Final = (
    Row("words", "text", "how a person would say it"),
    Row("from", "choice", "where it begins", choices=ORIGINS),
    Row("hold", "positions", "positions that matter now, by device: {S3: run}"),
    Row("after", "acts", "what was done: press S1; release S1"),
    Row("hands", "integer", "how many people it takes"),
)
COMPLAINT: Final = (
    Row("words", "texts", "how people say it", must=True),
    Row("shows", "name", "the situation in which it is seen: of this file, or one that follows from the roles"),
    Row(
        "about", "texts", "what is wrong with what is seen, by role: brake; motor hums, does not turn. Otherwise motors"
    ),
)

ROLES: Final = MappingProxyType(
    {
        "start": "start button",
        "stop": "stop button",
        "emergency stop": "emergency stop heads and pull cords",
        "reset": "reset button of the safety circuit",
        "mode": "selector between ways of running",
        "interposing": "relay between the controller and the contactor",
        "contactor": "contactor of the motor",
        "overload": "thermal overload relay",
        "brake": "brake on the motor's shaft",
        "motor": "the motor itself",
        "motor fuse": "fuses ahead of the motor, in the order of the lines",
        "waiting start": "start button of what may run only while the first contactor is in",
        "waiting contactor": "contactor of what may run only while the first is in",
        "plc": "programmable controller",
        "dc supply": "supply of the controls in direct current",
        "control fuse": "fuse of the control circuit",
        "disconnect": "main disconnect",
        "running lamp": "lamp that shows running",
        "stopped lamp": "lamp that shows stopped",
    }
)
"""Role name to what it means; trees speak of devices by these."""

_SWITCHED: Final = ("contactor", "relay")
ROLE_KINDS: Final = MappingProxyType(
    {
        "start": ("push button",),
        "stop": ("push button", "emergency stop"),
        "emergency stop": ("emergency stop", "pull cord", "push button"),
        "reset": ("push button",),
        "mode": ("selector",),
        "interposing": ("relay", "contactor", "timer relay", "safety relay"),
        "contactor": _SWITCHED,
        "overload": ("overload", "breaker"),
        "brake": ("brake",),
        "motor": ("motor",),
        "motor fuse": ("fuse", "breaker"),
        "waiting start": ("push button",),
        "waiting contactor": _SWITCHED,
        "plc": ("plc",),
        "dc supply": ("dc supply", "rectifier"),
        "control fuse": ("fuse", "breaker"),
        "disconnect": ("disconnect", "breaker"),
        "running lamp": ("lamp", "horn"),
        "stopped lamp": ("lamp", "horn"),
    }
)
"""Role name to the kinds that can play it: what is done to a role (pressed, opened, tripped) must be possible."""

COMMON_NAMES: Final = MappingProxyType(
    {
        name: kind
        for kind, names in {
            "process switch": "limit switch, door switch, float switch, pressure switch, level switch, flow switch, position switch",
            "three-wire sensor": "proximity switch, proximity sensor, photo eye, photoelectric sensor, light barrier",
            "emergency stop": "e stop, estop, emergency button, emergency stop button",
            "pull cord": "pull wire, rope switch, trip wire",
            "dc supply": "power supply, psu, 24 v supply, power pack",
            "supply": "mains, line, incomer, incoming supply",
            "disconnect": "main switch, isolator, disconnector, isolating switch",
            "breaker": "mcb, circuit breaker, miniature circuit breaker, motor protection switch",
            "overload": "thermal relay, overload relay, thermal overload",
            "push button": "button, switch button, foot switch, start button, stop button",
            "selector": "switch, mode switch, rotary switch, key switch, selector switch, toggle switch",
            "contactor": "motor starter, starter",
            "lamp": "light, pilot light, beacon, indicator, indicator light",
            "horn": "siren, buzzer, bell, sounder",
            "plc": "controller, programmable controller",
            "load": "heater, resistor, solenoid, valve",
            "terminals": "terminal, terminal strip, terminal block",
            "plug": "connector, socket",
            "bar": "earth bar, ground bar, busbar, neutral bar, bus bar",
            "timer relay": "timer, time relay, delay relay",
            "control transformer": "transformer",
            "suppressor": "snubber, diode, varistor",
        }.items()
        for name in names.split(", ")
    }
)
"""What people call a device, in small letters without hyphens, to its kind here."""

BY_ROLE: Final = (
    "isolated", "isolated, stop held", "isolated, emergency stop in", "isolated, control fuse out",
    "isolated, control fuse out, stop held", "isolated, control fuse out, emergency stop in", "stop held at rest", "emergency stop in at rest",
    "running", "running a minute", "running a while", "started then stopped", "isolated in jog", "jog at rest", "jog held", "jog let go", "waiting start held",
    "second start held", "third start held", "isolated, control fuse out, overload tripped",
)  # fmt: skip
"""Names of the situations that follow from a machine's roles, for machines that do not name their own."""

METRES_WITHIN: Final = 1.0
METRES_BETWEEN: Final = 15.0
"""Length of a hop whose length is not given, inside one place and between two; common practice, no published source."""
