"""What hands can move at the panel, one row a thing: controls, locks, covers, a controller's switch. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from troubleshoot.circuit.acts import reach
from troubleshoot.practice.panel import Panel
from troubleshoot.safety.doings import doings

HAND_KEYS: Final = "1234567890sx"
"""Keys of the rows, in their order; what comes after the last is typed."""


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that a hand can move, with its key."""

    key: str
    says: str
    does: str
    """The words that do it, as they would be typed."""


def rows(panel: Panel) -> tuple[Row, ...]:
    """Every control, lock and cover with what the next touch does."""
    circuit = panel.desk.machine.circuit
    state = panel.outcome().state
    out: list[tuple[str, str]] = []
    has, machine = doings(panel.desk.machine), panel.desk.machine
    able = reach(circuit.devices)
    # Start and stop come first: the same key for the same button on every machine.
    order = dict.fromkeys((*has.starts[:1], *has.stops[:1], *able))
    for tag, positions in ((tag, able[tag]) for tag in order if tag in able):
        kind = circuit.devices[tag].kind
        if not positions or kind == "fuse" or (kind == "supply" and tag not in machine.feeds):
            continue
        now = state.get(tag, positions[0])
        shown = "not tripped" if now == "set" and "tripped" in positions else now
        out.append((f"{tag} {circuit.devices[tag].words}: {shown}", _next(tag, now, positions)))
    for tag in panel.desk.machine.disconnects:
        on = tag in panel.locks
        out.append((f"{tag} lock: {'yours' if on else 'none'}", f"{'unlock' if on else 'lock'} {tag}"))
    for place in circuit.places.values():
        if place.door:
            off = place.name in panel.covers_off
            out.append((f"{place.name} cover: {'OFF' if off else 'on'}", f"{'close' if off else 'open'} {place.name}"))
    # What it stands in is not said: its RUN light says so, where that is in sight. The act needs no open cover.
    out += [(f"{cpu.var} controller: set it to run", f"set {cpu.var} to run") for cpu in machine.net.cpus]
    keys = [*HAND_KEYS, *("" for _ in out[len(HAND_KEYS) :])]
    return tuple(Row(key, says, does) for key, (says, does) in zip(keys, out, strict=False))


def _next(tag: str, now: str, positions: tuple[str, ...]) -> str:
    match now:
        case "free":
            return f"{'press' if 'pressed' in positions else 'pull'} {tag}"
        case "pressed":
            return f"release {tag}"
        case "pulled" | "tripped" | "tested" if "set" in positions or "pulled" in positions:
            return f"reset {tag}"
        case "set" if "tripped" in positions:
            return f"test {tag}"
        case "on":
            return f"open {tag}"
        case "off" | "tripped":
            return f"close {tag}"
        case _:
            return f"put {tag} in {positions[(positions.index(now) + 1) % len(positions)] if now in positions else positions[0]}"
