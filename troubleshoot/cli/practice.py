"""``troubleshoot practice`` and ``troubleshoot exercise``: practise on a simulated panel, and set somebody a fault to find."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from troubleshoot.cli import complete
from troubleshoot.cli.data import practice_folder
from troubleshoot.cli.say import say
from troubleshoot.text.problem import nearest
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.runner import Runner
    from troubleshoot.log.writer import Log
    from troubleshoot.practice.door import Ways
    from troubleshoot.practice.exercise import Exercise
    from troubleshoot.practice.frame import Kept
    from troubleshoot.practice.progress import Past

MOST_SEEDS = 10_000
_PRIVATE = 0o600


@click.command()
@click.argument("machine", required=False, shell_complete=complete.machines)
@click.option("--level", help="A step of the course, by number or name: 7, opens.")
@click.option("--seed", type=click.IntRange(0), help="The same number, the same exercise.")
@click.option("--exercise", "file", type=click.Path(), help="An exercise that somebody set (troubleshoot exercise).")
@click.option("--again", is_flag=True, help="Go on with the exercise that you left half-way.")
@click.option("--remember", is_flag=True, help="Keep your own progress from now on, for your eyes alone.")
@click.option("--forget", is_flag=True, help="Throw your progress away and keep none.")
@click.option("--progress", is_flag=True, help="Say what is remembered, and what comes next.")
@click.option("--json", "as_json", is_flag=True, help="With --progress: one JSON object.")
@click.option("--plain", is_flag=True, help="Sentences and lines instead of the full screen.")
@click.pass_context
def practice(
    ctx: click.Context, machine: str | None, level: str | None, seed: int | None, file: str | None, again: bool, remember: bool,
    forget: bool, progress: bool, as_json: bool, plain: bool,
) -> None:  # fmt: skip
    """Practise on the job's own screens over a simulated panel. Without MACHINE and --level the course opens.

    Nothing of it counts as a job. Example: troubleshoot practice belt-7 --level opens --seed 3
    """
    from troubleshoot.cli.job import line_mode
    from troubleshoot.cli.screen import show_runner

    if remember and forget:
        raise click.UsageError("--remember and --forget: one of them")
    if forget:
        with contextlib.suppress(FileNotFoundError):
            progress_file().unlink()
        say("Nothing is remembered of you.")
        return
    if remember:
        _touch(progress_file())
    if progress:
        _say_progress(as_json)
        return
    line_mode(ctx, plain)
    if file is not None:
        if machine is not None or level is not None or seed is not None:
            raise click.UsageError("--exercise says machine, level and seed by itself")
        set_by, desk = _read(Path(file))
        show_runner(ctx, lambda: _in_the_course(set_by.machine, set_by.level, _begin(set_by, desk)))
        return
    if again:
        if machine is not None or level is not None or seed is not None:
            raise click.UsageError("--again goes on with what was left, whatever machine and level that was")
        from troubleshoot.cli.practised import go_on, left_exercise

        if (left := left_exercise()) is None:
            raise click.UsageError(
                "you left no exercise half-way that is not open in another window: troubleshoot practice begins one"
            )
        show_runner(
            ctx, lambda: _in_the_course(left.exercise.machine, left.exercise.level, _or_usage(lambda: go_on(left)))
        )
        return
    number = _level(level)
    if machine is not None:
        from troubleshoot.cli.machines_on_disk import find

        find(machine)
    if number is None and seed is None:
        from troubleshoot.practice.door import Door

        show_runner(ctx, lambda: Door(ways(), machine or _first()))
        return
    from troubleshoot.practice.progress import next_of

    wanted = number if number is not None else next_of(past()).level
    chosen = machine or _first()
    show_runner(ctx, lambda: _in_the_course(chosen, wanted, _or_usage(lambda: begin(chosen, wanted, seed))))


def _in_the_course(machine: str, level: int, runner: Runner) -> Runner:
    """An exercise that was asked for by name; once it is over the course stands behind it."""
    from troubleshoot.practice.door import Door

    return Door(ways(), machine, inside=(runner, level))


def _or_usage(make: Callable[[], Runner]) -> Runner:
    from troubleshoot.practice.exercise import Nothing

    try:
        return make()
    except Nothing as no:
        raise click.UsageError(str(no)) from no


def _level(level: str | None) -> int | None:
    from troubleshoot.practice.exercise import BY_NAME, BY_NUMBER

    if level is None:
        return None
    if level.isdecimal() and int(level) in BY_NUMBER:
        return int(level)
    if level in BY_NAME:
        return BY_NAME[level].number
    near = nearest(level, BY_NAME)
    raise click.UsageError(
        f"no level {show(level)!r}" + (f" (nearest: {near})" if near else f": 1 to {len(BY_NUMBER)}")
    )


def _first() -> str:
    """The machine that is offered first: one of the plant's own, else the one that is shipped."""
    from troubleshoot.cli.machines_on_disk import machine_files

    return next(iter(machine_files()))


def begin(machine: str, level: int, seed: int | None = None) -> Runner:
    """An exercise on a machine; a seed of its own where none is given. Raises `Nothing` and OSError with words."""
    from troubleshoot.cli.machines_on_disk import open_desk
    from troubleshoot.practice.exercise import choose

    desk = open_desk(machine)
    chosen = choose(desk, level, secrets.randbelow(MOST_SEEDS) if seed is None else seed)
    return _begin(chosen, desk)


def _begin(exercise: Exercise, desk: Desk) -> Runner:
    from troubleshoot.cli.practised import new_log

    return played(exercise, desk, lambda: new_log(desk.machine.name))


def played(exercise: Exercise, desk: Desk, log: Callable[[], Log]) -> Runner:
    """An exercise with its log: a new one, or that of an exercise that was left."""
    from troubleshoot.cli.machines_on_disk import proof_ahead, who_works
    from troubleshoot.practice.begin import runner_of

    machine = exercise.machine
    return runner_of(
        exercise, desk, log, who_works(), kept(), ahead=lambda _, wiring: proof_ahead(machine, wiring)
    )  # fmt: skip


def ways() -> Ways:
    """What the door of practice needs."""
    from troubleshoot.cli.machines_on_disk import machine_files, ready_files
    from troubleshoot.cli.practised import go_on, left_exercise
    from troubleshoot.practice.door import Ways

    names = tuple(dict.fromkeys((*machine_files(), *ready_files())))
    return Ways(names, begin, past, progress_file().is_file(), left_exercise, go_on)


def door(back: Callable[[], None]) -> Runner:
    """The door of practice as the plant's front page opens it."""
    from troubleshoot.practice.door import Door

    return Door(ways(), _first(), back)


# ------------------------------------------------------------------------------------------------------------ the disk


def progress_file() -> Path:
    """What is remembered of whoever is at the keys; it need not be there."""
    from troubleshoot.cli.machines_on_disk import who_works

    name = "".join(c if c.isalnum() or c in "-_" else "_" for c in who_works())[:64]
    return practice_folder() / f"progress-{name}.jsonl"


def _touch(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
    os.close(os.open(path, flags, _PRIVATE))


def past() -> tuple[Past, ...]:
    """What is remembered; nothing where nothing is, or where it cannot be read."""
    from troubleshoot.practice.progress import read_lines

    try:
        return read_lines(progress_file().read_text(encoding="utf-8", errors="replace"))
    except OSError:
        return ()


def kept() -> Kept:
    """Adds a result to the progress, where the person wanted that, and says what comes next."""
    from troubleshoot.practice.frame import Kept
    from troubleshoot.practice.progress import line_of, past_of, words_of

    path = progress_file()
    if not path.is_file():
        return Kept()

    def done(result: object) -> str:
        from troubleshoot.practice.debrief import Result

        assert isinstance(result, Result)
        line = line_of(past_of(result, date.today().isoformat()))
        flags = os.O_WRONLY | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
        try:
            fd = os.open(path, flags)
        except OSError as no:
            return f"Your progress could not be written: {no.strerror}."
        with os.fdopen(fd, "a", encoding="utf-8") as file:
            file.write(f"{line}\n")
        return words_of(past())

    return Kept(done)


def _say_progress(as_json: bool) -> None:
    from dataclasses import asdict

    from troubleshoot.practice.exercise import BY_NUMBER
    from troubleshoot.practice.progress import next_of, weak_spots, words_of

    found = past()
    if as_json:
        following = next_of(found)
        say(json.dumps({
            "remembers": progress_file().is_file(), "past": [asdict(p) for p in found], "weak": list(weak_spots(found)),
            "next": following.level, "why": following.why,
        }))  # fmt: skip
        return
    if not progress_file().is_file():
        say("Nothing is remembered of you. troubleshoot practice --remember changes that.")
    for one in found:
        how = f"stopped: {one.unsafe}" if one.unsafe else "right" if one.passed else "not yet"
        say(show(f"{one.on}  {one.machine}  {one.level} {BY_NUMBER[one.level].name}, seed {one.seed}: {how}"))
    say(words_of(found))


# ------------------------------------------------------------------------------------------------- setting an exercise


def _read(path: Path) -> tuple[Exercise, Desk]:
    """An exercise file with the desk of its machine; everything wrong with it ends the command with exit code 2."""
    from troubleshoot.cli.machines_on_disk import open_desk, read_text, shown_path, stop_with
    from troubleshoot.practice.sealed import read_exercise

    found = read_exercise(read_text(path), shown_path(path))
    if isinstance(found, tuple):
        stop_with(found)
        raise AssertionError
    desk = open_desk(found.machine)
    if found.complaint and found.complaint not in desk.machine.circuit.complaints:
        near = nearest(found.complaint, desk.machine.circuit.complaints)
        raise click.UsageError(
            f"{shown_path(path)}: {show(found.machine)} has no complaint {show(found.complaint)!r}"
            + (f" (nearest: {near})" if near else "")
        )
    try:
        found.suspects(desk)
    except KeyError:
        raise click.UsageError(
            f"{shown_path(path)}: what is hidden in it does not fit {show(found.machine)} as it is described here"
        ) from None
    return found, desk


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option(
    "--fault",
    "faults",
    multiple=True,
    help="Id of what is hidden (troubleshoot faults); twice for two.",
    shell_complete=complete.faults,
)
@click.option("--level", help="A step of the course; the fault is then chosen by the seed, unless it is given.")
@click.option(
    "--complaint",
    help="Symptom as the circuit file names it; otherwise the one that shows it best.",
    shell_complete=complete.complaints,
)
@click.option("--said", help="The complaint as the trainee is told it.")
@click.option("--title", default="", help="What the trainee reads first.")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="For what is left open.")
@click.option("-o", "--output", type=click.Path(), required=True, help="The exercise file; never written over.")
def exercise(
    machine: str, faults: tuple[str, ...], level: str | None, complaint: str | None, said: str | None, title: str, seed: int,
    output: str,
) -> None:  # fmt: skip
    """Set an exercise: a file for the trainee that does not give the fault away.

    Example: troubleshoot exercise belt-7 --fault "KM1 coil open" --title "Monday" -o monday.yaml
    """
    from dataclasses import replace

    from troubleshoot.cli.machines_on_disk import open_desk
    from troubleshoot.practice.exercise import BY_NUMBER, Exercise, Nothing, choose, shown_by
    from troubleshoot.practice.sealed import write_exercise

    desk = open_desk(machine)
    number = _level(level)
    if not faults and number is None:
        raise click.UsageError("what is to be found? --fault ID, or --level")
    known = {s.id: s for s in desk.machine.suspects[:-1]}
    for fault in faults:
        if fault not in known:
            near = nearest(fault, known)
            raise click.UsageError(f"no fault {show(fault)!r}" + (f" (nearest: {near})" if near else ""))
    complaints = desk.machine.circuit.complaints
    if complaint is not None and complaint not in complaints:
        near = nearest(complaint, complaints)
        raise click.UsageError(f"no complaint {show(complaint)!r}" + (f" (nearest: {near})" if near else ""))
    if faults:
        shown = complaint or shown_by(desk, known[faults[0]])
        wanted = number or (10 if len(faults) > 1 else 7)
        if BY_NUMBER[wanted].lesson:
            raise click.UsageError(f"level {wanted} is a lesson: it chooses its own")
        made = Exercise(machine, wanted, seed, shown, complaints[shown].words[0], faults)
    else:
        assert number is not None
        try:
            made = replace(choose(desk, number, seed), machine=machine)
        except Nothing as no:
            raise click.UsageError(str(no)) from no
        if complaint is not None:
            raise click.UsageError("--complaint goes with --fault; a level chooses its own")
    made = replace(made, said=said or made.said, title=title)
    path = Path(output)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(write_exercise(made))
    except FileExistsError:
        raise click.UsageError(f"{show(output)} is there already; it is not written over") from None
    except OSError as no:
        raise click.UsageError(f"{show(output)}: {no.strerror}") from no
    say(show(f"{output}: troubleshoot practice --exercise {output}"))
