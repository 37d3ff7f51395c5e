"""Keys moved to other letters: a runner in front of the real one, whose sheets show the keys where the person has them.

The job goes on knowing `w` for why; only this stands between. A letter taken from a row of a list swaps places with the
key that took it, so nothing is ever without a key. Pure.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from troubleshoot.job.keys import KEYS, MOVABLE
from troubleshoot.job.runner import Runner
from troubleshoot.job.sheet import Entry, FrameKeys, Input, Line, LiveKey, Part, Pressed, Sheet, Typed

_SAID: Final = (
    r"\[{0}\]|(?<=press ){0}\b|(?<=then ){0}\b|(?<![\w'] )(?<![\w']){0}(?= (?:takes|shows)\b)|(?<=or ){0}(?= for\b)"
)
"""How sentences of a sheet name a key: ``press c``, ``[c]``, ``u takes the last answer back``, ``or n for can't``."""


def why_not(key: str) -> str:
    """Why nothing can be moved to `key`, in words; empty where it can."""
    if len(key) == 1 and key.isdigit():
        return "a digit is always an answer or a reading"
    if key.casefold() in ("enter", "return", "space", "", " "):
        return "Enter and Space are pressed too easily"
    if len(key) != 1 or not key.isalpha() or unicodedata.east_asian_width(key) in "WF":
        return "a key is one letter"
    return ""


@dataclass(frozen=True, slots=True)
class Keymap:
    """Where every letter is on this person's keyboard; a permutation, empty when nothing was moved."""

    moved: Mapping[str, str]
    """From the letter a job knows to the one that is pressed."""

    def pressed(self, key: str) -> str:
        """The letter to press for what the job knows as `key`."""
        return self.moved.get(key, key)

    def meant(self, pressed: str) -> str:
        """What the job knows that letter as."""
        return next((key for key, at in self.moved.items() if at == pressed), pressed)

    @property
    def frame(self) -> FrameKeys:
        """The keys of the frame."""
        return FrameKeys(*(self.pressed(KEYS[name].usual) for name in ("leave", "caution")))


def keymap(chosen: Mapping[str, str]) -> Keymap | tuple[str, str]:
    """The map with these keys, by name, at these letters; or the name that is wrong, and why."""
    moved: dict[str, str] = {}
    for name, letter in chosen.items():
        if no := why_not(letter):
            return name, no
        if letter in moved.values():
            return name, f"{letter} is given to two keys"
        moved[KEYS[name].usual] = letter
    for key in MOVABLE:
        if key.name not in chosen and key.usual in moved.values():
            by = next(n for n in chosen if chosen[n] == key.usual)
            return by, f"{key.usual} is the key of {key.name!r}; give that one another letter too"
    # A row letter that lost its place changes places with the key that took it.
    taker = {letter: usual for usual, letter in moved.items()}
    for letter in set(moved.values()) - set(moved):
        free = taker[letter]
        while free in taker:
            free = taker[free]
        moved[letter] = free
    return Keymap(MappingProxyType({key: at for key, at in moved.items() if key != at}))


class Rekeyed:
    """Implements `Runner` in front of another one."""

    def __init__(self, runner: Runner, keys: Keymap) -> None:
        self._runner = runner
        self._keys = keys

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        return rekeyed(self._runner.sheet(width, height), self._keys)

    def give(self, said: Input) -> None:
        """See `Runner.give`."""
        match said:
            case Pressed(key=key):
                self._runner.give(replace(said, key=self._keys.meant(key)))
            case Typed(text=text):
                word = text.strip()
                self._runner.give(replace(said, text=self._keys.meant(word)) if len(word) == 1 else said)

    def busy(self) -> str:
        """See `Runner.busy`."""
        return self._runner.busy()

    def pump(self) -> bool:
        """See `Runner.pump`."""
        return self._runner.pump()

    def close(self) -> None:
        """See `Runner.close`."""
        self._runner.close()


def rekeyed(sheet: Sheet, keys: Keymap) -> Sheet:
    """The same sheet for somebody whose keys are elsewhere."""
    if not keys.moved:
        return sheet
    return replace(
        sheet,
        lines=tuple(_line(line, keys) for line in sheet.lines),
        keys=tuple(LiveKey(keys.pressed(k.key), k.label, _said(k.does, keys), k.shown) for k in sheet.keys),
        entry=_entry(sheet.entry, keys),
        frame=keys.frame,
    )


def _line(line: Line, keys: Keymap) -> Line:
    text = line.text if line.parts else _said(line.text, keys)
    if line.key:
        text = re.sub(rf"^(\s*\[?){re.escape(line.key)}(?=\]?\s|$)", rf"\g<1>{keys.pressed(line.key)}", text)
    for part in line.parts:
        inside = text[part.start : part.end]
        new = re.sub(rf"(?<!\w){re.escape(part.key)}(?!\w)", keys.pressed(part.key), inside, count=1)
        text = text[: part.start] + new + text[part.end :]
    parts = tuple(replace(p, key=keys.pressed(p.key), words=_first(p, keys)) for p in line.parts)
    return replace(line, text=text, key=keys.pressed(line.key), parts=parts)


def _first(part: Part, keys: Keymap) -> str:
    return re.sub(rf"^(\s*){re.escape(part.key)}(?!\w)", rf"\g<1>{keys.pressed(part.key)}", part.words)


def _entry(entry: Entry | None, keys: Keymap) -> Entry | None:
    return replace(entry, prompt=_said(entry.prompt, keys)) if entry else None


def _said(text: str, keys: Keymap) -> str:
    """Words with the named keys in them where they are now; all at once, so that a swap does not swap back."""
    named = {key.usual for key in MOVABLE} & set(keys.moved)
    if not named:
        return text
    any_of = "(?:" + "|".join(map(re.escape, sorted(named))) + ")"
    return re.sub(_SAID.format(any_of), lambda found: found[0].replace(*_swap(found[0], keys)), text)


def _swap(found: str, keys: Keymap) -> tuple[str, str]:
    key = found.strip("[]")
    return key, keys.pressed(key)
