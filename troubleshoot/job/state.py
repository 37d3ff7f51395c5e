"""A job is a fold over its events: this is the fold. Nothing about a job is kept anywhere else.

An event that was taken back (`retract`) is skipped; nothing is removed. Cautions, openings and retractions themselves
cannot be taken back. Taking up a job again (`resumed`) asks every caution and every isolation step again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.diagnosis.reasoner import Repaired
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Meter, Phase, Seen, Told
from troubleshoot.job.codec import get_item, get_situation, get_step, get_understood
from troubleshoot.job.reasons import PASSING, REASONS
from troubleshoot.log.standing import OPEN_ENDS, Happened, retracted

if TYPE_CHECKING:
    from dataclasses import replace
else:

    def replace(one: Any, **changes: Any) -> Any:
        """As `dataclasses.replace`, for what has no slots and nothing to do when it is made: a tenth of the time.

        A job is folded from hundreds of events, each of which changes three or four of forty fields.
        """
        unknown = changes.keys() - one.__dict__.keys()
        if unknown:
            raise TypeError(f"{type(one).__name__} has no {', '.join(sorted(unknown))}")
        new = object.__new__(type(one))
        new.__dict__.update(one.__dict__, **changes)
        return new


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
    isolation: Mapping[str, Any] = field(default_factory=dict)
    """Isolation steps done since power was last on, with what was read."""
    tested: frozenset[Meter] = frozenset()
    """Readings that were proved dead since power was last on: a dead test counts for its own conductors only."""
    phase: Phase = "failing"
    """What the readings from now on are of: the failed machine, one that works, or nobody knows."""
    watch: Watch | None = None
    """What it is watched by, from the end of one visit to the beginning of the next."""
    power: bool = True
    tester_proved: bool = False
    confirmed: Mapping[str, bool] = field(default_factory=dict)
    """Repair groups that had their confirming test this epoch: True where it agreed, False where it read as healthy."""
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
    batch: int = 0
    cost: float = 0.0
    trips: int = 0
    ended: str = ""
    wanted: tuple[tuple[str, str, str], ...] = ()
    """Readings that the job waits for: where, how it must stand, what should be there."""
    notes: tuple[str, ...] = ()
    last: int = 0
    last_operate: int = 0
    """Number of the event that changed the machine last: a caution accepted before it does not count."""
    undoable: tuple[int, ...] = ()
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


def fold(events: Sequence[Happened]) -> State:
    """The state of a job after its events."""
    gone = retracted(events)
    powered = {event.n for event in events if event.kind == "power"}
    state = State()
    for event in events:
        if event.n not in gone:
            state = then(state, event)
            if event.kind == "retract" and not powered.isdisjoint(int(n) for n in event.data["of"]):
                # Words are taken back, not volts: it may have had its power for a while. Dead is what is proved dead anew.
                state = replace(state, isolation={}, tested=frozenset())
    return replace(state, last=events[-1].n if events else 0)


@dataclass(frozen=True, slots=True)
class Folded:
    """The state after so many events of a log, so that the next one costs one step and not all of them again."""

    count: int = 0
    state: State = field(default_factory=State)

    def on(self, events: Sequence[Happened]) -> Folded:
        """The same after all of these, of which the first `count` are those that it knows."""
        new = events[self.count :]
        if any(event.kind == "retract" for event in new):
            return Folded(len(events), fold(events))  # what is taken back is taken out of the middle
        state = self.state
        for event in new:
            state = then(state, event)
        return Folded(len(events), state)


def then(state: State, event: Happened) -> State:
    """The state after one more event that is not taken back."""
    state = _apply(state, event)
    if event.kind in ("power", "stopped", "repaired", "isolation", "resumed", "amended"):
        state = replace(state, last_operate=event.n)
    undoable = state.undoable if event.kind in FIRM else (*state.undoable, event.n)
    return replace(state, last=event.n, undoable=undoable)


def _apply(state: State, event: Happened) -> State:
    data = event.data
    match event.kind:
        case "opened":
            return replace(
                state, who=data["who"], machine=data["machine"], complaint=data["complaint"], said=data["said"],
                past=data.get("past", {}),
                evidence=(Seen(
                    Told(told.COMPLAINT), data["said"], data["complaint"], get_situation(data["shows"]).situation,
                    "operator", event=event.n,
                ),),
            )  # fmt: skip
        case "resumed":
            return _resumed(state, data)
        case "complaint":
            first = Seen(
                Told(told.COMPLAINT), state.said, data["complaint"], get_situation(data["shows"]).situation, "operator",
                event=event.n,
            )  # fmt: skip
            return replace(
                state, complaint=data["complaint"], evidence=(first, *state.evidence[1:]), runs_on=False,
                asked=state.asked - {"stop", "tried"},
            )  # fmt: skip
        case "described":
            return replace(state, answers=dict(data["answers"]))
        case "amended":
            return _amended(state, data)
        case "alias":
            also = (data["with"],) if "with" in data else ()
            return replace(state, aliases=(*state.aliases, data, *also))
        case "people":
            return replace(state, people_clear=bool(data["clear"]))
        case "stopped":
            return _stopped(state, data)
        case "tried":
            return _tried(state, event)
        case "told":
            return _told(state, event)
        case "mark":
            return replace(state, marks={**state.marks, (data["step"], data["item"]): data["shown"]})
        case "marked all":
            kept = {k: v for k, v in state.marks.items() if k[0] != data["step"] or k[1] not in data["items"]}
            return replace(
                state, marks=kept | {(data["step"], i): data["shown"] for i in data["items"] if data["shown"]}
            )
        case "looked":
            return _looked(state, event)
        case "caution":
            readings = tuple(i for i in (get_item(d) for d in data["readings"]) if isinstance(i, Meter))
            return replace(state, accepted=data["key"], warned=(readings, get_situation(data["situation"])))
        case "reading":
            return _reading(state, event)
        case "cannot":
            # The first logs kept the reason in words.
            reason = next((r.name for r in REASONS.values() if r.words == data["reason"]), data["reason"])
            new = Cannot(data["words"], reason, tuple(data["targets"]), event.n)
            return replace(state, cannot=(*state.cannot, new), chosen=None)
        case "can":
            return replace(state, cannot=tuple(c for c in state.cannot if c.n != data["of"]), chosen=None)
        case "temporary":
            return replace(state, temporary=(*state.temporary, Temporary(data["what"], data["by"], event.n)))
        case "putting back":
            return replace(state, putting=data["of"])
        case "put back":
            return _put_back(state, data)
        case "handover":
            return replace(state, handed=tuple(data["page"]), handed_to=data["to"], accepted="")
        case "choose":
            chosen = get_step(data["step"]) if data.get("step") else None
            return replace(state, source=data["source"], chosen=chosen)
        case "isolation":
            return _isolated(state, data)
        case "repaired":
            one = Repaired(data["group"], data["suspect"])
            return replace(
                state, repaired=(*state.repaired, one), repairs=(*state.repairs, data), proof={}, uneven={}, proving=True,
                confirmed={}, chosen=None, marks={}, source="tree",
            )  # fmt: skip
        case "power":
            return replace(state, power=bool(data["on"]), isolation={}, tested=frozenset(), accepted="")
        case "proved":
            return _proved(state, event)
        case "phase":
            return replace(state, phase=data["to"], watch=None)
        case "watched":
            return replace(state, watch=replace(state.watch, clean=float(data["clean"])) if state.watch else None)
        case "ended":
            if data.get("watch"):
                kept = data["watch"]
                state = replace(state, watch=Watch(float(kept["rate"]), bool(kept["starts"]), kept["said"]))
            rows = tuple((str(a), str(b), str(c)) for a, b, c in data.get("wanted", ()))
            return replace(state, ended=data["how"], notes=(*state.notes, data.get("note", "")), wanted=rows)
        case "retract":
            # What was read after the caution is taken back, so its acceptance is used up: the next reading has its own.
            return replace(state, accepted="")
        case "note":
            return replace(state, notes=(*state.notes, data["text"]))
        case kind if kind in WRITTEN_BACK:
            # Whoever worked on it was away while it was read, however short the silence since that writing is.
            return replace(state, people_clear=False, accepted="")
        case _:
            return state  # a kind of a later program is shown in the log, never dropped; it changes nothing here


def _amended(state: State, data: Mapping[str, Any]) -> State:
    """Another description: what was planned, confirmed and proved dead by the old one is void, what was read is not."""
    change = data["change"]
    answers = change["answers"] if change["is"] == "answers" else state.answers
    return replace(
        state, amended=(*state.amended, change), answers=answers, chosen=None, marks={}, confirmed={}, isolation={},
        tested=frozenset(), accepted="", warned=None, proof={},
    )  # fmt: skip


def _isolated(state: State, data: Mapping[str, Any]) -> State:
    done = {**state.isolation, data["step"]: data.get("said", "")}
    proves = bool(data.get("proves"))
    tested = state.tested
    if not proves and data.get("readings"):
        tested |= {i for i in (get_item(d) for d in data["readings"]) if isinstance(i, Meter)}
        # The tester is proved again after every dead test, also after one for more points later on.
        done = {step: said for step, said in done.items() if not step.startswith("prove after")}
    return replace(
        state, isolation=done, tested=tested, tester_proved=state.tester_proved or proves,
        # Telling people and stopping the machine leave the power on; from the first disconnect on it is off.
        power=state.power and data["step"] in ("tell", "stop"),
    )  # fmt: skip


def _put_back(state: State, data: Mapping[str, Any]) -> State:
    left = tuple(t for t in state.temporary if t.n != data["of"])
    state = replace(state, put_back=(*state.put_back, *(t.what for t in state.temporary if t.n == data["of"])))
    if not data.get("again"):  # also in records from before this was asked
        return replace(state, temporary=left, putting=0)
    return replace(state, temporary=left, putting=0, proof={}, uneven={})


def _resumed(state: State, data: Mapping[str, Any]) -> State:
    return replace(
        state, who=data.get("who", state.who), accepted="", isolation={}, tested=frozenset(), tester_proved=False,
        handed=(), handed_to="", cannot=tuple(c for c in state.cannot if c.reason not in PASSING),
        ended="" if state.ended.startswith(OPEN_ENDS) else state.ended,
        people_clear=state.people_clear and int(data.get("idle_ms", 0)) < LONG_MS,
    )  # fmt: skip


def _stopped(state: State, data: Mapping[str, Any]) -> State:
    if not data["how"]:
        return replace(state, runs_on=True)
    # The disconnect is open; that it is locked and all is dead is another matter, asked before hands go in.
    opened = " and ".join(data["disconnects"])
    done = {"stop": f"{data['how']}, by opening {opened}" if opened else data["how"]}
    done |= {f"open {tag}": "open already" for tag in data["disconnects"]}
    return replace(state, asked=state.asked | {"stop"}, runs_on=False, power=False, isolation=done, accepted="")


def _tried(state: State, event: Happened) -> State:
    """What the operator saw when a stop was tried; the complaint then stands for the stop that failed."""
    seen: list[Seen] = []
    failed = None
    for _, value, item, shown, situation in event.data["items"]:
        if shown:
            at = get_situation(situation).situation
            seen.append(Seen(get_item(item), value, shown, at, "operator", epoch=state.epoch, event=event.n))
            failed = failed or (at if value == FAILED else None)
    evidence = state.evidence
    if failed is not None and evidence and isinstance(evidence[0].what, Told):
        evidence = (dataclasses.replace(evidence[0], at=failed), *evidence[1:])
    marks = {k: v for k, v in state.marks.items() if k[0] != "tried"}
    return replace(state, asked=state.asked | {"tried"}, evidence=(*evidence, *seen), marks=marks)


def _told(state: State, event: Happened) -> State:
    data = event.data
    asked = state.asked | {data["question"]}
    if data["question"] == told.NOW.id:
        state = replace(state, phase=data["answer"] or "unknown")
    if not data["answer"]:
        return replace(state, asked=asked)
    seen = Seen(
        Told(data["question"]), data["said"], data["answer"], state.evidence[0].at, "operator", epoch=state.epoch,
        event=event.n,
    )  # fmt: skip
    return replace(state, asked=asked, evidence=(*state.evidence, seen))


def _looked(state: State, event: Happened) -> State:
    data = event.data
    at = get_situation(data["situation"]).situation
    seen = tuple(
        Seen(
            get_item(item),
            shown,
            shown,
            at,
            "asked" if marked else "by-exception",
            epoch=state.epoch,
            phase=state.phase,
            event=event.n,
        )
        for item, shown, marked in data["items"]
        if shown
    )
    marks = {k: v for k, v in state.marks.items() if k[0] != data["step"]}
    return replace(
        state, evidence=(*state.evidence, *seen), marks=marks, cost=state.cost + float(data["cost"]), accepted=""
    )


def _reading(state: State, event: Happened) -> State:
    data = event.data
    batch = state.batch + 1
    at = get_situation(data["situation"]).situation
    seen = tuple(
        Seen(
            get_item(item), said, get_understood(understood), at, data["source"], state.tester_proved, batch, state.epoch,
            state.phase, bool(data["shown"]), event.n,
        )
        for item, said, understood in data["items"]
    )  # fmt: skip
    confirmed = {**state.confirmed, data["group"]: bool(data["agrees"])} if data.get("group") else state.confirmed
    if state.power:
        # A reading with power on is made in a machine that was switched: steps of an isolation begun before are void.
        state = replace(state, isolation={}, tested=frozenset())
    if any(act.verb == "open" for act in at.acts):
        # Read with a disconnect off: it is closed again behind what power can do, and only said to be dead by its own steps.
        state = replace(state, power=False)
    return replace(
        state, kept=state.kept or data["step"] == KEPT, evidence=(*state.evidence, *seen), batch=batch, confirmed=confirmed, chosen=None, accepted="",
        cost=state.cost + float(data["cost"]), trips=state.trips + 1,
    )  # fmt: skip


def _proved(state: State, event: Happened) -> State:
    data = event.data
    at = get_situation(data["situation"]).situation
    batch = state.batch + 1
    seen = tuple(
        Seen(
            get_item(item), said, get_understood(understood), at, "asked", state.tester_proved, batch, state.epoch,
            state.phase, True, event.n,
        )
        for item, said, understood in data["items"]
    )  # fmt: skip
    proof = {**state.proof, data["check"]: bool(data["passed"])}
    # Uneven currents do not say which part is bad: the run goes on, and they are handed over as not proved.
    uneven = {k: v for k, v in state.uneven.items() if k != data["check"]}
    uneven |= {data["check"]: float(data["uneven"])} if "uneven" in data else {}
    marks = {k: v for k, v in state.marks.items() if k[0] != data["check"]}
    return replace(
        state, evidence=(*state.evidence, *seen), proof=proof, batch=batch, accepted="", marks=marks,
        uneven=uneven, proving=state.proving and (bool(data["passed"]) or "uneven" in data),
    )  # fmt: skip
