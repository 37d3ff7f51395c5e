"""Taking names and notes out of a log so that its chain still holds, and proving with them that nothing else was changed.

A text that is taken out becomes ``redacted:`` and its salted SHA-256; salt and text go into a file of their own. The line
keeps its stated `hash`, so that the chain, every anchor printed before and every countersignature still hold; that its
text no longer agrees with that hash is allowed only where a later event of kind `redacted` holds the SHA-256 of the line
as it stands now. With the file of the texts the line is put together as it was, and then it has to agree.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final

from troubleshoot.log.event import RESERVED, Event, canonical, joined

KIND: Final = "redacted"
"""Kind of the event that vouches for redacted lines: `lines` (number, SHA-256 of the line as it stands), `by`."""
_MARK: Final = re.compile(r"redacted:[0-9a-f]{64}")
_STAY: Final = frozenset({"signed", KIND})
"""Whoever countersigns wants to be named, and a name taken out of a signature would break it."""
_IDENTITY: Final = frozenset({"session", "version", "machine", "format", "circuit"})
"""Keys of event 1 that say which log it is."""
_WHO: Final = ("who", "by", "second")
_WHOLLY: Final = frozenset({"to"})
"""Keys that are taken out whatever they hold: whom it was handed to and what was promised to whom."""
_NOTES: Final = frozenset({"note", "text"})


@dataclass(frozen=True, slots=True)
class Texts:
    """What was taken out of one log, by what stands there instead."""

    session: str
    texts: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    """``redacted:...`` to (salt in hexadecimal digits, text)."""

    def text(self) -> str:
        """The file, to be kept elsewhere."""
        rows = {mark: {"salt": salt, "text": text} for mark, (salt, text) in sorted(self.texts.items())}
        return (
            json.dumps({"is": "what was taken out of a log", "session": self.session, "texts": rows}, indent=1) + "\n"
        )


def read_texts(text: str) -> Texts:
    """The file `Texts.text` wrote. Raises ValueError with words where it is none, or where a text is not the one that was
    taken out."""
    try:
        found = json.loads(text)
        texts = {str(mark): (str(row["salt"]), str(row["text"])) for mark, row in found["texts"].items()}
        session = str(found["session"])
        for mark, (salt, taken) in texts.items():
            if _mark(bytes.fromhex(salt), taken) != mark:
                raise ValueError(f"{mark[:25]}... is not the mark of its text: the file was changed")
    except (KeyError, TypeError, AttributeError, RecursionError, json.JSONDecodeError):
        raise ValueError("that file does not hold what was taken out of a log") from None
    return Texts(session, texts)


def names_in(events: Sequence[Event]) -> tuple[str, ...]:
    """Everybody named as who did something, in their order; whoever countersigned is left out."""
    found = dict.fromkeys(
        str(event.data[key])
        for event in events
        if event.kind not in _STAY
        for key in _WHO
        if isinstance(event.data.get(key), str) and not _MARK.fullmatch(str(event.data[key]))
    )
    return tuple(name for name in found if name.strip())


def signers_in(events: Sequence[Event]) -> tuple[str, ...]:
    """Whoever countersigned, in their order: these names stay."""
    return tuple(
        dict.fromkeys(str(e.data["by"]) for e in events if e.kind == "signed" and isinstance(e.data.get("by"), str))
    )


def written_freely(events: Sequence[Event], lines: Mapping[int, bytes]) -> tuple[int, ...]:
    """Numbers of the events that hold what somebody wrote in words of their own, in the lines as they are afterwards."""
    return tuple(
        e.n for e in events
        if e.kind not in _STAY and any(_is_written(e.data.get(key)) for key in _NOTES)
        and (e.n not in lines or any(_is_written(json.loads(lines[e.n]).get(key)) for key in _NOTES))
    )  # fmt: skip


def _is_written(value: Any) -> bool:
    # The lines of a caution are called text too, and are a list.
    return isinstance(value, str) and bool(value) and not _MARK.fullmatch(value)


def redact(
    events: Sequence[Event], names: Sequence[str], *, notes: bool, dice: Callable[[int], bytes]
) -> tuple[dict[int, bytes], Texts]:
    """The lines that change, by number, as they are afterwards (newline included), and what was taken out.

    names: every text that holds one of them as a word is taken out; notes: also what was written freely.
    dice: gives so many random bytes. Equal texts get the same mark, so that one person stays one.
    """
    session = str(events[0].data.get("session", "")) if events else ""
    taken: dict[str, tuple[str, str]] = {}
    made: dict[str, str] = {}
    word = re.compile(
        "|".join(rf"(?<!\w){re.escape(name)}(?!\w)" for name in names if name.strip()) or r"(?!)", re.IGNORECASE
    )

    def out(text: str) -> str:
        if text not in made:
            salt = dice(32)
            made[text] = _mark(salt, text)
            taken[made[text]] = (salt.hex(), text)
        return made[text]

    def cleaned(value: Any, key: str) -> Any:
        if isinstance(value, str):
            if _MARK.fullmatch(value) or not value:
                return value
            wholly = key in _WHOLLY or (notes and key in _NOTES)
            return out(value) if wholly or word.search(value) else value
        if isinstance(value, Mapping):
            return {k: cleaned(v, "") for k, v in value.items()}
        if isinstance(value, tuple | list):
            return [cleaned(v, "") for v in value]
        return value

    lines: dict[int, bytes] = {}
    for event in events:
        if event.kind in _STAY:
            continue
        before = event.plain()
        after = {k: v if k in RESERVED | _IDENTITY else cleaned(v, k) for k, v in before.items()}
        if after != before:
            lines[event.n] = canonical(after).encode() + b"\n"
    return lines, Texts(session, MappingProxyType(taken))


def vouching(lines: Mapping[int, bytes], by: str) -> dict[str, Any]:
    """Data of the event that vouches for these lines."""
    return {"by": by, "lines": [[n, line_digest(line.rstrip(b"\n"))] for n, line in sorted(lines.items())]}


def line_digest(line: bytes) -> str:
    """SHA-256 of a line without its newline."""
    return hashlib.sha256(line).hexdigest()


def is_mark(text: str) -> bool:
    """Whether a text stands for one that was taken out."""
    return _MARK.fullmatch(text) is not None


def shortened(event: Event) -> Event:
    """The event for a reader: what was taken out is said in few letters, the same for the same text."""

    def seen(value: Any) -> Any:
        if isinstance(value, str):
            return _MARK.sub(lambda found: f"[taken out {found[0][9:15]}]", value)
        if isinstance(value, Mapping):
            return MappingProxyType({k: seen(v) for k, v in value.items()})
        return tuple(seen(v) for v in value) if isinstance(value, tuple) else value

    return replace(event, data=seen(event.data))


def is_redacted(found: Any) -> bool:
    """Whether an object read from a line has a text taken out of it."""
    level = [v for k, v in found.items() if k not in RESERVED] if isinstance(found, dict) else []
    while level:
        inside: list[Any] = []
        for value in level:
            if isinstance(value, str):
                if _MARK.fullmatch(value):
                    return True
            elif isinstance(value, dict):
                inside.extend(value.values())
            elif isinstance(value, list):
                inside.extend(value)
        level = inside
    return False


def as_it_was(found: dict[str, Any], texts: Texts) -> dict[str, Any] | None:
    """The line with its texts put back, if it then agrees with its own hash; None where it does not."""

    def back(value: Any) -> Any:
        if isinstance(value, str):
            return joined(texts.texts[value][1]) if value in texts.texts else value
        if isinstance(value, dict):
            return {k: back(v) for k, v in value.items()}
        return [back(v) for v in value] if isinstance(value, list) else value

    whole = {k: v if k in RESERVED else back(v) for k, v in found.items()}
    body = canonical({k: v for k, v in whole.items() if k != "hash"}).encode()
    return whole if hashlib.sha256(body).hexdigest() == found["hash"] else None


def vouched(found: dict[str, Any]) -> dict[int, str]:
    """Number and digest of each line that a `redacted` event vouches for; empty for any other event."""
    if found["kind"] != KIND or not isinstance(found.get("lines"), list):
        return {}
    return {
        row[0]: row[1]
        for row in found["lines"]
        if isinstance(row, list) and len(row) == 2 and type(row[0]) is int and type(row[1]) is str
    }


def _mark(salt: bytes, text: str) -> str:
    return f"redacted:{hashlib.sha256(salt + text.encode('utf-8', 'surrogatepass')).hexdigest()}"
