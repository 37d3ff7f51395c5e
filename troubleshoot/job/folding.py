"""A job is a fold over its events: this is the fold.

An event that was taken back (`retract`) is skipped; nothing is removed. Cautions, openings and retractions themselves
cannot be taken back. Taking up a job again (`resumed`) asks every caution and every isolation step again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from troubleshoot.diagnosis.reasoner import Repaired
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Meter, Seen, Told, Word
from troubleshoot.job.codec import get_item, get_situation, get_step, get_understood
from troubleshoot.job.reasons import PASSING, REASONS
from troubleshoot.job.state import (
    FAILED,
    FIRM,
    KEPT,
    LONG_MS,
    NONE_THERE,
    WRITTEN_BACK,
    Cannot,
    Clip,
    State,
    Temporary,
    Watch,
)
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
                state = replace(
                    state, isolation={}, tested=frozenset(), opened=frozenset(), power_doubted=not state.power
                )
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
    if state.clip is not None and event.kind in ("reading", "cannot", "amended", "resumed"):
        state = replace(state, clip=_clip_after(state.clip, event))
    tested = event.kind == "isolation" and ("readings" in event.data or event.data.get("proves"))
    if (
        event.kind in ("power", "stopped", "repaired", "isolation", "resumed", "amended", "clip", "reset")
        and not tested
    ):
        state = replace(state, last_operate=event.n)
    state = replace(state, last=event.n, asking=state.asking if event.kind in ("mark", "marked all") else event.n)
    if event.kind in ("power", "stopped") or (event.kind == "isolation" and event.data["step"] not in ("tell", "stop")):
        state = replace(state, power_doubted=False)
    if event.kind == "choose" and event.data.get("searched"):
        # The program's own reckoning is nothing that a person said: it goes with what was said before it.
        return replace(state, reckoned=(*state.reckoned, event.n))
    if event.kind in FIRM:
        return state
    return replace(state, undoable=(*state.undoable, event.n), reckoned=())


def _apply(state: State, event: Happened) -> State:
    data = event.data
    match event.kind:
        case "opened":
            return replace(
                state, who=data["who"], workers=(data["who"],), machine=data["machine"], complaint=data["complaint"], said=data["said"],
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
            return replace(state, aliases=(*state.aliases, *data.get("gives way", ()), data, *also))
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
            return replace(
                state, accepted=data["key"], warned=(readings, get_situation(data["situation"])),
                warned_locked=bool(data.get("locked")),
            )  # fmt: skip
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
        case "clip":
            return _clip(state, event)
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
        case "failed":
            return _failed(state, data)
        case "repaired":
            one = Repaired(data["group"], data["suspect"])
            return replace(
                state, repaired=(*state.repaired, one), repairs=(*state.repairs, data), proof={}, uneven={}, proving=True,
                confirmed={}, unconfirmed=None, chosen=None, marks={}, source="tree",
            )  # fmt: skip
        case "reset":
            return replace(state, resets=(*state.resets, (str(data["tag"]), event.n)), accepted="")
        case "power":
            return replace(
                state, power=bool(data["on"]), isolation={}, tested=frozenset(), accepted="", opened=frozenset(),
                their_locks={}, blocks={},
            )  # fmt: skip
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
            waits = state.waits
            if data["how"].startswith(OPEN_ENDS):
                waits = (*waits, f"{data['how']}: {data.get('note', '')} ({state.who})")
            return replace(
                state, ended=data["how"], notes=(*state.notes, data.get("note", "")), wanted=rows, waits=waits
            )
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
        state, amended=(*state.amended, change), answers=answers, chosen=None, marks={}, confirmed={}, unconfirmed=None, isolation={},
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
    opened = {data["step"].removeprefix("open ")} if data["step"].startswith("open ") else set()
    blocks = {data["blocks"]: data.get("by", state.who)} if data.get("blocks") else {}
    return replace(
        state, isolation=done, tested=tested, tester_proved=state.tester_proved or proves,
        opened=state.opened | opened, blocks={**state.blocks, **blocks}, their_locks=_locks_left(state, data),
        # Telling people and stopping the machine leave the power on; from the first disconnect on it is off.
        power=state.power and data["step"] in ("tell", "stop"),
    )  # fmt: skip


def _clip(state: State, event: Happened) -> State:
    data, clip = event.data, state.clip
    if data["do"] == "begin":
        return replace(state, clip=Clip(get_step(data["step"])), accepted="")
    if clip is None:
        return state
    if data["do"] == "on":
        hangs = Temporary(data["what"], data["by"], event.n)
        return replace(state, clip=replace(clip, on=event.n), temporary=(*state.temporary, hangs), accepted="")
    left = tuple(t for t in state.temporary if t.n != clip.on)
    return replace(state, clip=None, temporary=left, put_back=(*state.put_back, data["what"]), chosen=None, accepted="")


def _clip_after(clip: Clip, event: Happened) -> Clip | None:
    """What is left of it: once they are on they come off, whatever became of the reading; before that it is given up."""
    if event.kind == "reading" and event.data["step"] != clip.step.id:
        return clip
    return replace(clip, over=True) if clip.on else None


def _failed(state: State, data: Mapping[str, Any]) -> State:
    """A tester that fails its proof after the dead test has proved nothing: it and all that was tested with it come again."""
    if not str(data["step"]).startswith("prove after"):
        return state
    kept = {step: said for step, said in state.isolation.items() if not step.startswith(("prove", "dead"))}
    return replace(state, isolation=kept, tested=frozenset(), tester_proved=False)


def _locks_left(state: State, data: Mapping[str, Any]) -> Mapping[str, frozenset[str]]:
    """Locks of those before, without those of whoever took them off in this step."""
    return {who: tags for who, tags in state.their_locks.items() if who != data.get("lock off")}


def _put_back(state: State, data: Mapping[str, Any]) -> State:
    left = tuple(t for t in state.temporary if t.n != data["of"])
    if state.clip is not None and state.clip.on == data["of"]:
        state = replace(state, clip=None)
    state = replace(state, put_back=(*state.put_back, *(t.what for t in state.temporary if t.n == data["of"])))
    if not data.get("again"):  # also in records from before this was asked
        return replace(state, temporary=left, putting=0)
    return replace(state, temporary=left, putting=0, proof={}, uneven={})


def _resumed(state: State, data: Mapping[str, Any]) -> State:
    who = str(data.get("who", state.who))
    same = who.casefold() == state.who.casefold()
    locks = {tag for step in state.isolation if (tag := step.removeprefix("lock ")) != step}
    theirs = {name: tags for name, tags in state.their_locks.items() if name.casefold() != who.casefold()}
    if locks and not same:
        theirs[state.who] = frozenset(locks) | theirs.get(state.who, frozenset())
    return replace(
        state, who=who, accepted="", isolation={}, tested=frozenset(), tester_proved=False, their_locks=theirs,
        warned=None, workers=state.workers if who in state.workers else (*state.workers, who),
        handed=(), handed_to="", cannot=tuple(c for c in state.cannot if c.reason not in PASSING),
        ended="" if state.ended.startswith(OPEN_ENDS) else state.ended,
        people_clear=state.people_clear and same and int(data.get("idle_ms", 0)) < LONG_MS,
    )  # fmt: skip


def _stopped(state: State, data: Mapping[str, Any]) -> State:
    if not data["how"]:
        return replace(state, runs_on=True)
    # The disconnect is open; that it is locked and all is dead is another matter, asked before hands go in.
    opened = " and ".join(data["disconnects"])
    done = {"stop": f"{data['how']}, by opening {opened}" if opened else data["how"]}
    done |= {f"open {tag}": "open already" for tag in data["disconnects"]}
    return replace(
        state, asked=state.asked | {"stop"}, runs_on=False, power=False, isolation=done, accepted="", runs_wild=(),
        opened=state.opened | frozenset(data["disconnects"]),
    )  # fmt: skip


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
            Word.COULDNT if shown == NONE_THERE else shown,
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
    against = (str(data["group"]), event.n) if data.get("group") and not data["agrees"] else None
    if state.power:
        # A reading with power on is made in a machine that was switched: steps of an isolation begun before are void.
        state = replace(state, isolation={}, tested=frozenset())
    if any(act.verb == "open" for act in at.acts):
        # Read with a disconnect off: it is closed again behind what power can do, and only said to be dead by its own steps.
        state = replace(state, power=False)
    return replace(
        state, kept=state.kept or data["step"] == KEPT, evidence=(*state.evidence, *seen), batch=batch, confirmed=confirmed, chosen=None, accepted="",
        unconfirmed=against, cost=state.cost + float(data["cost"]), trips=state.trips + 1,
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
    # What was seen without its readings goes on, and is handed over as not proved.
    proof = {**state.proof, data["check"]: bool(data["passed"]) and not data.get("left_out")}
    # Uneven currents do not say which part is bad: the run goes on, and they are handed over as not proved.
    uneven = {k: v for k, v in state.uneven.items() if k != data["check"]}
    uneven |= {data["check"]: float(data["uneven"])} if "uneven" in data else {}
    marks = {k: v for k, v in state.marks.items() if k[0] != data["check"]}
    state = replace(
        state, evidence=(*state.evidence, *seen), proof=proof, batch=batch, accepted="", marks=marks,
        uneven=uneven, proving=state.proving and (bool(data["passed"]) or "uneven" in data),
    )  # fmt: skip
    if not data.get("unbidden"):
        return state
    # From here on it is a machine that moves when it must not: stopped first, and not run again for evidence. Who saw
    # it stands there, so that nobody has to be asked which stop it was; the complaint that it began with stays as told.
    return replace(
        state, complaint=data["unbidden"], asked=state.asked | {"stop", "tried"}, runs_on=False,
        runs_wild=tuple(data.get("moves", ())),
    )  # fmt: skip
