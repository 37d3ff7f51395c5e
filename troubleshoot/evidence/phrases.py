"""The vocabulary of a typed reading: phrases to what they mean, and the patterns that a line is cut up by."""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import Final

from troubleshoot.evidence.seen import Word

PHRASES: Final[MappingProxyType[str, Word]] = MappingProxyType(
    {
        **dict.fromkeys(("nothing", "dead", "zero", "none", "nil", "no volts", "no voltage", "no power"), Word.NOTHING),
        **dict.fromkeys(("no amps", "no current"), Word.NOTHING),
        **dict.fromkeys(("same", "ok", "okay", "good", "yep", "yes", "right", "fine", "normal"), Word.RIGHT),
        **dict.fromkeys(("as expected", "as it should be", "spot on"), Word.RIGHT),
        **dict.fromkeys(("low", "too low"), Word.LOW),
        **dict.fromkeys(("high", "too high"), Word.HIGH),
        **dict.fromkeys(("flickers", "flickering", "flicker", "chatters", "chattering", "chatter"), Word.UNSTEADY),
        **dict.fromkeys(("comes and goes", "on and off", "bouncing", "bounces", "jumping", "jumps"), Word.UNSTEADY),
        **dict.fromkeys(("unsteady", "unstable", "drifting", "drifts", "wandering", "wanders"), Word.UNSTEADY),
        **dict.fromkeys(("swimming", "swims", "ghost", "ghosting", "hiccups", "pulsing"), Word.UNSTEADY),
        **dict.fromkeys(("ol", "o.l", "o.l.", "0l", "0.l", "over range", "overrange", "overload"), Word.OL),
        **dict.fromkeys(("no beep", "no beeps", "no continuity", "open", "open circuit"), Word.OL),
        **dict.fromkeys(("??", "?", "skip", "couldn't", "couldnt", "could not", "can't", "cant"), Word.COULDNT),
        **dict.fromkeys(("can't reach", "cant reach", "don't know", "dont know", "not sure"), Word.COULDNT),
        **dict.fromkeys(("could not tell", "couldn't tell", "couldnt tell", "can't tell", "cant tell"), Word.COULDNT),
    }
)
"""What people type to what it means, lower case; a lone ``-``, ``0`` and ``o`` are read apart."""
LIGHTS: Final[MappingProxyType[str, Word]] = MappingProxyType(
    {
        **dict.fromkeys(("on", "lit", "bright", "1", "yes", "y", "steady"), Word.ON),
        **dict.fromkeys(("off", "dark", "out", "0", "o", "no", "n", "dead", "nothing", "not lit", "unlit"), Word.OFF),
        **dict.fromkeys(("dim", "faint", "weak", "glow", "glows", "glowing", "half"), Word.DIM),
        **{phrase: word for phrase, word in PHRASES.items() if word in (Word.UNSTEADY, Word.COULDNT)},
        **dict.fromkeys(("blinks", "blinking", "flashing", "flashes"), Word.UNSTEADY),
    }
)
BEEPS = frozenset({"beeps", "beep", "beeped", "continuity", "closed", "short"})
OHMS_ONLY = frozenset({"no beep", "no beeps", "no continuity", "open", "open circuit"}) | BEEPS
WANDERS = frozenset({"drifting", "drifts", "wandering", "wanders", "swimming", "swims", "ghost", "ghosting"})
NOT_NUMBERS = frozenset({"inf", "infinity", "infinite", "nan", "-inf", "+inf"})
NEEDS_A_METER = frozenset({"on", "off", "dim", "lit", "live", "hot"})
_EVERY_PHRASE = sorted({*PHRASES, *BEEPS, *NOT_NUMBERS, *NEEDS_A_METER}, key=len, reverse=True)
_BEFORE = ("about", "approximately", "around", "roughly", "circa", "over", "above", "more than", "at least", "under", "below",
           "less than", "at most", "between", "all", "both")  # fmt: skip
BEGINNINGS = frozenset(phrase[0] for phrase in (*_EVERY_PHRASE, *_BEFORE) if phrase[0].isalpha())
"""Letters with which a reading may begin, small."""
PHRASE = re.compile("(?:" + "|".join(map(re.escape, _EVERY_PHRASE)) + r")(?=$|[\s;/,])", re.IGNORECASE)
GAP = re.compile(r"\s+")
SEPARATOR = re.compile(r"[;/,]|(?:and|&)(?=\s)", re.IGNORECASE)
THEN = re.compile(r"then(?=\s)|->|=>|\u2192", re.IGNORECASE)
ABOUT = re.compile(r"(?:about|approximately|approx\.?|around|roughly|circa|ca\.?)(?=\s)|[~\u2248]", re.IGNORECASE)
OR_SO = re.compile(r"\s?-?ish(?=$|[\s;/,])|\s+or so(?=$|[\s;/,])", re.IGNORECASE)
OVER = re.compile(r">=|>|\u2265|(?:over|above|more than|at least)(?=\s)", re.IGNORECASE)
UNDER = re.compile(r"<=|<|\u2264|(?:under|below|less than|at most)(?=\s)", re.IGNORECASE)
TO = re.compile(r"(?:-|\u2013|\u2014|\.\.\.?|\u2026)|\s+to\s+|\s+(?:-|\u2013|\u2014)\s+", re.IGNORECASE)
BETWEEN = re.compile(r"between\s+", re.IGNORECASE)
AND = re.compile(r"\s+and\s+", re.IGNORECASE)
OLD_OVER_RANGE = re.compile(r"1\s+\.(?=$|[\s;/,])")
TRAILING_POINT = re.compile(r"[+-]?[0-9]+\.(?=$|[\s;/,])")
LONE_O = re.compile(r"[Oo](?=$|[\s;/,])")
LONE_DASH = re.compile(r"[-\u2013\u2014](?=$|[\s;/,])")
ALL = re.compile(r"(?:all|both)\s+", re.IGNORECASE)
TOKEN = re.compile(r"[^\s;/,]+|.")
