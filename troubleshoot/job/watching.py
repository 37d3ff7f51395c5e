"""What comes and goes and is not there now: what to write down when it comes back, and when "not seen since" means something.

A reading on a machine that works proves nothing, so none is asked for. Pure: what to write, and what to draw.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.evidence.luck import SURE, Rate, mended, read_clean, read_rate
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.desk import Desk
from troubleshoot.job.naming import group_words, should_be
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, Input, LiveKey, Refusal, Role, Typed
from troubleshoot.job.state import State, Watch
from troubleshoot.safety.doings import by_role
from troubleshoot.trees.order import bits

Events = tuple[tuple[str, Mapping[str, Any]], ...]
Drawn = tuple[Entry | None, tuple[LiveKey, ...]]

FAILS: Final = "f"
"""It fails now: what is read from here on is of the failed machine."""
AGAIN: Final = "a"
"""It came back and was started again before anybody could look."""
CLOSE: Final = "y"
ON: Final = "m"
REPAIRED: Final = 0.95
UNTOUCHED: Final = 0.5
"""Chance beforehand that it is mended: after a repair, and where nothing was done but to clean, tighten and look. The first
is 1 less the chance that a repair did not take; the second is judgement."""
LIGHTS_SHOWN: Final = 6
WIGGLED: Final = 4
LEAST_GAIN: Final = 0.02
"""Bits under which one more light is not worth the ink."""


def rate_of(watch: Watch) -> Rate:
    """The rate that was told."""
    return Rate(watch.rate, watch.starts)


def watch_card(desk: Desk, state: State) -> tuple[str, ...]:
    """What to write down when it comes back, what to hang on, what to wiggle: the suspects that are left decide which."""
    belief, circuit = desk.belief(state), desk.machine.circuit
    out = ["When it stops, before anything is touched: write down"]
    lights = _telling(desk, state)
    out.append(f"  lights: {', '.join(lights)}" if lights else "  the time, and what it was doing")
    armatures = [tag for tag, d in circuit.devices.items() if d.kind in ("relay", "contactor", "timer", "safety relay")]
    if len(armatures) > 1:
        out.append(f"  which dropped out, and which first: {', '.join(armatures[:4])}")
    pair = _pair(desk, state)
    if pair is not None:
        at = _running(desk)
        out.append(
            f"Meter on MIN/MAX, {pair.red} to {pair.black}, clipped on while locked off and dead: should stay "
            f"{should_be(desk, pair, at)}"
        )
    sorts = {s.group: s.sort for s in reversed(desk.machine.suspects)}
    joints = [g for g, _ in desk.reasoner.groups(belief) if sorts.get(g) == "wire"][: WIGGLED - 1]
    others = [g for g, _ in desk.reasoner.groups(belief) if sorts.get(g) == "contact"][: WIGGLED - len(joints)]
    loose = [group_words(desk, group) for group in (*joints, *others)]
    if loose:
        out.append(f"Locked off and proved dead, meter on ohms: wiggle, tap, pull gently: {'; '.join(loose)}")
        out.append("Live, hands stay out: watch the lights while somebody outside runs it and the belt shakes it.")
    return tuple(out)


def _running(desk: Desk) -> NamedSituation:
    return by_role(desk.machine).get("running", desk.at_rest)


def _telling(desk: Desk, state: State) -> list[str]:
    """Lights that the suspects left would leave in different states: each the one that tells most beside those before it."""
    at, belief = _running(desk).situation, desk.belief(state)
    table = desk.reasoner.table(at)
    weight = belief[table.owner] * table.weight
    every = np.zeros(len(weight), dtype=np.intp)
    codes = {}
    for light in desk.lights():
        shown = desk.reasoner.predict(light, at).shown
        assert shown is not None
        codes[light.name] = np.unique(shown, return_inverse=True)[1]
    chosen: list[str] = []
    joint, known = every, 0.0
    while len(chosen) < LIGHTS_SHOWN and len(chosen) < len(codes):
        gains = {
            name: bits(joint * 8 + code, np.arange(len(weight)), weight / weight.sum())
            for name, code in codes.items() if name not in chosen
        }  # fmt: skip
        best = max(gains, key=lambda name: gains[name])
        if gains[best] < known + LEAST_GAIN:
            break
        chosen.append(best)
        joint, known = np.unique(joint * 8 + codes[best], return_inverse=True)[1], gains[best]
    return chosen


def _pair(desk: Desk, state: State) -> Meter | None:
    """The two points that tell most while it runs."""
    trips = desk.planner.trips(desk.belief(state), [_running(desk)], done=frozenset(), cannot=state.out)
    meters = [i for trip in trips for i in trip.items if isinstance(i, Meter) and i.mode in ("ac volts", "dc volts")]
    return meters[0] if meters else None


# ------------------------------------------------------------------------------------------------------ it runs: watch


def watch_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """How often it fails, or that it fails now."""
    if not isinstance(said, Typed):
        return _phase(state, "failing") if said.key == FAILS else None
    rate = read_rate(said.text)
    if rate is None:
        return Refusal("How often? Like: 2 per shift, once a day, every 4 h, 1 in 20 starts.")
    event = {
        "how": "watching", "note": said.text.strip(), "temporary": [t.what for t in state.temporary],
        "watch": {"rate": rate.each, "starts": rate.starts, "said": said.text.strip()},
        "card": list(watch_card(desk, state)),
    }  # fmt: skip
    return (("ended", event),)


def _phase(state: State, to: str) -> Events:
    return (("phase", {"to": to, "by": state.who}),)


def draw_watch(pen: Pen, desk: Desk, state: State) -> Drawn:
    """The card, and how often it fails."""
    pen.put("It runs now: a reading of it proves nothing. Watch it.", Role.TASK)
    for line in watch_card(desk, state):
        pen.put(line, Role.ROW, indent="     ")
    keys = (LiveKey(FAILS, "fails now", "it fails at this moment: what is read from here on is of the failed machine"),)
    return Entry("How often does it stop", example="2 per shift; every 4 h; 1 in 20 starts"), keys


def draw_watching(pen: Pen, desk: Desk, state: State) -> None:
    """Under the end of a job that is watched: the card as it stands, and until when."""
    if state.watch is None:
        return
    for line in watch_card(desk, state):
        pen.put(line, Role.ROW, indent="     ")
    pen.put(until(state.watch), Role.NOTE, indent="  ")


def until(watch: Watch) -> str:
    """When "not seen since" begins to mean something."""
    rate = rate_of(watch)
    return (
        f"At {watch.said} it stays away by luck in {SURE:.0%} of cases for {_long(rate, rate.needed())}, in 10 % for "
        f"{_long(rate, rate.needed(0.10))}. Look again then."
    )


def _long(rate: Rate, amount: float) -> str:
    if rate.starts:
        return f"{amount:.0f} starts"
    return f"{amount:.0f} h" if amount < 48 else f"{amount / 24:.0f} days"


# ------------------------------------------------------------------------------------------------------- taken up again


def watched_given(desk: Desk, state: State, said: Input) -> Events | Refusal | None:
    """Whether it has come back; how long it has run clean."""
    assert state.watch is not None
    if isinstance(said, Typed):
        clean = read_clean(said.text, starts=state.watch.starts)
        if clean is None:
            return Refusal(
                f"How long has it run clean? Like: {'40 starts' if state.watch.starts else '16 h, two shifts'}."
            )
        return (("watched", {"clean": clean, "said": said.text.strip(), "by": state.who}),)
    if said.key == FAILS:
        return _phase(state, "failing")
    if said.key == AGAIN:
        return _phase(state, "working")
    if state.watch.clean and said.key == CLOSE:
        luck = rate_of(state.watch).luck(state.watch.clean)
        event = {
            "how": "not seen since", "note": since(state), "temporary": [t.what for t in state.temporary],
            "clean": state.watch.clean, "luck": round(luck, 6),
        }  # fmt: skip
        return (("ended", event),)
    if state.watch.clean and said.key == ON:
        watch = {"rate": state.watch.rate, "starts": state.watch.starts, "said": state.watch.said}
        return (("ended", {"how": "watching", "note": since(state), "temporary": [], "watch": watch}),)
    return None


def since(state: State) -> str:
    """What the clean time is worth, in words."""
    assert state.watch is not None
    rate = rate_of(state.watch)
    luck = rate.luck(state.watch.clean)
    before = REPAIRED if state.repaired else UNTOUCHED
    return (
        f"Not seen for {_long(rate, state.watch.clean)}. At {state.watch.said} that happens by luck in {luck:.1%} of cases; "
        f"mended with {mended(before, luck):.0%}, if {before:.0%} were said before."
    )


def draw_watched(pen: Pen, desk: Desk, state: State) -> Drawn:
    """The first question after a watch."""
    assert state.watch is not None
    pen.put(f"It was watched: {state.watch.said}. Has it come back?", Role.TASK)
    pen.put(f"{FAILS}  yes, and it stands as it failed", Role.ROW, key=FAILS)
    pen.put(f"{AGAIN}  yes, it was started again", Role.ROW, key=AGAIN)
    keys = [LiveKey(FAILS, "fails now", "it came back and stands as it failed"),
            LiveKey(AGAIN, "came back", "it came back and was started again")]  # fmt: skip
    pen.put("No: type how long it has run clean since.", Role.ROW)
    pen.put(until(state.watch), Role.NOTE, indent="  ")
    if state.watch.clean:
        luck = rate_of(state.watch).luck(state.watch.clean)
        pen.put(since(state), Role.ECHO, indent="  ")
        if not state.repaired:
            pen.put("Nothing was mended: what comes and goes may come again.", Role.NOTE)
        pen.put(f"{CLOSE}  close it: not seen since", Role.ROW, key=CLOSE)
        pen.put(f"{ON}  watch on{'' if luck <= SURE else ', it is too early'}", Role.ROW, key=ON)
        keys += [
            LiveKey(CLOSE, "close", "ends the job: not seen since"),
            LiveKey(ON, "watch on", "goes on watching it"),
        ]
    example = "40 starts" if state.watch.starts else "16 h"
    return Entry("Clean since then", example=example), tuple(keys)


__all__ = ["draw_watch", "draw_watched", "draw_watching", "watch_given", "watched_given"]
