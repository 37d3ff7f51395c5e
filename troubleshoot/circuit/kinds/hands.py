"""What a hand moves: push buttons, emergency-stop heads, pull cords, selectors."""

from __future__ import annotations

from collections.abc import Mapping

from troubleshoot.circuit.kinds.base import (
    Control,
    Kind,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Switch,
    When,
    blocks_of,
    texts,
)
from troubleshoot.circuit.model import Device

CONTACT_OHMS = 0.03
"""A new auxiliary contact, measured at 1 A: at most 50 to 100 milliohms (relay data pages)."""
FILM_OHMS = 200.0
"""A joint or contact that no longer carries its coil (worked case: 57 % at an unsealed 70 VA coil)."""


def block_pins(d: Device) -> tuple[str, ...]:
    """Every terminal of the blocks, once each: a change-over contact has three."""
    return tuple(dict.fromkeys(p for ab in blocks_of(d) for p in ab))


def block_parts(d: Device, positions: tuple[str, ...], *, var: str = "", rating: str = "blocks") -> tuple[Part, ...]:
    """The contacts that follow `var` (the device itself where not given): `no` is open in the first position."""
    named: dict[tuple[str, ...], tuple[str, ...]] = {("no",): positions[1:], ("nc",): positions[:1]}
    return tuple(
        Switch(f"{a}-{b}", a, b, (When(var or d.tag, named.get(how, how)),), CONTACT_OHMS)
        for (a, b), how in blocks_of(d, rating).items()
    )


def block_faces(d: Device) -> Mapping[str, tuple[str, str]]:
    """Every block as a pair of terminals: ``13-14``."""
    return {f"{a}-{b}": (a, b) for a, b in blocks_of(d)}


def block_modes(
    d: Device, wont_close: float, wont_open: float, film: float, *, fallen: float = 0.0, called: str = "block"
) -> tuple[Mode, ...]:
    """How the blocks of one device fail, the shares spread evenly over them. called: what such a block is called."""
    count = len(blocks_of(d)) or 1
    modes: list[Mode] = []
    for a, b in blocks_of(d):
        name, item = f"{a}-{b}", f"{d.tag} {called} {a}-{b}"
        modes += [
            Mode(f"{name} open", f"{item} does not close", wont_close / count, (ModeEdit("siemens", name, 0.0),),
                 "replace", item),
            Mode(f"{name} welded", f"{item} does not open", wont_open / count,
                 (ModeEdit("siemens", name, 1 / CONTACT_OHMS),), "replace", item),
            Mode(f"{name} film", f"{item} makes badly", film / count, (ModeEdit("times", name, CONTACT_OHMS / FILM_OHMS),),
                 "replace", item),
        ]  # fmt: skip
        if fallen:
            # Electrically a fallen block stays as its springs leave it: a closing block stays open, an opening one closed.
            modes.append(
                Mode(f"{name} fallen off", f"{item} has come off its head", fallen / count,
                     (ModeEdit("siemens", name, 1 / CONTACT_OHMS),), "refit", item)
            )  # fmt: skip
    return tuple(modes)


def _whole(d: Device) -> str:
    """The repair of a button that sticks: where it has one block, that and a dead block are one repair, head and all."""
    blocks = list(blocks_of(d))
    return f"{d.tag} block {blocks[0][0]}-{blocks[0][1]}" if len(blocks) == 1 else d.tag


_PRESSED = ("free", "pressed")
_PULLED = ("free", "pulled")

BUTTON = Kind(
    name="push button",
    words="push button",
    ratings=(Rating("blocks", "blocks", "contact blocks: 13-14: no, 11-12: nc"),),
    pins=block_pins,
    parts=lambda d: block_parts(d, _PRESSED),
    controls=lambda d: (Control(d.tag, _PRESSED, "free", springs_back=True),),
    modes=lambda d: (
        *block_modes(d, 0.55, 0.10, 0.15),
        Mode("sticks", f"{d.tag} sticks pressed", 0.20, (ModeEdit("stuck", d.tag, "pressed"),), "replace", _whole(d)),
    ),
    faces=block_faces,
    weight=0.6,
)


def _with_place(words: str, part: str) -> str:
    """A part of a thing, and behind a comma where the thing stands: of several one looks at the right one."""
    what, comma, place = words.partition(", ")
    return f"{what} {part}{comma}{place}"


EMERGENCY_STOP = Kind(
    name="emergency stop",
    words="emergency stop, latching head",
    ratings=(Rating("blocks", "blocks", "contact blocks, normally closed"),),
    pins=block_pins,
    parts=lambda d: block_parts(d, _PRESSED),
    controls=lambda d: (Control(d.tag, _PRESSED, "free"),),
    signs=lambda d: (Sign(d.tag, _with_place(d.words, "head"), "look", d.tag, {"free": "out", "pressed": "pushed in"}),),
    modes=lambda d: (
        Mode("left in", f"{d.tag} left pushed in", 0.09, (ModeEdit("left", d.tag, "pressed"),), "release", d.tag,
             broken=False),
        *block_modes(d, 0.65, 0.10, 0.10, fallen=0.15),
    ),
    faces=block_faces,
    weight=0.6,
)  # fmt: skip


PULL_CORD = Kind(
    name="pull cord",
    words="emergency stop, pull cord",
    ratings=(Rating("blocks", "blocks", "contact blocks, normally closed; a slack or broken cord opens them too"),),
    pins=block_pins,
    parts=lambda d: block_parts(d, _PULLED),
    # Latches until somebody walks to it and resets it (ISO 13850, from memory).
    controls=lambda d: (Control(d.tag, _PULLED, "free"),),
    signs=lambda d: (Sign(d.tag, _with_place(d.words, "flag"), "look", d.tag, {"free": "set", "pulled": "pulled"}),),
    modes=lambda d: (
        Mode("left pulled", f"{d.tag} left pulled", 0.09, (ModeEdit("left", d.tag, "pulled"),), "reset", d.tag,
             broken=False),
        # Beside its blocks a cord has a length that stretches, breaks and freezes. Common practice.
        Mode("cord slack", f"the cord of {d.tag} is slack or broken", 0.25, (ModeEdit("stuck", d.tag, "pulled"),),
             "tension or replace", f"cord of {d.tag}"),
        Mode("cord jammed", f"the cord of {d.tag} jams: pulling it does nothing", 0.10, (ModeEdit("stuck", d.tag, "free"),),
             "free", f"cord of {d.tag}"),
        *block_modes(d, 0.45, 0.10, 0.10),
    ),
    faces=block_faces,
    weight=1.0,
)  # fmt: skip


def positions_of(d: Device) -> tuple[str, ...]:
    """Positions in their order."""
    return texts(d, "positions")


def usual_of(d: Device) -> str:
    """Position for normal work: the one named, or the first."""
    return str(d.ratings["usual"]) or positions_of(d)[0]


def _selector_modes(d: Device) -> tuple[Mode, ...]:
    wrong = tuple(p for p in positions_of(d) if p != usual_of(d))
    return (
        *(
            Mode(f"in {p}", f"{d.tag} stands in {p}", 0.05 / len(wrong), (ModeEdit("left", d.tag, p),),
                 f"put in {usual_of(d)}", d.tag, broken=False)
            for p in wrong
        ),
        *(
            Mode(f"cam in {p}", f"{d.tag} turns but its cam stays in {p}", 0.20 / len(positions_of(d)),
                 (ModeEdit("stuck", d.tag, p),), "replace", d.tag)
            for p in positions_of(d)
        ),
        *block_modes(d, 0.60, 0.10, 0.10),
    )  # fmt: skip


SELECTOR = Kind(
    name="selector",
    words="selector switch",
    ratings=(
        Rating("positions", "list", "positions in order"),
        Rating("usual", "text", "position for normal work", ""),
        Rating("blocks", "blocks", "contact blocks: 13-14: [run]"),
    ),
    pins=block_pins,
    parts=lambda d: block_parts(d, positions_of(d)),
    controls=lambda d: (Control(d.tag, positions_of(d), usual_of(d)),),
    signs=lambda d: (Sign(d.tag, f"{d.words} position", "look", d.tag, {p: p for p in positions_of(d)}),),
    modes=_selector_modes,
    faces=block_faces,
    weight=0.5,
)
