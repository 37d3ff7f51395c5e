"""A reading that the description cannot give: work stops, the supply is asked for, and no suspect is judged by it. Pure.

A wrong supply makes every caution too low and every true reading look like a fault. So a reading above all that the
description can give at its points is never taken as evidence. Where nobody told the supply, a reading that another one
gives asks for it as well: the description then counts with the highest, and everything reads less than it says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, cast

from troubleshoot.circuit.model import Device, NamedSituation
from troubleshoot.describe.taps import QUESTIONS, SYSTEMS, counted_as, fitted
from troubleshoot.evidence.seen import Interval, Meter
from troubleshoot.evidence.words import BEYOND
from troubleshoot.job.sheet import Input, LiveKey, Pressed, Refusal, Role
from troubleshoot.machine.amending import Answered, Change, Supplied, put_change
from troubleshoot.machine.supply import main_supply, supplied
from troubleshoot.safety.volts import healed

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.state import State

OVER: Final[Mapping[str, float]] = {"ac volts": 1.12, "low-impedance volts": 1.12, "dc volts": 1.25}
"""How far over the highest computed value a true reading may lie: plant volts to 10 % over the nominal ones (ANSI C84.1
range B and IEC 60038, from memory) and the meter; DC supplies are set up by up to a fifth (common practice)."""
LEAST: Final = 5.0
"""Volts that are always allowed over it: stray volts and the noise of a meter."""
NEAR: Final = 0.09
"""A reading within this share of what a supply gives may come from it."""
ROWS: Final = "123456789"
MISREAD, STANDS = "m", "b"

NONE_FITS: Final = "None of these? No other gives this circuit its control volts, so it is another circuit: end with e, 1; describe it anew."

Events = tuple[tuple[str, Mapping[str, Any]], ...]
Row = tuple[str, Role, str]


@dataclass(frozen=True, slots=True)
class Odd:
    """A reading that asks for the supply."""

    value: float
    """Volts."""
    where: str
    most: float
    """Volts: the most that the description gives there."""
    above: bool
    """Over all that the description can give; otherwise what an untold supply may be."""

    @property
    def panel(self) -> str:
        """What the panel is about, in one word each."""
        return f"supply {self.value:g} {self.most:g} {'above' if self.above else 'which'} {self.where}"


def odd_reading(
    desk: Desk, state: State, meters: Sequence[Meter], named: NamedSituation, understood: Sequence[object]
) -> Odd | None:
    """The first of the readings that the description cannot give, or that an untold supply may explain."""
    for meter, value in zip(meters, understood, strict=True):
        if not isinstance(value, Interval) or meter.mode not in OVER:
            continue
        # Of ``over 500`` only the lower end was read.
        shown = abs(value.low if value.high >= BEYOND["V"] else value.middle)
        most = highest(desk, meter, named)
        where = f"{meter.red} to {meter.black}"
        if shown > most * OVER[meter.mode] + LEAST:
            return Odd(shown, where, most, above=True)
        if meter.mode != "dc volts" and _untold(desk) and _another(desk, state, meter, named, shown):
            return Odd(shown, where, most, above=False)
    return None


def highest(desk: Desk, meter: Meter, named: NamedSituation) -> float:
    """Volts: the most that a meter can show there under any suspect, present or healed, as it is described."""
    most = 0.0
    for situation in (named.situation, healed(named.situation)):
        predicted = desk.reasoner.predict(meter, situation)
        most = max(most, float((abs(predicted.value) + predicted.swing).max()))
        if predicted.span is not None:
            most = max(most, float(abs(predicted.span[1][predicted.floating]).max(initial=0.0)))
    return most


def _untold(desk: Desk) -> bool:
    device = main_supply(desk.machine.circuit)
    return device is not None and device.known in ("assumed", "copied")


def _another(desk: Desk, state: State, meter: Meter, named: NamedSituation, shown: float) -> bool:
    """Whether a line should be read here, and what is read is what another supply's line gives, and not this one's."""
    device = main_supply(desk.machine.circuit)
    assert device is not None
    expected = desk.reasoner.expected(meter, named.situation)
    if expected.floating or not any(_close(expected.value, volts) for volts in lines_of(device)):
        return False
    return not desk.as_it_should(meter, named, Interval(shown, shown, "V")) and bool(likely(desk, state, shown))


def lines_of(device: Device) -> tuple[float, ...]:
    """What a supply's lines show to each other and to earth, volts."""
    for system in SYSTEMS.values():
        if (device.ratings["volts"], device.ratings["earthing"]) == (system.phases, system.earthing):
            return (system.line, *system.to_earth)
    return cast("tuple[float, float]", device.ratings["volts"])


def _close(value: float, nominal: float) -> bool:
    return abs(abs(value) - nominal) <= NEAR * nominal


def others(desk: Desk, state: State) -> tuple[str, ...]:
    """Supplies with which the machine can be described in place of the one it is described with."""
    circuit = desk.machine.circuit
    if state.answers:
        return tuple(name for name in SYSTEMS if name != state.answers.get("supply"))
    return tuple(name for name in SYSTEMS if supplied(circuit, name) != circuit)


def likely(desk: Desk, state: State, shown: float) -> tuple[str, ...]:
    """Of those the ones that give these volts between lines or to earth, nearest first."""
    found = []
    for name in others(desk, state):
        near = [abs(shown - v) / v for v in (SYSTEMS[name].line, *SYSTEMS[name].to_earth) if _close(shown, v)]
        found += [(min(near), name)] if near else []
    return tuple(name for _, name in sorted(found, key=lambda one: one[0]))


def offered(desk: Desk, state: State, odd: Odd) -> tuple[str, ...]:
    """Supplies that may be behind an odd reading; last the one that is counted with, where nobody told it: then it is a fault."""
    found = likely(desk, state, odd.value)
    return found if odd.above or not state.answers else (*found, counted_as(state.answers))


def noted(odd: Odd) -> Events:
    """What the record keeps at once, before anything is answered."""
    why = "more than the description can give" if odd.above else "what another supply than the assumed one gives"
    return (
        ("note", {"text": f"{odd.value:g} V at {odd.where}: {why} ({odd.most:.0f} V). Stopped to ask for the supply."}),
    )


def _read(about: str) -> Odd:
    value, most, sort, where = about.split(" ", 3)
    return Odd(float(value), where, float(most), sort == "above")


def panel(desk: Desk, state: State, about: str) -> tuple[list[Row], tuple[LiveKey, ...]]:
    """Lines as (text, role, key) and the keys. about: what `Odd.panel` says behind its first word; empty: only asked for."""
    lines: list[Row] = []
    if about:
        odd = _read(about)
        if odd.above:
            lines += [
                (f"STOP. {odd.value:g} V at {odd.where}: as described no more than {odd.most:.0f} V can be there. Meter off.",
                 Role.DANGER, ""),
                ("The supply is not what was described, and the cautions were too low. It is not taken as a reading.",
                 Role.CAUTION, ""),
            ]  # fmt: skip
        else:
            lines.append(
                (f"{odd.value:g} V at {odd.where}. Nobody told the supply; it was counted as the highest. Which is it?",
                 Role.TASK, "")
            )  # fmt: skip
        found = offered(desk, state, odd)
    else:
        lines.append(("What does the plant feed this panel with?", Role.TASK, ""))
        found = others(desk, state)
    words = {o.id: o.words for o in QUESTIONS["supply"].options}
    lines += [(f"{key}  the supply is {words[name]}", Role.ROW, key) for key, name in zip(ROWS, found, strict=False)]
    if not about and not state.answers:
        lines.append((NONE_FITS, Role.NOTE, ""))
    if about:
        if state.answers:
            lines.append(("0  another of the first answers was wrong: the control voltage", Role.ROW, "0"))
        lines += [
            (f"{MISREAD}  misread or mistyped: read it again", Role.ROW, MISREAD),
            (f"{STANDS}  it is so, and none of these: stop here, tagged, and call", Role.ROW, STANDS),
        ]
    keys = tuple(LiveKey(key, text[3:17].strip(), text[3:], shown=False) for text, _, key in lines if key)
    return lines, (*keys, LiveKey("escape", "back", "closes this; nothing is changed"))


def change_to(state: State, name: str) -> Change:
    """The change of the description that another supply is."""
    if state.answers:
        return Answered(tuple(fitted({**state.answers, "supply": name}).items()))
    return Supplied(name)


def given(desk: Desk, state: State, about: str, said: Input) -> tuple[Events, str, str] | Refusal | None:
    """What a key does there: events, the panel that follows, an echo. None where the key is not live."""
    if not isinstance(said, Pressed):
        return None
    lines, _ = panel(desk, state, about)
    live = {key: text[3:] for text, _, key in lines if key}
    if said.key not in live:
        return None
    if said.key == MISREAD:
        return (), "", "Not taken. Read it again, at the points of the card."
    if said.key == "0":
        return (), "amend answers", ""
    if said.key == STANDS:
        odd = _read(about)
        note = f"{odd.value:g} V at {odd.where}, more than {odd.most:.0f} V as described: the supply has to be found out first"
        event = {"how": "made safe", "note": note, "temporary": [t.what for t in state.temporary]}
        return (("ended", event),), "", ""
    found = offered(desk, state, _read(about)) if about else others(desk, state)
    name = found[ROWS.index(said.key)]
    amended: dict[str, Any] = {"change": put_change(change_to(state, name)), "words": live[said.key]}
    return (
        (("amended", amended),), "",
        f"Taken in: {live[said.key]}. Cautions are worked out and asked again; then read once more.",
    )  # fmt: skip
