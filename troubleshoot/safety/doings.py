"""Situations made from the roles of a machine: started, stopped, tripped; the same on every machine that has the roles."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from troubleshoot.circuit.model import Act, NamedSituation, Situation
from troubleshoot.machine import Machine
from troubleshoot.safety.motion import TURNS
from troubleshoot.solve.settle import standing_many

SEEING = ("process switch", "two-wire sensor", "three-wire sensor")
"""Kinds that the process moves, not a hand."""


JOG: Final = "jog"
"""Position of a mode switch in which a machine runs only while its button is held."""
UNBIDDEN: Final = frozenset({"wont-stop", "starts-itself", "jog-latches", "brake-slips"})
"""Complaints of a machine that moves when it must not: it is stopped first, and nobody is asked to run it for evidence."""


@dataclass(frozen=True, slots=True)
class Run:
    """One way in which a whole machine runs."""

    acts: tuple[Act, ...]
    let_go: tuple[Act, ...] = ()
    """Where it runs only while a button is held: that button let go."""
    turns: frozenset[tuple[str, str]] = frozenset()
    """Which motors turn, and which way."""


@dataclass(frozen=True, slots=True)
class Doings:
    """Who does what on a machine: tags by what they are for, each with every device that has it."""

    starts: tuple[str, ...]
    stops: tuple[str, ...]
    emergency_stops: tuple[str, ...]
    overloads: tuple[str, ...]
    disconnects: tuple[str, ...]
    modes: tuple[str, ...]
    resets: tuple[str, ...]
    """Reset buttons of safety circuits: pressed and let go before anything can start."""
    runs: tuple[Run, ...] = ()
    """How a whole machine runs: what turns most first, none that turns no more than another."""

    def ready(self) -> tuple[Act, ...]:
        """Every reset pressed and let go."""
        return tuple(a for tag in self.resets for a in (Act("press", tag), Act("release", tag)))

    def running(self) -> tuple[Act, ...]:
        """The first of `runs`; where it does not run at all, reset and start pressed and let go."""
        return self.runs[0].acts if self.runs else (*self.ready(), *_pressed(self.starts[:1]))

    def started(self, start: str) -> tuple[Act, ...]:
        """Up to one start button pressed, after whatever must run before it."""
        press = Act("press", start)
        run = next((run.acts for run in self.runs if press in run.acts), (*self.ready(), press))
        return run[: run.index(press) + 1]

    def hold_to_run(self, start: str) -> bool:
        """Whether the machine runs only while this button is held."""
        return any(Act("release", start) in run.let_go for run in self.runs)

    def stopped(self) -> tuple[Act, ...]:
        """Stop pressed and let go."""
        return tuple(a for tag in self.stops[:1] for a in (Act("press", tag), Act("release", tag)))


def doings(machine: Machine) -> Doings:
    """What a machine has, from its roles; overloads, emergency stops and disconnects also by their kind."""
    kept = machine.net.scratch.get("doings")
    if kept is None:
        has = _by_role(machine)
        kept = machine.net.scratch["doings"] = replace(has, runs=_runs(machine, has))
    assert isinstance(kept, Doings)
    return kept


def _by_role(machine: Machine) -> Doings:
    return Doings(
        machine.having("start"),
        machine.having("stop"),
        machine.having("emergency stop", "emergency stop", "pull cord"),
        machine.having("overload", "overload"),
        machine.disconnects,
        tuple(t for t in machine.having("mode", "selector") if machine.circuit.devices[t].kind == "selector"),
        machine.having("reset"),
    )


def _pressed(tags: tuple[str, ...]) -> tuple[Act, ...]:
    return tuple(a for tag in tags for a in (Act("press", tag), Act("release", tag)))


def _runs(machine: Machine, has: Doings) -> tuple[Run, ...]:
    found: list[Run] = []
    for tag in has.starts:
        held, release = (*has.ready(), Act("press", tag)), Act("release", tag)
        found += [Run((*held, release)), Run(held, (release,))]
    if len(has.starts) > 1:
        found.append(Run((*has.ready(), *_pressed(has.starts))))
    if not has.starts:
        found += [Run((act,)) for act in (*process_moves(machine), *mode_moves(machine, has))]
    turning = [replace(run, turns=turns_after(machine, run.acts)) for run in found]
    out: list[Run] = []
    # What runs by itself before what must be held, so that a button that may be let go is.
    for run in sorted(turning, key=lambda run: (-len(run.turns), bool(run.let_go))):
        if run.turns and not any(run.turns <= other.turns for other in out):
            out.append(run)
    return tuple(out)


def turns_after(machine: Machine, acts: tuple[Act, ...]) -> frozenset[tuple[str, str]]:
    """Which motors turn on a whole machine after these acts, and which way."""
    (found,) = standing_many(machine.net, [((), after(*acts))])
    return frozenset(
        (motor.var, state[motor.var])
        for motor in machine.net.motors
        for standing in found
        for state in standing.states
        if state[motor.var] in TURNS
    )


def process_moves(machine: Machine) -> Iterator[Act]:
    """Every limit switch, float and sensor moved to where it usually is not."""
    for tag, device in machine.circuit.devices.items():
        if device.kind in SEEING:
            yield from _moves(machine, tag)


def mode_moves(machine: Machine, has: Doings) -> Iterator[Act]:
    """Every mode switch turned to where it usually is not."""
    for tag in has.modes:
        yield from _moves(machine, tag)


def _moves(machine: Machine, tag: str) -> Iterator[Act]:
    for position in machine.net.controls[tag].positions:
        if position != machine.net.initial[tag]:
            yield Act("put", tag, position)


def to_and_fro(machine: Machine, tag: str) -> tuple[Act, Act]:
    """The act that moves a button, a head or a cord, and the one that puts it back."""
    if "pulled" in machine.net.controls[tag].positions:
        return Act("pull", tag), Act("reset", tag)
    return Act("press", tag), Act("release", tag)


def by_role(machine: Machine) -> Mapping[str, NamedSituation]:
    """Those of `BY_ROLE` for which the machine has the roles."""
    kept = machine.net.scratch.get("by role")
    if kept is None:
        kept = machine.net.scratch["by role"] = MappingProxyType(_situations(machine, doings(machine)))
    assert isinstance(kept, Mapping)
    return kept


def _situations(machine: Machine, has: Doings) -> dict[str, NamedSituation]:
    off = tuple(Act("open", tag) for tag in has.disconnects)
    stop = tuple(Act("press", tag) for tag in has.stops[:1])
    head = tuple(to_and_fro(machine, tag)[0] for tag in has.emergency_stops[:1])
    run = has.runs[0].acts if has.runs else ()
    let_go = has.runs[0].let_go if has.runs else ()
    held = 2 if let_go else 1
    jog = tuple(Act("put", t, JOG) for t in has.modes[:1] if JOG in machine.net.controls[t].positions)
    press = tuple(Act("press", tag) for tag in has.starts[:1])
    let = tuple(Act("release", a.device) for a in press)
    waiting = tuple(Act("press", tag) for tag in machine.having("waiting start")[:1])
    before = has.started(waiting[0].device) if waiting else ()
    second, third = (
        (has.started(tag), f"{machine.circuit.devices[tag].words} held by a helper") if tag else ((), "")
        for tag in (*has.starts, "", "", "")[1:3]
    )
    trip = tuple(Act("trip", tag) for tag in has.overloads[:1])
    found = (
        ("isolated", "locked off", off, off, 1),
        ("isolated, stop held", "locked off, Stop held in", off and stop, (*off, *stop), 1),
        ("isolated, emergency stop in", "locked off, the emergency stop pushed in", off and head, (*off, *head), 1),
        ("stop held at rest", "nobody at the start button, Stop held in by a helper", stop, stop, 2),
        ("emergency stop in at rest", "nobody at the start button, the emergency stop pushed in", head, head, 1),
        ("running", "as it usually runs", run, run, held),
        ("running a minute", "as it usually runs, for a minute", run, (*run, Act("wait", "", "60")), held),
        ("running a while", "as it usually runs, for twenty minutes", run, (*run, Act("wait", "", "1200")), held),
        ("started then stopped", "started, then stopped", run and (let_go or stop), (*run, *(let_go or has.stopped())), 1),
        ("isolated in jog", "locked off, switch in jog", off and jog, (*off, *jog), 1),
        ("jog at rest", "switch in jog, nobody at the start button", jog, jog, 1),
        ("jog held", "switch in jog and Start held by a helper", jog and press, (*jog, *press), 2),
        ("jog let go", "switch in jog, Start pressed and let go", jog and press, (*jog, *press, *let), 1),
        ("waiting start held", "the first running, the other Start held by a helper", waiting, before, 2),
        ("second start held", second[1], second[0], second[0], 2),
        ("third start held", third[1], third[0], third[0], 2),
    )  # fmt: skip
    return {
        **{
            name: NamedSituation(name, words, after(*acts), hands) for name, words, there, acts, hands in found if there
        },
        **_fuse_out(machine, off, stop, head, trip),
    }


def _fuse_out(
    machine: Machine, off: tuple[Act, ...], stop: tuple[Act, ...], head: tuple[Act, ...], trip: tuple[Act, ...]
) -> dict[str, NamedSituation]:
    """Locked off with the control fuse taken out, so that no ohmmeter reads through what feeds it; the chain halved."""
    tags = [t for t in machine.circuit.roles.get("control fuse", ()) if machine.circuit.devices[t].kind == "fuse"]
    if not tags or not off:
        return {}
    out = frozenset((tag, "blown") for tag in tags)
    name, words = "isolated, control fuse out", "locked off, the control fuse taken out"
    ways = (
        ("", "", ()),
        (", stop held", ", Stop held in", stop),
        (", emergency stop in", ", the emergency stop pushed in", head),
        (", overload tripped", ", the overload relay tripped by its test button", trip),
    )
    return {
        f"{name}{more}": NamedSituation(f"{name}{more}", f"{words}{said}", Situation("rest", (*off, *acts), out))
        for more, said, acts in ways if acts or not more
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Channel:
    """One way of stopping that a person can use, tried on the running machine."""

    tag: str
    at: NamedSituation
    motor: str
    """Of the motors that run before it, the first."""
    runs: str
    """State of that motor while it is not stopped."""


def channels(machine: Machine) -> tuple[Channel, ...]:
    """Every stop button and emergency stop of a machine that runs; empty where nothing runs by itself."""
    has = doings(machine)
    turning = [m for m in machine.net.motors if any(m.var == name for name, _ in has.runs[0].turns)] if has.runs else []
    if not turning:
        return ()
    state = dict(has.runs[0].turns)[turning[0].var]
    acts = [*(Act("press", tag) for tag in has.stops), *(to_and_fro(machine, tag)[0] for tag in has.emergency_stops)]
    return tuple(
        Channel(
            act.device, NamedSituation(f"running, {act}", f"running, then {act}", after(*has.running(), act)),
            turning[0].var, state,
        )
        for act in acts
    )  # fmt: skip


def after(*acts: Act) -> Situation:
    """A machine at rest, its supply on, and then these acts."""
    return Situation("rest", acts)
