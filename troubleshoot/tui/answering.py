"""From a key or a line of typing to an `Input`: which characters act and which are the start of an answer. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from troubleshoot.job.keys import KEYS
from troubleshoot.job.sheet import Input, LiveKey, Pressed, Sheet, Typed

PASTE_LIMIT = 4096
"""Bytes of one paste or one typed line that are taken."""

HELP = KEYS["help"].live


def leave_key(sheet: Sheet) -> LiveKey:
    """The key that leaves, where this person has it."""
    key = replace(KEYS["leave"].live, key=sheet.frame.leave)
    return replace(key, does=f"leaves; {sheet.leaving}") if sheet.leaving else key


def leaves(sheet: Sheet, key: str) -> bool:
    """Whether `key` leaves the program; a sheet may have its own use for that letter."""
    return key == sheet.frame.leave and key not in live_keys(sheet)


def live_keys(sheet: Sheet) -> frozenset[str]:
    """Every key that is live on this sheet, those of rows included."""
    return frozenset(key.key for key in sheet.keys) | {key for line in sheet.lines for key in line.keys}


def asks_the_same(before: Sheet | None, now: Sheet) -> bool:
    """Whether what was typed for `before` means the same on `now`: only marks of rows differ. Never where a caution is unread."""
    if before is None or before.needs_caution or now.needs_caution:
        return False
    if (before.question or before.id) != (now.question or now.id) or takes_typing(before) != takes_typing(now):
        return False
    return before.id == now.id or live_keys(before) == live_keys(now)


def takes_typing(sheet: Sheet) -> bool:
    """Whether there is a place to type that is open."""
    return sheet.entry is not None and not sheet.entry.locked


def accepts_caution(sheet: Sheet, key: str) -> bool:
    """Whether this key would say "I have read the caution"."""
    return key == sheet.frame.caution and sheet.needs_caution


def acts_at_once(sheet: Sheet, key: str) -> bool:
    """Whether `key`, pressed outside the entry, acts, instead of beginning an answer.

    A digit is the start of a reading wherever a reading can be typed; rows with digits are then touched, or sent with
    Enter. A letter acts, and so does a digit where the rows come first.
    """
    if key not in live_keys(sheet):
        return False
    if sheet.entry is not None and (sheet.entry.rows_first or sheet.entry.digits_act):
        return True
    return not (takes_typing(sheet) and len(key) == 1 and key.isdigit())


def needs_enter(sheet: Sheet, key: str) -> bool:
    """Whether `key` is only typed where the place to type is open, and acts once it is sent: an answer may begin with it.

    A letter with which none begins acts at once, and so does that of a row of a card. Where one key needs Enter, leaving
    needs it too, so that the key row has two parts and no more.
    """
    if sheet.entry is None or sheet.entry.locked or sheet.entry.rows_first or len(key) != 1:
        return False
    begins = sheet.entry.begins
    if key.isdigit() and sheet.entry.digits_act:
        return False
    if begins is None or key.isdigit():
        return key.isalnum()  # no answer begins with a sign: help, and the dot that goes to the panel and back
    if any(key in line.keys for line in sheet.lines) or key in _hidden(sheet):
        return False
    if leaves(sheet, key):
        return key in begins or any(k.key in begins for k in sheet.keys if k.shown)
    return key in begins


def _hidden(sheet: Sheet) -> frozenset[str]:
    """Keys of rows that stand on no line of their own, as those of a drawn face."""
    named = {key.usual for key in KEYS.values()}
    return frozenset(key.key for key in sheet.keys if not key.shown and key.key not in named)


def acts_while_typing(sheet: Sheet, key: str) -> bool:
    """Whether `key` acts at once in the place to type, as long as nothing stands there."""
    live = key in live_keys(sheet) or leaves(sheet, key)
    return len(key) == 1 and live and takes_typing(sheet) and not needs_enter(sheet, key)


WITH_ENTER: Final = LiveKey("", "+Enter:", "")
"""Stands before the keys that are sent with Enter; no key itself."""


def row_of_keys(sheet: Sheet) -> tuple[LiveKey, ...]:
    """`shown_keys` for a full screen: those that act at once, then, behind a mark, those that need Enter."""
    keys = shown_keys(sheet)
    at_once = tuple(key for key in keys if not needs_enter(sheet, key.key))
    sent_ones = tuple(key for key in keys if needs_enter(sheet, key.key))
    return (*at_once, WITH_ENTER, *sent_ones) if sent_ones else keys


def sent(sheet: Sheet, text: str, *, drawn_ms: int) -> Input | None:
    """What a line sent with Enter means: a single live key is that key, anything else is words. None: nothing to send.

    A caution is never accepted this way on a full screen (its entry is locked); a line of its own does it in line mode.
    """
    words = text.strip()
    if not words:
        return Pressed("enter", sheet.id, drawn_ms) if "enter" in live_keys(sheet) else None
    if len(words) == 1 and words in live_keys(sheet):
        return Pressed(words, sheet.id, drawn_ms)
    # A line mode has no such key to press: its name does what it does.
    for key in live_keys(sheet):
        if len(key) > 1 and words.casefold() in (key, named(key).casefold()):
            return Pressed(key, sheet.id, drawn_ms)
    return Typed(words, sheet.id)


def capped(text: str) -> tuple[str, bool]:
    """A paste or line cut to `PASTE_LIMIT` bytes, lines joined to one; and whether something was cut off."""
    raw = text.encode("utf-8", "backslashreplace")
    kept = raw[:PASTE_LIMIT].decode("utf-8", "ignore")
    return " ".join(kept.split()), len(raw) > PASTE_LIMIT


def not_saved(error: OSError) -> str:
    """What to say when the disk would not take an answer: the sentence that came with it, else the system's word."""
    if error.strerror is None:
        return str(error)
    return f"NOT SAVED: {error.strerror}. Nothing has changed; try again."


def named(key: str) -> str:
    """A key as it is printed on a keyboard."""
    return {"enter": "Enter", "escape": "Esc", "tab": "Tab", "space": "Space"}.get(key, key)


def shown_keys(sheet: Sheet) -> tuple[LiveKey, ...]:
    """The keys of the key row, help first, leaving last unless the sheet has its own use for that letter."""
    own = tuple(key for key in sheet.keys if key.shown and key.key != "?")
    return (HELP, *own, *([leave_key(sheet)] if leaves(sheet, sheet.frame.leave) else ()))


def listed_keys(sheet: Sheet) -> tuple[LiveKey, ...]:
    """The keys that help lists for this sheet, those of its rows left out: help first, leaving last."""
    own = tuple(key for key in sheet.keys if key.key != HELP.key)
    return (HELP, *own, *([leave_key(sheet)] if leaves(sheet, sheet.frame.leave) else ()))
