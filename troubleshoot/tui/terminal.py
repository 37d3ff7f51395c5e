"""What this terminal can do, decided once at the start, from its environment, with the reasons in words.

Pure: the environment is an argument. `doctor` prints the same reasons the screen acts on.
"""

from __future__ import annotations

import codecs
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Look(Enum):
    """A theme by name, as written in ``TROUBLESHOOT_THEME``."""

    DARK = "dark"
    LIGHT = "light"
    CONSOLE = "console"
    """The terminal's own 16 colours."""
    HIGH_CONTRAST = "high-contrast"
    NIGHT = "night"
    """Red on black: keeps eyes used to the dark."""
    MONO = "mono"
    """No colour code at all; bold and reverse only."""


class Glyphs(Enum):
    """Which characters can be counted on."""

    FULL = "full"
    CONSOLE = "console"
    """Those in every common Linux console font."""
    ASCII = "ascii"


@dataclass(frozen=True, slots=True)
class Terminal:
    """What was found and what follows from it."""

    plain: bool
    """Sentences and lines instead of the full screen."""
    look: Look
    glyphs: Glyphs
    old: bool
    """A console or serial terminal: no keyboard protocol, no animation."""
    slow: bool
    """Reached over a network."""
    why: tuple[str, ...]
    """One sentence a decision."""


_SIXTEEN = frozenset({Look.CONSOLE, Look.MONO})


def detect(env: Mapping[str, str], *, encoding: str | None, keyboard: bool, screen: bool) -> Terminal:
    """Choose the kind of terminal.

    env: environment variables. encoding: of the stream drawn on. keyboard, screen: whether input comes from and output
    goes to a terminal. Never fails: what cannot be understood is said in `why` and the safer choice taken.
    """
    why: list[str] = []
    term = env.get("TERM", "")
    old = term == "linux" or term.startswith(("vt", "cons", "ansi"))
    glyphs = _glyphs(term, old, encoding, why)
    plain = _plain(term, keyboard, screen, why)
    look = _look(env, term, why)
    slow = "SSH_TTY" in env or "SSH_CONNECTION" in env
    if slow:
        why.append("reached over ssh: no animation")
    return Terminal(plain=plain, look=look, glyphs=glyphs, old=old, slow=slow, why=tuple(why))


def _plain(term: str, keyboard: bool, screen: bool, why: list[str]) -> bool:
    if not keyboard or not screen:
        why.append("line mode: " + ("output" if keyboard else "input") + " is not a terminal")
        return True
    if term in ("", "dumb", "unknown"):
        why.append(f"line mode: TERM is {term or 'not set'}")
        return True
    why.append(f"full screen: TERM is {term}")
    return False


def _glyphs(term: str, old: bool, encoding: str | None, why: list[str]) -> Glyphs:
    try:
        name = codecs.lookup(encoding or "ascii").name
    except LookupError:
        name = "ascii"
    if not name.startswith("utf"):
        why.append(f"ASCII only: the screen's encoding is {encoding or 'not known'}")
        return Glyphs.ASCII
    if old:
        why.append(f"console characters only: TERM is {term}")
        return Glyphs.CONSOLE
    return Glyphs.FULL


def _look(env: Mapping[str, str], term: str, why: list[str]) -> Look:
    # By no-color.org the variable counts when present and not empty, whatever its value.
    if env.get("NO_COLOR"):
        why.append("no colour: NO_COLOR is set")
        return Look.MONO
    rich = env.get("COLORTERM", "").lower() in ("truecolor", "24bit") or any(
        part in term for part in ("256color", "direct", "kitty")
    )
    wanted = env.get("TROUBLESHOOT_THEME", "").strip().lower()
    asked = next((look for look in Look if look.value == wanted), None)
    if wanted and asked is None:
        names = ", ".join(look.value for look in Look)
        why.append(f"TROUBLESHOOT_THEME {wanted!r} is not one of {names}")
    if asked and (rich or asked in _SIXTEEN):
        why.append(f"theme {asked.value}: TROUBLESHOOT_THEME")
        return asked
    if not rich:
        # Shades brought down to 16 colours came out black on black in a third of all runs, so none are tried.
        why.append(f"theme console: TERM {term or 'not set'} promises 16 colours at most")
        return Look.CONSOLE
    if env.get("COLORFGBG", "").rpartition(";")[2] in ("7", "15"):
        why.append("theme light: COLORFGBG says the background is light")
        return Look.LIGHT
    why.append("theme dark: nothing says otherwise")
    return Look.DARK


def settings(terminal: Terminal) -> dict[str, str]:
    """Environment variables the screen library reads when it is imported, so they must be set before."""
    found = {"TEXTUAL_ANIMATIONS": "none", "TEXTUAL_SMOOTH_SCROLL": "0", "ESCDELAY": "50"}
    if terminal.old:
        found["TEXTUAL_DISABLE_KITTY_KEY"] = "1"  # old consoles print the request instead of obeying it
    if terminal.look in _SIXTEEN:
        found["TEXTUAL_COLOR_SYSTEM"] = "standard"
    if terminal.slow or terminal.old:
        found["TEXTUAL_FPS"] = "15"
    return found
