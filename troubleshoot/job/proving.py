"""What an input does in the proof run and at hand-back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.evidence.unbalance import evenness, too_uneven
from troubleshoot.evidence.words import Answer, AskBack, read_typed
from troubleshoot.job import keeping
from troubleshoot.job.codec import put_item, put_situation, put_step, put_understood
from troubleshoot.job.decided import Decided, Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.lists import listed, marked, row_given
from troubleshoot.job.mending import putback_given
from troubleshoot.job.readings import asked_of, odd_of
from troubleshoot.job.sheet import Input, Pressed, Refusal, Typed
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import State
from troubleshoot.job.stopping import disconnects, moving, unbidden


def proof_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    check = stage.check
    assert check is not None
    meters = [i for i, _ in check.expects if isinstance(i, Meter)]
    if isinstance(said, Pressed):
        if said.key != "enter":
            return row_given(desk, state, stage, said.key)
        if meters and not moving(desk, state, check):
            return Refusal("This one is proved by a reading: type what the meter shows.")
        return _proved(desk, state, stage, [])
    if not meters:
        return None
    if moving(desk, state, check):
        return Refusal(f"Read nothing now. OPEN {disconnects(desk)}, then Enter.")
    read = read_typed(said.text, asked=asked_of(desk, meters, check.situation))
    if isinstance(read, AskBack):
        return Refusal(read.words)
    if read.missing:
        return Refusal(f"This one needs {len(meters)} readings. {read.echo}")
    if any(a.understood is Word.COULDNT for a in read.answers):
        return Refusal(
            "Not proved without its reading: press n if it cannot be done, and it is handed over as not proved."
        )
    if (odd := odd_of(desk, state, meters, check.situation, read.answers)) is not None:
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
    wild = {} if passed else _unbidden(desk, state, stage, read)
    whole = next((c for c in desk.proof.checks if c.id == check.id), check)
    left_out = {"left_out": [put_item(m) for m in whole.readings if m not in check.readings]}
    return Decided((("proved", {
        "check": check.id, "words": check.words, "passed": passed and uneven is None, **only_uneven, **wild,
        **(left_out if left_out["left_out"] else {}), "situation": put_situation(check.situation), "items": items,
    }),))  # fmt: skip


def _unbidden(desk: Desk, state: State, stage: Stage, read: Sequence[tuple[Meter, Answer]]) -> dict[str, Any]:
    """What a failed check says of a machine that does not stand when it must: the complaint it is from now on, and what moves.

    Empty where nothing that drives or holds a load was otherwise: a lamp that stays dark is looked for as before.
    """
    check = stage.check
    assert check is not None
    machine, named = desk.machine, check.situation
    moves = moving(desk, state, check)
    motors = {m.var for m in machine.net.motors}
    drives, holds = any(tag in motors for tag in moves), any(tag not in motors for tag in moves)
    for item in listed(stage):
        sign = machine.net.signs[item.name]
        must, (shown, _) = desk.shown(item, named), marked(desk, state, stage, item)
        kind = machine.circuit.devices[sign.var].kind if sign.var in machine.circuit.devices else ""
        drives |= kind == "contactor" and must == sign.shows.get("out") != shown
        holds |= kind == "brake" and must == sign.shows.get("set") != shown and sign.name == sign.var
    if check.channel:
        drives |= any(
            answer.understood is not None and not desk.as_it_should(meter, named, answer.understood)
            for meter, answer in read
        )
    if not (drives or holds):
        return {}
    return {"unbidden": unbidden(desk, named.situation, drives=drives), "moves": list(moves)}


def handback_given(desk: Desk, state: State, stage: Stage, said: Input) -> Decided | Refusal | None:
    if isinstance(said, Pressed) and state.temporary and said.key != "y":
        return putback_given(desk, state, stage, said)
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
