"""From the first words, `conv dead`, to a machine and a symptom. Pure; knows circuits, not physics, so it opens at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rapidfuzz import fuzz

from troubleshoot.circuit.model import Circuit
from troubleshoot.describe.naming import machine_words
from troubleshoot.job.saying import rank

ENOUGH = 55.0
"""Below this likeness (0 to 100) a machine or a symptom is asked, not guessed."""
NAMED = 72.0
"""From this likeness on a word is the name meant, mistyped: ``conveyer``, ``blet``; ``fan`` is not ``lane``."""
_NAMED_WITHIN = 4
"""A number among the first words is the machine's; a later one may be seconds, amperes or times a shift."""
FILLER = frozenset({"the", "a", "an", "is", "it", "on", "in", "at", "and", "has", "my", "our", "just"})


@dataclass(frozen=True, slots=True)
class Match:
    """A machine and a symptom that the words may mean."""

    machine: str
    complaint: str
    machine_score: float
    complaint_score: float
    complaints: tuple[str, ...] = ()
    """Every symptom of the machine, the likeliest first: what is asked where the words leave it open."""

    @property
    def sure(self) -> bool:
        """Both were said clearly enough."""
        return self.machine_score >= ENOUGH and self.complaint_score >= ENOUGH


def matches(text: str, circuits: Mapping[str, Circuit]) -> list[Match]:
    """Every machine with the symptom that fits the words best, best first."""
    words = [w for w in text.casefold().replace("'", "").split() if w not in FILLER]
    called = [w for w in _split(called_in(text, circuits)) if w not in FILLER]
    found = []
    for name, circuit in circuits.items():
        if not circuit.complaints:
            continue
        order, score = _complaints(text, circuit)
        found.append(Match(name, order[0], _machine_score(words, called, circuit), score, order))
    return sorted(found, key=lambda m: -(m.machine_score + m.complaint_score))


def unknown_machine(text: str, circuits: Mapping[str, Circuit]) -> str | None:
    """What a machine is called that none of these is; None where one of them may be meant, or no machine is named.

    Empty where nothing is known at all and only the trouble was told.
    """
    called = called_in(text, circuits)
    if not circuits:
        return called
    if not called or any(m.machine_score >= ENOUGH for m in matches(text, circuits)):
        return None
    return called


def called_in(text: str, circuits: Mapping[str, Circuit]) -> str:
    """The words that name a machine, as they were said; what is a word of its complaints names none."""
    told = {word for c in circuits.values() for one in c.complaints.values() for w in one.words for word in w.split()}
    names = {word for c in circuits.values() for word in _split(f"{c.name} {c.title}")}
    return machine_words(text, told - names)


SURE_FROM, A_SENSE = 90.0, 3.0
"""Score of a complaint that tells part of what was said, and how much each further part adds."""


def _complaints(text: str, circuit: Circuit) -> tuple[tuple[str, ...], float]:
    """The symptoms of a machine, likeliest first, and the score of the first; below `ENOUGH` where the words fit two alike."""
    ranks = {c.name: rank(text, c.name, c.words) for c in circuit.complaints.values()}
    order = tuple(sorted(ranks, key=lambda name: ranks[name][0], reverse=True))
    (count, near), told = ranks[order[0]]
    if not count:
        return order, near
    alike = {ranks[name][1] for name in order if ranks[name][0][0] == count}
    return order, SURE_FROM + A_SENSE * count if alike == {told} else ENOUGH - 1


def _machine_score(words: Sequence[str], called: Sequence[str], circuit: Circuit) -> float:
    """How well what was said names this machine, 0 to 100. called: of the words, those that name a machine."""
    names = _split(f"{circuit.name} {circuit.title}")
    names += [word for tag in circuit.roles.get("motor", ()) for word in circuit.devices[tag].words.casefold().split()]
    numbers = [w for w in words[:_NAMED_WITHIN] if w.isdigit()]
    if numbers and not set(numbers) & set(names) and any(n.isdigit() for n in names):
        return 0.0  # belt 12 is not belt 7, however alike the rest is
    if not called:
        return max((max((_alike(w, n) for n in names), default=0.0) for w in words), default=0.0)
    # A word that is not this machine's name makes it another one, unless its number and its kind were said as well.
    best = {w: max((_alike(w, n) for n in names), default=0.0) for w in called}
    fits = {w for w, score in best.items() if score >= (NAMED if not _numbered(w) else 100.0)}
    if any(_numbered(w) and w not in fits for w in called):
        return 0.0
    if fits != set(called) and not (any(map(_numbered, fits)) and not all(map(_numbered, fits))):
        return 0.0
    return max(best.values())


def _split(words: str) -> list[str]:
    """The words of a name: ``belt-7`` and ``belt7`` are two, a tag like ``K-2`` is one."""
    out: list[str] = []
    for word in re.split(r"[\s,/]+", re.sub(r"(?<=[^\W\d]{3})-?(?=\d)", " ", words.casefold())):
        out += [word.replace("-", "")] if _numbered(word) else word.split("-")
    return [word for word in out if word]


def _numbered(word: str) -> bool:
    return any(c.isdigit() for c in word)


def _alike(word: str, name: str) -> float:
    """Likeness of one word with one name; a beginning of three letters or more counts as the whole (`conv` conveyor)."""
    if word.isdigit() or name.isdigit():
        return 100.0 if word == name else 0.0
    if len(word) >= 3 and name.startswith(word):
        return 95.0
    return fuzz.ratio(word, name)
