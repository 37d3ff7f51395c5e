"""One event of a log and the one way to spell it.

Spelling: a flat JSON object on one line, keys in code point order at every depth, no spaces, UTF-8, numbers as Python
prints them, no NaN; only ``"``, ``\\``, characters below U+0020 and lone surrogates are escaped. The hash is SHA-256
over that spelling with the member ``hash`` left out. Any other spelling of the same event is refused by the readers,
so that an event has exactly one.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any, Final

JSON = str | int | float | bool | None | tuple["JSON", ...] | Mapping[str, "JSON"]
"""What `Event.data` holds: lists have become tuples and dicts read-only views of themselves."""

RESERVED: Final = frozenset({"n", "kind", "at", "elapsed_ms", "prev", "hash"})
"""Keys of a line that are not data."""

FORMAT: Final = 1
"""Version of the spelling, carried in event 1. A newer one is not understood here, so such a log is only read."""

LONGEST_LINE: Final = 1 << 20
"""Bytes of one line, its newline included; what keeps reading in constant memory."""

DEEPEST: Final = 32
"""Lists and dicts inside one another in `Event.data`; far from where a JSON reader gives up."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, as it is on the disk."""

    n: int
    """Place in the log, from 1. Events are ordered by this and by nothing else."""
    kind: str
    at: str
    """Wall time, ISO 8601 with milliseconds and offset: ``2026-11-25T03:10:22.480+01:00``. May jump."""
    elapsed_ms: int
    """Milliseconds since the session was opened; never goes back."""
    data: Mapping[str, JSON]
    prev: str
    """`hash` of the event before; of event 1 the `genesis` of its session and version."""
    hash: str
    """SHA-256 of the canonical line without this member, 64 hexadecimal digits."""

    def __hash__(self) -> int:  # the fields hold mappings, which cannot be hashed; equal events have equal hashes
        return hash(self.hash)

    @property
    def when(self) -> datetime:
        """`at` as a point in time with its offset."""
        return datetime.fromisoformat(self.at)

    def plain(self) -> dict[str, Any]:
        """The JSON object of this event in ordinary dicts and lists, for whoever hands it on."""
        return {**_thaw(self.data), **_envelope(self), "hash": self.hash}


def genesis(session: str, version: str) -> str:
    """`prev` of event 1: a fixed text, the session and the program's version, hashed."""
    return hashlib.sha256(b"troubleshoot log\n" + canonical([session, version]).encode()).hexdigest()


def make_event(n: int, kind: str, at: str, elapsed_ms: int, data: Mapping[str, Any], prev: str) -> Event:
    """An event with its hash worked out and its data frozen.

    Raises TypeError or ValueError where `data` cannot be spelled: keys that are not text or are `RESERVED`, numbers
    that are not finite, deeper than `DEEPEST`, other types. That is an error of the caller, not of the person.
    """
    if not kind:
        raise ValueError("an event needs a kind")
    if taken := RESERVED & data.keys():
        raise ValueError(f"data may not use the reserved keys {sorted(taken)}")
    frozen = _frozen_mapping(data, 0)
    bare = Event(n, joined(kind), at, elapsed_ms, frozen, prev, "")
    body = canonical({**frozen, **_envelope(bare)}).encode()
    return Event(n, bare.kind, at, elapsed_ms, frozen, prev, hashlib.sha256(body).hexdigest())


def line_of(event: Event) -> bytes:
    """The canonical line of an event, newline included."""
    return canonical({**event.data, **_envelope(event), "hash": event.hash}).encode() + b"\n"


def stamp(at: datetime) -> str:
    """The spelling of a wall time in a log; `at` carries its offset."""
    if at.tzinfo is None:
        raise ValueError("a wall time in a log needs its offset")
    return at.isoformat(timespec="milliseconds")


def freeze(value: Any, depth: int = 0) -> JSON:
    """`value` as it will be read back from the disk. Raises as `make_event` does.

    Text keeps every character; a high and a low surrogate side by side become the character they spell, for JSON
    cannot tell the two apart.
    """
    match value:
        case None | bool():
            return value
        case str():
            return joined(value)
        case int():
            return int(value)
        case float():
            if not math.isfinite(value):
                raise ValueError("a log holds no NaN and no infinity")
            return float(value)
        case Mapping():
            return _frozen_mapping(value, depth)
        case list() | tuple():
            if depth >= DEEPEST:
                raise ValueError(f"data is nested deeper than {DEEPEST}")
            return tuple(freeze(item, depth + 1) for item in value)
    raise TypeError(f"a log cannot hold a {type(value).__name__}")


def joined(text: str) -> str:
    """`text` with each surrogate pair made the one character it spells; lone surrogates stay."""
    text = str.__str__(text)
    if not _SURROGATE.search(text):
        return text
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "surrogatepass")


def canonical(value: Any) -> str:
    """The one spelling of a JSON value. Lone surrogates, which UTF-8 cannot carry, are written ``\\udcff``."""
    text = _ENCODER.encode(value)
    return text if text.isascii() else escape_surrogates(text)


def escape_surrogates(text: str) -> str:
    """JSON text with each surrogate as an escape. Outside strings JSON has none, so this cannot change its meaning."""
    return _SURROGATE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def _thaw(value: Any) -> Any:
    match value:
        case Mapping():
            return {key: _thaw(item) for key, item in value.items()}
        case tuple():
            return [_thaw(item) for item in value]
    return value


def _frozen_mapping(value: Mapping[Any, Any], depth: int) -> Mapping[str, JSON]:
    if depth >= DEEPEST:
        raise ValueError(f"data is nested deeper than {DEEPEST}")
    made: dict[str, JSON] = {}
    for key, item in value.items():
        if not isinstance(key, str):
            raise TypeError(f"keys in a log are text, not {type(key).__name__}")
        made[joined(key)] = freeze(item, depth + 1)
    if len(made) != len(value):
        raise ValueError("two keys are the same once their surrogate pairs are joined")
    return MappingProxyType(made)


def _envelope(event: Event) -> dict[str, JSON]:
    return {
        "n": event.n,
        "kind": event.kind,
        "at": event.at,
        "elapsed_ms": event.elapsed_ms,
        "prev": event.prev,
    }


_SURROGATE: Final = re.compile("[\ud800-\udfff]")
_ENCODER: Final = json.JSONEncoder(
    sort_keys=True,
    separators=(",", ":"),
    ensure_ascii=False,
    allow_nan=False,
    check_circular=False,  # only trees come here: what `freeze` made or what a JSON reader read
    default=dict,  # the read-only views of `freeze`
)
