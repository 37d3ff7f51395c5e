"""The disk under the record failed: the sheet that asks for another folder. Pure.

After such an error nothing the system says about that file can be believed, so nothing is ever called saved on it again;
the job stands still until its record goes on somewhere else.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from troubleshoot.job.sheet import Entry, Input, Line, Pressed, Role, Sheet, Typed
from troubleshoot.text.showing import show


@dataclass(frozen=True, slots=True)
class Lost:
    """What is known of the failure, and what was said when it happened."""

    words: str
    """Why nothing goes to the old file any more, one sentence."""
    said: str
    """What could not be saved; typed once more when the record goes on."""
    tries: int = 0
    echo: str = ""
    """Why the folder typed last will not do."""


def lost_by(words: str, said: Input) -> Lost:
    """What is lost when `said` could not be written."""
    match said:
        case Typed(text=text):
            return Lost(words, show(text))
        case Pressed(key=key):
            return Lost(words, f"the key {show(key)}")


def sheet_of(lost: Lost, title: str, saved: int, width: int) -> Sheet:
    """What the screen shows until there is another folder. saved: number of the newest event that is safe."""
    texts = [
        (lost.words, Role.DANGER),
        (f"Not saved: {lost.said}", Role.ROW),
        (f"Events 1 to {saved} are kept here and go along to the new folder, byte for byte.", Role.NOTE),
        ("Type a folder on another disk: a stick, a share, another drive of this machine.", Role.TASK),
        (lost.echo, Role.ECHO),
    ]
    lines = [Line(part, role) for text, role in texts if text for part in textwrap.wrap(text, max(20, width - 1))]
    entry = Entry("Folder", example="~/records")
    return Sheet(sheet_id(lost, saved), title, tuple(lines), (), entry, saved)


def sheet_id(lost: Lost, saved: int) -> str:
    """Changes with every folder tried."""
    return f"lost {saved} {lost.tries}"
