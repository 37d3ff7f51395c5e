"""Readings as they are typed: what a card asks, and what its answer comes to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.evidence.seen import Meter, Word
from troubleshoot.evidence.words import Answer, AskBack, Asked, Understood, read_typed
from troubleshoot.job import amending, calling, keeping, supply
from troubleshoot.job.codec import put_item, put_situation, put_understood
from troubleshoot.job.decided import Decided, Ui
from troubleshoot.job.desk import Desk
from troubleshoot.job.sheet import Refusal
from troubleshoot.job.state import State
from troubleshoot.solve.meters import unit_of


def amended(said: amending.Amending | Refusal | None) -> Decided | Refusal | None:
    return Decided(said.events, Ui(said.panel, said.echo)) if isinstance(said, amending.Amending) else said


def called(said: calling.Called | Refusal | None) -> Decided | Refusal | None:
    return Decided(said.events, Ui(echo=said.echo)) if isinstance(said, calling.Called) else said


def odd_of(
    desk: Desk, state: State, meters: Sequence[Meter], named: NamedSituation, answers: Sequence[Answer]
) -> Decided | None:
    """A reading that the description cannot give stops the card: it is no evidence, the supply is asked for."""
    odd = supply.odd_reading(desk, state, meters, named, [a.understood for a in answers])
    return Decided(supply.noted(odd), Ui(odd.panel)) if odd is not None else None


def asked_of(desk: Desk, meters: Sequence[Meter], named: NamedSituation, *, shown: bool = True) -> tuple[Asked, ...]:
    """What the card asks, for the reader of typed words."""
    out = []
    for meter in meters:
        expected = desk.reasoner.expected(meter, named.situation)
        value = None if expected.value == float("inf") or expected.floating else abs(expected.value)
        out.append(Asked(unit_of(meter.mode), value, shown, meter.mode != "dc volts"))
    return tuple(out)


def reading_of(
    desk: Desk, state: State, meters: Sequence[Meter], named: NamedSituation, text: str, *, step: str, group: str,
    source: str, cost: float,
) -> Decided | Refusal:  # fmt: skip
    read = read_typed(text, asked=asked_of(desk, meters, named))
    if isinstance(read, AskBack):
        return Refusal(read.words)
    items = _answered(meters, read)
    if not items:
        return Refusal("Nothing was read. Type a reading or a word, or n for can't.")
    missing = [
        f"{k} ({m.red})" for k, (m, a) in enumerate(zip(meters, read.answers, strict=True), 1) if a.understood is None
    ]
    if missing and group:
        # One reading shows the fault, another one whose it is: half a test confirms nothing.
        return Refusal(
            f"{', '.join(missing)} is missing: type all {len(meters)}, with ?? for what cannot be read. {read.echo}"
        )
    if (odd := odd_of(desk, state, meters, named, read.answers)) is not None:
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
    left = f"not given: {', '.join(missing)}" if missing else ""
    return Decided((("reading", event),), Ui(echo=". ".join(filter(None, (f"Understood: {read.echo}", far, left)))))


def _answered(meters: Sequence[Meter], read: Understood) -> list[list[Any]]:
    return [
        [put_item(meter), answer.said, put_understood(answer.understood)]
        for meter, answer in zip(meters, read.answers, strict=True)
        if answer.understood is not None
    ]
