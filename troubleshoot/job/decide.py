"""What happens when a person says something: events to be written, or a refusal in words. Pure.

`Ui` is what belongs to the screen and not to the record: an open panel, the echo of the last words. Losing it loses
nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from troubleshoot.diagnosis.step import unseen
from troubleshoot.evidence import told
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job import agreeing, amending, calling, supply
from troubleshoot.job.against import lights_taken
from troubleshoot.job.asking import answers_of, due_question
from troubleshoot.job.clipping import CLIP, can_clip, clip_asked, clip_chosen, clip_given
from troubleshoot.job.codec import put_item, put_situation, put_step
from troubleshoot.job.decided import DRAWN_MS, Decided, Events, Ui, as_given, sheet_id
from troubleshoot.job.desk import Desk
from troubleshoot.job.doors import behind
from troubleshoot.job.due import caution_of, live_readings
from troubleshoot.job.facts import taken_back_alone
from troubleshoot.job.handing import (
    OTHER,
    TAKE_UP,
    able_given,
    over_given,
    part_given,
    runs_given,
    taken_given,
    temporary_given,
    waits_for,
    wanted,
)
from troubleshoot.job.lists import item_keys, list_given, listed, row_given
from troubleshoot.job.mending import isolate_given, power_given, putback_given, repair_given
from troubleshoot.job.proving import handback_given, proof_given
from troubleshoot.job.readings import amended, called, reading_of
from troubleshoot.job.reasons import REASON_ROWS
from troubleshoot.job.resetting import reset_given
from troubleshoot.job.sheet import Input, Pressed, Refusal, Typed
from troubleshoot.job.stage import Stage, on_dead_parts, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.stopping import NOT_RUNNING, stop_told, symptom_given, tried_told
from troubleshoot.job.unasked import unasked
from troubleshoot.job.watching import FAILS, watch_given, watched_given
from troubleshoot.safety.caution import Caution
from troubleshoot.safety.proof import readings_of
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

ENDINGS: Final = {
    "1": ("made safe", "made safe and tagged, not mended"),
    "2": ("waiting: part", "waiting for a part"),
    "3": ("waiting: permit", "waiting for a permit or another trade"),
    "4": ("watching", "it runs; to be watched"),
    "5": ("not found", "not found"),
    "6": ("waiting: person", "waiting for a second person or somebody who knows"),
}
TAKEN: Final = "Taken up. Cautions and isolation are asked again: your own lock, your own tester."
TAKEN_BACK: Final = "Taken back. Nothing is lost: the log keeps both."
MORE: Final = {
    "7": ("over", "hand over to the next person: one page"),
    "8": ("temporary", "temporary things: lifted, forced, taken off, put back"),
    "9": ("able", "what could not be done, and can be now"),
}
"""What else the page of endings opens."""


def decide(desk: Desk, state: State, ui: Ui, said: Input) -> Decided | Refusal | None:
    """What an input does. None: it answers a sheet that is no longer there, or a key that is not live."""
    if said.sheet != sheet_id(state, ui):
        return None
    stage = stage_of(desk, state)
    name, _, about = ui.panel.partition(" ")
    if name == "amend" and not (isinstance(said, Pressed) and said.key == "escape"):
        return amended(amending.amend(desk, state, stage, about, said))
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


def _supply(given: tuple[Events, str, str] | Refusal | None) -> Decided | Refusal | None:
    return Decided(given[0], Ui(*given[1:])) if isinstance(given, tuple) else given


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
            looking = stage.name in ("search", "confirm", "stuck")
            if looking and ui.panel in ("", "why") and taken_back_alone(desk, state) is not None:
                return Decided((), Ui("back"))  # the one that stands against the rest may lie many answers back
            return _taken_back(state, state.undoable[-1])
        case "n" if stage.step is not None or stage.name == "proof":
            return Decided((), Ui("cant"))
        case "x" if stage.name in ("search", "stuck", "waiting", "watch", "reset") and state.clip is None:
            return Decided((), Ui("other"))
        case "t" if stage.name in ("search", "stuck", "waiting", "watch") and (
            state.source != "tree" or state.chosen is not None
        ):
            return Decided((("choose", {"source": "tree"}),), Ui(echo="Back to the tree."))
        case CLIP.usual if not ui.panel and can_clip(desk, state, stage):
            return clip_asked(desk, state, stage)
        case amending.KEY if stage.name in ("search", "confirm", "repair", "stuck"):
            return Decided((), Ui("amend"))
        case "e" if stage.name not in ("stop", "people", "ended", "handed"):
            return Decided((), Ui("end"))
    return None


def _taken_back(state: State, event: int) -> Decided:
    """What was said is taken back, and with it what the program has reckoned from it since."""
    return Decided((("retract", {"of": [event, *state.reckoned]}),), Ui(echo=TAKEN_BACK))


def has_rungs(desk: Desk, state: State, stage: Stage) -> bool:
    """Whether the rungs of the program can be shown alive: a step is asked, and the controller's lights have been read."""
    return stage.step is not None and stage.name in ("search", "confirm") and lights_taken(desk, state) is not None


def _panel(desk: Desk, state: State, stage: Stage, ui: Ui, key: str) -> Decided | Refusal | None:
    if ui.panel == "back" and key in ("1", "2"):
        odd = taken_back_alone(desk, state)
        return _taken_back(state, odd.event if key == "2" and odd is not None else state.undoable[-1])
    if ui.panel == "symptom":
        return as_given(symptom_given(desk, state, Pressed(key, "")))
    if ui.panel == "clip":
        return clip_chosen(desk, state, stage, key)
    if ui.panel == agreeing.PANEL and key == agreeing.GO_ON.key:
        return Decided()
    if ui.panel == "cant" and key in REASON_ROWS:
        if REASON_ROWS[key].name == "permit" and len(places_of(desk, stage)) == 1:
            return Decided((), Ui("permit"))
        if stage.check is not None and stage.check.readings and stage.check.by_eye.expects:
            return Decided((), Ui(f"check {REASON_ROWS[key].name}"))
        return _cannot(desk, stage, REASON_ROWS[key].name)
    if ui.panel.startswith("check ") and key in ("1", "2"):
        return _cannot(desk, stage, ui.panel.removeprefix("check "), readings=key == "1")
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
        if how == "watching":
            return Decided((), Ui("runs"))
        return Decided((("ended", {"how": how, "note": words, "temporary": [t.what for t in state.temporary]}),))
    if ui.panel == "other":
        trips = desk.trips(state)
        if key.isdigit() and 1 <= int(key) <= len(trips):
            return Decided((("choose", {"source": "engine", "step": put_step(trips[int(key) - 1])}),))
    return None


_OVER: Final[Mapping[str, Callable[[Desk, State, Input], Events | Refusal | None]]] = {
    "over": over_given, "temporary": temporary_given, "typed": temporary_given, "able": able_given, "part": part_given,
    "watch": watch_given, "taken": taken_given, "runs": runs_given,
}  # fmt: skip
"""Panels that outlive the question they lie over."""


def _over(desk: Desk, state: State, ui: Ui, said: Input) -> Decided | Refusal | None:
    if ui.panel == "temporary" and isinstance(said, Pressed) and said.key == OTHER:
        return Decided((), Ui("typed"))
    stays = {"temporary": "temporary", "typed": "temporary", "able": "able"}
    return as_given(
        _OVER[ui.panel](desk, state, said), Ui(stays.get(ui.panel, ""), TAKEN if ui.panel == "taken" else "")
    )


def places_of(desk: Desk, stage: Stage) -> tuple[str, ...]:
    """Where the readings of a step are taken."""
    items = stage.step.items if stage.step is not None and stage.check is None else ()
    devices = desk.machine.circuit.devices
    metered = dict.fromkeys(devices[i.red.device].place for i in items if isinstance(i, Meter))
    return tuple(metered) or behind(desk, items)


def _cannot(desk: Desk, stage: Stage, reason: str, *, whole: bool = False, readings: bool = False) -> Decided:
    """whole: not these points alone, but all that is at their place; readings: of a check, those alone."""
    step = stage.step
    if stage.check is not None and readings:
        targets, what = [readings_of(stage.check.id)], f"{stage.check.words.rstrip('.')}: its readings"
    elif stage.check is not None:
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
            # Who will not have Start held will not have it held for another look either; what cannot be seen from where
            # one stands is left out there and nowhere else.
            moves = bool(step.situation.situation.acts) and not on_dead_parts(desk, (), step.situation)
            signs = [i for i in step.items if not isinstance(i, Meter)]
            whole_of_it = moves and reason in ("unsafe", "second person", "not allowed")
            again = next((f"look again {i.name}" for i in step.items[:1] if isinstance(i, Light | Look)), step.id)
            asked = again if step.id.startswith(again) else step.id
            targets = [step.situation.name] if whole_of_it else [asked, *(unseen(i, step.situation) for i in signs)]
    if whole:
        (place,) = places_of(desk, stage)
        here = [tag for tag, d in desk.machine.circuit.devices.items() if d.place == place]
        if step is not None and step.kind in ("look", "lights"):
            targets = []  # what is outside is looked at all the same
        hidden = [s.name for s in desk.machine.net.signs.values() if behind(desk, [Look(s.name)]) == (place,)]
        targets = [*targets, place, *hidden, *(str(p) for p in desk.pins.values() if p.device in here)]
        what = f"all of {show(desk.machine.circuit.places[place].words or place)}"
    note = "A good decision. It will not be asked again." if reason == "unsafe" else "Noted; looking for another way."
    return Decided((("cannot", {"words": what, "reason": reason, "targets": targets}),), Ui(echo=note))


def _before_caution(
    desk: Desk, state: State, stage: Stage, said: Input, caution: Caution, key: str
) -> Decided | Refusal | None:
    found = live_readings(desk, stage)
    assert found is not None
    if isinstance(said, Pressed):
        if stage.check is not None and said.key in item_keys(stage)[: len(listed(stage))]:
            return row_given(desk, state, stage, said.key)  # looking needs no meter
        if stage.name == "isolate" and said.key == "p":
            return isolate_given(desk, state, stage, said)  # nor does a proving unit touch anything live
        if said.key != "c":
            return None
        if said.drawn_ms < DRAWN_MS:
            return Refusal("Read the caution first.")
        return Decided((("caution", {
            "key": key, "digest": caution.digest, "text": list(caution.shown), "level": caution.level,
            "readings": [put_item(m) for m in found[0]], "situation": put_situation(found[1]), "by": state.who,
            "drawn_ms": said.drawn_ms, **({"locked": True} if stage.name == "isolate" else {}),
        }),))  # fmt: skip
    return unasked(desk, state, stage, said.text) or Refusal("The caution comes first: read it, then press c.")


def _stop(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Pressed) and said.key == NOT_RUNNING.key and not state.runs_wild:
        return Decided((), Ui("symptom"))
    return as_given(stop_told(desk, state, said))


def _tried(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return as_given(tried_told(desk, state, said))


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
    return as_given(watch_given(desk, state, said))


def _watched(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return as_given(watched_given(desk, state, said))


def _stuck(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return unasked(desk, state, stage, said.text) if isinstance(said, Typed) else None


def _ended(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    return None


def measure_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    step = stage.step
    assert step is not None
    if step.kind in ("look", "lights"):
        return list_given(desk, state, stage, said)
    if not isinstance(said, Typed):
        return None
    own = called(calling.named(desk, state, stage, said.text)) or unasked(desk, state, stage, said.text)
    if own is not None:
        return own
    meters = [i for i in step.items if isinstance(i, Meter)]
    found = reading_of(
        desk, state, meters, step.situation, said.text, step=step.id, group=step.group, source="asked", cost=step.cost
    )
    if not isinstance(found, Decided):
        return found
    return agreeing.judged(desk, state, agreeing.confirming(desk, state, found) if step.kind == "measure" else found)


def _reset(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    assert stage.step is not None
    return reset_given(desk, state, stage.next, stage.step.situation, said)


def _waiting(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Typed):
        return unasked(desk, state, stage, said.text)
    if said.key != "y":
        return None
    reason = waits_for(state)
    return Decided((("ended", {
        "how": f"waiting: {reason.waits}", "note": f"waiting for {reason.waits_for}", "wanted": wanted(desk, stage),
        "temporary": [t.what for t in state.temporary],
    }),))  # fmt: skip


def _handed(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Pressed):
        return Decided((), Ui("taken")) if said.key == TAKE_UP.key else None
    return as_given(taken_given(desk, state, said), Ui(echo=TAKEN))


_STAGES: Final[Mapping[str, Callable[[Desk, State, Stage, Input], Decided | Refusal | None]]] = {
    "stop": _stop, "people": _people, "last": _last, "tried": _tried, "search": measure_given, "confirm": measure_given, "isolate": isolate_given, "repair": repair_given,
    "clip": clip_given, "unclip": clip_given, "putback": putback_given, "reset": _reset, "power": power_given, "waiting": _waiting, "handed": _handed, "proof": proof_given, "handback": handback_given, "stuck": _stuck, "ended": _ended,
    "watch": _watch, "watched": _watched,
}  # fmt: skip
