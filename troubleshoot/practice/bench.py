"""What a person does at the panel, as typed words or single keys, and what comes of it."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from troubleshoot.circuit.acts import parse_acts, reach
from troubleshoot.circuit.model import Act, Pin
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.codec import put_pin
from troubleshoot.practice.hands import HAND_KEYS, Row, rows
from troubleshoot.practice.meter import KNOB, WORDS, Setting, plain, proving
from troubleshoot.practice.panel import Metered, Panel
from troubleshoot.practice.unsafe import Guard, Record, Stopped, reaches
from troubleshoot.safety.doings import doings
from troubleshoot.safety.levels import level_of
from troubleshoot.solve.meter import LIVE_VOLTS
from troubleshoot.solve.meters import VOLTS
from troubleshoot.text.problem import Problem, nearest
from troubleshoot.text.showing import show

Events = tuple[tuple[str, Mapping[str, Any]], ...]

CARD_KEYS: Final = "abdefhilmnwyz"
"""Keys that put both leads on a pair of the card; without those of the meter, of leaving, of the caution."""
METER_KEYS: Final[Mapping[str, tuple[str, str]]] = {
    "k": ("knob", "turns the knob one further"),
    "v": ("knob back", "turns the knob one back"),
    "g": ("range", "the next range by hand; after the last one the meter chooses by itself"),
    "j": ("red jack", "the red lead into the other jack: V or A"),
    "r": ("read again", "looks at the display again"),
    "o": ("leads off", "takes both leads off"),
    "p": ("proving unit", "tries the meter on a proving unit"),
}
VERBS: Final = (
    "press", "release", "pull", "put", "open", "close", "test", "reset", "wait", "refit", "lock", "unlock", "knob",
    "range", "jack", "red", "black", "leads", "read", "prove", "change leads", "change fuse", "set",
)  # fmt: skip
_BY_HAND: Final = frozenset({"lose power", "restore power", "trip"})
"""Acts that no trainee does: the mains come and go, an overload trips."""


@dataclass(frozen=True, slots=True)
class Did:
    """What came of it: events for the record, what is said, and why it ends here where it was unsafe."""

    events: Events = ()
    echo: str = ""
    stopped: Stopped | None = None


def words_of(panel: Panel, key: str, card: tuple[Meter, ...]) -> str:
    """What a single key does, as it would be typed; empty where it does nothing."""
    if row := next((r for r in rows(panel) if r.key == key), None):
        return row.does
    if key in CARD_KEYS[: len(card)]:
        meter = card[CARD_KEYS.index(key)]
        return f"leads {meter.red} {meter.black}"
    setting = panel.setting
    match key:
        case "k" | "v":
            step = 1 if key == "k" else -1
            return f"knob {WORDS_OF[KNOB[(KNOB.index(setting.mode) + step) % len(KNOB)]]}"
        case "g":
            fulls = (0.0, *setting.ranges)
            full = fulls[(fulls.index(setting.full) + 1) % len(fulls)] if setting.full in fulls else 0.0
            return f"range {plain(full) if full else 'auto'}"
        case "j":
            return "jack v" if setting.amps_jack else "jack a"
        case "r":
            return "read"
        case "o":
            return "leads off"
        case "p":
            return "prove"
    return ""


def lays_leads(key_or_text: str, card: int, *, key: bool) -> bool:
    """Whether an input would put a lead on a point, or read what leads are on. card: pairs on it."""
    if key:
        return key_or_text in CARD_KEYS[:card] or key_or_text == "r"
    for piece in key_or_text.split(";"):
        verb, *rest = piece.casefold().split() or [""]
        if verb in ("red", "black", "read") or (verb == "leads" and rest not in ([], ["off"])):
            return True
        if rest and len(rest) == 1 and ":" in verb and ":" in rest[0]:
            return True
    return False


FIRST_SAY: Final = "First say what should be there: to the question (.). Then the leads go on."


def typed(panel: Panel, text: str, guard: Guard, record: Record) -> Did:
    """What typed words do. Several, with semicolons between them, one after the other; the first that fails ends it."""
    events: list[tuple[str, Mapping[str, Any]]] = []
    echo: list[str] = []
    for piece in text.split(";"):
        if not piece.strip():
            continue
        did = _one(panel, " ".join(piece.split()), guard, record)
        events += did.events
        echo += [did.echo] if did.echo else []
        if did.stopped is not None or not did.events:
            return Did(tuple(events), " ".join(echo), did.stopped)
    return Did(tuple(events), " ".join(echo))


def _one(panel: Panel, words: str, guard: Guard, record: Record) -> Did:
    verb, _, rest = words.partition(" ")
    verb, rest = verb.casefold(), rest.strip()
    own: dict[str, Callable[[], Did]] = {
        "lock": lambda: _lock(panel, rest, on=True),
        "unlock": lambda: _lock(panel, rest, on=False),
        "knob": lambda: _knob(panel, rest, guard, record),
        "range": lambda: _range(panel, rest, guard, record),
        "jack": lambda: _jack(panel, rest, guard, record),
        "red": lambda: _lead(panel, rest, guard, record, red=True),
        "black": lambda: _lead(panel, rest, guard, record, red=False),
        "leads": lambda: _leads(panel, rest, guard, record),
        "read": lambda: _read(panel, guard, record, first=False),
        "prove": lambda: _prove(panel, record),
        "change": lambda: _change(panel, rest),
        "set": lambda: _set_to_run(panel, rest, guard),
    }
    if verb in own:
        return own[verb]()
    if verb in ("open", "close") and rest in panel.desk.machine.circuit.places:
        return _cover(panel, rest, off=verb == "open")
    pins = words.split()
    if len(pins) == 2 and all(":" in pin for pin in pins):
        return _leads(panel, words, guard, record)
    return _act(panel, words, guard, record)


# --------------------------------------------------------------------------------------------------------------- hands


def _act(panel: Panel, words: str, guard: Guard, record: Record) -> Did:
    verb, _, rest = words.partition(" ")
    by_capitals = {tag.casefold(): tag for tag in panel.desk.machine.circuit.devices}
    if verb != "put" and rest.casefold() in by_capitals:
        words = f"{verb} {by_capitals[rest.casefold()]}"
    found = parse_acts(words, reach(panel.desk.machine.circuit.devices))
    if isinstance(found, Problem):
        near = nearest(verb, VERBS)
        hint = found.nearest or (near if near != verb else None)
        return Did(echo=f"{show(found.what)}{f' (nearest: {show(hint)})' if hint else ''}. Nothing was done.")
    (act,) = found
    if act.verb in _BY_HAND:
        return Did(echo=f"{act} is nothing that a hand does here.")
    if act.verb == "close" and act.device in panel.locks:
        return Did(echo=f"Your own lock holds {act.device}.")
    if wrong := guard.acting(panel, act):
        return Did(_did(act, panel), stopped=wrong)
    was = panel.dead
    panel.do(act)
    if panel.dead != was:
        record.forget()
    locked = panel.dead and panel.locks >= set(panel.desk.machine.disconnects)
    if locked and act.verb == "press" and act.device in doings(panel.desk.machine).starts:
        record.tried = True
    if act.verb == "press" and act.device in doings(panel.desk.machine).stops:
        record.stop_pressed = True
    heard = "; ".join(panel.heard) or "nothing is heard"
    return Did(_did(act, panel), f"{act}: {heard}.")


def _set_to_run(panel: Panel, rest: str, guard: Guard) -> Did:
    """A controller set to run by the switch on its face or its programming device: what was stopped runs its program."""
    tag, _, position = rest.partition(" ")
    cpus = {cpu.var.casefold(): cpu.var for cpu in panel.desk.machine.net.cpus}
    if tag.casefold() not in cpus or position.casefold() not in ("to run", "run"):
        some = next(iter(cpus.values()), "")
        return Did(echo=f"Set what? set {some} to run." if some else "There is no controller here to set to run.")
    tag = cpus[tag.casefold()]
    now, act = panel.position(tag), Act("put", tag, "running")
    words = f"set {tag} to run"
    if now != "stopped":
        echo = f"{tag} runs its program already." if now == "running" else f"{tag} shows no life; nothing comes of it."
        return Did((("act", {"words": words, "heard": []}),), echo)
    if wrong := guard.acting(panel, act):
        panel.do(act)
        return Did((("act", {"words": words, "heard": list(panel.heard)}),), stopped=wrong)
    panel.do(act)
    heard = "; ".join(panel.heard) or "nothing is heard"
    return Did((("act", {"words": words, "heard": list(panel.heard)}),), f"{tag} in run: {heard}.")


def _did(act: Act, panel: Panel) -> Events:
    return (("act", {"words": str(act), "heard": list(panel.heard)}),)


def _lock(panel: Panel, tag: str, *, on: bool) -> Did:
    disconnects = panel.desk.machine.disconnects
    tag = next((t for t in disconnects if t.casefold() == tag.casefold()), tag) or next(iter(disconnects), "")
    if tag not in disconnects:
        return Did(echo=f"{show(tag)} takes no lock. One of: {', '.join(disconnects) or 'nothing here'}.")
    if on and panel.position(tag) != "off":
        return Did(echo=f"{tag} stands on; its lock goes on only with the handle off.")
    panel.locks = panel.locks | {tag} if on else panel.locks - {tag}
    words = f"your lock and tag on {tag}" if on else f"your lock off {tag}"
    return Did((("act", {"words": words, "heard": []}),), f"{words[:1].upper()}{words[1:]}.")


def _cover(panel: Panel, place: str, *, off: bool) -> Did:
    where = panel.desk.machine.circuit.places[place]
    if not where.door:
        return Did(echo=f"There is no cover at {where.words}.")
    if not off:
        panel.red = panel.red if panel.red and _place(panel, panel.red) != place else None
        panel.black = panel.black if panel.black and _place(panel, panel.black) != place else None
    panel.covers_off = panel.covers_off | {place} if off else panel.covers_off - {place}
    words = f"cover of {where.words} {'off' if off else 'on'}"
    live = inside_words(panel, place) if off else ""
    return Did((("act", {"words": words, "heard": []}),), f"{words[:1].upper()}{words[1:]}.{live}")


def inside_words(panel: Panel, place: str) -> str:
    """What is live behind a cover that comes off, with a space before it; empty where nothing is."""
    ac, dc = panel.inside(place)
    some = [f"up to {v:.0f} V {kind}" for v, kind in ((ac, "AC"), (dc, "DC")) if v > LIVE_VOLTS]
    if not some:
        return ""
    hurts = level_of(ac, dc) != "low"
    return f" {'LIVE INSIDE' if hurts else 'Live inside'}, {' and '.join(some)}" + (
        ": no hand goes in, only a probe at the points of a card once its caution is read." if hurts else "."
    )


def _place(panel: Panel, pin: Pin) -> str:
    return panel.desk.machine.circuit.devices[pin.device].place


# --------------------------------------------------------------------------------------------------------------- meter


def _knob(panel: Panel, word: str, guard: Guard, record: Record) -> Did:
    mode = next((m for m in KNOB if word.casefold() in (m, WORDS_OF[m])), None)
    if mode is None:
        near = nearest(word, WORDS)
        return Did(echo=f"The knob has: {', '.join(WORDS)}" + (f" (nearest: {near})." if near else "."))
    return _set(panel, panel.setting.turned(mode), guard, record)


WORDS_OF: Final = {mode: word for word, mode in WORDS.items()}


def _range(panel: Panel, word: str, guard: Guard, record: Record) -> Did:
    ranges = panel.setting.ranges
    if word.casefold() in ("auto", "automatic", ""):
        return _set(panel, replace(panel.setting, full=0.0), guard, record)
    full = next((f for f in ranges if word.casefold() in (plain(f).casefold(), f"{f:g}")), None)
    if full is None:
        return Did(echo=f"Ranges here: auto, {', '.join(map(plain, ranges))}.")
    return _set(panel, replace(panel.setting, full=full), guard, record)


def _jack(panel: Panel, word: str, guard: Guard, record: Record) -> Did:
    if word.casefold() not in ("v", "volts", "a", "amps"):
        return Did(echo="The red lead fits two jacks: jack v, jack a.")
    return _set(panel, replace(panel.setting, amps_jack=word.casefold() in ("a", "amps")), guard, record)


def _set(panel: Panel, setting: Setting, guard: Guard, record: Record) -> Did:
    """The meter set otherwise; where its leads are on, it is read at once, as a real one would be."""
    panel.setting, panel.proved, panel.last = setting, False, None
    event = ("meter", {"words": setting.words})
    if panel.red is None or panel.black is None:
        return Did((event,))
    did = _read(panel, guard, record, first=True)
    return Did((event, *did.events), did.echo, did.stopped)


def _pin(panel: Panel, word: str) -> Pin | str:
    pin = panel.desk.pins.get(word.strip().upper())
    if pin is None:
        near = nearest(word.strip().upper(), panel.desk.pins)
        return f"There is no terminal {show(word)}" + (f" (nearest: {panel.desk.pins[near]})." if near else ".")
    return reaches(panel, pin) or pin


def _lead(panel: Panel, word: str, guard: Guard, record: Record, *, red: bool) -> Did:
    pin = _pin(panel, word)
    if isinstance(pin, str):
        return Did(echo=pin)
    if red:
        panel.red = pin
    else:
        panel.black = pin
    name = "Red" if red else "Black"
    event = ("leads", {"red": _put(panel.red), "black": _put(panel.black)})
    if panel.red is None or panel.black is None:
        return Did((event,), f"{name} lead on {pin}.")
    did = _read(panel, guard, record, first=True)
    return Did((event, *did.events), did.echo, did.stopped)


def _put(pin: Pin | None) -> list[str]:
    return put_pin(pin) if pin else []


def _leads(panel: Panel, rest: str, guard: Guard, record: Record) -> Did:
    if rest.casefold() in ("off", ""):
        panel.red = panel.black = panel.last = None
        return Did((("leads", {"red": [], "black": []}),), "Both leads off.")
    words = rest.split()
    if len(words) != 2:
        return Did(echo="Both points, red first: leads K1:14 NB:1. Or: leads off.")
    pins = [_pin(panel, word) for word in words]
    if wrong := next((pin for pin in pins if isinstance(pin, str)), None):
        return Did(echo=wrong)
    red, black = pins
    assert isinstance(red, Pin)
    assert isinstance(black, Pin)
    if red == black:
        return Did(echo="Those are one and the same point.")
    panel.red, panel.black = red, black
    did = _read(panel, guard, record, first=True)
    return Did((("leads", {"red": put_pin(red), "black": put_pin(black)}), *did.events), did.echo, did.stopped)


def _read(panel: Panel, guard: Guard, record: Record, *, first: bool) -> Did:
    if panel.red is None or panel.black is None or panel.red == panel.black:
        return Did(echo="A lead hangs free: red and black each need a point.")
    if wrong := guard.metering(panel):
        return Did((("leads", {"red": put_pin(panel.red), "black": put_pin(panel.black)}),), stopped=wrong)
    taken = panel.meter(first=first)
    assert taken is not None
    record.metered.append(taken)
    return Did((("metered", put_metered(taken)),), f"{taken.red} to {taken.black}: {taken.shown.text}.")


def put_metered(taken: Metered) -> dict[str, Any]:
    """A look at the display as plain data: what it showed and what the panel truly had there."""
    truth = taken.truth
    return {
        "red": put_pin(taken.red), "black": put_pin(taken.black), "mode": taken.setting.mode,
        "setting": taken.setting.words, "display": taken.shown.text, "value": _number(taken.shown.value),
        "truth": [_number(truth.low), _number(truth.high)], "floats": truth.floats, "situation": taken.situation,
    }  # fmt: skip


def _number(value: float | None) -> float | str | None:
    """What a record can hold: it knows no infinity."""
    return "OL" if value is not None and abs(value) == float("inf") else None if value is None else round(value, 6)


def _prove(panel: Panel, record: Record) -> Did:
    if panel.setting.mode not in VOLTS:
        return Did(echo="A proving unit gives volts: turn the knob to volts first.")
    panel.looked += 1
    shown = proving(panel.setting, random.Random(f"{panel.seed} prove {panel.looked}"))
    good = shown.value is not None and shown.value > 50
    if good:
        panel.proved = True
        record.proving_unit += 1
    kind = "DC" if panel.setting.mode == "dc volts" else "AC"
    verdict = (
        f"it reads {kind}, leads and range are good" if good else "NOTHING: leads, jack or knob are not as they must be"
    )
    return Did(
        (("proving unit", {"display": shown.text, "good": good}),),
        f"On the proving unit, {kind}: {shown.text}; {verdict}.",
    )


def _change(panel: Panel, what: str) -> Did:
    if what == "leads":
        panel.setting = replace(panel.setting, lead_broken=False)
        return Did((("meter", {"words": "other leads"}),), "Other leads.")
    if what == "fuse":
        panel.setting = replace(panel.setting, fuse_blown=False)
        return Did((("meter", {"words": "new meter fuse"}),), "A new fuse in the meter.")
    return Did(echo="Change what? change leads, or change fuse.")


__all__ = [
    "CARD_KEYS", "HAND_KEYS", "METER_KEYS", "Did", "Row", "Stopped", "put_metered", "rows", "typed", "words_of",
]  # fmt: skip
