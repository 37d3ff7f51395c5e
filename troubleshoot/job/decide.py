"""What happens when a person says something: events to be written, or a refusal in words. Pure.

`Ui` is what belongs to the screen and not to the record: an open panel, the echo of the last words. Losing it loses
nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from troubleshoot.circuit.model import NamedSituation, Pin
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Word
from troubleshoot.evidence.unbalance import evenness, too_uneven
from troubleshoot.evidence.words import Answer, AskBack, Asked, Understood, read_typed
from troubleshoot.job import amending, keeping, supply
from troubleshoot.job.against import lights_taken, sentences, taken_of
from troubleshoot.job.asking import answers_of, due_question
from troubleshoot.job.codec import put_item, put_situation, put_step, put_understood
from troubleshoot.job.desk import Desk
from troubleshoot.job.handing import (
    OTHER,
    able_given,
    over_given,
    part_given,
    put_back,
    taken_given,
    temporary_given,
    waits_for,
    wanted,
)  # fmt: skip
from troubleshoot.job.keys import KEYS
from troubleshoot.job.reasons import REASON_ROWS
from troubleshoot.job.sheet import Input, Pressed, Refusal, Typed
from troubleshoot.job.shorts import short_test
from troubleshoot.job.stage import Stage, on_dead_parts, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.stopping import NOT_RUNNING, stop_told, symptom_given, tried_told
from troubleshoot.job.watching import FAILS, watch_given, watched_given
from troubleshoot.safety.caution import Caution
from troubleshoot.safety.isolation import judge
from troubleshoot.solve.meters import unit_of
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

DRAWN_MS: Final = 300
"""A caution counts as read only after it has been on the screen this long."""

ITEM_KEYS: Final = "1234567890abdfghijkmoprsy"
"""Keys of list rows; without those that do something else on every screen."""
LETTER_KEYS: Final = "abdfghijkmprsy"
"""Keys of list rows where readings are typed as well: a digit is a reading there, and o and l are mistaken for digits."""

ENDINGS: Final = {
    "1": ("made safe", "made safe and tagged, not mended"),
    "2": ("waiting: part", "waiting for a part"),
    "3": ("waiting: permit", "waiting for a permit or another trade"),
    "4": ("watching", "it runs; to be watched"),
    "5": ("not found", "not found"),
    "6": ("waiting: person", "waiting for a second person or somebody who knows"),
}
MORE: Final = {
    "7": ("over", "hand over to the next person: one page"),
    "8": ("temporary", "temporary things: lifted, forced, taken off, put back"),
    "9": ("able", "what could not be done, and can be now"),
}
"""What else the page of endings opens."""

ALL_NOTHING: Final = ("all 0", "all nothing", "all dead")
"""What answers a whole card of a dead test: every row was tested and showed nothing."""

Events = tuple[tuple[str, Mapping[str, Any]], ...]


@dataclass(frozen=True, slots=True)
class Ui:
    """What is on the screen beside the record."""

    panel: str = ""
    """``why``, ``cant``, ``other``, ``end``, ``rung`` with the number of its page, ``amend`` or ``supply`` with what it
    is about, or nothing."""
    echo: str = ""


_NO_PANEL: Final = Ui()


@dataclass(frozen=True, slots=True)
class Decided:
    """Events to write, in order, and how the screen goes on."""

    events: Events = ()
    ui: Ui = _NO_PANEL


def sheet_id(state: State, ui: Ui) -> str:
    """Changes with every event and every panel: an input that answers an older sheet is thrown away."""
    return f"{state.last}{ui.panel}"


def caution_key(stage: Stage, caution: Caution, state: State) -> str:
    """What an acceptance counts for: these points in this state, this text, this person, since the last operate."""
    where = stage.check.id if stage.check else stage.step.id if stage.step else stage.next
    # The text without its "what is new": that part depends on the caution accepted before, which may be this one.
    text = hashlib.sha256("\n".join((*caution.lines, *caution.points)).encode()).hexdigest()
    return "|".join((where, text, state.who, str(state.epoch), str(state.power), str(state.last_operate)))


def caution_of(desk: Desk, state: State, stage: Stage) -> tuple[Caution, str] | None:
    """The caution that stands before this stage's readings and the key of its acceptance; None where none is needed."""
    found = live_readings(desk, stage)
    if found is None:
        return None
    caution = desk.caution(*found, state)
    return caution, caution_key(stage, caution, state)


def live_readings(desk: Desk, stage: Stage) -> tuple[tuple[Meter, ...], NamedSituation] | None:
    """The readings of a stage that are taken on live parts, with their situation; None where there are none."""
    if stage.name in ("search", "confirm") and stage.step is not None:
        meters = tuple(i for i in stage.step.items if isinstance(i, Meter))
        live = meters and not on_dead_parts(desk, meters, stage.step.situation)
        return (meters, stage.step.situation) if live else None
    if stage.name == "proof" and stage.check is not None:
        meters = tuple(i for i, _ in stage.check.expects if isinstance(i, Meter))
        live = meters and not on_dead_parts(desk, meters, stage.check.situation)
        return (meters, stage.check.situation) if live else None
    if stage.name == "isolate" and stage.isolation is not None:
        step = next(s for s in stage.isolation.steps if s.id == stage.next)
        # Until proved dead it is live: proving the tester and the dead test itself are live work.
        return (step.readings, desk.at_rest) if step.readings else None
    return None


def decide(desk: Desk, state: State, ui: Ui, said: Input) -> Decided | Refusal | None:
    """What an input does. None: it answers a sheet that is no longer there, or a key that is not live."""
    if said.sheet != sheet_id(state, ui):
        return None
    stage = stage_of(desk, state)
    name, _, about = ui.panel.partition(" ")
    if name == "amend" and not (isinstance(said, Pressed) and said.key == "escape"):
        return _amend(amending.amend(desk, state, stage, about, said))
    if name == "supply" and not (isinstance(said, Pressed) and said.key in ("escape", "u")):
        return _supply(supply.given(desk, state, about, said))
    if isinstance(said, Pressed):
        anywhere = _anywhere(desk, state, stage, ui, said.key)
        if anywhere is not None:
            return anywhere
    if ui.panel in _OVER:
        return _over(desk, state, ui, said)
    if isinstance(said, Pressed) and ui.panel and ui.panel != "why":
        return _panel(desk, state, stage, ui, said.key)
    waiting = caution_of(desk, state, stage)
    if waiting is not None and state.accepted != waiting[1]:
        return _before_caution(desk, state, stage, said, *waiting)
    return _STAGES[stage.name](desk, state, stage, said)


def _amend(said: amending.Amending | Refusal | None) -> Decided | Refusal | None:
    return Decided(said.events, Ui(said.panel, said.echo)) if isinstance(said, amending.Amending) else said


def _supply(given: tuple[Events, str, str] | Refusal | None) -> Decided | Refusal | None:
    return Decided(given[0], Ui(*given[1:])) if isinstance(given, tuple) else given


def _odd(
    desk: Desk, state: State, meters: Sequence[Meter], named: NamedSituation, answers: Sequence[Answer]
) -> Decided | None:
    """A reading that the description cannot give stops the card: it is no evidence, the supply is asked for."""
    odd = supply.odd_reading(desk, state, meters, named, [a.understood for a in answers])
    return Decided(supply.noted(odd), Ui(odd.panel)) if odd is not None else None


def _anywhere(desk: Desk, state: State, stage: Stage, ui: Ui, key: str) -> Decided | Refusal | None:
    match key:
        case "escape" if ui.panel:
            return Decided()
        case "w" if stage.step is not None and not ui.panel:
            return Decided((), Ui("why"))
        case "w" if ui.panel == "why":
            return Decided()
        case "l" if ui.panel.startswith("rung"):
            return Decided((), Ui(f"rung {int(ui.panel.split()[1]) + 1}"))
        case "l" if has_rungs(desk, state, stage) and ui.panel in ("", "why"):
            return Decided((), Ui("rung 0"))
        case "u":
            if not state.undoable and stage.name in ("stop", "people") and not ui.panel:
                return Decided((), Ui("symptom"))  # the first words themselves are what can still be taken otherwise
            if not state.undoable:
                return Refusal("There is nothing to take back.")
            return Decided(
                (("retract", {"of": [state.undoable[-1]]}),),
                Ui(echo="Taken back. Nothing is lost: the log keeps both."),
            )
        case "n" if stage.step is not None or stage.name == "proof":
            return Decided((), Ui("cant"))
        case "x" if stage.name in ("search", "stuck", "waiting", "watch"):
            return Decided((), Ui("other"))
        case "t" if stage.name in ("search", "stuck", "waiting", "watch") and (
            state.source != "tree" or state.chosen is not None
        ):
            return Decided((("choose", {"source": "tree"}),), Ui(echo="Back to the tree."))
        case amending.KEY if stage.name in ("search", "confirm", "repair", "stuck"):
            return Decided((), Ui("amend"))
        case "e" if stage.name not in ("stop", "people", "ended", "handed"):
            return Decided((), Ui("end"))
    return None


def has_rungs(desk: Desk, state: State, stage: Stage) -> bool:
    """Whether the rungs of the program can be shown alive: a step is asked, and the controller's lights have been read."""
    return stage.step is not None and stage.name in ("search", "confirm") and lights_taken(desk, state) is not None


def _panel(desk: Desk, state: State, stage: Stage, ui: Ui, key: str) -> Decided | Refusal | None:
    if ui.panel == "symptom":
        return _as_given(symptom_given(desk, state, Pressed(key, "")))
    if ui.panel == "cant" and key in REASON_ROWS:
        if REASON_ROWS[key].name == "permit" and len(_places(desk, stage)) == 1:
            return Decided((), Ui("permit"))
        return _cannot(desk, stage, REASON_ROWS[key].name)
    if ui.panel == "end" and key == FAILS and state.complaint in told.COMES_AND_GOES:
        to = "working" if state.phase == "failing" else "failing"
        return Decided((("phase", {"to": to, "by": state.who}),), Ui(echo=f"Noted: what is read from here on is {to}."))
    if ui.panel == "permit" and key in ("1", "2"):
        return _cannot(desk, stage, "permit", whole=key == "1")
    if ui.panel == "end" and key in MORE:
        return Decided((), Ui(MORE[key][0]))
    if ui.panel == "end" and key in ENDINGS:
        how, words = ENDINGS[key]
        if how == "waiting: part":
            return Decided((), Ui("part"))
        if how == "watching" and state.complaint in told.COMES_AND_GOES:
            return Decided((), Ui("watch"))
        return Decided((("ended", {"how": how, "note": words, "temporary": [t.what for t in state.temporary]}),))
    if ui.panel == "other":
        trips = desk.trips(state)
        if key.isdigit() and 1 <= int(key) <= len(trips):
            return Decided((("choose", {"source": "engine", "step": put_step(trips[int(key) - 1])}),))
    return None


_OVER: Final[Mapping[str, Callable[[Desk, State, Input], Events | Refusal | None]]] = {
    "over": over_given, "temporary": temporary_given, "typed": temporary_given, "able": able_given, "part": part_given,
    "watch": watch_given,
}  # fmt: skip
"""Panels that outlive the question they lie over."""


def _over(desk: Desk, state: State, ui: Ui, said: Input) -> Decided | Refusal | None:
    if ui.panel == "temporary" and isinstance(said, Pressed) and said.key == OTHER:
        return Decided((), Ui("typed"))
    stays = {"temporary": "temporary", "typed": "temporary", "able": "able"}
    return _as_given(_OVER[ui.panel](desk, state, said), Ui(stays.get(ui.panel, "")))


def _as_given(given: Events | Refusal | None, ui: Ui = _NO_PANEL) -> Decided | Refusal | None:
    """Events with the screen that follows them; a refusal, and what does nothing, as they are."""
    return Decided(given, ui) if isinstance(given, tuple) else given


def _places(desk: Desk, stage: Stage) -> tuple[str, ...]:
    """Where the readings of a step are taken."""
    items = stage.step.items if stage.step is not None and stage.check is None else ()
    devices = desk.machine.circuit.devices
    return tuple(dict.fromkeys(devices[i.red.device].place for i in items if isinstance(i, Meter)))


def _cannot(desk: Desk, stage: Stage, reason: str, *, whole: bool = False) -> Decided:
    """whole: not these points alone, but all that is at their place."""
    step = stage.step
    if stage.check is not None:
        targets, what = [stage.check.id], stage.check.words
    else:
        assert step is not None
        meters = [i for i in step.items if isinstance(i, Meter)]
        points = [str(m.red) for m in meters if str(m.red) not in step.words]
        what = step.words.rstrip(".") + (f": {', '.join(points)}" if points else "")
        if reason == "second person" and step.situation.hands > 1:
            targets = [step.situation.name]
        elif step.kind == "confirm":
            targets = [f"confirm {step.group}"]
        elif meters:
            parked = {str(m.black) for m in meters}
            targets = [str(m.red) for m in meters] + ([] if len(meters) > 1 and len(parked) == 1 else sorted(parked))
        else:
            targets = [step.situation.name if step.kind == "lights" else step.id]
    if whole:
        (place,) = _places(desk, stage)
        here = [tag for tag, d in desk.machine.circuit.devices.items() if d.place == place]
        targets = [*targets, place, *(str(p) for p in desk.pins.values() if p.device in here)]
        what = f"all of {show(desk.machine.circuit.places[place].words or place)}"
    note = "A good decision. It will not be asked again." if reason == "unsafe" else "Noted; looking for another way."
    return Decided((("cannot", {"words": what, "reason": reason, "targets": targets}),), Ui(echo=note))


# ------------------------------------------------------------------------------------------------------- the caution


def _before_caution(
    desk: Desk, state: State, stage: Stage, said: Input, caution: Caution, key: str
) -> Decided | Refusal | None:
    found = live_readings(desk, stage)
    assert found is not None
    if isinstance(said, Pressed):
        if stage.check is not None and said.key in item_keys(stage)[: len(listed(stage))]:
            return _row(desk, state, stage, said.key)  # looking needs no meter
        if stage.name == "isolate" and said.key == "p":
            return _isolate(desk, state, stage, said)  # nor does a proving unit touch anything live
        if said.key != "c":
            return None
        if said.drawn_ms < DRAWN_MS:
            return Refusal("Read the caution first.")
        return Decided((("caution", {
            "key": key, "digest": caution.digest, "text": list(caution.shown), "level": caution.level,
            "readings": [put_item(m) for m in found[0]], "situation": put_situation(found[1]), "by": state.who,
            "drawn_ms": said.drawn_ms,
        }),))  # fmt: skip
    return _unasked(desk, state, stage, said.text) or Refusal("The caution comes first: read it, then press c.")


# ------------------------------------------------------------------------------------------------------ simple stages


def _stop(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Pressed) and said.key == NOT_RUNNING.key:
        return Decided((), Ui("symptom"))
    return _as_given(stop_told(desk, state, said))


def _tried(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return _as_given(tried_told(desk, state, said))


def _people(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Pressed) and said.key == "y":
        return Decided((("people", {"clear": True}),))
    if isinstance(said, Pressed) and said.key == "m":
        return Refusal("Get everybody clear first, disconnect off if need be. Then come back: nothing is lost.")
    return None


def _last(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    question = due_question(state)
    assert question is not None
    answers = answers_of(question, state)
    if isinstance(said, Typed):
        words = {a.words: a for a in answers}
        near = nearest(said.text, words)
        if near is None:
            return Refusal(f"Which of these is nearest? A number, or {len(answers) + 1} for nobody knows.")
        return Decided((_told(question, words[near], said.text),))
    if said.key.isdigit() and 1 <= int(said.key) <= len(answers):
        return Decided((_told(question, answers[int(said.key) - 1], answers[int(said.key) - 1].words),))
    if said.key == str(len(answers) + 1):
        return Decided((("told", {"question": question.id, "answer": "", "said": "nobody knows"}),))
    return None


def _told(question: told.Question, answer: told.Said, words: str) -> tuple[str, Mapping[str, Any]]:
    return ("told", {"question": question.id, "answer": answer.id, "said": words})


def _watch(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return _as_given(watch_given(desk, state, said))


def _watched(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return _as_given(watched_given(desk, state, said))


def _stuck(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return _unasked(desk, state, stage, said.text) if isinstance(said, Typed) else None


def _ended(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return None


# ------------------------------------------------------------------------------------------------------------- lists


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


def _dark(desk: Desk, state: State, stage: Stage) -> Decided | None:
    """Every light off with one key; the same key again, and they are as they should be."""
    names = lights_of(desk, stage)
    step_id, _ = list_situation(stage)
    dark = all(state.marks.get((step_id, name)) == "off" for name in names)
    return (
        Decided((("marked all", {"step": step_id, "items": list(names), "shown": "" if dark else "off"}),))
        if names
        else None
    )


def _row(desk: Desk, state: State, stage: Stage, key: str) -> Decided | None:
    if key == DARK:
        return _dark(desk, state, stage)
    items = listed(stage)
    place = item_keys(stage).find(key)
    if not 0 <= place < len(items):
        return None
    item = items[place]
    step_id, named = list_situation(stage)
    values = desk.values(item, named)
    now, _ = marked(desk, state, stage, item)
    following = values[(values.index(now) + 1) % len(values)] if now in values else values[0]
    return Decided((("mark", {"step": step_id, "item": item.name, "shown": following}),))


def _list(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Typed):
        return _unasked(desk, state, stage, said.text)
    if said.key != "enter":
        return _row(desk, state, stage, said.key)
    step_id, named = list_situation(stage)
    assert stage.step is not None
    items = [[put_item(i), *marked(desk, state, stage, i)] for i in listed(stage)]
    taken = taken_of(desk, {i.name: marked(desk, state, stage, i)[0] for i in listed(stage)}, named.situation)
    read = {"program": list(sentences(desk, taken))} if taken is not None else {}
    return Decided((("looked", {
        "step": step_id, "situation": put_situation(named), "items": items, "cost": stage.step.cost, **read,
    }),))  # fmt: skip


# ----------------------------------------------------------------------------------------------------------- readings


def asked_of(desk: Desk, meters: Sequence[Meter], named: NamedSituation, *, shown: bool = True) -> tuple[Asked, ...]:
    """What the card asks, for the reader of typed words."""
    out = []
    for meter in meters:
        expected = desk.reasoner.expected(meter, named.situation)
        value = None if expected.value == float("inf") or expected.floating else abs(expected.value)
        out.append(Asked(unit_of(meter.mode), value, shown, meter.mode != "dc volts"))
    return tuple(out)


def _reading(
    desk: Desk, state: State, meters: Sequence[Meter], named: NamedSituation, text: str, *, step: str, group: str,
    source: str, cost: float,
) -> Decided | Refusal:  # fmt: skip
    read = read_typed(text, asked=asked_of(desk, meters, named))
    if isinstance(read, AskBack):
        return Refusal(read.words)
    items = _answered(meters, read)
    if not items:
        return Refusal("Nothing was read. Type a reading or a word, or n for can't.")
    if (odd := _odd(desk, state, meters, named, read.answers)) is not None:
        return odd
    agrees = any(
        not desk.as_it_should(meter, named, a.understood)
        for meter, a in zip(meters, read.answers, strict=True)
        if a.understood is not None and a.understood is not Word.COULDNT
    )
    event = {
        "step": step, "group": group, "agrees": bool(group) and agrees, "situation": put_situation(named), "items": items, "said": text, "source": source,
        "shown": source == "asked", "cost": cost,
    }  # fmt: skip
    far = keeping.drifted(desk, named, items)
    return Decided((("reading", event),), Ui(echo=f"Understood: {read.echo}" + (f". {far}" if far else "")))


def _answered(meters: Sequence[Meter], read: Understood) -> list[list[Any]]:
    return [
        [put_item(meter), answer.said, put_understood(answer.understood)]
        for meter, answer in zip(meters, read.answers, strict=True)
        if answer.understood is not None
    ]


def _measure(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    step = stage.step
    assert step is not None
    if step.kind in ("look", "lights"):
        return _list(desk, state, stage, said)
    if not isinstance(said, Typed):
        return None
    own = _amend(amending.named(desk, stage, said.text)) or _unasked(desk, state, stage, said.text)
    if own is not None:
        return own
    meters = [i for i in step.items if isinstance(i, Meter)]
    return _reading(
        desk, state, meters, step.situation, said.text, step=step.id, group=step.group, source="asked", cost=step.cost
    )


def _unasked(desk: Desk, state: State, stage: Stage, text: str) -> Decided | Refusal | None:
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
    return _reading(
        desk, state, [meter], named, value, step="unasked", group="", source="unasked", cost=30.0
    )  # taken already, before any caution: used as evidence, and the record says "unasked" and which caution it had


def _pin(desk: Desk, word: str) -> Pin | None:
    return desk.pins.get(word.upper()) if ":" in word else None


def _no_pin(desk: Desk, word: str) -> str:
    near = nearest(word.upper(), desk.pins)
    return f"There is no terminal {word}" + (f"; nearest is {desk.pins[near]}." if near else ".")


# ---------------------------------------------------------------------------------------------- isolate, repair, power


def _isolate(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    assert stage.isolation is not None
    step = next(s for s in stage.isolation.steps if s.id == stage.next)
    if step.ask == "done":
        if isinstance(said, Pressed) and said.key == "y":
            return Decided((("isolation", {"step": step.id, "words": step.words, "said": "done"}),))
        return None
    if isinstance(said, Pressed):
        if said.key == "p" and step.id.startswith("prove"):
            # The usual point may itself be dead by the fault; a tester is as well proved on another source.
            event = {
                "step": step.id,
                "words": step.words,
                "said": "proved on a proving unit or another live point",
                "proves": True,
            }
            return Decided((("isolation", event),))
        return None
    # Gloves on: one word for a card on which every row was tested and none showed anything. The rows stay on the screen.
    every = not any(step.expects) and " ".join(said.text.casefold().split()) in ALL_NOTHING
    text = " ".join("0" for _ in step.readings) if every else said.text
    read = read_typed(text, asked=tuple(Asked("V", None, False, True) for _ in step.readings))
    if isinstance(read, AskBack):
        return Refusal(read.words)
    if read.missing:
        word = "" if any(step.expects) else f" Every row tested and nothing on any: {ALL_NOTHING[0]}."
        return Refusal(
            f"All {len(step.readings)} readings, please: each conductor to earth and between.{word} {read.echo}"
        )
    proving = step.id.startswith("prove")
    if proving and (odd := _odd(desk, state, step.readings, desk.at_rest, read.answers)) is not None:
        return odd
    values = [a.most for a in read.answers]
    judged = judge(step, values)
    if not judged.ok:
        return Refusal(judged.words)
    return Decided((("isolation", {
        "step": step.id, "words": step.words, "said": said.text, "proves": step.id.startswith("prove"),
        "readings": [put_item(m) for m in step.readings],
        "understood": [put_understood(a.understood) for a in read.answers if a.understood is not None],
    }),), Ui(echo=f"Understood: {read.echo}"))  # fmt: skip


_LEAST_CAUSE: Final = 3
"""Letters below which what was typed is a slip of a key and no cause: "jam", "fan" are words, "y" and "ok" are not."""


def _repair(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    assert stage.suspect is not None
    act, item = stage.suspect.repair
    cause = act.startswith("find the cause")
    note = said.text if isinstance(said, Typed) else ""
    if isinstance(said, Pressed):
        if said.key != "y":
            return None
        if cause:
            return Refusal("What was the cause? Type it, or: cause not found")
    elif cause and sum(c.isalpha() for c in note) < _LEAST_CAUSE:
        return Refusal(f"{show(note)!r} says no cause. Type it in a word or two, or: cause not found")
    elif cause and "not found" in note.casefold() and (test := short_test(desk, state, item)) is not None:
        echo = "No new fuse into a short: first its feed is tested dead, in ohms. Then say again what the cause was."
        return Decided((("choose", {"source": state.source, "step": put_step(test)}),), Ui(echo=echo))
    event = {
        "group": stage.group, "suspect": stage.suspect.id, "act": act, "item": item, "note": note,
        "chance": round(stage.chance, 4), "confirmed": state.confirmed.get(stage.group, False), "words": stage.suspect.words,
        "broken": stage.suspect.broken,
    }  # fmt: skip
    return Decided((("repaired", event),))


def _power(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if not isinstance(said, Pressed) or said.key != "c":
        return None
    if said.drawn_ms < DRAWN_MS:
        return Refusal("Read what can happen first.")
    event = {"on": True, "told": list(desk.before_power(state)), "by": state.who, "drawn_ms": said.drawn_ms}
    return Decided((("power", event),))


# -------------------------------------------------------------------------------------------------------------- proof


def _proof(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    check = stage.check
    assert check is not None
    meters = [i for i, _ in check.expects if isinstance(i, Meter)]
    if isinstance(said, Pressed):
        if said.key != "enter":
            return _row(desk, state, stage, said.key)
        if meters:
            return Refusal("This one is proved by a reading: type what the meter shows.")
        return _proved(desk, state, stage, [])
    if not meters:
        return None
    read = read_typed(said.text, asked=asked_of(desk, meters, check.situation))
    if isinstance(read, AskBack):
        return Refusal(read.words)
    if read.missing:
        return Refusal(f"This one needs {len(meters)} readings. {read.echo}")
    if any(a.understood is Word.COULDNT for a in read.answers):
        return Refusal(
            "Not proved without its reading: press n if it cannot be done, and it is handed over as not proved."
        )
    if (odd := _odd(desk, state, meters, check.situation, read.answers)) is not None:
        return odd
    amps = three_amps(meters, read.answers)
    uneven = max((percent for three in amps.values() if (percent := too_uneven(three)) is not None), default=None)
    decided = _proved(desk, state, stage, list(zip(meters, read.answers, strict=True)), uneven)
    said_of = (f"{tag}: {evenness(three)}" if len(amps) > 1 else evenness(three) for tag, three in amps.items())
    echo = ". ".join(part for part in (f"Understood: {read.echo}", " ".join(said_of)) if part)
    return replace(decided, ui=Ui(echo=f"{echo} This check has NOT passed." if uneven else echo))


def three_amps(meters: Sequence[Meter], answers: Sequence[Answer]) -> dict[str, list[float]]:
    """The three currents of each motor as they were typed; nothing of one of which not all three are numbers."""
    found: dict[str, list[float]] = {}
    for meter, answer in zip(meters, answers, strict=True):
        if meter.mode == "amps" and isinstance(answer.understood, Interval):
            found.setdefault(meter.black.device, []).append(answer.understood.middle)
    return {tag: amps for tag, amps in found.items() if len(amps) == 3}


def _proved(
    desk: Desk, state: State, stage: Stage, read: list[tuple[Meter, Answer]], uneven: float | None = None
) -> Decided:
    """uneven: percent, where the currents are more so than they may be: not passed, and handed over as not proved."""
    check = stage.check
    assert check is not None
    items: list[list[Any]] = []
    passed = True
    for item in listed(stage):
        shown, _ = marked(desk, state, stage, item)
        passed = passed and shown == desk.shown(item, check.situation)
        items.append([put_item(item), shown, shown])
    for meter, answer in read:
        assert answer.understood is not None
        passed = passed and desk.as_it_should(meter, check.situation, answer.understood)
        items.append([put_item(meter), answer.said, put_understood(answer.understood)])
    only_uneven = {"uneven": round(uneven, 1)} if uneven is not None and passed else {}
    return Decided((("proved", {
        "check": check.id, "words": check.words, "passed": passed and uneven is None, **only_uneven, "situation": put_situation(check.situation), "items": items,
    }),))  # fmt: skip


def _waiting(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Typed):
        return _unasked(desk, state, stage, said.text)
    if said.key != "y":
        return None
    reason = waits_for(state)
    return Decided((("ended", {
        "how": f"waiting: {reason.waits}", "note": f"waiting for {reason.waits_for}", "wanted": wanted(desk, stage),
        "temporary": [t.what for t in state.temporary],
    }),))  # fmt: skip


def _handed(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    echo = "Taken up. Cautions and isolation are asked again: your own lock, your own tester."
    return _as_given(taken_given(desk, state, said), Ui(echo=echo))


def _putback(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if not isinstance(said, Pressed):
        return None
    return _as_given(put_back(desk, state, said.key))


def _handback(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Pressed) and state.temporary and said.key != "y":
        return _putback(desk, state, stage, said)
    if state.temporary:
        return Refusal(
            f"Not handed back: {state.temporary[0].what} is still temporary. Put it back, then press its number."
        )
    second = said.text.strip() if isinstance(said, Typed) else ""
    if isinstance(said, Pressed) and said.key == keeping.KEY.key and not state.kept:
        card = keeping.six(desk)
        return Decided((("choose", {"source": state.source, "step": put_step(card)}),)) if card is not None else None
    if isinstance(said, Pressed) and said.key != "y":
        return None
    unproved = desk.unproved_stops(state)
    if unproved:
        return Refusal(f"Not handed back: a stop had failed, and this was not proved: {unproved[0]}")
    if desk.stop_failed(state) and (not second or second.casefold() == state.who.casefold()):
        return Refusal("A stop had failed: hand back needs a second person. Type their name.")
    note = f"second name: {second}" if second else ""
    return Decided((("ended", {
        "how": "mended", "note": note, "not_proved": list(desk.not_proved(state)), "second": second,
    }),))  # fmt: skip


_STAGES: Final[Mapping[str, Callable[[Desk, State, Stage, Input], Decided | Refusal | None]]] = {
    "stop": _stop, "people": _people, "last": _last, "tried": _tried, "search": _measure, "confirm": _measure, "isolate": _isolate, "repair": _repair,
    "putback": _putback, "power": _power, "waiting": _waiting, "handed": _handed, "proof": _proof, "handback": _handback, "stuck": _stuck, "ended": _ended,
    "watch": _watch, "watched": _watched,
}  # fmt: skip

__all__ = ["Decided", "Ui", "decide", "sheet_id"]
