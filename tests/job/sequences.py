"""Long rows of answers over `decide` alone: any order, any hands, and no live reading before its caution.

Lean, so that very many can be played: no disk, no hash, no sheet drawn; one desk a machine keeps its tables; a job is folded
on by one event; a row begins anywhere in the job of a careful person. What is checked is what `warned` reads in the events.
"""

from __future__ import annotations

import random
import zlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from dataclasses import replace as replace_state
from functools import cache
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule
from job import nights
from job.warned import LEAST_MS, meters_of, trespasses

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.step import Step
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.seen import Meter, Seen
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.codec import put_situation
from troubleshoot.job.decide import decide
from troubleshoot.job.decided import Decided, Ui, sheet_id
from troubleshoot.job.desk import Desk
from troubleshoot.job.due import caution_of
from troubleshoot.job.folding import Folded, fold
from troubleshoot.job.rehearse import Bench, Event, answer
from troubleshoot.job.sheet import Input, Pressed, Refusal, Typed
from troubleshoot.job.stage import stage_of
from troubleshoot.job.state import State
from troubleshoot.solve.settle import Outcome
from troubleshoot.trees.walk import Walk

FAULTS = {
    "belt-7": (
        "12:K1:14>FR1:95 open", "F4 open", "KM1 coil open", "ES1 left in", "K1 coil open", "M1 winding V open",
        "K1 13-14 welded",
    ),
    "fan-2": ("F2 open", "KM1 coil open", "KM1 13-14 open"),
}  # fmt: skip
COMPLAINTS = ("wont-start", "wont-hold", "wont-stop")
WORDS = (
    "0", "120", "0 0 120", "nothing", "right right right", "low", "OL", "unsteady", "??", "24", "0.2", "all 0", "all nothing",
    "K1:14 NB:1 120", "K1:14 NB:1", "K1:99 NB:1 4", "NB:1 NB:1 0", "KM1:A1 KM1:A2 OL", "KM1:A1 KM1:A2 118", "KM1:A1 KM1:A2",
    "cause not found", "Ben", "0 0 0", "0 0 0 0", "0 0 0 0 0 0 0 0", "", "wire 12 lifted at K1:14", "jumper K1:13 K1:14",
)  # fmt: skip
KEYS = (*"abcdefghijklmnopqrstuvwxyz0123456789?", "enter", "escape")
DRAWN = (0, 299, 300, 2000)
"""Milliseconds that a sheet was on the screen when its key was pressed."""
MOST = 120
"""Answers of a careful person at most, before anybody else comes."""


class Still(Bench):
    """A bench that shows the likeliest, whatever was asked before, so that a row of answers means the same each time."""

    def __init__(self, desk: Desk, faults: tuple[Suspect, ...]) -> None:
        super().__init__(desk, faults, random.Random(0))
        self._typed: dict[object, str] = {}

    def pick(self, found: tuple[Outcome, ...], named: NamedSituation) -> Outcome:
        return max(found, key=lambda outcome: outcome.weight)

    def typed(self, meters: Sequence[Meter], named: NamedSituation) -> str:
        key = ("typed", tuple(meters), named.situation)
        if key not in self._typed:
            self._typed[key] = super().typed(meters, named)
        return self._typed[key]

    def dead(self, meters: Sequence[Meter], named: NamedSituation) -> str:
        key = ("dead", tuple(meters), named.situation)
        if key not in self._typed:
            self._typed[key] = super().dead(meters, named)
        return self._typed[key]


@cache
def shared_desk(name: str) -> Desk:
    """One desk a machine, that keeps what it worked out for thousands of rows."""
    desk = Desk(nights.desk(name).machine, nights.desk(name).trees, most_kept=20_000)
    desk.reasoner.most_kept = 20_000
    return desk


class AnySuspicion(Desk):
    """A desk that suspects anything: what a careful person had come to suspect in some other job, not what was read here.

    The law asks for no right suspicion, only that whatever is asked comes behind its caution; and so any suspicion meets any
    past, which no honest reading brings about, at the price of a look-up. Which one follows from the past alone.
    """

    pool: tuple[tuple[Seen, ...], ...] = ()

    def _other(self, state: State) -> State:
        if not state.evidence or not self.pool:
            return state
        last = state.evidence[-1]
        drawn = zlib.crc32(f"{len(state.evidence)} {last.said} {last.what} {state.epoch}".encode()) % len(self.pool)
        return replace_state(state, evidence=self.pool[drawn])

    def belief(self, state: State) -> Floats:
        return super().belief(self._other(state))

    def trips(self, state: State) -> list[Step]:
        return super().trips(self._other(state))

    def confirm(self, group: str, state: State) -> Step | None:
        return super().confirm(group, self._other(state))

    def walk(self, state: State) -> Walk | None:
        return super().walk(self._other(state))

    def before_power(self, state: State) -> tuple[str, ...]:
        return super().before_power(self._other(state))


POOL = 24
"""Pasts that a suspicion is taken from."""


@cache
def any_desk(name: str) -> Desk:
    """The desk of that machine that suspects anything. The tables are those of the other one."""
    honest = shared_desk(name)
    desk = AnySuspicion(honest.machine, honest.trees, most_kept=20_000)
    desk.reasoner = honest.reasoner
    desk.planner = honest.planner
    pasts = [s.evidence for f in FAULTS[name] for c in COMPLAINTS for _, s in careful(name, f, c) if s.evidence]
    desk.pool = tuple(random.Random(0).sample(list(dict.fromkeys(pasts)), POOL))
    return desk


@cache
def shared_bench(name: str, fault: str, mended: bool) -> Bench:
    desk = shared_desk(name)
    return Still(desk, () if mended else (next(s for s in desk.machine.suspects if s.id == fault),))


@dataclass
class Played:
    """A job, as far as it got."""

    desk: Desk
    fault: str
    events: list[Event] = field(default_factory=list)
    folded: Folded = field(default_factory=Folded)

    @property
    def state(self) -> State:
        return self.folded.state

    def write(self, kind: str, data: Mapping[str, Any]) -> None:
        self.events.append(Event(len(self.events) + 1, kind, data))

    def bench(self) -> Bench:
        truth = next(s for s in self.desk.machine.suspects if s.id == self.fault)
        mended = any(r.group == truth.group for r in self.state.repaired)
        return shared_bench(self.desk.machine.name, self.fault, mended)

    def give(self, ui: Ui, said: Input) -> tuple[bool, Ui]:
        """Whether it did anything, and the panel that follows."""
        match decide(self.desk, self.state, ui, said):
            case None:
                return False, ui
            case Refusal(words):
                assert words.strip(), "a refusal without words"
                return False, Ui(ui.panel)
            case Decided(events, after):
                for kind, data in events:
                    self.write(kind, data)
                self.folded = self.folded.on(self.events)
                return True, Ui(after.panel)


@cache
def careful(name: str, fault: str, complaint: str) -> tuple[tuple[tuple[Event, ...], State], ...]:
    """The job of a careful person, after each of their answers."""
    job = Played(shared_desk(name), fault)
    job.write("opened", {
        "who": "Ana", "machine": name, "complaint": complaint, "said": "dead",
        "shows": put_situation(job.desk.shows(complaint)),
    })  # fmt: skip
    job.folded = job.folded.on(job.events)
    steps = [(tuple(job.events), job.state)]
    for _ in range(MOST):
        stage = stage_of(job.desk, job.state)
        if stage.name in ("ended", "stuck", "waiting", "handed", "watch", "watched"):
            break
        job.give(Ui(), answer(job.bench(), job.state, stage, Ui()))
        steps.append((tuple(job.events), job.state))
    return tuple(steps)


@dataclass
class Hands:
    """Anybody at one job: what they do, one method each. Whether a law was broken is asked at the end."""

    name: str
    tally: Counter[str]
    desk: Desk
    job: Played = field(init=False)
    ui: Ui = field(default_factory=Ui)
    gone: str = ""
    """A sheet that was on the screen before."""
    said: list[object] = field(default_factory=list)

    def begin(self, fault: str, complaint: str, after: int) -> None:
        steps = careful(self.name, fault, complaint)
        events, state = steps[after % len(steps)]
        self.job = Played(self.desk, fault, list(events), Folded(len(events), state))
        self.begun = len(events)
        self.said = [fault, complaint, len(events)]

    @property
    def sheet(self) -> str:
        return sheet_id(self.job.state, self.ui)

    def give(self, said: Input) -> None:
        self.said.append(said)
        before = self.sheet
        did, self.ui = self.job.give(self.ui, said)
        self.tally["answers"] += 1
        self.tally["answers that did something"] += did
        if self.sheet != before:
            self.gone = before

    def press(self, keys: Sequence[str], drawn_ms: int) -> None:
        for key in keys:
            self.give(Pressed(key, self.sheet, drawn_ms))

    def types(self, text: str) -> None:
        self.give(Typed(text, self.sheet))

    def answer_with_care(self, times: int) -> None:
        self.ui = Ui()
        for _ in range(times):
            stage = stage_of(self.job.desk, self.job.state)
            if stage.name in ("ended", "stuck", "waiting", "handed", "watch", "watched"):
                return
            self.give(answer(self.job.bench(), self.job.state, stage, self.ui))

    def type_the_reading_before_the_caution(self, drawn_ms: int) -> None:
        """What the meter shows, typed at once; then the caution's key."""
        self.ui = Ui()
        state, desk = self.job.state, self.job.desk
        stage = stage_of(desk, state)
        waiting = caution_of(desk, state, stage)
        if waiting is None or state.accepted == waiting[1]:
            return
        hasty = answer(self.job.bench(), replace_state(state, accepted=waiting[1]), stage, self.ui)
        self.tally["readings typed before their caution"] += isinstance(hasty, Typed)
        before = len(self.job.events)
        self.give(hasty)
        taken = [e for e in self.job.events[before:] if e.kind in ("reading", "proved", "isolation")]
        assert not any(meters_of(e.data.get("items", e.data.get("readings", ()))) for e in taken)
        self.press("c", drawn_ms)
        if drawn_ms < LEAST_MS:
            assert "caution" not in {e.kind for e in self.job.events[before:]}

    def take_back(self) -> None:
        self.ui = Ui()
        self.press("u", 2000)
        assert not self.job.state.accepted or self.job.events[-1].kind != "retract"

    def leave_and_take_up(self, who: str, idle_ms: int) -> None:
        self.said.append((who, idle_ms))
        self.tally["taken up again"] += 1
        self.job.write("resumed", {"who": who, "circuit": "", "changed": False, "idle_ms": idle_ms})
        self.job.folded = self.job.folded.on(self.job.events)
        self.ui = Ui()
        assert self.job.state.accepted == ""
        assert not self.job.state.isolation

    def answer_a_sheet_that_is_gone(self, key: str, text: str) -> None:
        if self.gone in ("", self.sheet):
            return
        said = Typed(text, self.gone) if text else Pressed(key, self.gone, 2000)
        assert decide(self.job.desk, self.job.state, self.ui, said) is None
        self.tally["answers to a sheet that was gone"] += 1

    def end(self) -> None:
        events, tally = self.job.events, self.tally
        assert trespasses(self.job.desk, events) == []
        if tally["sequences"] % 8 == 0:
            assert fold(events) == self.job.state
        tally["sequences"] += 1
        for event in events[self.begun :]:
            tally["events"] += 1
            tally[f"events: {event.kind}"] += 1
            if event.kind in ("reading", "proved", "isolation") and meters_of(
                event.data.get("items", event.data.get("readings", ()))
            ):
                tally["entries of readings behind a caution"] += 1


PEOPLE, IDLE_MS = ("Ana", "Ben"), (0, 4_000_000)
VALUES = ("", "0", "118", "OL", "24 V")


def some_pins(name: str) -> list[str]:
    """A few points all over the machine, so that they are met again."""
    return list(shared_desk(name).pins)[::9]


def sequences(name: str, tally: Counter[str]) -> type[RuleBasedStateMachine]:
    """The machine of all rows of answers at one machine; what was played is counted."""

    class Sequence(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.hands: Hands | None = None

        @initialize(
            fault=st.sampled_from(FAULTS[name]), complaint=st.sampled_from(COMPLAINTS), after=st.integers(0, MOST)
        )
        def begins(self, fault: str, complaint: str, after: int) -> None:
            self.hands = Hands(name, tally, shared_desk(name))
            self.hands.begin(fault, complaint, after)

        @property
        def at(self) -> Hands:
            assert self.hands is not None
            return self.hands

        @rule(times=st.integers(1, 6))
        def answers_with_care(self, times: int) -> None:
            self.at.answer_with_care(times)

        @rule(drawn_ms=st.sampled_from(DRAWN))
        def types_the_reading_before_the_caution(self, drawn_ms: int) -> None:
            self.at.type_the_reading_before_the_caution(drawn_ms)

        @rule(keys=st.lists(st.sampled_from(KEYS), min_size=1, max_size=6), drawn_ms=st.sampled_from(DRAWN))
        def presses_any_keys(self, keys: list[str], drawn_ms: int) -> None:
            self.at.press(keys, drawn_ms)

        @rule(text=st.sampled_from(WORDS))
        def types(self, text: str) -> None:
            self.at.types(text)

        @rule(red=st.integers(0, 99), black=st.integers(0, 99), value=st.sampled_from(VALUES))
        def types_two_points(self, red: int, black: int, value: str) -> None:
            pins = some_pins(name)
            self.at.types(f"{pins[red % len(pins)]} {pins[black % len(pins)]} {value}".strip())

        @rule()
        def takes_back(self) -> None:
            self.at.take_back()

        @rule(who=st.sampled_from(PEOPLE), idle_ms=st.sampled_from(IDLE_MS))
        def is_left_and_taken_up(self, who: str, idle_ms: int) -> None:
            self.at.leave_and_take_up(who, idle_ms)

        @rule(key=st.sampled_from("cyu1"), text=st.sampled_from(["", "0 0 120"]))
        def answers_a_sheet_that_is_gone(self, key: str, text: str) -> None:
            self.at.answer_a_sheet_that_is_gone(key, text)

        def teardown(self) -> None:
            if self.hands is not None:
                self.hands.end()

    return Sequence


def play(name: str, tally: Counter[str], seed: int, most: int = 12, *, honest: bool = True) -> Hands:
    """One row drawn by a seed alone, of the same acts as the machine's: a hundred times cheaper to draw.

    most: acts at most; honest: by a desk that suspects what the readings say, not anything.
    """
    desk = shared_desk(name) if honest else any_desk(name)
    dice, hands, pins = random.Random(seed), Hands(name, tally, desk), some_pins(name)
    one = dice.choice
    hands.begin(one(FAULTS[name]), one(COMPLAINTS), dice.randrange(MOST + 1))
    for _ in range(dice.randint(1, most)):
        match dice.choices(range(8), (4, 3, 4, 2, 1, 2, 1, 1))[0]:
            case 0:
                hands.answer_with_care(dice.randint(1, 6))
            case 1:
                hands.type_the_reading_before_the_caution(one(DRAWN))
            case 2:
                hands.press(dice.choices(KEYS, k=dice.randint(1, 6)), one(DRAWN))
            case 3:
                hands.types(one(WORDS))
            case 4:
                hands.types(f"{one(pins)} {one(pins)} {one(VALUES)}".strip())
            case 5:
                hands.take_back()
            case 6:
                hands.leave_and_take_up(one(PEOPLE), one(IDLE_MS))
            case _:
                hands.answer_a_sheet_that_is_gone(one("cyu1"), one(("", "0 0 120")))
    hands.end()
    return hands
