"""No live reading before its accepted caution, no dead work before its isolation: over trees, faults and answers.

The ordinary run takes a sample of the faults; ``TROUBLESHOOT_TESTS=all`` walks every fault that can show, by tree and by
engine (over half an hour on two cores).
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from functools import cache

import pytest
from job import nights
from job.warned import meters_of, trespasses

from troubleshoot.evidence.seen import Meter
from troubleshoot.job import decide as deciding
from troubleshoot.job import mending
from troubleshoot.job import rehearse as rehearsing
from troubleshoot.job import stage as staging
from troubleshoot.job.codec import put_situation
from troubleshoot.job.decide import decide
from troubleshoot.job.decided import DRAWN_MS, Decided, Ui, sheet_id
from troubleshoot.job.folding import fold
from troubleshoot.job.rehearse import Bench, Event, Rehearsal, answer, rehearse
from troubleshoot.job.sheet import Pressed, Refusal, Typed
from troubleshoot.job.stage import stage_of

CLASSES = ("nothing", "low", "right", "high", "unsteady", "couldn't")
"""How people say a reading, with a number or without."""


@cache
def played(machine: str, complaint: str, fault: str, by: str = "tree") -> Rehearsal:
    return rehearse(nights.desk(machine), complaint, nights.suspect(fault, machine), by=by)


def shows_as(machine: str, complaint: str) -> list[str]:
    """Every suspect whose machine can move otherwise than it should where the complaint shows."""
    desk = nights.desk(machine)
    suspects = desk.machine.suspects[:-1]
    chance = desk.reasoner.belief((_said(machine, complaint),))
    even = desk.reasoner.belief(())
    return [s.id for k, s in enumerate(suspects) if chance[k] > even[k]]


def _said(machine: str, complaint: str):  # type: ignore[no-untyped-def]
    desk = nights.desk(machine)
    opened = Event(1, "opened", {
        "who": "Ana", "machine": machine, "complaint": complaint, "said": complaint,
        "shows": put_situation(desk.shows(complaint)),
    })  # fmt: skip
    return fold([opened]).evidence[0]


def some(names: list[str], count: int) -> list[str]:
    """As many, spread over all kinds; the same ones every time."""
    return random.Random(5).sample(names, min(count, len(names)))


WALKS = [
    *(("belt-7", "wont-start", fault, "tree") for fault in some(shows_as("belt-7", "wont-start"), 10)),
    *(("belt-7", "wont-start", fault, "engine") for fault in some(shows_as("belt-7", "wont-start"), 3)),
    *(("belt-7", "wont-hold", fault, "tree") for fault in some(shows_as("belt-7", "wont-hold"), 4)),
    *(("belt-7", "wont-stop", fault, "tree") for fault in some(shows_as("belt-7", "wont-stop"), 3)),
    *(("fan-2", "wont-start", fault, "tree") for fault in some(shows_as("fan-2", "wont-start"), 6)),
]
TWIN = WALKS[:6]
"""Walks that hold everything there is to check; in the order of all faults the first are conditions, without a repair."""
if os.environ.get("TROUBLESHOOT_TESTS") == "all":
    WALKS = [
        (machine, complaint, fault, by)
        for machine, complaint in (
            ("belt-7", "wont-start"),
            ("belt-7", "wont-hold"),
            ("belt-7", "wont-stop"),
            ("fan-2", "wont-start"),
        )
        for fault in shows_as(machine, complaint)
        for by in ("tree", "engine")
    ]


@pytest.mark.parametrize(("machine", "complaint", "fault", "by"), WALKS, ids=lambda part: str(part))
def test_no_live_reading_comes_before_its_caution(machine: str, complaint: str, fault: str, by: str) -> None:
    walk = played(machine, complaint, fault, by)
    found = trespasses(nights.desk(machine), walk.events)
    assert not found, "\n".join(found)


def test_what_was_checked_is_there_to_be_checked() -> None:
    """The twin that can fail: the walks above hold live readings, dead tests, dead readings and repairs."""
    seen = [event for walk in TWIN for event in played(*walk).events]
    assert sum(e.kind == "reading" and bool(meters_of(e.data["items"])) for e in seen) > 10
    assert sum(e.kind == "proved" and bool(meters_of(e.data["items"])) for e in seen) > 5
    assert sum(e.kind == "isolation" and bool(e.data.get("readings")) for e in seen) > 10
    assert sum(e.kind == "reading" and str(e.data["situation"]["name"]).startswith("isolated") for e in seen) > 2
    assert sum(e.kind == "caution" for e in seen) > 30


# -------------------------------------------------------------------------------------------------- every other answer


class Branch:
    """A job over a list of events that can be copied and answered another way."""

    def __init__(self, machine: str, complaint: str, fault: str, events: tuple[Event, ...] = ()) -> None:
        self.desk = nights.desk(machine)
        self.machine, self.complaint, self.fault = machine, complaint, fault
        self.events = list(events)
        if not events:
            self.write("opened", {
                "who": "Ana", "machine": machine, "complaint": complaint, "said": complaint,
                "shows": put_situation(self.desk.shows(complaint)),
            })  # fmt: skip
        self.bench = Bench(self.desk, (nights.suspect(fault, machine),), random.Random(0))
        for event in events:
            if event.kind == "repaired":
                self.bench.mend(str(event.data["group"]))

    def copy(self) -> Branch:
        return Branch(self.machine, self.complaint, self.fault, tuple(self.events))

    def write(self, kind: str, data: dict[str, object]) -> None:
        self.events.append(Event(len(self.events) + 1, kind, data))

    def say(self, said: Pressed | Typed) -> bool:
        decided = decide(self.desk, fold(self.events), Ui(), said)
        if not isinstance(decided, Decided):
            return False
        for kind, data in decided.events:
            self.write(kind, dict(data))
            if kind == "repaired":
                self.bench.mend(str(data["group"]))
        return True

    def to_a_reading(self, most: int = 40) -> int:
        """Careful answers up to the next live reading behind its accepted caution; how many readings it asks, or 0."""
        for _ in range(most):
            state = fold(self.events)
            stage = stage_of(self.desk, state)
            if stage.name in ("ended", "stuck"):
                return 0
            waiting = deciding.caution_of(self.desk, state, stage)
            if stage.name in ("search", "confirm") and waiting is not None and state.accepted == waiting[1]:
                assert stage.step is not None
                return sum(isinstance(item, Meter) for item in stage.step.items)
            if not self.say(answer(self.bench, state, stage, Ui())):
                return 0
        return 0

    def typed(self, text: str) -> bool:
        return self.say(Typed(text, sheet_id(fold(self.events), Ui())))


def branches(start: Branch, depth: int, turn: int = 0) -> Iterator[Branch]:
    """Every class of answer at every reading down to `depth`; below the second reading one class in turn."""
    wanted = start.to_a_reading()
    if not wanted or depth == 0:
        yield start
        return
    for k, word in enumerate(CLASSES if depth > 1 else (CLASSES[turn % len(CLASSES)],)):
        branch = start.copy()
        if branch.typed(" ".join([word] * wanted)):
            # The same words once more, with nothing in between: whatever takes them, it is no live reading.
            twice = branch.copy()
            twice.typed(" ".join([word] * wanted))
            assert trespasses(twice.desk, twice.events) == []
            yield from branches(branch, depth - 1, turn + k)


@pytest.mark.parametrize(
    ("machine", "complaint", "fault", "depth"),
    [
        ("belt-7", "wont-start", "12:K1:14>FR1:95 open", 3),
        ("belt-7", "wont-hold", "S3 13-14 open", 2),
        ("fan-2", "wont-start", "F4 open", 2),
    ],
)
def test_whatever_is_read_the_next_reading_waits_for_its_own_caution(
    machine: str, complaint: str, fault: str, depth: int
) -> None:
    count = 0
    for branch in branches(Branch(machine, complaint, fault), depth):
        count += 1
        assert trespasses(branch.desk, branch.events) == []
    assert count >= len(CLASSES) ** (depth - 1)


def test_one_acceptance_is_for_one_reading() -> None:
    branch = Branch("belt-7", "wont-start", "F4 open")
    assert branch.to_a_reading() == 3
    assert branch.typed("K1:14 NB:1 120")  # not asked for: it counts, is marked so, and uses the acceptance up
    assert branch.events[-1].data["source"] == "unasked"
    assert not branch.typed("0 0 0")
    assert trespasses(branch.desk, branch.events) == []


def test_an_acceptance_does_not_outlive_taking_back_leaving_or_switching() -> None:
    read = Branch("belt-7", "wont-start", "F4 open")
    assert read.to_a_reading() == 3
    again = read.copy()
    assert again.typed("0 0 0")
    again.say(Pressed("u", sheet_id(fold(again.events), Ui())))
    assert not again.typed("0 0 0")
    left = read.copy()
    left.write("resumed", {"who": "Ana"})
    assert not left.typed("0 0 0")
    other = read.copy()
    other.write("resumed", {"who": "Ben"})
    assert not other.typed("0 0 0")
    switched = read.copy()
    switched.write("power", {"on": True, "drawn_ms": DRAWN_MS})
    assert not switched.typed("0 0 0")
    assert read.typed("0 0 0")  # the twin: with nothing in between the very same words are taken


def test_a_key_that_came_too_early_accepts_nothing() -> None:
    branch = Branch("belt-7", "wont-start", "F4 open")
    branch.to_a_reading()
    while branch.events[-1].kind != "caution":
        branch.events.pop()
    branch.events.pop()
    state = fold(branch.events)
    early = decide(branch.desk, state, Ui(), Pressed("c", sheet_id(state, Ui()), DRAWN_MS - 1))
    assert isinstance(early, Refusal)
    assert isinstance(decide(branch.desk, state, Ui(), Pressed("c", sheet_id(state, Ui()), DRAWN_MS)), Decided)


# ----------------------------------------------------------------------------------------------- that the check can fail


@pytest.fixture
def fault() -> tuple[str, str]:
    return "belt-7", "KM1 coil open"


def test_a_program_that_skips_the_caution_is_caught(monkeypatch: pytest.MonkeyPatch, fault: tuple[str, str]) -> None:
    machine, name = fault
    for module in (deciding, rehearsing):
        monkeypatch.setattr(module, "caution_of", lambda desk, state, stage: None)
    walk = rehearse(nights.desk(machine), "wont-start", nights.suspect(name, machine))
    assert any("no caution accepted" in line for line in trespasses(nights.desk(machine), walk.events))


def test_a_program_that_accepts_a_caution_at_once_is_caught(
    monkeypatch: pytest.MonkeyPatch, fault: tuple[str, str]
) -> None:
    machine, name = fault
    for module in (deciding, mending, rehearsing):
        monkeypatch.setattr(module, "DRAWN_MS", 0)
    walk = rehearse(nights.desk(machine), "wont-start", nights.suspect(name, machine))
    assert any("accepted after 0 ms" in line for line in trespasses(nights.desk(machine), walk.events))


def test_a_program_that_skips_the_isolation_is_caught(monkeypatch: pytest.MonkeyPatch, fault: tuple[str, str]) -> None:
    machine, name = fault
    monkeypatch.setattr(staging, "_dead", lambda desk, state, then: then)
    walk = rehearse(nights.desk(machine), "wont-start", nights.suspect(name, machine))
    found = trespasses(nights.desk(machine), walk.events)
    assert any("dead work without: Open Q1" in line for line in found)
    assert any("not tested dead" in line for line in found)


@pytest.mark.parametrize("left_out", ["open Q1", "dead", "prove before", "prove after", "lock Q1"])
def test_one_step_of_the_isolation_left_out_is_caught(left_out: str) -> None:
    walk = played("belt-7", "wont-start", "KM1 coil open")
    events = [e for e in walk.events if not (e.kind == "isolation" and e.data["step"] == left_out)]
    assert len(events) < len(walk.events)
    assert trespasses(nights.desk("belt-7"), events)
