"""A careful person against a simulated fault: the same `decide` that a job uses, answered by the model.

The person reads every sheet, accepts cautions, answers lights, looks and readings as the faulty machine would show them,
makes safe step by step, mends what is found, and proves it. Nothing is asked of the fault but what a person could see.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.tables import shows, shows_in
from troubleshoot.evidence.likelihood import jumps
from troubleshoot.evidence.seen import Light, Look, Meter, Word
from troubleshoot.evidence.told import NOW
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job import agreeing
from troubleshoot.job.asking import answers_of, due_question
from troubleshoot.job.codec import put_situation
from troubleshoot.job.decide import decide
from troubleshoot.job.decided import DRAWN_MS, Decided, Ui, sheet_id
from troubleshoot.job.desk import Desk
from troubleshoot.job.due import caution_of
from troubleshoot.job.folding import fold
from troubleshoot.job.lists import item_keys, listed, marked
from troubleshoot.job.resetting import MOST, often
from troubleshoot.job.sheet import Input, Pressed, Refusal, Typed
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import FAILED, State
from troubleshoot.job.stopping import STOPPED, TRIED_KEYS, moving, tried
from troubleshoot.safety.isolation import judge
from troubleshoot.safety.levels import DEAD_VOLTS
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import bulk
from troubleshoot.solve.meters import Mode, over_range, unit_of
from troubleshoot.solve.settle import Outcome, settle

MOST_ANSWERS = 250
"""A rehearsal that has not ended by then is going in circles."""


@dataclass(frozen=True, slots=True)
class Event:
    """An event as the fold needs it."""

    n: int
    kind: str
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Played:
    """One step of a rehearsal, in words."""

    words: str
    caution: tuple[str, ...]
    expected: str
    seen: str
    cost: float


@dataclass(frozen=True)
class Rehearsal:
    """How a rehearsal went."""

    truth: Suspect
    steps: tuple[Played, ...]
    ranked: tuple[tuple[str, float], ...]
    """Repair groups with their chance when the first one was to be mended."""
    found: bool
    """The first thing named for repair was in the truth's repair group."""
    named: str
    confirmed: bool
    ended: str
    cost: float
    trips: int
    events: tuple[Event, ...]


@dataclass
class Bench:
    """A simulated machine with a fault or two, as a person can see it."""

    desk: Desk
    faults: tuple[Suspect, ...]
    dice: random.Random
    notices: bool = True
    """Whether the person notices that something flickers or chatters; else they write down what stood there at one moment."""
    _glimpsed: dict[object, str] = field(default_factory=dict)
    _outcomes: dict[object, Outcome] = field(default_factory=dict)

    @property
    def edits(self) -> tuple[Edit, ...]:
        """What is wrong with it now."""
        return tuple(e for fault in self.faults for e in fault.edits)

    def mend(self, group: str) -> None:
        """Whatever was wrong in this repair group is gone."""
        self.faults = tuple(f for f in self.faults if f.group != group)
        self._glimpsed.clear()
        self._outcomes.clear()

    def there(self, faults: tuple[Suspect, ...]) -> None:
        """From now on these are in it: what comes and goes is not there all the time."""
        if faults != self.faults:
            self.faults = faults
            self._glimpsed.clear()
            self._outcomes.clear()

    def outcome(self, named: NamedSituation) -> Outcome:
        """What the machine does; where a band leaves it open, the dice say, once for each situation."""
        if named.situation not in self._outcomes:
            found = settle(self.desk.machine.net, self.edits, named.situation)
            self._outcomes[named.situation] = self.pick(found, named)
        return self._outcomes[named.situation]

    def pick(self, found: tuple[Outcome, ...], named: NamedSituation) -> Outcome:
        """One of several outcomes, by the dice."""
        if named.situation.origin == "as-found":
            # It was found standing: of the histories that may have been, one in which nothing moves.
            motors = [m.var for m in self.desk.machine.net.motors]
            still = [o for o in found if all(s[m] == "still" for s in o.states for m in motors)]
            found = tuple(still) or found
        return self.dice.choices(found, [o.weight for o in found])[0]

    def shown(self, item: Light | Look, named: NamedSituation) -> str:
        """What a light or a look shows."""
        sign, outcome = self.desk.machine.net.signs[item.name], self.outcome(named)
        shown = shows(sign, outcome)
        if shown != Word.UNSTEADY.value or self.notices:
            return shown
        if (item, named.situation) not in self._glimpsed:
            self._glimpsed[item, named.situation] = shows_in(sign, self.dice.choice(outcome.states))
        return self._glimpsed[item, named.situation]

    def stops_tried(self, state: State) -> str:
        """Key of the first stop whose row does not say yet what it does to this machine; empty where all do."""
        for key, channel in zip(TRIED_KEYS, self.desk.channels, strict=False):
            runs = self.outcome(channel.at).state[channel.motor] != "still"
            if tried(state, channel, self.desk.stops) != (FAILED if runs else STOPPED):
                return key
        return ""

    def dead(self, meters: Sequence[Meter], named: NamedSituation) -> str:
        """What a person types for a dead test: what is only coupled in is tried again with a low-impedance tester."""
        networks = self.outcome(named).networks
        plain = (bulk(self.desk.machine.net, networks, m.mode, [(m.red, m.black)]).value[0] for m in meters)
        over = any(np.abs(values).max() > DEAD_VOLTS for values in plain)
        return self.typed([_low_impedance(m) for m in meters] if over else meters, named)

    def typed(self, meters: Sequence[Meter], named: NamedSituation) -> str:
        """What a person types for a batch of readings."""
        networks = self.outcome(named).networks
        out = []
        for meter in meters:
            table = bulk(self.desk.machine.net, networks, meter.mode, [(meter.red, meter.black)])
            usual = self.desk.reasoner.predict(meter, named.situation)
            shown = table.value[0] if meter.mode == "dc volts" else np.abs(table.value[0])
            if jumps(float(shown.min()), float(shown.max()), usual):
                out.append(Word.UNSTEADY.value)
            else:
                out.append(written(float(shown[0]), meter.mode))
        # Behind a number without a mark between them, "unsteady" would be said of that number.
        return ("; " if Word.UNSTEADY.value in out else " ").join(out)


def _low_impedance(meter: Meter) -> Meter:
    return replace(meter, mode="low-impedance volts") if meter.mode == "ac volts" else meter


def written(value: float, mode: Mode) -> str:
    """A reading as a careful person writes it down, with its unit."""
    if unit_of(mode) == "ohm":
        if over_range(mode, value):
            return "OL"
        return f"{value:.1f} ohm" if value < 1000 else f"{value / 1000:.2f} kohm"
    if mode == "amps":
        return f"{value:.1f} A"
    return f"{abs(value):.1f} V" if abs(value) >= 0.05 else "0 V"


def rehearse(
    desk: Desk,
    complaint: str,
    truth: Suspect,
    *,
    by: str = "tree",
    seed: int = 0,
    also: tuple[Suspect, ...] = (),
    notices: bool = True,
) -> Rehearsal:
    """Play a whole job against one fault. Pure for a given seed.

    by: ``tree`` or ``engine`` leads; also: further faults that are in the machine at the same time; notices: as
    of the `Bench`.
    """
    bench = Bench(desk, (truth, *also), random.Random(seed), notices)
    events: list[Event] = []

    def write(kind: str, data: Mapping[str, Any]) -> None:
        events.append(Event(len(events) + 1, kind, data))

    write("opened", {
        "who": "rehearsal", "machine": desk.machine.name, "complaint": complaint, "said": complaint,
        "shows": put_situation(desk.shows(complaint)),
    })  # fmt: skip
    if by == "engine":
        write("choose", {"source": "engine"})
    ui = Ui()
    steps: list[Played] = []
    ranked: tuple[tuple[str, float], ...] = ()
    named, confirmed, tries = "", False, 0
    while tries < MOST_ANSWERS:
        tries += 1
        state = fold(events)
        stage = stage_of(desk, state)
        if stage.name in ("ended", "stuck"):
            break
        if stage.name == "repair" and not named:
            ranked = tuple(desk.reasoner.groups(desk.belief(state)))
            named, confirmed = stage.group, state.confirmed.get(stage.group, False)
        said = answer(bench, state, stage, ui)
        decided = decide(desk, state, ui, said)
        if not isinstance(decided, Decided):
            words = decided.words if isinstance(decided, Refusal) else "nothing happened"
            raise AssertionError(f"the careful person was refused at {stage.name}: {words}")
        for kind, data in decided.events:
            write(kind, data)
            if kind == "repaired":
                bench.mend(data["group"])
            if kind in ("looked", "reading", "proved", "isolation", "repaired"):
                steps.append(_played(desk, state, stage, said, data))
        if by == "engine" and any(kind == "repaired" for kind, _ in decided.events):
            write("choose", {"source": "engine"})
        ui = Ui()
    state = fold(events)
    if not ranked:
        ranked = tuple(desk.reasoner.groups(desk.belief(state)))
    return Rehearsal(
        truth, tuple(steps), ranked, named == truth.group, named, confirmed, state.ended, state.cost, state.trips,
        tuple(events),
    )  # fmt: skip


def answer(bench: Bench, state: State, stage: Stage, ui: Ui) -> Input:
    """What a careful person with that machine before them says to a stage; no panel may be open but the one which says that
    a confirming test did not agree: they read what they read."""
    desk, on = bench.desk, sheet_id(state, ui)
    if ui.panel == agreeing.PANEL:
        return Pressed(agreeing.GO_ON.key, on)
    waiting = caution_of(desk, state, stage)
    if waiting is not None and state.accepted != waiting[1]:
        return Pressed("c", on, DRAWN_MS)
    match stage.name:
        case "stop" | "people" | "clip" | "unclip":
            return Pressed("y", on)
        case "tried":
            return Pressed(bench.stops_tried(state) or "enter", on)
        case "last":
            question = due_question(state)
            assert question is not None
            # The simulated fault is there all the time.
            return Pressed("1" if question is NOW else str(len(answers_of(question, state)) + 1), on)
        case "isolate":
            assert stage.isolation is not None
            step = next(s for s in stage.isolation.steps if s.id == stage.next)
            if step.ask == "done":
                return Pressed("y", on)
            dead = NamedSituation("dead", "", stage.isolation.situation)
            if not all(step.expects):
                return Typed(bench.dead(step.readings, dead), on)
            network = bench.outcome(dead).network
            shown = [
                float(bulk(desk.machine.net, [network], m.mode, [(m.red, m.black)]).value[0, 0]) for m in step.readings
            ]
            if not judge(step, list(shown)).ok:
                return Pressed("p", on)
            return Typed(bench.typed(step.readings, dead), on)
        case "repair":
            return Typed("as found by rehearsal", on)
        case "putback":
            return Pressed("1", on)
        case "reset":
            return Pressed("y" if often(state, stage.next) < MOST else "d", on, DRAWN_MS)
        case "power":
            return Pressed("c", on, DRAWN_MS)
        case "handback":
            return Typed("second person", on) if desk.stop_failed(state) else Pressed("y", on)
    named = stage.check.situation if stage.check is not None else stage.step.situation if stage.step else desk.at_rest
    for key, item in zip(item_keys(stage), listed(stage), strict=False):
        if marked(desk, state, stage, item)[0] != bench.shown(item, named):
            return Pressed(key, on)
    if moving(desk, state, stage.check):
        return Pressed("enter", on)
    items = (
        [i for i, _ in stage.check.expects] if stage.check is not None else list(stage.step.items) if stage.step else []
    )
    meters = [i for i in items if isinstance(i, Meter)]
    return Typed(bench.typed(meters, named), on) if meters else Pressed("enter", on)


def _played(desk: Desk, state: State, stage: Stage, said: Input, data: Mapping[str, Any]) -> Played:
    waiting = caution_of(desk, state, stage)
    step = stage.step
    named = stage.check.situation if stage.check else step.situation if step else desk.at_rest
    items = [i for i, _ in stage.check.expects] if stage.check else list(step.items) if step else []
    meters = [i for i in items if isinstance(i, Meter)]
    if stage.name in ("isolate", "repair"):
        expected = ""
        words = str(data.get("words", "")) if stage.name == "isolate" else f"{data['act']} {data['item']}"
    else:
        expected = "; ".join(f"{m.red} to {m.black} {desk.reasoner.expected(m, named.situation).words}" for m in meters)
        words = stage.check.words if stage.check else step.words if step else stage.name
        if meters and not stage.check:
            words = words.rstrip(".:") + ": " + ", ".join(f"{m.red}" for m in meters)
    if isinstance(said, Typed):
        seen = said.text
    elif data.get("items"):
        seen = "; ".join(f"{row[0][1]} {row[1]}" for row in data["items"])
    else:
        seen = "done"
    cost = float(data.get("cost", 0.0))
    return Played(words, waiting[0].shown if waiting else (), expected, seen, cost)
