"""Two points that nobody asked for, typed on a list or a card: a reading of one's own."""

from __future__ import annotations

from troubleshoot.circuit.model import Pin
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.codec import put_step
from troubleshoot.job.decided import Decided
from troubleshoot.job.desk import Desk
from troubleshoot.job.readings import reading_of
from troubleshoot.job.sheet import Refusal
from troubleshoot.job.stage import Stage, on_dead_parts
from troubleshoot.job.state import State
from troubleshoot.text.problem import nearest


def unasked(desk: Desk, state: State, stage: Stage, text: str) -> Decided | Refusal | None:
    """``K1:14 NB:1 120``: a reading nobody asked for counts. Without a value it becomes the next step, caution first."""
    words = text.split()
    if len(words) < 2:
        return None
    pins = [_pin(desk, w) for w in words[:2]]
    if ":" in words[0] and pins[0] is None:
        return Refusal(_no_pin(desk, words[0]))
    if pins[0] is None:
        return None
    if pins[1] is None:
        return Refusal(_no_pin(desk, words[1]) + " Say both points: K1:14 NB:1 120")
    if pins[0] == pins[1]:
        return Refusal("Those are one and the same point.")
    dead = stage.step is not None and on_dead_parts(desk, stage.step.items, stage.step.situation)
    named = stage.step.situation if stage.step is not None and not dead else desk.at_rest
    value = " ".join(words[2:])
    mode = desk.mode_between(pins[0], pins[1])
    if value and not state.power:
        # What is read now is read with the power off: never taken for volts of a machine that has its power.
        if stage.step is None or not dead:
            return Refusal("The power is off here. Put it on first, or read what the card asks.")
        named, mode = stage.step.situation, "ohms"
    meter = Meter(mode, pins[0], pins[1])
    if not value:
        words_ = f"{named.words[:1].upper()}{named.words[1:]}, your own points"
        step = Step(
            "measure",
            f"own {meter.red}>{meter.black} {named.name}",
            (meter,),
            named,
            words_,
            "You chose it.",
            cost=60.0,
        )
        return Decided((("choose", {"source": "engine", "step": put_step(step)}),))
    return reading_of(
        desk, state, [meter], named, value, step="unasked", group="", source="unasked", cost=30.0
    )  # taken already, before any caution: used as evidence, and the record says "unasked" and which caution it had


def _pin(desk: Desk, word: str) -> Pin | None:
    return desk.pins.get(word.upper()) if ":" in word else None


def _no_pin(desk: Desk, word: str) -> str:
    near = nearest(word.upper(), desk.pins)
    return f"There is no terminal {word}" + (f"; nearest is {desk.pins[near]}." if near else ".")
