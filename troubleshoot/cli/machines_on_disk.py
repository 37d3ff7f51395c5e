"""The plant folder and what was shipped: machine files, trees, logs of jobs. The only place that knows their paths."""

from __future__ import annotations

import getpass
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from troubleshoot import __version__
from troubleshoot.cli.data import data, plant_folder
from troubleshoot.cli.say import complain
from troubleshoot.text.problem import Problem, nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.circuit.model import Circuit
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.plant import OpenJob, Plant, ProofAhead
    from troubleshoot.job.runner import Runner
    from troubleshoot.log.event import Event
    from troubleshoot.log.writer import Log
    from troubleshoot.machine import Machine
    from troubleshoot.store.row import JobRow
    from troubleshoot.trees.model import Tree

CIRCUIT = "circuit.yaml"
BASELINE = "baseline.jsonl"
BIGGEST = 5_000_000
"""Bytes of a file that is read at all."""


@dataclass(frozen=True, slots=True)
class Where:
    """A machine on disk."""

    name: str
    path: Path


def machine_files() -> Mapping[str, Where]:
    """Every machine by name: those of the plant folder win over those shipped."""
    found = _files("machines")
    folder = plant_folder()
    if folder.is_dir():
        for path in sorted(folder.glob(f"*/{CIRCUIT}")):
            found[path.parent.name] = Where(path.parent.name, path)
    return found


def ready_files() -> Mapping[str, Where]:
    """The ready circuits by name: patterns for a machine that nobody has described, no machines of the plant."""
    return _files("circuits")


def _files(shipped: str) -> dict[str, Where]:
    return {path.stem: Where(path.stem, path) for path in sorted(data(shipped).glob("*.yaml"), key=lambda p: p.stem)}


def find(machine: str) -> Where:
    """A machine by folder, file or name, or a ready circuit by name. Raises click.UsageError with the nearest name."""
    path = Path(machine)
    if path.is_dir() and (path / CIRCUIT).is_file():
        return Where(path.resolve().name, path / CIRCUIT)
    if path.is_file():
        return Where(path.stem, path)
    known = {**ready_files(), **machine_files()}
    if machine in known:
        return known[machine]
    raise click.UsageError(f"no machine {show(machine)!r}{meant(machine, known)}")


def meant(name: str, known: Iterable[str]) -> str:
    """What was probably meant by a name that is not known, or else every name there is: goes behind the sentence that says so."""
    names = list(known)
    if near := nearest(name, names):
        return f" (nearest: {near})"
    return f": write one of {', '.join(names)}" if names else ""


def read_text(path: Path) -> bytes:
    """The bytes of an ordinary file. Raises click.UsageError where it is none or too big."""
    if not path.is_file():
        raise click.UsageError(f"{show(str(path))} is not an ordinary file")
    if path.stat().st_size > BIGGEST:
        raise click.UsageError(f"{show(str(path))} is larger than {BIGGEST // 1_000_000} MB")
    return path.read_bytes()


def shown_path(path: Path) -> str:
    """As short as it can be said: relative where it lies below this folder."""
    try:
        return show(str(path.resolve().relative_to(Path.cwd())))
    except (ValueError, OSError):
        return show(str(path))


def stop_with(problems: tuple[Problem, ...]) -> None:
    """Every problem to stderr, exit code 2."""
    for problem in problems:
        complain(str(problem))
    raise click.exceptions.Exit(2)


def open_machine(machine: str) -> Machine:
    """Read a machine; its problems end the command with exit code 2."""
    found = read_machine(find(machine).path)
    if isinstance(found, tuple):
        stop_with(found)
        raise AssertionError
    return found


def read_machine(path: Path) -> Machine | tuple[Problem, ...]:
    """A machine from its circuit file and the program it names, or everything that is wrong with them."""
    from troubleshoot.machine import CannotRead, describe

    def beside(name: str) -> bytes | CannotRead:
        folder = path.resolve().parent
        found = (folder / name).resolve()
        if not found.is_relative_to(folder):  # a link that leads away
            return CannotRead("leads out of the folder of its circuit file")
        if not found.is_file():
            return CannotRead("is not there")
        if found.stat().st_size > BIGGEST:
            return CannotRead(f"is larger than {BIGGEST // 1_000_000} MB")
        return found.read_bytes()

    return describe(read_text(path), shown_path(path), beside)


def tree_files() -> Mapping[str, Path]:
    """Decision trees by symptom; those of the plant folder win."""
    found = {path.stem: path for path in sorted(data("trees").glob("*.yaml"))}
    own = plant_folder() / "trees"
    if own.is_dir():
        found |= {path.stem: path for path in sorted(own.glob("*.yaml"))}
    return found


def open_trees() -> Mapping[str, Tree]:
    """All trees that read well; what is wrong with the others goes to `check`, not to a person at a dead machine."""
    from troubleshoot.trees.load import load_tree

    trees: dict[str, Tree] = {}
    for name, path in tree_files().items():
        loaded = load_tree(read_text(path), shown_path(path))
        if not isinstance(loaded, tuple):
            trees[name] = loaded
    return trees


def open_job_desk(machine: str) -> Desk:
    """Everything a job needs of one machine, its own past among it, where the index tells that in time."""
    from troubleshoot.cli.meanwhile import PastAhead

    # Asked for while the machine is read: so it is there by then, as a rule.
    return open_desk(machine, PastAhead(find(machine).name).take)


def open_desk(machine: str, past: Callable[[], Mapping[str, int]] = dict) -> Desk:
    """Everything computed of one machine. past: its confirmed repairs by group, which move what is suspected; asked for once
    the machine is read, so that whoever answers may be at work meanwhile."""
    from troubleshoot.evidence.baseline import latest, read_lines
    from troubleshoot.job.desk import Desk

    path = plant_folder() / find(machine).name / BASELINE
    kept = read_lines(read_text(path).decode("utf-8", "replace")) if path.is_file() else ()
    described, trees = open_machine(machine), open_trees()
    return Desk(described.with_past(past()), trees, latest(kept))


# ----------------------------------------------------------------------------------------------------------- the plant


def who_works() -> str:
    """Who is at the keys: ``TROUBLESHOOT_WHO``, or the login."""
    try:
        return os.environ.get("TROUBLESHOOT_WHO") or getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def circuits(files: Mapping[str, Where]) -> tuple[Mapping[str, Circuit], tuple[str, ...]]:
    """The circuit in each of these files, and a sentence for each that does not read."""
    from troubleshoot.circuit.load import load_circuit

    found: dict[str, Circuit] = {}
    notices = []
    for name, where in files.items():
        loaded = load_circuit(read_text(where.path), shown_path(where.path))
        if isinstance(loaded, tuple):
            notices.append(f"{name} cannot be used: {loaded[0]} (troubleshoot check {name} shows all)")
        else:
            found[name] = loaded
    return found, tuple(notices)


def jobs_folder(machine: str) -> Path:
    """Where the logs of one machine's jobs lie."""
    return plant_folder() / machine / "jobs"


LISTED: Final = 9
"""Open jobs that have a row of their own on the first page."""


def open_jobs() -> tuple[OpenJob, ...]:
    """Jobs that were begun and not ended, newest first."""
    return look_for_open_jobs()[0]


def open_jobs_of(machine: str) -> tuple[OpenJob, ...]:
    """The same of one machine, from its own logs: these are few, and no index is asked."""
    from troubleshoot.store.scan import glance, logs_of

    logs = logs_of(plant_folder(), machine)
    seen = [glance(file, path, stamp) for file, (path, stamp) in logs.items()]
    return _by_work([(logs[g.file][0], g.row, g.trouble) for g in seen if g.row is not None and g.row.open])


def look_for_open_jobs() -> tuple[tuple[OpenJob, ...], tuple[str, ...]]:
    """Every job that was begun and not ended, newest first, and what the person must hear of the index.

    A few logs are read as they are; of many the index knows which are open, and those that changed since are read again.
    """
    from troubleshoot.cli.index_on_disk import FEW, index_place, open_rows_aside
    from troubleshoot.store.scan import glance, logs_of

    logs = logs_of(plant_folder())
    notices: tuple[str, ...] = ()
    if len(logs) <= FEW or not index_place():
        seen = [glance(file, path, stamp) for file, (path, stamp) in logs.items()]
        found = [(g.file, g.row, g.trouble) for g in seen if g.row is not None and g.row.open]
    else:
        found, notices = open_rows_aside()
    return _by_work([(logs[file][0], row, trouble) for file, row, trouble in found if file in logs]), notices


def _by_work(found: Sequence[tuple[Path, JobRow, str]]) -> tuple[OpenJob, ...]:
    """Newest first by the work: a comment or a signature in between does not move a job up."""
    from troubleshoot.job.plant import OpenJob
    from troubleshoot.log.standing import handed_on
    from troubleshoot.log.verify import read_events

    out: list[OpenJob] = []
    for path, row, trouble in sorted(found, key=lambda one: datetime.fromisoformat(one[1].worked), reverse=True):
        handed = ""
        if row.handovers and len(out) < LISTED:
            handed = handed_on(read_events(path)[0])
        words = (
            f"{row.machine}, {f'{show(handed)}, ' if handed else ''}{show(row.said)}, begun {row.started[:16].replace('T', ' ')}"
            f"{f', {row.how}' if row.how else ''}{' (its log does not verify)' if trouble else ''}"
        )
        out.append(OpenJob(row.machine, path.stem, words))
    return tuple(out)


def open_plant() -> Plant:
    """The plant as a session needs it. Its open jobs are looked for once the front page is drawn."""
    from troubleshoot.cli.meanwhile import OpenJobsAhead
    from troubleshoot.cli.practice import door as practice
    from troubleshoot.cli.saving import folders, keep_baseline, save_machine
    from troubleshoot.job.plant import Doorway, Plant

    found, notices = circuits(machine_files())
    return Plant(
        found, (), open_job_desk, _open_log, who_works(), notices, ready=lambda: circuits(ready_files())[0],
        save=save_machine, keep=keep_baseline, taken=folders, elsewhere=_log_elsewhere, proof_ahead=proof_ahead,
        doors=(
            Doorway("p", "practise", "practise: a simulated panel, lessons and hidden faults", practice),
            Doorway("r", "review", "read a job back", _review),
        ),
        looking=OpenJobsAhead(),
    )  # fmt: skip


def _review(back: Callable[[], None]) -> Runner:
    """Every job of the plant, read back."""
    from troubleshoot.cli.reviewing import review_of_the_plant

    return review_of_the_plant(back)


def proof_ahead(machine: str, wiring: bool) -> ProofAhead:
    """The proof run of a machine, begun in a process of its own."""
    from troubleshoot.cli import ahead

    return ahead.ProofAhead(machine, wiring)


def _log_elsewhere(events: tuple[Event, ...], folder: str, machine: str, session: str) -> Log:
    """The same record in another folder, laid out as a plant, so that TROUBLESHOOT_PLANT can point to it."""
    from troubleshoot.log.opening import CannotOpen, continue_log

    there = Path(folder).expanduser()
    if not folder or not there.is_dir():
        raise OSError(f"{show(folder) or 'That'} is not a folder here. Type one that is there.")
    path = there / machine / "jobs" / f"{session}.jsonl"
    log = continue_log(events, path, version=__version__, who=who_works())
    if isinstance(log, CannotOpen):
        raise OSError(log.words)
    return log


def _open_log(machine: str, session: str, new: bool) -> Log:
    from troubleshoot.cli.index_on_disk import Keeper, Kept, index_place
    from troubleshoot.log.clock import SystemClock
    from troubleshoot.log.memory import MemoryLog
    from troubleshoot.log.opening import CannotOpen, open_log

    path = jobs_folder(machine) / f"{session}.jsonl"
    log = open_log(path, session=session if new else "", version=__version__, who=who_works())
    if not isinstance(log, CannotOpen):
        if log.read_only:
            log.close()
            raise OSError(
                f"The log {show(path.name)} is not whole, so nothing is added to it: {log.verdict.sentences[0]}"
            )
        return Kept(log, Keeper(path)) if index_place() else log
    if os.environ.get("TROUBLESHOOT_UNRECORDED") == "yes":
        return MemoryLog(session=session, version=__version__, who=who_works(), clock=SystemClock())
    raise OSError(f"{log.words} To work without a record, start with TROUBLESHOOT_UNRECORDED=yes.")
