"""``troubleshoot review``: jobs read back, on a screen or as text; and what is written back to them."""

from __future__ import annotations

import secrets
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from troubleshoot import __version__
from troubleshoot.cli.exporting import NotWritten, write_new
from troubleshoot.cli.say import complain, say

if TYPE_CHECKING:
    from collections.abc import Generator

    from troubleshoot.cli.logs_on_disk import TableRead
    from troubleshoot.report.blocks import Report
    from troubleshoot.review.actions import Action
    from troubleshoot.review.reading import InTable, ReadBack

READS = "read"
LOG = click.Path(exists=True, dir_okay=False, path_type=Path)


class Review(click.Group):
    """Without one of its own words first, what follows are the logs to read."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """A word that is none of the commands names a log."""
        if args and args[0] in self.commands:
            return super().resolve_command(ctx, args)
        return READS, self.commands[READS], args

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Options of reading may come first: ``review --json``."""
        if not args or (args[0] not in self.commands and args[0] not in ("-h", "--help")):
            args = [READS, *args]
        return super().parse_args(ctx, args)


@click.group(cls=Review)
def review() -> None:
    """Read jobs back: LOG..., MACHINE or plant (otherwise), and write back to them.

    \b
    troubleshoot review                       the week, on the screen
    troubleshoot review belt-7 --since 7d     text where it goes into a pipe
    troubleshoot review LOG                   one job

    Example: troubleshoot review belt-7 --since 7d
    """


@review.command(READS)
@click.argument("logs", nargs=-1)
@click.option("--since", help="A day (2026-11-23) or a number of days (7 d).")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.option("--plain", is_flag=True, help="Sentences and lines instead of the full screen.")
@click.pass_context
def read(ctx: click.Context, logs: tuple[str, ...], since: str | None, as_json: bool, plain: bool) -> None:
    """Read back LOG..., the jobs of MACHINE, or of the whole plant. Exit code 1 where a record does not hold.

    Example: troubleshoot review belt-7 --since 7d
    """
    import sys

    from troubleshoot.cli.logs_on_disk import logs_of, read_many, since_of, table_of
    from troubleshoot.cli.reviewing import begin_review
    from troubleshoot.report.data import as_json as json_of
    from troubleshoot.report.text import as_text
    from troubleshoot.review.week import week_report

    paths, moment = logs_of(logs), since_of(since)
    wishes = ctx.obj
    asked_plain = plain or bool(getattr(wishes, "plain", False))
    if not as_json and (asked_plain or (sys.stdin.isatty() and sys.stdout.isatty())):
        from troubleshoot.cli.door import Wishes
        from troubleshoot.cli.screen import show_runner

        known = wishes if isinstance(wishes, Wishes) else Wishes(plain=False, mouse=True)
        ctx.obj = replace(known, plain=known.plain or plain)
        one_log = paths[0] if len(logs) == 1 and len(paths) == 1 and Path(logs[0]).is_file() else None
        show_runner(ctx, lambda: begin_review(paths, moment, at=one_log))
        return
    bad: list[InTable]
    if len(paths) == 1:
        shown, earlier = read_many(paths, moment)
        report = report_of([one for _, one in shown], earlier, whole=True)
        bad = [one for _, one in shown if not one.trusted]
    else:
        table = _read_on(table_of(paths, moment))
        report = week_report([one for _, one in table.shown], table.earlier, made_words())
        bad = [one for _, one in table.shown if not one.trusted]
    say(json_of(report) if as_json else as_text(report), nl=False)
    for one in bad:
        complain(f"{one.name}: {one.banner()[0][0]}")
    ctx.exit(1 if bad else 0)


def _read_on(reading: Generator[tuple[int, int], None, TableRead]) -> TableRead:
    from troubleshoot.cli.index_on_disk import Progress

    told = Progress(complain)
    while True:
        try:
            told(*next(reading))
        except StopIteration as end:
            found: TableRead = end.value
            for sentence in found.notices:
                complain(sentence)
            return found


def report_of(shown: list[ReadBack], earlier: tuple = (), *, whole: bool) -> Report:  # type: ignore[type-arg]
    """One job, or a table of many; whole: also each job of the table from beginning to end."""
    from troubleshoot.cli.logs_on_disk import desk_of
    from troubleshoot.report.blocks import Heading
    from troubleshoot.report.blocks import Report as Made
    from troubleshoot.review.page import job_report
    from troubleshoot.review.week import week_report

    made = made_words()
    desks = {}

    def job(one: ReadBack) -> Report:
        machine = one.row.machine if one.row is not None else ""
        if machine not in desks:
            desks[machine] = desk_of(machine) if machine else None
        return job_report(one, desks[machine], tuple(one.movements(desks[machine])), made)

    if len(shown) == 1 and whole:
        return job(shown[0])
    week = week_report(shown, earlier, made)
    return (
        week
        if not whole
        else Made(
            week.title,
            (*week.blocks, *(b for one in shown for b in (Heading(one.name, one.name), *job(one).blocks))),
            week.heads,
            made,
        )
    )


def made_words() -> str:
    """The foot of a report."""
    from datetime import datetime

    return f"Made {datetime.now().astimezone():%d %b %Y %H:%M %z} by troubleshoot {__version__}."


@review.command()
@click.argument("log", type=LOG)
@click.argument("text")
@click.option("--about", type=click.IntRange(0), default=0, metavar="N", help="Number of the event it is about.")
def comment(log: Path, text: str, about: int) -> None:
    """Write TEXT back to the job in LOG.

    Example: troubleshoot review comment belt-7-3fa2.jsonl "ring gap kit ordered" --about 22
    """
    from troubleshoot.cli.logs_on_disk import read_one, write_back
    from troubleshoot.cli.machines_on_disk import who_works
    from troubleshoot.review.actions import comment as made
    from troubleshoot.store.written import COMMENT
    from troubleshoot.text.showing import show

    if not text.strip():
        raise click.UsageError("there is nothing in that comment")
    if about > len(read_one(log).events):
        raise click.UsageError(f"there is no event {about} in that log")
    who = who_works()
    say(show(f"Saved as event {write_back(log, COMMENT, made(who, text.strip(), about))}, by {who}."))


@review.command()
@click.argument("log", type=LOG)
@click.argument("action")
@click.option("--note", default="", help="What was done about it: needed, for a close says nothing by itself.")
def close(log: Path, action: str, note: str) -> None:
    """Close what was left open in the job in LOG: ACTION is its id, as the review lists it.

    Example: troubleshoot review close job.jsonl 12-a --note "guard back on"
    """
    from troubleshoot.cli.logs_on_disk import read_one, write_back
    from troubleshoot.cli.machines_on_disk import who_works
    from troubleshoot.review.actions import by_id
    from troubleshoot.review.actions import close as made
    from troubleshoot.store.written import CLOSED
    from troubleshoot.text.problem import nearest
    from troubleshoot.text.showing import show

    known = by_id(read_one(log).actions)
    found: Action | None = known.get(action)
    if found is None:
        near = nearest(action, known)
        raise click.UsageError(f"nothing is open under {show(action)!r}" + (f" (nearest: {near})" if near else ""))
    if not found.open:
        raise click.UsageError(f"{show(action)} was closed already, by {show(found.closed_by)}")
    if not note.strip():
        raise click.UsageError('what was done about it is missing: --note "guard refitted"')
    who = who_works()
    n = write_back(log, CLOSED, made(found, who, note.strip()))
    say(show(f"Closed by {who}, as event {n}: {found.words}"))


@review.command()
@click.argument("log", type=LOG)
@click.option("--key", required=True, type=click.Path(exists=True, dir_okay=False), help="Your key file.")
@click.option(
    "--passphrase-file", type=click.Path(exists=True, dir_okay=False), help="Its first line, where nobody can be asked."
)
@click.option(
    "--yes", is_flag=True, help="Sign though something is listed: departures, what is open, an earlier signature."
)
def sign(log: Path, key: str, passphrase_file: str | None, yes: bool) -> None:
    """Countersign the job in LOG, up to its newest event. Not for whoever worked on it.

    What is to be known first is listed and asked about: a job that is not finished, departures, what is open, signatures.

    Example: troubleshoot review sign job.jsonl --key kim.key
    """
    import os

    from troubleshoot.cli.logs_on_disk import countersign, desk_of, read_one
    from troubleshoot.cli.machines_on_disk import who_works
    from troubleshoot.cli.signers import open_key, passphrase
    from troubleshoot.review.before_signing import before_signing
    from troubleshoot.review.signing import SHARED, refusal
    from troubleshoot.text.showing import show

    owner, one = open_key(key).name, read_one(log)
    # What --yes does not help against comes before what it does.
    if no := refusal(one.events, owner, who_works()):
        raise click.UsageError(no)
    desk = desk_of(one.row.machine) if one.row is not None else None
    # A log that does not hold is not asked about: signing it is refused in words below.
    if one.verdict.whole and (first := before_signing(one, owner, desk)):
        for sentence in first:
            say(show(sentence))
        if not yes:
            if not os.isatty(0):
                raise click.UsageError("nothing is signed unasked over what is listed above; --yes signs all the same")
            click.confirm("Sign all the same?", abort=True, err=True)
    try:
        say(countersign(log, key, passphrase(passphrase_file)))
    except ValueError as no:
        raise click.UsageError(str(no)) from None
    say(SHARED)


@review.command()
@click.argument("name")
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), help="The new key file: yours alone.")
@click.option(
    "--passphrase-file", type=click.Path(exists=True, dir_okay=False), help="Its first line, where nobody can be asked."
)
def key(name: str, output: Path, passphrase_file: str | None) -> None:
    """Make a key to countersign with for NAME, and keep its public half in the plant.

    Example: troubleshoot review key Kim -o kim.key
    """
    from troubleshoot.cli.signers import keep_public, kept_under, passphrase
    from troubleshoot.review.signing import SHARED, make_key
    from troubleshoot.text.names import flaw_in_name
    from troubleshoot.text.showing import show

    if flaw := flaw_in_name(name):
        raise click.UsageError(f"{show(name)!r} {flaw}")
    if before := kept_under(name):
        raise click.UsageError(
            f"another key is kept here for {show(name)} ({before[:16]}); both cannot be theirs. No key is made."
        )
    made = make_key(" ".join(name.split()), passphrase(passphrase_file, new=True), secrets.token_bytes)
    try:
        write_new(output, made.text().encode())
        try:
            keep_public(made)
        except NotWritten:
            output.unlink(missing_ok=True)
            raise
    except NotWritten as no:
        raise click.UsageError(str(no)) from None
    say(f"Key {made.public[:16]} of {made.name}. Its public half is kept in the plant's folder signers.")
    say(SHARED)
