"""Lists of lights and looks: the key of each row, what it shows now, and what a key or Enter does to it."""

from __future__ import annotations

from typing import Final

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.against import sentences, taken_of
from troubleshoot.job.codec import put_item, put_situation
from troubleshoot.job.decided import Decided
from troubleshoot.job.desk import Desk
from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Input, Refusal, Typed
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import NONE_THERE, State
from troubleshoot.job.unasked import unasked

ITEM_KEYS: Final = "1234567890abdfghijkmoprsy"
"""Keys of list rows; without those that do something else on every screen."""
LETTER_KEYS: Final = "abdfghijkmprsy"
"""Keys of list rows where readings are typed as well: a digit is a reading there, and o and l are mistaken for digits."""


def listed(stage: Stage) -> tuple[Light | Look, ...]:
    """The things to look at of a stage, in the order of their keys."""
    if stage.check is not None:
        return tuple(i for i, _ in stage.check.expects if not isinstance(i, Meter))
    return tuple(i for i in stage.step.items if not isinstance(i, Meter)) if stage.step else ()


def item_keys(stage: Stage) -> str:
    """The keys of the rows of a list, in their order."""
    items = [i for i, _ in stage.check.expects] if stage.check else stage.step.items if stage.step else ()
    return LETTER_KEYS if any(isinstance(i, Meter) for i in items) else ITEM_KEYS


def list_situation(stage: Stage) -> tuple[str, NamedSituation]:
    """Step id and situation of a list."""
    if stage.check is not None:
        return stage.check.id, stage.check.situation
    assert stage.step is not None
    return stage.step.id, stage.step.situation


def marked(desk: Desk, state: State, stage: Stage, item: Light | Look) -> tuple[str, bool]:
    """What a row shows now, and whether the person set it."""
    step_id, named = list_situation(stage)
    mark = state.marks.get((step_id, item.name))
    return (mark, True) if mark is not None else (desk.shown(item, named), False)


DARK: Final = KEYS["all dark"].usual
"""Key that says of every light of a list at once that it is off."""


def lights_of(desk: Desk, stage: Stage) -> tuple[str, ...]:
    """Names of the lights of a list that can be off, where there are enough of them to be worth one key."""
    signs = desk.machine.net.signs
    names = tuple(i.name for i in listed(stage) if isinstance(i, Light) and "off" in signs[i.name].shows.values())
    return names if len(names) >= 4 else ()


def all_dark(desk: Desk, state: State, stage: Stage) -> Decided | None:
    """Every light off with one key; the same key again, and they are as they should be."""
    names = lights_of(desk, stage)
    step_id, _ = list_situation(stage)
    dark = all(state.marks.get((step_id, name)) == "off" for name in names)
    return (
        Decided((("marked all", {"step": step_id, "items": list(names), "shown": "" if dark else "off"}),))
        if names
        else None
    )


def row_given(desk: Desk, state: State, stage: Stage, key: str) -> Decided | None:
    if key == DARK:
        return all_dark(desk, state, stage)
    items = listed(stage)
    place = item_keys(stage).find(key)
    if not 0 <= place < len(items):
        return None
    item = items[place]
    step_id, named = list_situation(stage)
    values = desk.values(item, named)
    if not desk.machine.net.signs[item.name].face:
        values = (*values, NONE_THERE)
    now, _ = marked(desk, state, stage, item)
    following = values[(values.index(now) + 1) % len(values)] if now in values else values[0]
    return Decided((("mark", {"step": step_id, "item": item.name, "shown": following}),))


def _none_there(desk: Desk, state: State, stage: Stage) -> tuple[tuple[str, dict[str, object]], ...]:
    """What a person said is not there at all: no evidence, and never asked for again."""
    names = [i.name for i in listed(stage) if marked(desk, state, stage, i)[0] == NONE_THERE]
    words = [desk.machine.net.signs[name].words for name in names]
    return (("cannot", {"words": f"look at {', '.join(words)}", "reason": "none", "targets": names}),) if names else ()


def list_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Typed):
        return unasked(desk, state, stage, said.text)
    if said.key != "enter":
        return row_given(desk, state, stage, said.key)
    step_id, named = list_situation(stage)
    assert stage.step is not None
    items = [[put_item(i), *marked(desk, state, stage, i)] for i in listed(stage)]
    taken = taken_of(desk, {i.name: marked(desk, state, stage, i)[0] for i in listed(stage)}, named.situation)
    read = {"program": list(sentences(desk, taken))} if taken is not None else {}
    return Decided((("looked", {
        "step": step_id, "situation": put_situation(named), "items": items, "cost": stage.step.cost, **read,
    }), *_none_there(desk, state, stage)))  # fmt: skip
