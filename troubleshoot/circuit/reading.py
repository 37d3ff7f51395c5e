"""What is known so far while a circuit file is read, and the shapes that every part of it shares."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import cast

from troubleshoot.circuit import written
from troubleshoot.circuit.kinds.base import Kind
from troubleshoot.circuit.model import Device, Known, Pin, Place
from troubleshoot.circuit.rows import KNOWN, Row
from troubleshoot.text.problem import Position, Problem, nearest
from troubleshoot.text.yamlnodes import Map, Node, Text


@dataclass(slots=True)
class Reading:
    """What is known so far while a file is read; problems are added, never thrown."""

    kinds: Mapping[str, Kind]
    problems: list[Problem]
    places: dict[str, Place] = field(default_factory=dict)
    devices: dict[str, Device] = field(default_factory=dict)
    pins: dict[str, dict[str, Pin]] = field(default_factory=dict)
    """Of devices that were read without a mistake: terminals by their mark."""
    doubtful: set[str] = field(default_factory=set)
    """Devices with a mistake in them: what is said about their terminals cannot be judged."""
    can: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def wrong(self, at: Position, what: str, near: str | None = None) -> None:
        self.problems.append(Problem(at, what, near))


def keys_of(node: Map, rows: tuple[Row, ...], what: str, to: Reading) -> dict[str, Node]:
    """The values of the known keys; unknown and missing ones become problems."""
    known = [row.name for row in rows]
    node = joined_commas(node)
    found: dict[str, Node] = {}
    meant: set[str | None] = set()
    for key, value in node:
        if key.value in known:
            found[key.value] = value
        else:
            near = near_key(key.value, [name for name in known if node.key(name) is None], known)
            meant.add(near)
            to.wrong(key.at, f"{what} has no key {key.value!r}{comma(value)}", near)
    for row in rows:
        if row.must and row.name not in found and row.name not in meant:
            to.wrong(node.at, f"{what} must have '{row.name}': {row.words}")
    return found


def joined_commas(node: Map) -> Map:
    """The same map, a number that a comma cut in two put together again: inside braces ``set: 8,5 A`` is two keys."""
    entries: list[tuple[Text, Node]] = []
    for key, value in node:
        before = entries[-1][1] if entries else None
        if is_missing(value) and isinstance(before, Text) and before.style == "plain" and before.value.isdecimal() \
                and key.style == "plain" and key.value[:1].isdecimal():  # fmt: skip
            entries[-1] = (entries[-1][0], Text(f"{before.value},{key.value}", before.at))
        else:
            entries.append((key, value))
    return node if len(entries) == len(node.entries) else Map(tuple(entries), node.at)


def near_key(key: str, left: Iterable[str], known: Iterable[str]) -> str | None:
    """A key that is not there yet is meant rather than one that is."""
    return nearest(key, left) or nearest(key, known)


def comma(value: Node) -> str:
    """Words inside braces end at a comma; the rest then reads as a key with nothing behind it."""
    return "; put quotes around text that holds a comma" if is_missing(value) else ""


def map_of(node: Node | None, what: str, to: Reading) -> Map | None:
    if node is None or isinstance(node, Map):
        return node
    to.wrong(node.at, f"'{what}' must be a map of keys" + ("; nothing is written after it" if is_missing(node) else ""))
    return None


def is_missing(node: Node) -> bool:
    return isinstance(node, Text) and node.missing


def names_in(node: Node | None) -> tuple[str, ...]:
    return node.keys() if isinstance(node, Map) else ()


def known_of(found: Mapping[str, Node], default: Known, to: Reading) -> Known:
    if "known" not in found:
        return default
    return cast("Known | None", written.choice(found["known"], "known", KNOWN, to.problems)) or default


def is_device(tag: str, at: Position, to: Reading) -> bool:
    if tag in to.devices:
        return True
    if tag not in to.doubtful:
        to.wrong(at, f"no device {tag!r} in this file", nearest(tag, (*to.devices, *to.doubtful)))
    return False
