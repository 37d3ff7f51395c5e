"""What a session needs of the plant: its machines, its open jobs, and the ways to read, save and compute that only the edge has.

Belongs here: values and functions handed in. Not here: a disk (the command line fills these in), a screen, a decision.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from troubleshoot.circuit.model import Circuit

if TYPE_CHECKING:
    from troubleshoot.evidence.baseline import Good
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.runner import Runner
    from troubleshoot.log.event import Event
    from troubleshoot.log.writer import Log
    from troubleshoot.safety.proof import Proof


def _no_folder(machine: str, text: str, made_from: str) -> Circuit:
    raise OSError(f"There is no plant folder here to keep {machine} in.")


def _nothing_kept(machine: str, goods: tuple[Good, ...]) -> None:
    """Where there is no folder, good readings stay in the log of their job."""


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job that was begun and not ended."""

    machine: str
    session: str
    """Name of its log without the ending."""
    words: str


@dataclass(frozen=True, slots=True)
class Looked:
    """The open jobs of a plant as they were found."""

    open_jobs: tuple[OpenJob, ...]
    """Newest first."""
    notices: tuple[str, ...] = ()
    """What the person must hear of how they were found."""


class Looking(Protocol):
    """Open jobs being looked for elsewhere, so that neither the first page nor a job waits for it."""

    def found(self, within_s: float) -> Looked | None:
        """What was found; None as long as nothing was. Begins to look when it is asked first; returns within that time."""
        ...


class ProofAhead(Protocol):
    """A proof run on its way, so that no answer waits for it."""

    def ready(self) -> bool: ...
    def take(self, content: str) -> Proof | None:
        """The proof run of the machine with that content hash; None where it did not come to one."""
        ...

    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Doorway:
    """Another part of the program, entered from the front page."""

    key: str
    """A letter."""
    label: str
    """At most 14 characters."""
    words: str
    """What one does there, in a few words."""
    open: Callable[[Callable[[], None]], Runner]
    """Makes its runner; what it is given goes back to the front page. Raises OSError with words where it cannot."""


@dataclass(frozen=True, slots=True)
class Plant:
    """What a session needs of the plant folder. The edge (cli) fills it in; nothing here touches a disk."""

    circuits: Mapping[str, Circuit]
    open_jobs: tuple[OpenJob, ...]
    """Those that are known before anything is drawn."""
    desk: Callable[[str], Desk]
    """Machine name to everything computed for it; slow."""
    log: Callable[[str, str, bool], Log]
    """(machine, session, new) to its log; raises OSError with words where there can be none."""
    who: str
    notices: tuple[str, ...] = ()
    ready: Callable[[], Mapping[str, Circuit]] = dict
    """The starter patterns by name."""
    save: Callable[[str, str, str], Circuit] = _no_folder
    """(machine, text of its circuit file, what it was made from): puts a machine that was described into the plant folder, for good before it
    returns, and gives what was read back; raises OSError with words where it cannot."""
    keep: Callable[[str, tuple[Good, ...]], None] = _nothing_kept
    """(machine, good readings): adds them to the machine's folder; raises OSError with words where it cannot."""
    taken: Callable[[], frozenset[str]] = frozenset
    """Names that a new machine cannot have: folders that are there already."""
    elsewhere: Callable[[tuple[Event, ...], str, str, str], Log] | None = None
    """(events so far, folder as typed, machine, session) to a log that goes on there; raises OSError with words."""
    searches: bool = False
    """Whether a better first trip is looked for behind the one on the screen: only where what is found is drawn anew."""
    proof_ahead: Callable[[str, bool], ProofAhead] | None = None
    """(machine, with wiring suspects) to its proof run being worked out elsewhere; None: in between, here."""
    doors: tuple[Doorway, ...] = ()
    """What else can be entered from the front page."""
    looking: Looking | None = None
    """The open jobs where they are looked for while the front page is there already."""
