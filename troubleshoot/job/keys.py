"""The one table of keys: key row, help, `troubleshoot keys`, the manual page and the settings file all read it.

A sheet offers some of these keys and may say in its own words what one does there; what else it offers are the digits
and letters of its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from troubleshoot.job.sheet import LiveKey

Where = Literal["in a job", "anywhere", "while typing", "in help"]


@dataclass(frozen=True, slots=True)
class Key:
    """A key that does the same thing wherever it is offered."""

    name: str
    """How the settings file calls it."""
    usual: str
    """The key itself, as long as nobody moved it: a letter, or what is printed on the keyboard."""
    label: str
    """At most 14 characters, for the key row; empty for keys that are never on it."""
    does: str
    """One sentence without a full stop."""
    where: Where
    movable: bool = False
    shown: bool = True
    """False: listed in help only."""

    @property
    def live(self) -> LiveKey:
        """As a sheet offers it."""
        return LiveKey(self.usual, self.label, self.does, self.shown)


_ROWS: Final = (
    Key("help", "?", "help", "shows every key that does something now", "anywhere"),
    Key("caution", "c", "I have read it", "accepts this caution for these points in this state", "in a job", True),
    Key("yes", "y", "yes", "it is done, or it is so, by you, now", "in a job", True),
    Key("not clear", "m", "not clear", "stops here until everybody is clear", "in a job", True),
    Key(
        "proving unit", "p", "proving unit", "the tester was proved on a proving unit or another known live point",
        "in a job", True,
    ),
    Key("why", "w", "why", "says why this is asked", "in a job", True),
    Key("cannot", "n", "can't", "says that this cannot be done, and why", "in a job", True),
    Key("other", "x", "other test", "shows the three best other tests", "in a job", True),
    Key("tree", "t", "tree", "goes back to the decision tree", "in a job", True),
    Key("undo", "u", "undo", "takes back the last answer; the log keeps both", "in a job", True),
    Key("end", "e", "end, more", "ends another way, hands over, notes what is temporary", "in a job", True),
    Key(
        "rung", "l", "rung",
        "draws the rungs of the program as the lights taken have them; again: the next page", "in a job", True,
    ),
    Key(
        "all dark", "z", "all dark", "says of every light of this list that it is off; again: as it should be",
        "in a job", True,
    ),
    Key(
        "clip", "d", "clip on dead", "locks off first, clips the leads on dead, and reads with no hand near", "in a job", True,
    ),
    Key("not so", "v", "not so", "it is not wired like that: says what is there instead", "in a job", True),
    Key(
        "six readings", "b", "six readings", "takes six good readings now, as the measure for next time", "in a job", True,
    ),
    Key("as shown", "enter", "as shown", "takes every row as it is shown", "in a job"),
    Key("back", "escape", "back", "closes this", "in a job"),
    Key("leave", "q", "leave", "leaves; everything up to here is kept and can be taken up again", "anywhere", True),
    Key("send", "Enter", "", "sends what is typed; a single letter that is a key does what the key does. Where no answer begins with a key it acts at once", "while typing"),
    Key(
        "step out", "Esc or Tab", "", "steps out of the typing, so that letters act at once; Tab steps back in",
        "while typing",
    ),
    Key("page", "PgUp PgDn", "", "scroll what does not fit; a caution stays where it is", "anywhere"),
    Key("rows", "Up Down", "", "stand on a row that can be chosen; Enter then chooses it", "anywhere"),
    Key(
        "touch", "mouse, thumb", "",
        "a whole row is its key; so is a key at the bottom. Hold Shift to mark text", "anywhere",
    ),
    Key("leave at once", "Ctrl+C", "", "leaves at once, from anywhere; nothing that was saved is lost", "anywhere"),
    Key("shell", "Ctrl+Z", "", "back to the shell for a while; fg comes back, and a caution is then read anew", "anywhere"),
    Key("save", "s", "save", "puts this screen into a file, and on the clipboard of the terminal; only here in help", "in help"),
)  # fmt: skip

KEYS: Final = MappingProxyType({key.name: key for key in _ROWS})
MOVABLE: Final = tuple(key for key in _ROWS if key.movable)
