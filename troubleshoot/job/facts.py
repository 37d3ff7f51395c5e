"""What the facts of a job say about each other, in words: contradictions, and what a repair explains."""

from __future__ import annotations

from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Seen, Told, Word
from troubleshoot.job.desk import Desk
from troubleshoot.job.naming import group_words
from troubleshoot.job.state import State


def after_repair(desk: Desk, state: State) -> tuple[str, ...]:
    """After a repair that was not all of it: what that explains and is put aside, and what is kept against the rest."""
    if not state.repaired or state.proving:
        return ()
    last = state.repaired[-1]
    suspect = next((s for s in desk.machine.suspects if s.id == last.suspect), None)
    if suspect is None:
        return ()
    part = group_words(desk, last.group)
    confirmed = bool(state.repairs and state.repairs[-1]["confirmed"])
    first = (
        f"{part} was bad and is good now. There is something else too."
        if confirmed or not suspect.broken
        else f"{part} was mended and that was not all, or not it."
    )
    before = [s for s in state.evidence if s.epoch == state.epoch - 1 and not isinstance(s.what, Told)]
    sound = desk.machine.suspects[-1]
    odd = desk.reasoner.misfits(before, sound)
    kept = [s for s in odd if s in desk.reasoner.misfits(odd, suspect)]
    aside = [s for s in odd if s not in kept]
    out = [first[:1].upper() + first[1:]]
    if aside:
        out.append(f"Explained by it, put aside: {_some(aside)}.")
    if kept:
        out.append(f"Not explained by it, kept: {_some(kept)}.")
    elif odd:
        out.append("Nothing seen before it points to the rest: what comes now counts.")
    return tuple(out)


def _some(facts: list[Seen]) -> str:
    words = list(dict.fromkeys(said_words(s) for s in facts))
    return "; ".join(words[:3]) + (f"; {len(words) - 3} more" if len(words) > 3 else "")


def against_the_rest(desk: Desk, state: State) -> Seen | None:
    """The observation that no single suspect explains together with the rest; None where one explains them all."""
    belief = desk.belief(state)
    ranked = sorted(range(len(belief) - 1), key=lambda k: -belief[k])[:3]
    now = [s for s in state.evidence if s.epoch == state.epoch]
    if not now:
        return None
    misfits = [desk.reasoner.misfits(now, desk.machine.suspects[k], state.repaired) for k in ranked]
    if not misfits or not all(misfits):
        return None
    return misfits[0][-1]


def taken_back_alone(desk: Desk, state: State) -> Seen | None:
    """That observation, where its answer can be taken back and is not the last one, which undo takes back anyway.

    None where the last thing that was said is no observation: whoever takes back that power is on means that.
    """
    answered = len(state.undoable) > 1 and any(s.event == state.undoable[-1] for s in state.evidence)
    worst = against_the_rest(desk, state) if answered else None
    return worst if worst is not None and worst.event in state.undoable[:-1] else None


def contradictions(desk: Desk, state: State) -> list[str]:
    """The same in words, with what to do about it."""
    worst = against_the_rest(desk, state)
    if worst is None:
        return []
    again = (
        "Check the meter lead, the wire number or the drawing." if isinstance(worst.what, Meter)
        else "Look once more, or take it back with u: a row shows its next state with each press."
    )  # fmt: skip
    return [f"No single fault I know gives {said_words(worst)} with all the rest. {again}"]


def said_words(seen: Seen) -> str:
    """An observation in words: ``120 V at K1:14``."""
    value = seen.understood
    if isinstance(value, Interval):
        text = f"{abs(value.middle):.4g} {value.unit}"
    elif isinstance(value, Word):
        text = value.value
    else:
        text = value
    match seen.what:
        case Meter(_, red, black):
            return f"{text} at {red} to {black}"
        case Told():
            return f'"{seen.said}"'
        case Light(name) | Look(name):
            return f"{name} {text}"
