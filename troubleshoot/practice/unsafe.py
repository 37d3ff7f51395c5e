"""What stops an exercise: an act that could have hurt somebody, with the reason. Computed from the panel as it stands.

The same volts, motions and isolation steps that the job computes; nothing here is a list of forbidden words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

from troubleshoot.circuit.model import Act, Pin
from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.job.codec import get_item, get_understood
from troubleshoot.job.desk import Desk
from troubleshoot.job.due import caution_of, live_readings
from troubleshoot.job.stage import stage_of
from troubleshoot.job.state import State
from troubleshoot.practice.panel import Metered, Panel
from troubleshoot.safety.doings import doings, turns_after
from troubleshoot.safety.isolation import PROVED_ON
from troubleshoot.safety.levels import DEAD_VOLTS, level_of
from troubleshoot.solve.meter import LIVE_VOLTS
from troubleshoot.solve.meters import NEEDS_DEAD

SHORTS_FROM: Final = 3.0
"""Volts across a red lead in the jack for amperes from which a short circuit is made."""
GIVES_BACK: Final = frozenset({"close", "restore power"})
"""Acts that put power on."""


@dataclass(frozen=True, slots=True)
class Stopped:
    """An exercise that was stopped for safety."""

    rule: str
    """A few words, the same for the same mistake: what is counted."""
    why: str
    """What could have happened, in one or two sentences."""


@dataclass
class Record:
    """What was truly done on the panel since its power was last switched."""

    metered: list[Metered] = field(default_factory=list)
    proving_unit: int = 0
    """How often the meter was tried on a proving unit."""
    stop_pressed: bool = False
    """A stop button was pressed: whether it stopped it is another matter, and the disconnect's."""
    tried: bool = False
    """A start button was pressed while every disconnect was open and locked."""

    def forget(self) -> None:
        """Power was switched: what was proved is proved no more."""
        self.metered.clear()
        self.proving_unit, self.tried, self.stop_pressed = 0, False, False

    def of(self, meter: Meter) -> Metered | None:
        """The last look at the display between these two points, whichever lead on which."""
        pair = {meter.red, meter.black}
        return next((m for m in reversed(self.metered) if {m.red, m.black} == pair), None)


class Guard(Protocol):
    """Who says that an act on the panel was unsafe: the job's stage, or a lesson's."""

    def metering(self, panel: Panel) -> Stopped | None:
        """Both leads are on and the display is about to be read."""
        ...

    def acting(self, panel: Panel, act: Act) -> Stopped | None:
        """A hand is about to move something."""
        ...


def metering_anywhere(panel: Panel) -> Stopped | None:
    """What is unsafe with a meter whatever is being done: ohms on live, a short through it, something set moving."""
    red, black, setting = panel.red, panel.black, panel.setting
    assert red is not None
    assert black is not None
    ac, dc = panel.between(red, black)
    at = f"{red} to {black}"
    if setting.amps_jack and not setting.fuse_blown:
        across = max(abs(panel.truth("ac volts", red, black).high), abs(panel.truth("dc volts", red, black).high))
        if across > SHORTS_FROM and not panel.truth("ac+dc volts", red, black).floats:
            return Stopped(
                "short through the meter",
                f"The red lead is in the A jack: across {at} stand {across:.0f} V, and the meter is a piece of wire "
                "there. An arc at the tips. The red lead goes back into V before the meter leaves the bag.",
            )
    if setting.mode in NEEDS_DEAD and not setting.amps_jack and max(ac, dc) > LIVE_VOLTS:
        return Stopped(
            "ohms on live",
            f"{at} is live, up to {max(ac, dc):.0f} V, and the meter stands on {setting.words.partition(',')[0]}. "
            "Ohms, continuity and insulation only on what is isolated, locked and proved dead.",
        )
    moved = panel.moves_by_meter(setting.mode, red, black)
    if moved:
        return Stopped(
            "the meter moved the machine",
            f"A low-impedance meter across {at} carries enough to switch it: {', '.join(moved)} started, with nobody "
            "at the button. There each side to the common with a high-impedance meter.",
        )
    return None


def power_back(panel: Panel, act: Act, *, told: bool) -> Stopped | None:
    """Whether power is put on with something in the way. told: what can happen was read before."""
    if act.verb not in GIVES_BACK:
        return None
    on = [str(p) for p in (panel.red, panel.black) if p is not None]
    if on:
        return Stopped("power on with leads in", f"Power went on with the meter's leads still on {' and '.join(on)}.")
    if panel.covers_off:
        places = ", ".join(panel.desk.machine.circuit.places[p].words for p in sorted(panel.covers_off))
        return Stopped("power on with the cover off", f"The disconnect was closed with the cover off at {places}.")
    if not told:
        return Stopped(
            "power on unread",
            "Power went back on before what can start by it was read and everybody was clear.",
        )
    return None


def starts_by(panel: Panel, act: Act, *, clear: bool, told: bool = False) -> Stopped | None:
    """Whether an act sets a motor moving that nobody meant to start, or with people about. told: the page said it will."""
    verb, tag = act.verb, act.device
    if verb == "refit" and not panel.dead:
        return Stopped("fuse refitted live", f"{tag} was put in with power on: into a fault it goes off in the hand.")
    if verb in ("wait", "open", "lose power"):
        return None
    before = set(panel.motors())
    started = [m for m in panel.moved(act).motors() if m not in before]
    if not started:
        return None
    if not clear:
        return Stopped(
            "started with people about", f"{started[0]} moved before anybody had asked who is in, on or under it."
        )
    to_run = any(tag == cpu.var for cpu in panel.desk.machine.net.cpus)
    unmeant = verb == "reset" or to_run or (verb == "release" and tag not in doings(panel.desk.machine).starts)
    if unmeant and not told:
        did = {"reset": "reset", "release": "let go", "put": "set to run"}[verb]
        return Stopped(
            "restarted by itself",
            f"{started[0]} started the moment {tag} was {did}: something still called for it. A stop is held in, or the "
            "disconnect is off, before anything is reset or let go.",
        )
    return None


@dataclass
class JobGuard:
    """The job's own rules, with where the job stands now."""

    desk: Desk
    state: State
    record: Record

    def metering(self, panel: Panel) -> Stopped | None:
        """See `Guard.metering`."""
        red, black = panel.red, panel.black
        assert red is not None
        assert black is not None
        if wrong := metering_anywhere(panel):
            return wrong
        stage = stage_of(self.desk, self.state)
        found = live_readings(self.desk, stage)
        ac, dc = panel.between(red, black)
        if panel.setting.mode in NEEDS_DEAD:
            if found is not None or stage.name == "isolate" or self.state.power:
                return Stopped(
                    "not proved dead",
                    f"Ohms on {red} to {black} before it was proved dead: open, lock, prove the tester, test, prove again.",
                )
            return None
        if max(ac, dc) <= DEAD_VOLTS:
            return None
        waiting = caution_of(self.desk, self.state, stage)
        card = {p for m in found[0] for p in (m.red, m.black)} if found else set()
        if waiting is not None and self.state.accepted != waiting[1] and (card & {red, black} or can_hurt(ac, dc)):
            return Stopped(
                "reading before the caution",
                unread(f"{red} to {black}", ac, dc),
            )
        if not {red, black} <= card and can_hurt(ac, dc):
            return Stopped(
                "reading without a caution",
                f"{red} to {black} is live, up to {max(ac, dc):.0f} V, and was on no card. Your own points are typed on the "
                "job's page first, both of them: then their caution comes.",
            )
        return None

    def acting(self, panel: Panel, act: Act) -> Stopped | None:
        """See `Guard.acting`."""
        return power_back(panel, act, told=self.state.power) or starts_by(
            panel, act, clear=self.state.people_clear, told=self._announced(act)
        )

    def _announced(self, act: Act) -> bool:
        """Whether the page asks for this act and says that a motor may start by it: the check of the proof run that is on it, or
        a card whose caution was read, that names what can turn, and that wants nobody at this button any more."""
        stage = stage_of(self.desk, self.state)
        if stage.name == "reset":
            return act.verb == "reset" and act.device == stage.next
        if stage.check is not None:
            acts = stage.check.situation.situation.acts
            return act in acts and bool(turns_after(self.desk.machine, acts[: acts.index(act) + 1]))
        waiting = caution_of(self.desk, self.state, stage)
        if waiting is None or act.verb != "release" or self.state.accepted != waiting[1]:
            return False
        found = live_readings(self.desk, stage)
        held = any(a.verb == "press" and a.device == act.device for a in found[1].situation.acts) if found else True
        return bool(waiting[0].moves) and not held


def unread(at: str, ac: float, dc: float) -> str:
    """Why a live reading before its caution stops; how its figure goes with the caution's."""
    return (
        f"{at} is live, and its caution was not read. As the panel stands {max(ac, dc):.0f} V are there or to earth; a caution "
        "says the most that any fault could put there, so its figure may be higher."
    )


def can_hurt(ac: float, dc: float) -> bool:
    """Whether volts AC and DC are more than low."""
    return level_of(ac, dc) != "low"


# ----------------------------------------------------------------------------------------------------- what is claimed


def claimed(panel: Panel, record: Record, events: Sequence[tuple[str, Mapping[str, Any]]]) -> Stopped | None:
    """Whether something is said to be safe that is not: an isolation step ticked off that was never done."""
    for kind, data in events:
        if kind == "isolation" and (wrong := isolation_claimed(panel, record, data)):
            return wrong
    return None


def isolation_claimed(panel: Panel, record: Record, data: Mapping[str, Any]) -> Stopped | None:
    """The same of one isolation step."""
    step, said = str(data["step"]), str(data.get("said", ""))
    verb, _, tag = step.partition(" ")
    if verb == "open" and panel.position(tag) != "off":
        return Stopped("said open, is on", f"{tag} was ticked off as open, and stands on.")
    if verb == "lock" and tag not in panel.locks:
        return Stopped("said locked, is not", f"{tag} was ticked off as locked, and there is no lock of yours on it.")
    if step == "stop" and panel.motors() and not record.stop_pressed:
        return Stopped("said stopped, runs", f"The machine was called stopped while {panel.motors()[0]} moves.")
    if step == "try" and not record.tried:
        return Stopped(
            "not tried", "That nothing starts was ticked off, and no start button was pressed with the lock on."
        )
    if step.startswith("prove"):
        return _proved(step, said, record, data)
    if not step.startswith("dead"):
        return None
    for raw, understood in zip(data.get("readings", ()), data.get("understood", ()), strict=False):
        item = get_item(raw)
        assert isinstance(item, Meter)
        taken = record.of(item)
        at = f"{item.red} to {item.black}"
        if taken is None:
            return Stopped("dead without a reading", f"{at} was called dead, and no meter was laid there.")
        live = max(panel.between(item.red, item.black))
        value = get_understood(understood)
        dead = value is Word.NOTHING or (isinstance(value, Interval) and abs(value.middle) <= DEAD_VOLTS)
        # What only couples in is not live: the display said so, and a low-impedance tester takes it away.
        if dead and taken.shown.value is not None and abs(taken.shown.value) > DEAD_VOLTS:
            return Stopped("live called dead", f"{at} was called dead; the display stood at {taken.shown.text}.")
        if dead and live > DEAD_VOLTS and not taken.truth.floats and abs(taken.truth.high) > DEAD_VOLTS:
            return Stopped("live called dead", f"{at} was called dead and carries up to {live:.0f} V: the meter lied.")
    return None


def _proved(step: str, said: str, record: Record, data: Mapping[str, Any]) -> Stopped | None:
    words = "before" if step.endswith("before") else "after"
    if not data.get("readings"):
        if said.startswith(PROVED_ON) or said == "done":
            return None if record.proving_unit else _unproved(words)
        return None
    items = [get_item(raw) for raw in data["readings"]]
    if any(isinstance(i, Meter) and record.of(i) is None for i in items):
        return _unproved(words)
    return None


def _unproved(words: str) -> Stopped:
    return Stopped(
        "tester not proved",
        f"The tester was called proved {words} the dead test, and it was laid on nothing live. A tester that shows nothing "
        "is either on a dead point or is dead itself.",
    )


def reaches(panel: Panel, pin: Pin) -> str:
    """Why a tip cannot get there; empty where it can."""
    device = panel.desk.machine.circuit.devices.get(pin.device)
    place = panel.desk.machine.circuit.places[device.place] if device else None
    if place is not None and place.door and place.name not in panel.covers_off:
        return f"The cover of {place.words} is on. Take it off first: open {place.name}"
    return ""
