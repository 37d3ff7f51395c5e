"""From the first words, ``belt 12 dead``, to what the machine is called."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection
from typing import Final

from troubleshoot.text.names import flaw_in_name

_WORDS: Final = (
    "a all and any anymore at by can cannot cant dead dies do does doesnt down dropped drops fails fault for goes has hold "
    "holding holds hot hum hums i in is isnt it its jogs just keeps kicks let lights main makes me motor move moves my no "
    "noise not nothing now of off on only or our out over overload power pressed press runs run running since smell smells "
    "smoke smokes some sometimes start started starting starts stay stays stop stopped stops stuck that the there trip "
    "tripped trips turn turns up was we went when while will with wont work works wrong happens happening buzzes buzz "
    "noisy slow stand stands still start-up until break shift morning night brake drags after before again twice"
)
_TROUBLE: Final = frozenset(_WORDS.split())
"""Words of trouble: they never name a machine."""
_WORDS_OF_A_NAME, _WORDS_TO_NUMBER = 3, 5
"""So many words name a machine at most; and so many where its number is the last of them: ``sewage lift station pump 1``."""
_LONGEST: Final = 40


def machine_words(said: str, trouble: Collection[str] = ()) -> str:
    """The words that name the machine, as they were said: ``belt 12``; empty where only the trouble was told.

    trouble: further words that tell what is wrong, as the known machines' complaints have them.
    """
    words = said.split()
    also = {w.casefold().replace("'", "") for w in trouble}
    taken: list[str] = []
    for word in words:
        plain = re.sub(r"[^\w/-]", "", word.replace("'", "").replace("\u2019", "")).casefold()
        if not plain or plain in _TROUBLE or plain in also:
            if taken:
                break
            continue
        taken.append(re.sub(r"^[^\w]+|[^\w]+$", "", word))
        if any(c.isdigit() for c in plain):
            break
        if len(taken) == _WORDS_TO_NUMBER:
            break
    if not any(c.isdigit() for c in "".join(taken)):
        del taken[_WORDS_OF_A_NAME:]
    return " ".join(w for w in taken if w)[:_LONGEST]


def short_name(words: str, taken: Collection[str]) -> str:
    """A name for the machine and its folder: ``belt-12``; another one where that is taken."""
    letters = "".join(c for c in unicodedata.normalize("NFKD", words.casefold()) if not unicodedata.combining(c))
    plain = re.sub(r"[^\w]+", "-", letters, flags=re.ASCII).strip("-_")[:_LONGEST]
    if not plain or flaw_in_name(plain) or plain in _RESERVED:
        plain = f"machine-{plain}" if plain and not flaw_in_name(plain) else "machine"
    name, count = plain, 2
    while name in taken:
        name, count = f"{plain}-{count}", count + 1
    return name


_RESERVED: Final = frozenset(
    {"trees", "con", "prn", "aux", "nul", *(f"{d}{k}" for d in ("com", "lpt") for k in range(10))}
)
"""Folders of the plant that are no machine, and names that a Windows disk does not take."""
