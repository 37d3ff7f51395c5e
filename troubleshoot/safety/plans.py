"""What is done in a proof run, one thing after the other, as it follows from a machine's roles; what to see there is `proof`."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from troubleshoot.circuit.model import Act
from troubleshoot.machine import Machine
from troubleshoot.safety.doings import doings, to_and_fro, turns_after
from troubleshoot.safety.naming import named


@dataclass(frozen=True, slots=True)
class Plan:
    """One thing to do."""

    id: str
    words: str
    acts: tuple[Act, ...]
    stop: bool = False
    """Something must open here: contacts that stay closed are hunted with readings."""
    currents: bool = False
    hands: int = 1


def plans(machine: Machine) -> tuple[Plan, ...]:
    """Everything that is done, in order. A machine without a role simply has less of it."""
    has = doings(machine)
    run, stopped, ready = has.running(), has.stopped(), has.ready()
    out = [Plan("at rest", "Power on, nobody at the buttons: nothing starts.", ())]
    resets = " and ".join(named(machine, tag) for tag in has.resets)
    first = f"Press {resets} and let go, then h" if ready else "H"
    if ready:
        out.append(Plan("reset", f"Press {resets} and let go: nothing starts.", ready))
    let_go: tuple[Act, ...] = has.runs[0].let_go if has.runs else ()
    for tag in has.starts:
        held = has.started(tag)
        before = " and ".join(
            named(machine, a.device) for a in held[:-1] if a.verb == "press" and a.device in has.starts
        )
        how = f"After {before}, h" if before else first
        holds = not has.hold_to_run(tag)
        out += [
            # Who holds the button has no hand left for the clamp.
            Plan(f"start {tag}", f"{how}old {named(machine, tag)}: it starts{'' if holds else ', right way, even currents'}.",
                  held, currents=not holds, hands=1 if holds else 2),
            Plan(f"hold {tag}", f"Let go of {tag}: it {'keeps running, right way, even currents' if holds else 'stops'}.",
                  (*held, Act("release", tag)), stop=not holds, currents=holds),
        ]  # fmt: skip
    if not has.starts:
        if not has.runs:
            return tuple(out)
        out.append(Plan("run", f"{_moved(run)}: it starts, right way, even currents.", run, currents=True))
        for tag in has.modes:
            out += _turned(machine, tag, run)
    for tag in has.stops:
        press = Act("press", tag)
        out += [
            Plan(f"stop {tag}", f"Running, then hold {named(machine, tag)} in: it stops.", (*run, press), stop=True),
            Plan(f"after stop {tag}", f"Let {tag} go: it stays stopped{', the brake is set' if any(machine.net.brakes.values()) else ''}.",
                  (*run, press, Act("release", tag)), stop=True),
        ]  # fmt: skip
        if turns_after(machine, (press,)):
            stays = turns_after(machine, (press, Act("release", tag)))
            out += [
                Plan(f"jog {tag}", f"At rest, hold {named(machine, tag)} in: it jogs.", (press,)),
                Plan(f"jog {tag} let go", f"Let {tag} go: it {'keeps running' if stays else 'stops'}.",
                     (press, Act("release", tag)), stop=not stays),
            ]  # fmt: skip
    for tag in has.emergency_stops:
        stop, free = to_and_fro(machine, tag)
        cord = stop.verb == "pull"
        out += [
            Plan(f"emergency stop {tag}",
                  f"Running, then {'pull' if cord else 'push'} {named(machine, tag)}{'' if cord else ' in'}: it stops.",
                  (*run, stop), stop=True),
            Plan(f"no restart {tag}", f"{'Reset' if cord else 'Pull'} {tag}{'' if cord else ' out'} again: it must not start.",
                  (*run, stop, *let_go, free)),
        ]  # fmt: skip
        if ready and stopped:
            # Stop first, as with an overload: whether a latched program restarts on reset is for the hazard list to say.
            out.append(Plan(f"reset after {tag}", f"Press {has.stops[0]} first, then press {resets} and let go: it stays stopped.",
                             (*run, stop, *let_go, free, *stopped, *ready)))  # fmt: skip
    for tag in has.overloads:
        test = Act("test", tag)
        out.append(Plan(f"overload {tag}", f"Running, then test button of {named(machine, tag)}: it stops.",
                         (*run, test), stop=True))  # fmt: skip
        # Stopped first: what a latched program does on reset is for the hazard list to say.
        first = (
            f"Press {has.stops[0]} first, then reset"
            if stopped
            else "Let go of what runs it, reset"
            if let_go
            else "Reset"
        )
        acts = (*run, test, *(stopped or let_go), Act("reset", tag))
        does = "it starts by itself, keep clear" if turns_after(machine, acts) else "it stays stopped"
        out.append(Plan(f"reset {tag}", f"{first} {tag}: {does}.", acts))
    for tag in has.modes if has.starts else ():
        for position in machine.net.controls[tag].positions:
            if position != machine.net.initial[tag]:
                put, start = Act("put", tag, position), has.starts[0]
                held = (put, *ready, Act("press", start))
                turns, on = (bool(turns_after(machine, acts)) for acts in (held, (*held, Act("release", start))))
                let = "it keeps running" if on else "it stops" if turns else "nothing starts"
                out += [
                    Plan(f"{position} {tag}",
                         f"{named(machine, tag)} in {position}, hold {start}: {'it starts' if turns else 'nothing starts'}.", held),
                    Plan(f"{position} {tag} let go", f"{tag} in {position}, let {start} go: {let}.",
                         (*held, Act("release", start))),
                ]  # fmt: skip
    for tag in has.modes if has.starts else ():
        out += _turned(machine, tag, () if let_go else run)
    back = (*run, Act("lose power"), *let_go, Act("restore power"))
    again = turns_after(machine, back)
    out.append(
        Plan("power back", f"Running, then its power off and on again at the breaker ahead of it, not by its disconnect under load: {'it starts by itself, keep clear' if again else 'no start by itself'}.",
              back)
    )  # fmt: skip
    return tuple(
        _turned_back(machine, has.modes, before, plan) for before, plan in zip((None, *out), out, strict=False)
    )


def _turned_back(machine: Machine, modes: Collection[str], before: Plan | None, plan: Plan) -> Plan:
    """A check says which mode switch the one before it left turned and this one does not begin with."""
    if before is None or plan.acts[: len(before.acts)] == before.acts:
        return plan
    stood = {a.device: a.value for a in before.acts if a.verb == "put"}
    begins = {a.device for a in plan.acts[:1] if a.verb == "put"}
    back = [
        f"{tag} in {machine.net.initial[tag]}"
        for tag, at in stood.items()
        if tag in modes and at != machine.net.initial[tag] and tag not in begins
    ]
    return replace(plan, words=f"{', '.join(back)} again. {plan.words}") if back else plan


def _turned(machine: Machine, tag: str, run: tuple[Act, ...]) -> Iterable[Plan]:
    """A mode switch turned and turned back, nobody at a button: what starts by that is known, and nothing else does.

    run: what makes it run, from which it is turned; empty where it runs only while held.
    """
    usual = machine.net.initial[tag]
    name = named(machine, tag)
    for position in machine.net.controls[tag].positions:
        if position == usual:
            continue
        there, back = Act("put", tag, position), Act("put", tag, usual)
        if run and there not in run and not turns_after(machine, (*run, there)):
            turned = (*run, there)
            yield Plan(f"stop {tag} {position}", f"Running, then {name} to {position}: it stops.", turned, stop=True)
            yield Plan(f"after stop {tag} {position}", f"Turn {tag} back to {usual}: {_by_itself(machine, (*turned, back))}.",
                       (*turned, back))  # fmt: skip
        elif turns_after(machine, (there,)):
            yield Plan(f"turn {tag} {position}", f"At rest, {name} to {position}: it starts by itself, keep clear.", (there,),
                       currents=True)  # fmt: skip
            stops = not turns_after(machine, (there, back))
            yield Plan(f"turn {tag} {usual}", f"Turn {tag} back to {usual}: it {'stops' if stops else 'keeps running'}.",
                       (there, back), stop=stops)  # fmt: skip
        else:
            words = f"At rest, {name} to {position} and back to {usual}: {_by_itself(machine, (there, back))}."
            yield Plan(f"turn {tag} {position}", words, (there, back))


def _by_itself(machine: Machine, acts: tuple[Act, ...]) -> str:
    """What a machine does on an act that ought to start nothing."""
    return "it starts by itself, keep clear" if turns_after(machine, acts) else "it must not start"


def _moved(acts: tuple[Act, ...]) -> str:
    text = "; ".join(map(str, acts))
    return text[:1].upper() + text[1:]
