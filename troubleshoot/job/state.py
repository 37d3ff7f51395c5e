"""Where a job stands: everything that its events have said by now, as one value. Nothing about a job is kept anywhere else.

Which kinds of events can be taken back is said here; what each of them changes, in `folding`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.reasoner import Repaired
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Meter, Phase, Seen, Told

WRITTEN_BACK: Final = frozenset({"comment", "closed", "signed", "redacted"})
"""Kinds that a reader of the job writes; nothing of what was found or done changes by them."""
FIRM: Final = frozenset({"opened", "described", "resumed", "moved", "caution", "retract", "clock"}) | WRITTEN_BACK
"""Kinds that cannot be taken back."""
LONG_MS: Final = 3_600_000
"""After so long without an answer nobody is known to be clear and nothing proved dead. Common practice, no published
source: a meal break is an interruption, after which the dead test is made again."""
FAILED: Final = "did NOT stop it"
"""What is said of a stop that was tried and failed."""
KEPT: Final = "good readings"
"""Step id of the readings that are kept for next time."""


@dataclass(frozen=True, slots=True)
class Cannot:
    """Something that could not be done, and why."""

    words: str
    reason: str
    """One of `REASONS`."""
    targets: tuple[str, ...]
    n: int = 0
    """Number of the event that said it."""


@dataclass(frozen=True, slots=True)
class Temporary:
    """Something that was changed for the work and must be put back."""

    what: str
    by: str
    n: int


@dataclass(frozen=True)
class Watch:
    """A machine that runs and is watched."""

    rate: float
    """Failures an hour, or in one start where `starts`."""
    starts: bool
    said: str
    clean: float = 0.0
    """Hours, or starts, that it has gone without failing since."""


@dataclass(frozen=True)
class Clip:
    """A reading for which the leads are clipped on while it is locked off and dead."""

    step: Step
    """With that one reading."""
    on: int = 0
    """Number of the event that says that they are on; 0: not yet."""
    over: bool = False
    """It was read, or will not be: they come off."""


NONE_THERE: Final = "there is none"
"""What a row shows where a person says that the thing it stands for is not on this machine."""


@dataclass(frozen=True)
class State:
    """Where a job stands."""

    who: str = ""
    machine: str = ""
    complaint: str = ""
    said: str = ""
    """The complaint in the person's own words."""
    runs_on: bool = False
    """It was told that it runs with its disconnect open."""
    people_clear: bool = False
    asked: frozenset[str] = frozenset()
    """Questions to the operator that have been answered."""
    evidence: tuple[Seen, ...] = ()
    repaired: tuple[Repaired, ...] = ()
    repairs: tuple[Mapping[str, Any], ...] = ()
    """What was done at each repair: group, act, note."""
    marks: Mapping[tuple[str, str], str] = field(default_factory=dict)
    """(step id, item name) to what was marked on a screen not yet closed with Enter."""
    cannot: tuple[Cannot, ...] = ()
    source: str = "tree"
    chosen: Step | None = None
    accepted: str = ""
    """Key of the caution accepted last; it counts for one sheet only."""
    warned: tuple[tuple[Meter, ...], NamedSituation] | None = None
    """Readings and situation of the caution accepted last, so that the next one says first what is new."""
    warned_locked: bool = False
    """That one was for a dead test."""
    isolation: Mapping[str, Any] = field(default_factory=dict)
    """Isolation steps done since power was last on, with what was read."""
    tested: frozenset[Meter] = frozenset()
    """Readings that were proved dead since power was last on: a dead test counts for its own conductors only."""
    clip: Clip | None = None
    """Leads that are clipped on dead for one reading, or will be."""
    phase: Phase = "failing"
    """What the readings from now on are of: the failed machine, one that works, or nobody knows."""
    watch: Watch | None = None
    """What it is watched by, from the end of one visit to the beginning of the next."""
    power: bool = True
    resets: tuple[tuple[str, int], ...] = ()
    """What had tripped and was reset, each time, with the number of that event."""
    power_doubted: bool = False
    """That power came back was said and taken back: nobody knows how the disconnect stands before it is looked at."""
    tester_proved: bool = False
    confirmed: Mapping[str, bool] = field(default_factory=dict)
    """Repair groups that had their confirming test this epoch: True where it agreed, False where it did not."""
    unconfirmed: tuple[str, int] | None = None
    """The repair group whose confirming test did not agree, and the number of its event, where that was the last one."""
    proof: Mapping[str, bool] = field(default_factory=dict)
    """Checks of the proof run since the last repair."""
    uneven: Mapping[str, float] = field(default_factory=dict)
    """Checks of the proof run that failed by their currents alone, with how uneven those were, percent."""
    temporary: tuple[Temporary, ...] = ()
    """Wires lifted, values forced, covers off: what must be put back before the machine is handed back."""
    put_back: tuple[str, ...] = ()
    """What was temporary and is as it was."""
    putting: int = 0
    """Number of the temporary thing that is to be put back now, behind an isolation; 0: none."""
    handed: tuple[str, ...] = ()
    """The page as it was handed over, until somebody takes the job up."""
    handed_to: str = ""
    proving: bool = False
    """A repair was made and power is back: the proof run is on."""
    runs_wild: tuple[str, ...] = ()
    """What moved in a check of the proof run when it had to stand: its disconnect is opened before anything else."""
    opened: frozenset[str] = frozenset()
    """Disconnects, and supplies without one, that were opened since power was last on, by whomever."""
    their_locks: Mapping[str, frozenset[str]] = field(default_factory=dict)
    """Whoever worked here before to what their own lock still hangs on."""
    blocks: Mapping[str, str] = field(default_factory=dict)
    """Loads that were blocked or secured for the work, in words, with by whom."""
    workers: tuple[str, ...] = ()
    """Everybody who worked on it, in order."""
    waits: tuple[str, ...] = ()
    """What the job has waited for, each in words with who wrote it."""
    batch: int = 0
    cost: float = 0.0
    trips: int = 0
    ended: str = ""
    wanted: tuple[tuple[str, str, str], ...] = ()
    """Readings that the job waits for: where, how it must stand, what should be there."""
    notes: tuple[str, ...] = ()
    last: int = 0
    asking: int = 0
    """Number of the last event that was more than a mark in a list: until the next one the same thing is asked."""
    last_operate: int = 0
    """Number of the event that changed the machine last: a caution accepted before it does not count."""
    undoable: tuple[int, ...] = ()
    """Numbers of what a person said and may take back, oldest first."""
    reckoned: tuple[int, ...] = ()
    """Numbers of what the program has put in its place by itself since then: taken back with it."""
    kept: bool = False
    """Good readings were taken after the proof, to be kept for next time."""
    answers: Mapping[str, str] = field(default_factory=dict)
    """What was answered about the machine when it was described, amendments included; empty where it was not so made."""
    past: Mapping[str, int] = field(default_factory=dict)
    """Confirmed repairs of this machine before the job, by group, as they were known when it began: what its suspicion
    starts from, then and at every replay."""
    amended: tuple[Mapping[str, Any], ...] = ()
    """Changes of the description, oldest first (`machine.amending.get_change`)."""
    aliases: tuple[Mapping[str, Any], ...] = ()
    """What is printed where the description says otherwise (`job.amending.get_alias`)."""

    @property
    def worked_on(self) -> bool:
        """Whether it was told that somebody worked on the machine last."""
        return any(
            isinstance(s.what, Told) and s.what.question == told.LAST.id and s.understood == told.WORKED_ON
            for s in self.evidence
        )

    @property
    def epoch(self) -> int:
        """Repairs so far."""
        return len(self.repaired)

    @property
    def liftable(self) -> tuple[Cannot, ...]:
        """What could not be done and may be possible later; what was refused as unsafe is not among it."""
        return tuple(c for c in self.cannot if c.reason != "unsafe")

    def out_for(self, reasons: frozenset[str]) -> frozenset[str]:
        """Pins, places and situations that cannot be used for one of these reasons only."""
        others = {t for c in self.cannot if c.reason not in reasons for t in c.targets}
        return frozenset(t for c in self.cannot if c.reason in reasons for t in c.targets) - others

    @property
    def out(self) -> frozenset[str]:
        """Pins, places and situations that cannot be used."""
        return frozenset(t for c in self.cannot for t in c.targets)
