"""Where a job stands and what it asks now. Worked out from the state alone; nothing is remembered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal

from troubleshoot.circuit.model import NamedSituation, Pin
from troubleshoot.diagnosis.confirm import is_dead
from troubleshoot.diagnosis.step import Step, unseen
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.faults.suspects import OUTSIDE, Suspect
from troubleshoot.job.asking import due_question
from troubleshoot.job.desk import Desk
from troubleshoot.job.reasons import WAITED_FOR
from troubleshoot.job.resetting import due_reset
from troubleshoot.job.seeing import (
    HELD_S,
    LIGHTS_S,
    LOOK_S,
    at_the_drive,
    by_hand,
    look_again,
    look_first,
    looks_the_same,
    unread_lights,
)
from troubleshoot.job.state import Clip, State, Temporary
from troubleshoot.job.stopping import distrusted
from troubleshoot.job.temporary import Holds, held_back, holds
from troubleshoot.safety.doings import UNBIDDEN
from troubleshoot.safety.isolation import THEIRS, Isolation, IsolationStep, as_it_stands
from troubleshoot.safety.proof import ProofCheck, readings_of
from troubleshoot.solve.meters import NEEDS_DEAD
from troubleshoot.trees.walk import Walk

SURE: Final = 0.95
"""Chance of one repair group at which the search stops and the confirming test is asked."""
TREE_SURE: Final = 0.80
"""The same where the tree itself says that it is time to confirm."""
STILL: Final = 0.90
"""Chance that must be left after the confirming test before anything is replaced."""
AGREED: Final = 0.60
"""The same, where that test agreed, before the search goes on and the power with it. What speaks against the leader then is a
point mistaken twice: its rivals are tested while all is dead, the page names what is not ruled out, and nobody isolates twice."""
RIVAL: Final = 0.05
"""Chance from which another repair is confirmed too, while the one that leads is in doubt."""
LOOK_FIRST: Final = 0.50
"""Chance of a condition from which it is looked at once more before anything is metered: that takes seconds and no live part."""
LOST: Final = 0.50
"""Chance of "something not in this model" at which the program says that it does not know."""
Name = Literal[
    "stop",
    "people",
    "last",
    "tried",
    "search",
    "confirm",
    "isolate",
    "repair",
    "putback",
    "clip",
    "unclip",
    "reset",
    "power",
    "proof",
    "handback",
    "stuck",
    "waiting",
    "handed",
    "watch",
    "watched",
    "ended",
]


@dataclass(frozen=True, slots=True)
class Stage:
    """What is asked now."""

    name: Name
    step: Step | None = None
    """For search and confirm: what to do."""
    group: str = ""
    """For confirm, isolate, repair: the repair group."""
    suspect: Suspect | None = None
    chance: float = 0.0
    check: ProofCheck | None = None
    isolation: Isolation | None = None
    wanted: tuple[Step, ...] = ()
    """For waiting: the steps that could be done if what stands in their way were not there."""
    beside: tuple[str, ...] = ()
    """For repair that is not sure: the repair groups that nothing read so far tells from this one."""
    next: str = ""
    """For isolate: id of the isolation step asked now; for reset: tag of what has tripped."""


def stage_of(desk: Desk, state: State) -> Stage:
    """The one place that decides what comes next."""
    known, found = desk.staged
    if known is not state:
        found = _stage_of(desk, state)
        desk.staged = state, found
    stage: Stage = found
    return stage


def _stage_of(desk: Desk, state: State) -> Stage:
    if state.ended:
        return Stage("ended")
    if state.handed:
        return Stage("handed")
    unbidden = state.complaint in UNBIDDEN and bool(desk.channels)
    if (unbidden and "stop" not in state.asked) or state.runs_wild:
        return Stage("stop")
    if not state.people_clear:
        return Stage("people")
    if due_question(state) is not None:
        return Stage("last")
    if unbidden and "tried" not in state.asked:
        return Stage("tried")
    if state.watch is not None:
        return Stage("watched")
    if state.putting and any(t.n == state.putting for t in state.temporary):
        return _putting_back(desk, state, [t for t in state.temporary if t.n == state.putting])
    if state.clip is not None:
        return _clipping(desk, state, state.clip)
    if state.proving:
        return _proving(desk, state)
    return _searching(desk, state)


def _clipping(desk: Desk, state: State, clip: Clip) -> Stage:
    """Leads on and off behind a whole isolation each; in between the one reading, with its caution as for any live one."""
    meter = next(i for i in clip.step.items if isinstance(i, Meter))
    if clip.over:
        off = replace(clip.step, words=f"Take the leads off {meter.red} and {meter.black}")
        return _dead(desk, state, Stage("unclip", step=off))
    if not clip.on:
        return _dead(desk, state, Stage("clip", step=clip.step))
    return Stage("search", step=clip.step) if state.power else power_on(desk, state)


def _proving(desk: Desk, state: State) -> Stage:
    if not state.power:
        return power_on(desk, state)
    if things := _held(state, "proof"):
        return _putting_back(desk, state, things)
    undone = desk.proof.undone(state.out)
    for check in desk.proof.checks:
        if check.id not in state.proof and check.id not in undone:
            return Stage("proof", check=check.by_eye if readings_of(check.id) in state.out else check)
    if state.chosen is not None:
        return _asking(desk, state, state.chosen)
    return Stage("handback")


def _searching(desk: Desk, state: State) -> Stage:
    belief = desk.belief(state)
    groups = desk.reasoner.groups(belief)
    outside = float(belief[-1])
    group, chance = next((g, p) for g, p in groups if g != OUTSIDE)
    suspect = desk.reasoner.likeliest(belief, group)
    found = Stage("confirm", group=group, suspect=suspect, chance=chance)
    if state.chosen is not None:
        return _asking(desk, state, state.chosen)
    if _away(desk, state):
        return Stage("watch", chance=chance)
    step = None
    if chance < (_still(state, group) if group in state.confirmed else SURE):
        walked = desk.walk(state) if state.source == "tree" else None
        if not (
            chance >= TREE_SURE and walked is not None and walked.step is not None and walked.step.kind == "confirm"
        ):
            # A fuse that has surely blown has nothing behind it to look at: off, and the dead test of it and its feed.
            dead_next = group not in state.confirmed and _tree_is_through(walked) and desk.blown(state) >= STILL
            step = None if dead_next and desk.confirm(group, state) is not None else next_step(desk, state)
        if step is None and outside > LOST:
            waits = _waiting(desk, state)
            return Stage("waiting", chance=chance, wanted=waits) if waits else Stage("stuck", chance=outside)
    if step is not None:
        seen_so = step.kind == "measure" and not suspect.broken and chance >= LOOK_FIRST
        again = look_again(desk, state, suspect, chance) if seen_so else None
        # A glance, no shaft turned by hand and no program compared: those come once the search is over.
        glance = again is not None and again.cost <= LIGHTS_S and not _hands_in(desk, again)
        return _asking(desk, state, again if glance and again is not None else step)
    if not suspect.broken or (step is None and by_hand(desk, suspect)):
        again = look_again(desk, state, suspect, chance) or unread_lights(desk, state, suspect)
        if again is not None:
            return _asking(desk, state, again)
        if _forbidden(desk, state, suspect):
            return Stage("waiting", group=group, chance=chance, wanted=_waiting(desk, state))
        ready = replace(found, name="repair", beside=looks_the_same(desk, suspect, dict(groups)))
        if at_the_drive(desk, suspect):
            return _dead(desk, state, ready)  # no hand goes to a drive with its power on
        if not state.power and _needs_power(desk, suspect):
            return power_on(desk, state)
        return ready
    # The leader is confirmed first; while that leaves it in doubt, so are its rivals, before anything is replaced.
    asked = [(group, chance)] + ([(g, p) for g, p in groups if g not in (group, OUTSIDE)] if chance < STILL else [])
    for one, p in asked:
        if one == group and f"confirm {one}" in state.out_for(WAITED_FOR) and one not in state.confirmed:
            # The test that was put off, not what is left of it without the points that need the permit.
            test = desk.confirm(one, _freed(state))
            return Stage("waiting", group=one, chance=p, wanted=(*((test,) if test else ()), *_waiting(desk, state)))
        if p < RIVAL or one in state.confirmed or f"confirm {one}" in state.out:
            continue
        first = look_first(desk, state, desk.reasoner.likeliest(belief, one), p)
        if first is not None:
            return _asking(desk, state, first)
        test = desk.confirm(one, state)
        if (
            test is None
            and one == group
            and state.out_for(WAITED_FOR)
            and (put_off := desk.confirm(one, _freed(state)))
        ):
            return Stage("waiting", group=one, chance=p, wanted=(put_off, *_waiting(desk, state)))
        if test is not None and test.kind == "measure":
            return _asking(desk, state, test)
        if test is not None:
            about = Stage("confirm", group=one, suspect=desk.reasoner.likeliest(belief, one), chance=p)
            if on_dead_parts(desk, test.items, test.situation):
                return _dead(desk, state, replace(about, step=test))
            return _asking(desk, state, test, about)
    # Nothing that can be done now tells more: before a part is replaced on suspicion, what is in the way is waited for.
    if chance < STILL and not state.confirmed.get(group) and (waits := _waiting(desk, state)):
        return Stage("waiting", group=group, chance=chance, wanted=waits)
    if chance < SURE:
        # Nothing asked so far rules these out; where a reading could, it has been asked (below `STILL`).
        found = replace(found, beside=tuple(g for g, p in groups if g not in (group, OUTSIDE) and p >= RIVAL))
    return _dead(desk, state, replace(found, name="repair"))


def _still(state: State, group: str) -> float:
    """What must be left of the leader after its own test, or the search goes on: more where that test did not agree."""
    return AGREED if state.confirmed.get(group) else STILL


def _away(desk: Desk, state: State) -> bool:
    """Whether what comes and goes is not there now and all has been looked at that costs nothing: then it is watched.

    Metering a machine that works proves nothing.
    """
    if state.complaint not in told.COMES_AND_GOES or state.phase != "working":
        return False
    walked = desk.walk(state) if state.source == "tree" else None
    return walked is None or walked.step is None or walked.step.kind not in ("look", "lights")


def _tree_is_through(walked: Walk | None) -> bool:
    """Whether the tree asks nothing more: it has come to its end, or there is none."""
    return walked is None or walked.step is None or walked.step.kind not in ("look", "lights", "measure")


def _waiting(desk: Desk, state: State) -> tuple[Step, ...]:
    """The trips that would tell more if a permit, another person, another meter or the hour allowed them."""
    if not state.out_for(WAITED_FOR):
        return ()
    return tuple(desk.trips(_freed(state)))


def _freed(state: State) -> State:
    """As if the permit, the person, the meter or the hour were there."""
    return replace(state, cannot=tuple(c for c in state.cannot if c.reason not in WAITED_FOR))


def _forbidden(desk: Desk, state: State, suspect: Suspect) -> bool:
    """Whether it is put right where nobody may go before a permit, a person or an hour is there."""
    devices, out = desk.machine.circuit.devices, state.out_for(WAITED_FOR)
    tags = (e.slot.partition(" ")[0] for e in suspect.edits)
    return any(tag in devices and devices[tag].place in out for tag in tags)


def _needs_power(desk: Desk, suspect: Suspect) -> bool:
    """Whether it can only be put right with power on: what is in a controller, or the disconnect itself."""
    devices, off = desk.machine.circuit.devices, desk.machine.disconnects
    slots = [e.slot for e in suspect.edits]
    return suspect.sort == "program" or any(s in off or (s in devices and devices[s].kind == "plc") for s in slots)


def _hands_in(desk: Desk, step: Step) -> tuple[str, ...]:
    """Tags of the devices that a step has the hands in."""
    names = [i.name for i in step.items if isinstance(i, Light | Look) and desk.machine.net.signs[i.name].hands]
    return tuple(dict.fromkeys(name.partition(" ")[0] for name in names))


def on_dead_parts(desk: Desk, items: Iterable[object], named: NamedSituation) -> bool:
    """Whether this is work on dead parts: the situation is dead, or an ohmmeter is asked for, whatever it is called."""
    return is_dead(desk.machine, named) or any(isinstance(i, Meter) and i.mode in NEEDS_DEAD for i in items)


def _asking(desk: Desk, state: State, step: Step, about: Stage | None = None) -> Stage:
    """A step that needs power asks for it first, should it be off."""
    metered = any(isinstance(i, Meter) for i in step.items)
    powered = metered or step.kind == "lights" or bool(step.situation.situation.acts)
    dead = on_dead_parts(desk, step.items, step.situation)
    # What stays live with the disconnect off needs it off: nothing is switched on for it.
    off = any(act.verb == "open" for act in step.situation.situation.acts)
    if powered and not dead and not off and not state.power:
        return power_on(desk, state)
    if powered and not dead and not off and (tag := due_reset(desk, state, step.situation)):
        return Stage("reset", step=step, next=tag)
    if about is not None:
        return replace(about, step=step)
    if (metered and dead) or _hands_in(desk, step):
        return _dead(desk, state, Stage("search", step=step))
    return Stage("search", step=step)


def power_on(desk: Desk, state: State) -> Stage:
    """Power comes back only once nothing is lifted, bridged or taken out any more."""
    things = _held(state, "power")
    return _putting_back(desk, state, things) if things else Stage("power")


def _held(state: State, step: Holds) -> list[Temporary]:
    hangs = state.clip.on if state.clip is not None else 0
    things = [t for t in state.temporary if t.n != hangs]  # leads that are clipped on to be read with power on
    first = held_back(tuple(t.what for t in things), step)
    return [t for t in things if t.what in first]


def _putting_back(desk: Desk, state: State, things: list[Temporary]) -> Stage:
    """What is in the circuit goes back on dead parts only; a value that is forced, or a switch, needs no isolation."""
    then = Stage("putback")
    if not needs_isolation(things):
        return then
    words = [w.strip(".,;()").upper() for t in things for w in t.what.split()]
    return _dead(desk, state, then, tuple(dict.fromkeys(desk.pins[w] for w in words if w in desk.pins)))


def needs_isolation(things: Iterable[Temporary]) -> bool:
    """Whether one of these is put back by a hand in the circuit."""
    return any(holds(t.what) == "power" or "motor" in t.what.casefold() for t in things)


def _dead(desk: Desk, state: State, then: Stage, work: tuple[Pin, ...] = ()) -> Stage:
    """Work on dead parts: only behind a finished isolation. work: where, if that follows neither from step nor group."""
    if then.name == "putback":
        points = work
    elif then.step is not None:
        metered = [p for i in then.step.items if isinstance(i, Meter) for p in (i.red, i.black)]
        handled = [p for tag in _hands_in(desk, then.step) for p in desk.pins.values() if p.device == tag]
        points = tuple(dict.fromkeys((*metered, *handled)))
    else:
        points = desk.points_of(then.group)
    plan = as_it_stands(
        desk.machine, desk.isolation(points), opened=state.opened, locks=_locks_asked(state), done=state.isolation,
        distrusted=distrusted(desk, state),
    )  # fmt: skip
    for step in plan.steps:
        if not is_isolated(state, step):
            return replace(then, name="isolate", isolation=plan, next=step.id)
    return then


def _locks_asked(state: State) -> dict[str, frozenset[str]]:
    """Whose lock hangs on what, and nobody's where it came off in this isolation."""
    gone = (step.removeprefix(THEIRS) for step in state.isolation if step.startswith(THEIRS))
    return {who: frozenset[str]() for who in gone} | dict(state.their_locks)


def is_isolated(state: State, step: IsolationStep) -> bool:
    """Whether an isolation step is done. A dead test is done for the readings that were taken, under whatever name."""
    if step.ask == "reading" and step.readings and not step.id.startswith("prove"):
        return state.tested.issuperset(step.readings)
    return step.id in state.isolation


def next_step(desk: Desk, state: State) -> Step | None:
    """The tree's next step, or the engine's; None when nothing left tells the repairs apart."""
    if state.source == "tree":
        walked = desk.walk(state)
        if walked is not None and walked.step is not None and walked.step.kind in ("look", "lights", "measure"):
            # Before any meter: whether it goes by hand, which splits what starts it from all the rest.
            by_hand = _in_hand(desk, state) if walked.step.kind == "measure" else None
            return by_hand or walked.step
    first = _first_looks(desk, state)
    if first is not None:
        return first
    if (by_hand := _in_hand(desk, state)) is not None:
        return by_hand
    trips = desk.trips(state)
    return trips[0] if trips else None


HAND: Final = "hand"
"""Name of the situation in which a switch has taken the place of what starts a machine by itself."""


def _in_hand(desk: Desk, state: State) -> Step | None:
    """Where a machine does not start by itself and has a switch for by hand: what it does there, or did when that was tried."""
    named = desk.machine.circuit.situations.get(HAND)
    shown = desk.shows(state.complaint)
    if named is None or state.complaint != "wont-start" or named == shown or named.name in state.out:
        return None
    signs = desk.machine.net.signs.values()
    moving = {d.tag for d in desk.machine.circuit.devices.values() if d.kind in ("motor", "contactor")}
    items = tuple(Look(s.name) for s in signs if s.kind == "look" and s.var in moving and s.name not in state.out)
    at = {(s.what, s.at) for s in state.evidence if s.epoch == state.epoch and s.phase == state.phase}
    looked = any(isinstance(s.what, Look) for s in state.evidence)
    if not looked or not items or any((i, named.situation) in at for i in items):
        return None
    return Step(
        "look", f"look {named.name}", items, named, "Does it go in hand? Who has tried it says so, without trying again",
        "What goes in hand has its power, its contactor and its overload contact right: what starts it is not.", cost=HELD_S,
    )  # fmt: skip


def _first_looks(desk: Desk, state: State) -> Step | None:
    """What costs nothing comes first: walk round, then the module face at rest, then again where the complaint shows."""
    shows = desk.shows(state.complaint)
    plans: list[tuple[Literal["look", "lights"], tuple[Light | Look, ...], NamedSituation, str, float]] = (
        [
            ("look", desk.looks(), desk.off, "Look, do not touch", LOOK_S),
            ("lights", desk.lights(), desk.places(state)[0], "Read every light", LIGHTS_S),
        ]
        if state.complaint in UNBIDDEN
        else [
            ("look", desk.looks(), desk.as_found, "Walk round once", LOOK_S),
            ("lights", desk.lights(), desk.at_rest, "Read every light", LIGHTS_S),
            ("lights", (*desk.lights(), *desk.looks()), shows, "Read every light again", HELD_S),
        ]
    )
    seen = {(s.what, s.at) for s in state.evidence if s.epoch == state.epoch and s.phase == state.phase}
    for kind, every, named, words, cost in plans:
        items = tuple(i for i in every if i.name not in state.out and unseen(i, named) not in state.out)
        if named.name in state.out or not items or any((i, named.situation) in seen for i in items):
            continue
        found = desk.as_found.situation
        if named is shows and not named.situation.acts and named.situation.hold == found.hold and found.hold:
            if any((i, found) in seen for i in items):
                continue  # it was walked round in just that state
        if kind == "lights" and named is desk.at_rest and any((i, desk.as_found.situation) in seen for i in items):
            continue
        return Step(
            kind, f"{kind} {named.name}", items, named, f"{words}, {named.words}",
            "Lights and looks cost seconds and settle about half of all calls.", cost=cost,
        )  # fmt: skip
    return None
