"""Values to what a log event can hold, and back: situations, points, what was understood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from troubleshoot.circuit.model import Act, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.step import Step
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Word


def put_situation(named: NamedSituation) -> dict[str, Any]:
    """A named situation as plain data."""
    s = named.situation
    return {
        "name": named.name, "words": named.words, "hands": named.hands, "origin": s.origin,
        "hold": sorted([d, v] for d, v in s.hold), "acts": [[a.verb, a.device, a.value] for a in s.acts],
    }  # fmt: skip


def get_situation(data: Mapping[str, Any]) -> NamedSituation:
    """The situation written by `put_situation`."""
    acts = tuple(Act(cast("Any", verb), device, value) for verb, device, value in data["acts"])
    hold = frozenset((str(d), str(v)) for d, v in data["hold"])
    return NamedSituation(data["name"], data["words"], Situation(data["origin"], acts, hold), data["hands"])


def put_pin(pin: Pin) -> list[str]:
    return [pin.device, pin.pin]


def get_pin(data: Sequence[str]) -> Pin:
    return Pin(data[0], data[1])


def put_item(item: Meter | Light | Look) -> list[Any]:
    """An observable as plain data."""
    match item:
        case Meter():
            return ["meter", item.mode, put_pin(item.red), put_pin(item.black)]
        case Light():
            return ["light", item.name]
        case Look():
            return ["look", item.name]


def get_item(data: Sequence[Any]) -> Meter | Light | Look:
    """The observable written by `put_item`."""
    match data[0]:
        case "meter":
            return Meter(data[1], get_pin(data[2]), get_pin(data[3]))
        case "light":
            return Light(data[1])
        case _:
            return Look(data[1])


def put_understood(value: Interval | Word | str) -> Any:
    """What was understood as plain data."""
    match value:
        case Interval():
            return [value.low, value.high, value.unit]
        case Word():
            return {"word": value.value}
        case _:
            return str(value)


def get_understood(data: Any) -> Interval | Word | str:
    """What `put_understood` wrote."""
    if isinstance(data, Mapping):
        return Word(data["word"])
    if isinstance(data, str):
        return data
    return Interval(data[0], data[1], data[2])


def put_step(step: Step) -> dict[str, Any]:
    """A step as plain data, so that a chosen one survives a restart."""
    return {
        "kind": step.kind, "id": step.id, "items": [put_item(i) for i in step.items],
        "situation": put_situation(step.situation), "words": step.words, "why": step.why, "ahead": list(step.ahead),
        "group": step.group, "source": step.source, "cost": step.cost, "bits": step.bits,
    }  # fmt: skip


def get_step(data: Mapping[str, Any]) -> Step:
    """The step written by `put_step`."""
    return Step(
        data["kind"], data["id"], tuple(get_item(i) for i in data["items"]), get_situation(data["situation"]),
        data["words"], data["why"], tuple(data["ahead"]), data["group"], data["source"], data["cost"], data["bits"],
    )  # fmt: skip
