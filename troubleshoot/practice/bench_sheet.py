"""The panel as a sheet: the card of the job, hands, eyes, ears, meter. Pure."""

from __future__ import annotations

from typing import Final

from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.face import Lamp, face_lines, fits
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, Line, LiveKey, Part, Role, Sheet
from troubleshoot.practice.bench import CARD_KEYS, METER_KEYS, rows
from troubleshoot.practice.panel import Panel
from troubleshoot.solve.meters import RANGES

BENCH: Final = LiveKey(".", "to the panel", "goes to the panel: hands, eyes, meter")
QUESTION: Final = LiveKey(".", "to the question", "goes back to the question")
UNDO: Final = LiveKey("u", "undo", "takes back the last thing that was done; the log keeps both")
TYPING: Final = "t"
"""Key that opens a place to type on the panel's page."""
HIGHEST: Final = 21
LABEL: Final = 14
"""Characters of a key's name."""


def bench_sheet(
    panel: Panel, *, id: str, task: str, card: tuple[Meter, ...], compare: tuple[Light | Look, ...], echo: str, width: int,
    saved: int, modes: bool = True, typing: bool = False, undo: bool = False,
) -> Sheet:  # fmt: skip
    """The panel. task: what is asked, in a line; card: pairs of points with a key each; compare: what takes a closer look."""
    pen = Pen(width)
    if task:
        pen.put(task, Role.TASK, indent="  ")
    pairs = [
        (CARD_KEYS[k], f"{m.red} to {m.black}{_mode(m, panel) if modes else ''}")
        for k, m in enumerate(card[: len(CARD_KEYS)])
    ]
    count = 2 if len(pairs) > 2 else 1
    cells = [(key, f"{key}  leads on {words}") for key, words in pairs]
    if max((len(text) for _, text in cells), default=0) > pen.width // count - 2:
        # What the key does is in its name; where the knob has to stand must not be cut off.
        cells = [(key, f"{key}  {words}") for key, words in pairs]
    if max((len(text) for _, text in cells), default=0) > pen.width // count - 2:
        count = 1
    _columns(pen, cells, count)
    hands = [(row.key, f"{row.key or ' '}  {row.says}") for row in rows(panel)]
    _columns(pen, hands, 2 if max((len(t) for _, t in hands), default=0) <= width // 2 - 2 else 1)
    rest = Pen(width)
    _meter(rest, panel)
    if echo:
        rest.put(echo, Role.ECHO, indent="  ")
    _eyes(pen, panel, compare, HIGHEST - len(pen.lines) - len(rest.lines))
    keys = (
        QUESTION,
        LiveKey(
            TYPING, "keys" if typing else "type", "opens, or closes, a place to type words: press S1; leads K1:14 NB:1"
        ),
        *((UNDO,) if undo else ()),
        *(LiveKey(key, label, does, shown=key in "kvroj") for key, (label, does) in METER_KEYS.items()),
        *(LiveKey(key, short(words), f"puts both leads there: {words}", shown=False) for key, words in pairs),
        *(LiveKey(row.key, short(row.does), row.says, shown=False) for row in rows(panel) if row.key),
    )
    # Without a place to type every key acts at once, gloves on; words are for points that are on no card.
    example = "press S1; knob dc; leads K1:14 NB:1"
    entry = Entry("Words, Enter; t: keys again", example=example) if typing else None
    return Sheet(id, _title(panel, width - len(f" saved {saved}")), (*pen.lines, *rest.lines), keys, entry, saved)


def short(words: str) -> str:
    """As many whole words as the name of a key has room for."""
    out = ""
    for word in words.split():
        if len(f"{out} {word}".strip()) > LABEL:
            break
        out = f"{out} {word}".strip()
    return out or words[:LABEL]


def _mode(meter: Meter, panel: Panel) -> str:
    """How the pair is read; that the knob is the trainee's own to turn, where it stands otherwise."""
    words = RANGES[meter.mode].words
    return f", {words}" if panel.setting.mode == meter.mode else f" (knob: {words})"


def header(panel: Panel, parts: list[str], width: int) -> str:
    """Title of a page: its own words, then power, covers, locks and the black lead as they truly are on the panel."""
    circuit = panel.desk.machine.circuit
    parts = [*parts, "disconnect OFF" if panel.dead else "power ON"]
    parts += [f"{p} OPEN" for p in sorted(panel.covers_off) if p in circuit.places]
    parts += [f"lock on {', '.join(sorted(panel.locks))}"] if panel.locks else []
    parts += [f"black on {panel.black}"] if panel.black is not None else []
    while len("  ".join(parts)) > width and len(parts) > 2:
        parts.pop()
    return "  ".join(parts)[: max(20, width)]


def _title(panel: Panel, width: int) -> str:
    circuit = panel.desk.machine.circuit
    parts = ["PANEL", circuit.name.upper(), "disconnect OFF" if panel.dead else "power ON"]
    parts += [f"{circuit.places[p].name} cover OFF" for p in sorted(panel.covers_off)]
    parts += [f"lock on {', '.join(sorted(panel.locks))}"] if panel.locks else []
    while len("  ".join(parts)) > width and len(parts) > 3:
        parts.pop()
    return "  ".join(parts)


def _columns(pen: Pen, cells: list[tuple[str, str]], count: int) -> None:
    """Cells side by side, each to be touched by itself."""
    wide = pen.width // count
    for k in range(0, len(cells), count):
        row = cells[k : k + count]
        text = "".join(f"{words[: wide - 1]:<{wide}}" for _, words in row).rstrip()
        parts = tuple(
            Part(n * wide, min((n + 1) * wide, pen.width), key, words) for n, (key, words) in enumerate(row) if key
        )
        if count == 1:
            pen.fixed(text, Role.ROW, row[0][0])
        else:
            pen.lines.append(Line(text[: pen.width], Role.FACE, parts=parts))


def _meter(pen: Pen, panel: Panel) -> None:
    at = [f"{name} {pin or 'free'}" for name, pin in (("red", panel.red), ("black", panel.black))]
    pen.put(f"Meter: {panel.setting.words}; {', '.join(at)}.", Role.TASK, indent="  ")
    if panel.last is not None:
        pen.put(f"DISPLAY  {panel.last.shown.text}", Role.LEFT)


def _eyes(pen: Pen, panel: Panel, compare: tuple[Light | Look, ...], room: int) -> None:
    """What is seen: the module's face where there is room, else in words; lamps and looks."""
    signs = panel.desk.machine.net.signs
    lines: list[Line] = []
    words: list[str] = []
    hidden = {name: place for name, sign in signs.items() if (place := behind(panel, sign.var))}
    faces = dict.fromkeys(s.face for n, s in signs.items() if s.face and s.kind == "light" and n not in hidden)
    for face in faces:
        alone = [n for n, s in signs.items() if s.face == face and s.kind == "light"]
        if len(alone) == 1:
            words.append(f"{alone[0]} {panel.sees(Light(alone[0]))}")
            continue
        drawn = _face(panel, face, pen.width)
        if drawn and len(lines) + len(drawn) + 3 <= room:
            lines += drawn
        else:
            lit = [
                _named(n, face)
                for n, s in signs.items()
                if s.face == face and s.kind == "light" and panel.sees(Light(n)) == "on"
            ]
            others = [
                f"{_named(n, face)} {panel.sees(Light(n))}" for n, s in signs.items()
                if s.face == face and s.kind == "light" and panel.sees(Light(n)) not in ("on", "off")
            ]  # fmt: skip
            words.append(f"{face} lit: {', '.join((*lit, *others)) or 'nothing'}")
    for name, sign in signs.items():
        item = Light(name) if sign.kind == "light" else Look(name)
        if sign.kind in ("compare", "stop") and item not in compare:
            continue
        if name in hidden or (sign.face and sign.kind == "light"):
            continue
        words.append(
            f"{name} {panel.sees(item)}" if sign.kind in ("light", "look") else f"{sign.words}: {panel.sees(item)}"
        )
    pen.lines += lines
    pen.put("Seen: " + ("; ".join(words) or "nothing") + ".", Role.NOTE, indent="  ")
    if hidden:
        tags = dict.fromkeys(signs[name].var.partition(" ")[0] for name in hidden)
        pen.put(
            f"Behind a cover that is on ({', '.join(dict.fromkeys(hidden.values()))}): {', '.join(tags)}.",
            Role.NOTE,
            indent="  ",
        )


IN_DOORS: Final = frozenset({
    "contactor", "relay", "timer", "plc", "dc supply", "transformer", "safety relay", "fuse", "rectifier",
})  # fmt: skip
"""Kinds that sit behind the door of their place; lamps, buttons, handles and an overload's reset come through it. Common
practice, no published source."""


def behind(panel: Panel, var: str) -> str:
    """Name of the place whose shut cover hides it; empty where it can be seen."""
    circuit = panel.desk.machine.circuit
    device = circuit.devices.get(var.partition(" ")[0])
    place = circuit.places.get(device.place) if device is not None else None
    shut = place is not None and place.door and place.name not in panel.covers_off
    inside = device is not None and (device.kind in IN_DOORS or "relay" in device.kind or "delay" in device.kind)
    return place.name if shut and inside and place is not None else ""


def _named(name: str, face: str) -> str:
    return name.removeprefix(f"{face} ")


def _face(panel: Panel, face: str, width: int) -> list[Line]:
    signs = panel.desk.machine.net.signs
    lamps: dict[str, list[Lamp]] = {"": [], "input": [], "output": []}
    for name, sign in signs.items():
        if sign.face != face or sign.kind != "light":
            continue
        side, _, words = sign.words.partition(" ")
        side, words = (side, words) if side in ("input", "output") else ("", "")
        lamps[side].append(Lamp("", _named(name, face), words, panel.sees(Light(name)), False))
    if not fits(lamps["input"], lamps["output"], width):
        return []
    title = f"{face} {panel.desk.machine.circuit.devices[face].words}".strip()
    drawn = face_lines(title, lamps[""], lamps["input"], lamps["output"], width)
    # Nothing on it can be touched: it is looked at, and drawn as it sits there.
    return [Line(line.text, Role.RUNG) for line in drawn]


__all__ = ["BENCH", "HIGHEST", "QUESTION", "TYPING", "UNDO", "bench_sheet"]
