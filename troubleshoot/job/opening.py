"""From the first words, `conv dead`, to a machine and a symptom. Pure; knows circuits, not physics, so it opens at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rapidfuzz import fuzz

from troubleshoot.circuit.model import Circuit

ENOUGH = 55.0
"""Below this likeness (0 to 100) a machine or a symptom is asked, not guessed."""
FILLER = frozenset({"the", "a", "an", "is", "it", "on", "in", "at", "and", "has", "my", "our", "just"})


@dataclass(frozen=True, slots=True)
class Match:
    """A machine and a symptom that the words may mean."""

    machine: str
    complaint: str
    machine_score: float
    complaint_score: float

    @property
    def sure(self) -> bool:
        """Both were said clearly enough."""
        return self.machine_score >= ENOUGH and self.complaint_score >= ENOUGH


def matches(text: str, circuits: Mapping[str, Circuit]) -> list[Match]:
    """Every machine with the symptom that fits the words best, best first."""
    words = [w for w in text.casefold().replace("'", "").split() if w not in FILLER]
    found = []
    for name, circuit in circuits.items():
        scores = {c.name: _complaint_score(words, c.words) for c in circuit.complaints.values()}
        if not scores:
            continue
        complaint = max(scores, key=lambda c: scores[c])
        found.append(Match(name, complaint, _machine_score(words, circuit), scores[complaint]))
    return sorted(found, key=lambda m: -(m.machine_score + m.complaint_score))


def _complaint_score(words: Sequence[str], known: Sequence[str]) -> float:
    said = " ".join(words)
    whole = max((fuzz.token_set_ratio(said, k.casefold().replace("'", "")) for k in known), default=0.0)
    single = max((fuzz.partial_ratio(k.casefold().replace("'", ""), said) for k in known), default=0.0)
    return max(whole, 0.9 * single)


def _machine_score(words: Sequence[str], circuit: Circuit) -> float:
    names = f"{circuit.name} {circuit.title}".casefold().replace("-", " ").replace(",", " ").split()
    names += [word for tag in circuit.roles.get("motor", ()) for word in circuit.devices[tag].words.casefold().split()]
    best = [max((_alike(w, n) for n in names), default=0.0) for w in words]
    return max(best, default=0.0)


def _alike(word: str, name: str) -> float:
    """Likeness of one word with one name; a beginning of three letters or more counts as the whole (`conv` conveyor)."""
    if word.isdigit() or name.isdigit():
        return 100.0 if word == name else 0.0
    if len(word) >= 3 and name.startswith(word):
        return 95.0
    return fuzz.ratio(word, name)
