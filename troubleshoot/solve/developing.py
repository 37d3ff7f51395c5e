"""A run, one line of development of a machine: where it stands, what is wrong in it, what it remembers, since when."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from troubleshoot.solve.codes import ABSENT, Codes, book_of
from troubleshoot.solve.columns import Floats
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.delays import NEVER, Whole
from troubleshoot.solve.heat import Heat
from troubleshoot.solve.histories import Faulty
from troubleshoot.solve.reacting import rules_of
from troubleshoot.solve.scanning import Remembered, scans_of

LEAST_WEIGHT = 1e-3
"""Chance below which a run is not followed."""
_NUMBERS = struct.Struct("<qqqqd??")


@dataclass(slots=True)
class Run:
    """One line of development on its way to an outcome. An array that is not its own is never written to."""

    case: int
    faulty: Faulty
    codes: Codes
    """(variables,) its state, by the net's book."""
    memory: Remembered
    weight: float
    low: Floats
    """(thresholds,) the band of each, as far as it is still open in this run."""
    high: Floats
    since: Whole
    """(delays,) since when, in virtual milliseconds, the conditions of each have held."""
    not_by: Whole
    """(delays,) until when one without a fixed time is known not to have moved; 0 where nothing is known."""
    hands: Codes
    """(variables,) where a hand last put each control, whether or not the contacts followed; ABSENT where none did."""
    heat: Mapping[str, Heat]
    """By the variable of a thermal law; what is not in it is cold."""
    now_ms: int = 0
    until_ms: int = 0
    """End of the wait that is going on, or of the last one."""
    jumps: int = 0
    """How often time has moved on since the last act."""
    visited: tuple[bytes, ...] = ()
    """What it looked like after every round since time last moved on."""
    rounds: int = 0
    settled: bool = True
    came_round: bytes | None = None
    """What it looked like when it was first seen to go in circles."""
    moments: tuple[Codes, ...] = ()
    """States it goes through from there until it comes round again."""
    passing: tuple[bool, ...] = ()
    """Of each of them, the first one before them: whether electronics left it at once."""
    ended: bool = False
    """It has come to rest, or to a circle that it never leaves."""
    brief: bool = False
    """The act that is going on lasts as long as it says and no longer: a wait follows it, or it is one that an act follows."""

    def clone(self, share: float) -> Run:
        """Another that goes on from here."""
        return Run(
            self.case, self.faulty, self.codes.copy(), self.memory, self.weight * share, self.low, self.high,
            self.since.copy(), self.not_by.copy(), self.hands, self.heat, self.now_ms, self.until_ms, self.jumps, self.visited,
            self.rounds, self.settled, self.came_round, self.moments, self.passing, self.ended, self.brief,
        )  # fmt: skip

    def again(self, case: int) -> Run:
        """Another that begins where this one has ended; what never came to rest has waited too."""
        return Run(
            case, self.faulty, self.codes.copy(), self.memory, self.weight, self.low, self.high, self.since.copy(),
            self.not_by.copy(), self.hands, self.heat, max(self.now_ms, self.until_ms), self.until_ms,
        )  # fmt: skip

    def look(self) -> bytes:
        """All that decides how a run goes on that begins here: two that look alike end alike."""
        faulty = self.faulty
        narrowed = self.low is not faulty.low or self.high is not faulty.high
        numbers = (faulty.number, self.memory.number, self.now_ms, self.until_ms, self.weight, self.brief, narrowed)
        parts = [_NUMBERS.pack(*numbers), self.codes.tobytes()]
        if faulty.hung.size:
            parts.append(self.hands[faulty.hung].tobytes())
        if self.since.size:
            parts += [self.since.tobytes(), self.not_by.tobytes()]
        if narrowed:
            parts += [self.low.tobytes(), self.high.tobytes()]
        if self.heat:
            parts.append(repr(self.heat).encode())
        return hashlib.blake2b(b"".join(parts), digest_size=16).digest()


def start(net: Net, case: int, faulty: Faulty, hold: frozenset[tuple[str, str]]) -> Run:
    """A machine before anything is done to it, some positions held."""
    book = book_of(net)
    codes = rules_of(net).initial.copy()
    book.put(codes, {e.slot: str(e.value) for e in faulty.edits if e.does == "left"})
    book.put(codes, dict(hold))
    book.put(codes, faulty.stuck)
    hands = np.full_like(codes, ABSENT)
    book.put(hands, dict(hold))
    since = np.full(len(net.delays), NEVER, dtype=np.int64)
    return Run(
        case, faulty, codes, scans_of(net).begin(faulty.scanner), 1.0, faulty.low, faulty.high, since, np.zeros_like(since),
        hands, {},
    )  # fmt: skip
