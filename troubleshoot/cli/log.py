"""``troubleshoot log``: the record of a job, verified and shown."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import click

from troubleshoot.cli.say import complain, say


class Anchor(click.ParamType[tuple[int, str]]):
    """``N:HASH`` as printed on a report."""

    name = "N:HASH"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, str]:
        """Number and hash; fails with words when it is neither."""
        from troubleshoot.log.verify import SHORTEST_ANCHOR

        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"([0-9]{1,9}):([0-9a-fA-F]{1,64})", str(value).strip())
        if not found:
            self.fail("is not a number, a colon and the hash as printed on the report", param, ctx)
        if len(found[2]) < SHORTEST_ANCHOR:
            self.fail(f"needs at least {SHORTEST_ANCHOR} digits of the hash: fewer prove nothing", param, ctx)
        return int(found[1]), found[2].lower()


LOG = click.Path(exists=True, dir_okay=False)


@click.group()
def log() -> None:
    """The record of a job."""


@log.command()
@click.argument("path", type=LOG)
@click.option("--head", type=Anchor(), help="Number and hash printed on a report: proves that the end is still there.")
@click.option("--no-index", is_flag=True, help="Do not ask the index how far this log had got.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def verify(ctx: click.Context, path: str, head: tuple[int, str] | None, no_index: bool, as_json: bool) -> None:
    """Say whether the log at PATH is whole. Exit code 0 whole, 1 not.

    Without --head the index of this plant says how far the log had got, if it knows.

    Example: troubleshoot log verify jobs/belt-7.jsonl --head 41:9f86d081884c7d65
    """
    from troubleshoot.log.verify import session_of
    from troubleshoot.log.verify import verify as read

    by = "given" if head else None
    if head is None and not no_index:
        from troubleshoot.cli.index_on_disk import anchor_of

        anchor, trouble = anchor_of(Path(path), session_of(path))
        if trouble:
            complain(trouble)
        if anchor is not None:
            head, by = (anchor.n, anchor.hash), "index"
    verdict = read(path, head=head)
    if as_json:
        say(
            json.dumps(
                {
                    "whole": verdict.whole,
                    "events": verdict.events,
                    "head": f"{verdict.head[0]}:{verdict.head[1]}" if verdict.head else None,
                    "session": verdict.session,
                    "anchored": verdict.anchored,
                    "anchored_by": by,
                    "line": verdict.bad.line if verdict.bad else None,
                    "wrong": verdict.bad.what.value if verdict.bad else None,
                    "words": list(verdict.sentences),
                }
            )
        )
    else:
        say("\n".join(_safe(verdict.sentences)))
        if by == "index":
            say("The anchor is the index's: it was kept outside the file, on this machine or its server.")
        if verdict.whole and verdict.head:
            say(f"Head {verdict.head[0]}:{verdict.head[1]}")
    ctx.exit(0 if verdict.whole else 1)


@log.command("show")
@click.argument("path", type=LOG)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, each an event.")
@click.pass_context
def show_log(ctx: click.Context, path: str, as_json: bool) -> None:
    """Print the events of the log at PATH, up to the first that cannot be trusted. Exit code 0 whole, 1 not."""
    from troubleshoot.log.event import line_of
    from troubleshoot.log.verify import read_events
    from troubleshoot.text.showing import show

    events, verdict = read_events(path)
    for event in events:
        if as_json:
            say(line_of(event).decode("utf-8").rstrip("\n"))
        else:
            said = "  ".join(f"{key}={_value(value)}" for key, value in event.data.items())
            say(show(f"{event.n:>5}  {event.at}  {event.kind:<20} {said}".rstrip()))
    for sentence in _safe(verdict.sentences):
        complain(sentence)
    ctx.exit(0 if verdict.whole else 1)


@log.command()
@click.argument("path", type=LOG)
@click.option("--width", type=click.IntRange(40, 200), default=80, show_default=True, help="Columns.")
@click.pass_context
def sheet(ctx: click.Context, path: str, width: int) -> None:
    """Print what the screen shows of the job at PATH as it stands, as text. Nothing is written. Exit code as verify."""
    from troubleshoot.cli.machines_on_disk import open_desk
    from troubleshoot.job.decide import Ui
    from troubleshoot.job.state import fold
    from troubleshoot.job.view import view
    from troubleshoot.log.verify import read_events
    from troubleshoot.text.showing import show
    from troubleshoot.tui.astext import as_text

    events, verdict = read_events(path)
    state = fold(events)
    if not state.machine:
        for sentence in _safe(verdict.sentences):
            complain(sentence)
        raise click.UsageError(f"{show(path)} holds no job")
    desk = open_desk(state.machine).with_past(state.past)
    say(as_text(view(desk.after_work if state.worked_on else desk, state, Ui(), width, len(events)), show), nl=False)
    for sentence in _safe(verdict.sentences):
        complain(sentence)
    ctx.exit(0 if verdict.whole else 1)


def _value(value: object) -> str:
    from troubleshoot.log.event import canonical

    return value if isinstance(value, str) else canonical(value)


def _safe(sentences: tuple[str, ...]) -> list[str]:
    from troubleshoot.text.showing import show

    return [show(sentence) for sentence in sentences]
