"""Taking names and notes out of a log so that its chain still holds, and proving with them that nothing else was changed.

A word that is taken out becomes ``redacted:`` and its salted SHA-256, in the place where it stood; so does a whole text,
where all of it goes. Salt and word go into a file of their own. The line
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
_NOTES: Final = ("note", "text")


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


def written_freely(events: Sequence[Event], lines: Mapping[int, bytes]) -> tuple[tuple[int, str], ...]:
    """What somebody wrote in words of their own and what still stands of it, with the number of its event: notes, comments,
    the complaint as it was told, the lines of a hand-over. lines: the lines that change, as they are afterwards."""
    out: dict[tuple[int, str], None] = {}
    for event in events:
        if event.kind in _STAY:
            continue
        now = json.loads(lines[event.n]) if event.n in lines else event.plain()
        told = [now.get(key) for key in _NOTES]
        told += [now.get("said")] if event.kind == "opened" else []
        told += list(now.get("page") or ()) if event.kind == "handover" else []
        out |= {(event.n, one): None for one in told if isinstance(one, str) and _is_written(one)}
    return tuple(out)


def _is_written(value: Any) -> bool:
    # The lines of a caution are called text too, and are a list.
    return isinstance(value, str) and bool(value) and not _MARK.fullmatch(value)


def redact(
    events: Sequence[Event], names: Sequence[str], *, notes: bool, dice: Callable[[int], bytes]
) -> tuple[dict[int, bytes], Texts]:
    """The lines that change, by number, as they are afterwards (newline included), and what was taken out.

    names: names or other words (an order number), each taken out of every text where it stands as a word; the rest of the
    text stays. notes: what was written freely goes whole. dice: gives so many random bytes. Equal words get the same mark,
    so that one person stays one.
    """
    session = str(events[0].data.get("session", "")) if events else ""
    taken: dict[str, tuple[str, str]] = {}
    made: dict[str, str] = {}
    word = re.compile(
        # The longest first: of "Ana" and "Ana Vance" the second goes as one.
        "|".join(rf"(?<!\w){re.escape(n)}(?!\w)" for n in sorted(names, key=len, reverse=True) if n.strip()) or r"(?!)",
        re.IGNORECASE,
    )

    def out(text: str) -> str:
        if text not in made:
            salt = dice(32)
            made[text] = _mark(salt, text)
            taken[made[text]] = (salt.hex(), text)
        return made[text]

    def cleaned(value: Any, key: str) -> Any:
        if isinstance(value, str):
            if not value:
                return value
            if key in _WHOLLY or (notes and key in _NOTES):
                return value if _MARK.fullmatch(value) else out(value)
            # Piece by piece, so that no name of letters and digits is looked for inside a mark that stands there already.
            pieces = re.split(f"({_MARK.pattern})", value)
            return "".join(p if _MARK.fullmatch(p) else word.sub(lambda found: out(found[0]), p) for p in pieces)
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


def plain_marks(text: str) -> str:
    """A text with what was taken out of it said in few letters."""
    return _MARK.sub(lambda found: f"[taken out {found[0][9:15]}]", text)


def shortened(event: Event) -> Event:
    """The event for a reader: what was taken out is said in few letters, the same for the same text."""

    def seen(value: Any) -> Any:
        if isinstance(value, str):
            return plain_marks(value)
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
                if _MARK.search(value):
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
            put = _MARK.sub(lambda mark: texts.texts[mark[0]][1] if mark[0] in texts.texts else mark[0], value)
            return value if put == value else joined(put)
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
