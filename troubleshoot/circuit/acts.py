"""What a hand can do to the machine, read from words: ``put S3 in run; press S1; release S1; wait 5 s; lose power``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal, get_args

from troubleshoot.circuit.kinds.base import CurrentLaw, Kind
from troubleshoot.circuit.model import Act, Device
from troubleshoot.circuit.written import in_base_unit
from troubleshoot.text.problem import Position, Problem, nearest

Reach = Mapping[str, tuple[str, ...]]
"""Device tag to the positions a hand can put it in; empty for a device with nothing to move."""

_DeviceVerb = Literal["press", "release", "pull", "open", "close", "test", "reset", "trip", "refit"]

_FUSE: Final = ("whole", "blown")
"""What a fuse can be; a hand puts a whole one in, and that is all."""

MOVES: Final[Mapping[_DeviceVerb, tuple[tuple[str, ...], ...]]] = {
    "press": (("free", "pressed"),),
    "release": (("free", "pressed"),),
    "pull": (("free", "pulled"),),
    "open": (("on", "off"),),
    "close": (("on", "off"),),
    "test": (("set", "tripped"),),
    "reset": (("set", "tripped"), ("free", "pulled")),
    "trip": (("set", "tripped"), ("on", "tripped")),
    "refit": (_FUSE,),
}
"""A verb and the positions, one set of them, that a device must have for it."""

_HOW: Final = {
    "put": "put S3 in run",
    "wait": "wait 5 s",
    "press": "press S1",
    "release": "release S1",
    "pull": "pull B1",
    "open": "open Q1",
    "close": "close Q1",
    "test": "test FR1",
    "reset": "reset FR1",
    "trip": "trip FR1",
    "refit": "refit F1",
    "lose power": "lose power",
    "restore power": "restore power",
}


_SAID: Final = {
    "push": "press", "hold": "press", "hit": "press", "click": "press", "depress": "press", "actuate": "press", "start": "press", "free": "release",
    "turn": "put", "switch": "put", "set": "put", "move": "put", "select": "put", "delay": "wait", "pause": "wait",
    "replace": "refit", "isolate": "open",
}  # fmt: skip
"""Other words for what a hand does."""


def reach(devices: Mapping[str, Device], kinds: Mapping[str, Kind] | None = None) -> Reach:
    """What a hand can move on each of `devices`; kinds: the table of kinds, by default the real one."""
    if kinds is None:
        from troubleshoot.circuit.kinds import KINDS

        kinds = KINDS
    return {tag: positions_of(device, kinds[device.kind]) for tag, device in devices.items()}


def positions_of(device: Device, kind: Kind) -> tuple[str, ...]:
    """The positions of one device's controls; of a fuse, which has none, what it can be."""
    positions = tuple(position for control in kind.controls(device) for position in control.positions)
    fuse = any(isinstance(law, CurrentLaw) and (law.ok, law.over) == _FUSE for law in kind.laws(device))
    return positions or (_FUSE if fuse else ())


def parse_acts(text: str, can: Reach, at: Position | None = None) -> tuple[Act, ...] | Problem:
    """The acts in `text`, in order; no text, no acts. Or the first thing wrong with it.

    can: from `reach`. at: where the text begins, for messages; by default ``acts:1:1``.
    """
    acts, problems = read_acts(text, can, at or Position("acts", 1, 1))
    return problems[0] if problems else acts


def read_acts(text: str, can: Reach, at: Position) -> tuple[tuple[Act, ...], tuple[Problem, ...]]:
    """As `parse_acts`, with everything that is wrong."""
    acts: list[Act] = []
    problems: list[Problem] = []
    start = 0
    for piece in text.split(";"):
        said = piece.strip()
        if said:
            # Columns hold while the text is on one line, which acts are.
            lead = start + len(piece) - len(piece.lstrip())
            done = _act(" ".join(said.split()), can, Position(at.file, at.line, at.column + lead))
            if isinstance(done, Act):
                acts.append(done)
            else:
                problems.append(done)
        start += len(piece) + 1
    return tuple(acts), tuple(problems)


def _act(said: str, can: Reach, at: Position) -> Act | Problem:
    if said == "lose power":
        return Act("lose power")
    if said == "restore power":
        return Act("restore power")
    verb, _, rest = said.partition(" ")
    if verb == "wait":
        return _wait(rest, at)
    if verb == "put":
        return _put(rest, can, at)
    for known in get_args(_DeviceVerb):
        if verb == known:
            return _move(known, rest, can, at)
    near = _SAID.get(verb) or nearest(said, ("lose power", "restore power")) or nearest(verb, _HOW)
    return Problem(at, f"{said!r} is not something a hand can do here", _HOW[near] if near else None)


def _wait(rest: str, at: Position) -> Act | Problem:
    seconds, wrong = in_base_unit(rest, "seconds")
    if seconds is None:
        return Problem(at, f"'wait' {wrong}")
    return Act("wait", value=f"{seconds:.12g}")


def _put(rest: str, can: Reach, at: Position) -> Act | Problem:
    parts = rest.split(" in ")
    # A tag or a position may itself hold " in ": the first cut that names a device is meant.
    cuts = [(" in ".join(parts[:i]), " in ".join(parts[i:])) for i in range(1, len(parts))]
    if not cuts:
        return Problem(at, f"'put {rest}' does not say in which position", _HOW["put"])
    tag, position = next((cut for cut in cuts if cut[0] in can), cuts[0])
    return _known(tag, can, at) or held(tag, position, can, at) or Act("put", tag, position)


def held(tag: str, position: str, can: Reach, at: Position) -> Problem | None:
    """What is wrong with device `tag` standing in `position`; the device must be one of `can`."""
    if can[tag] in ((), _FUSE):
        return Problem(at, f"{tag} has nothing that a hand can move")
    if position not in can[tag]:
        return Problem(at, f"{tag} has no position {position!r}", nearest(position, can[tag]))
    return None


def _move(verb: _DeviceVerb, tag: str, can: Reach, at: Position) -> Act | Problem:
    if wrong := _known(tag, can, at):
        return wrong
    fit = [name for name in can if any(set(wanted) <= set(can[name]) for wanted in MOVES[verb])]
    if tag not in fit:
        return Problem(at, f"{tag} cannot be {_PAST[verb]}", nearest(tag, fit))
    return Act(verb, tag)


_PAST: Final[Mapping[_DeviceVerb, str]] = {
    "press": "pressed",
    "release": "released",
    "pull": "pulled",
    "open": "opened by hand",
    "close": "closed by hand",
    "test": "tested",
    "reset": "reset",
    "trip": "tripped",
    "refit": "refitted",
}


def _known(tag: str, can: Reach, at: Position) -> Problem | None:
    if not tag:
        return Problem(at, "the device is missing")
    if tag not in can:
        return Problem(at, f"no device {tag!r} in this circuit", nearest(tag, can))
    return None
