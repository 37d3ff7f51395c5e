"""``troubleshoot log``: the record of a job, verified and shown."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from troubleshoot.cli.exporting import FORMS
from troubleshoot.cli.say import complain, say

if TYPE_CHECKING:
    from troubleshoot.log.redaction import Texts


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
    """The record of a job.

    Example: troubleshoot log verify job.jsonl
    """


@log.command()
@click.argument("path", type=LOG)
@click.option("--head", type=Anchor(), help="Number and hash printed on a report: proves that the end is still there.")
@click.option("--no-index", is_flag=True, help="Do not ask the index how far this log had got.")
@click.option("--names", type=LOG, help="The file of what `log redact` took out: proves the redacted lines too.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def verify(
    ctx: click.Context, path: str, head: tuple[int, str] | None, no_index: bool, names: str | None, as_json: bool
) -> None:
    """Say whether the log at PATH is whole, and whether its countersignatures hold. Exit code 0 yes, 1 no.

    Without --head the index of this plant says how far the log had got, if it knows.

    Example: troubleshoot log verify jobs/belt-7.jsonl --head 41:9f86d081884c7d65
    """
    from troubleshoot.cli.signers import keys_here
    from troubleshoot.log.line import Wrong
    from troubleshoot.log.verify import session_of
    from troubleshoot.log.verify import verify as read
    from troubleshoot.review.signing import judge
    from troubleshoot.store.written import Gatherer

    by = "given" if head else None
    if head is None and not no_index:
        from troubleshoot.cli.index_on_disk import anchor_of

        anchor, trouble = anchor_of(Path(path), session_of(path))
        if trouble:
            complain(trouble)
        if anchor is not None:
            head, by = (anchor.n, anchor.hash), "index"
    texts = _texts(names)
    gatherer = Gatherer()
    verdict = read(path, head=head, texts=texts, each=gatherer.take)
    # Of a log that is not whole, nothing that stands behind the first bad line says anything.
    signatures = tuple(s for s in judge(gatherer.done(), keys_here()) if s.n <= verdict.events)
    # An empty file is no record of anything, however whole it is.
    holds = verdict.whole and verdict.events > 0 and not any(s.wrong for s in signatures)
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
                    "redacted": list(verdict.redacted),
                    "signatures": [
                        {
                            "event": s.n,
                            "by": s.by,
                            "up_to": s.head,
                            "key": s.public,
                            "known": s.known,
                            "wrong": s.wrong or None,
                        }
                        for s in signatures
                    ],
                }
            )
        )
    else:
        say("\n".join(_safe((*verdict.sentences, *(s.words for s in signatures)))))
        if by == "index" and (
            verdict.anchored is not None or (verdict.bad and verdict.bad.what in (Wrong.CUT, Wrong.NOT_AS_ANCHORED))
        ):
            say("The anchor is the index's: it was kept outside the file, on this machine or its server.")
        if verdict.whole and verdict.head:
            say(f"Head {verdict.head[0]}:{verdict.head[1]}")
    ctx.exit(0 if holds else 1)


@log.command()
@click.argument("logs", nargs=-1, required=True)
@click.option(
    "-o", "--output", required=True, type=click.Path(path_type=Path), help="A new file; its ending says the form."
)
@click.option("--as", "form", type=click.Choice(FORMS), help="The form, where the ending does not say it.")
@click.option("--force", is_flag=True, help="Replace an ordinary file of that name.")
@click.pass_context
def export(ctx: click.Context, logs: tuple[str, ...], output: Path, form: str | None, force: bool) -> None:
    """Write a report of LOG... (or of a MACHINE, or of the plant) as html, pdf, csv or json, readable by you alone.

    Exit code 1 where a record does not hold; the report says so at its top.
    Example: troubleshoot log export belt-7 -o belt-7.html
    """
    from troubleshoot.cli.exporting import NotWritten, form_of, formed, write_new
    from troubleshoot.cli.logs_on_disk import logs_of, read_many
    from troubleshoot.cli.review import report_of
    from troubleshoot.text.showing import show

    chosen = form_of(output, form, "; --as says which form is meant")
    paths = logs_of(logs)
    if not paths:
        raise click.UsageError("no log is there yet")
    shown, earlier = read_many(paths, None)
    try:
        write_new(output, formed(report_of([one for _, one in shown], earlier, whole=True), chosen), force=force)
    except NotWritten as no:
        raise click.UsageError(str(no)) from None
    bad = [one for _, one in shown if not one.trusted]
    for one in bad:
        complain(f"{one.name}: {one.banner()[0][0]}")
    say(f"{len(shown)} log{'s' if len(shown) != 1 else ''} in {show(str(output))}")
    ctx.exit(1 if bad else 0)


@log.command()
@click.argument("path", type=LOG)
@click.option(
    "-o", "--output", required=True, type=click.Path(path_type=Path), help="The log without the names: a new file."
)
@click.option(
    "--names",
    required=True,
    type=click.Path(path_type=Path),
    help="A new file for what is taken out; keep it elsewhere.",
)
@click.option("--name", "also", multiple=True, help="A further name or word to take out wherever it stands.")
@click.option("--notes", is_flag=True, help="What was written freely goes whole: notes and comments.")
def redact(path: str, output: Path, names: Path, also: tuple[str, ...], notes: bool) -> None:
    """Make a copy of the log at PATH without the names of those who worked, whose chain still holds.

    Each such name becomes a salted hash wherever it stands, and the rest of the text stays; --name takes out further words, an
    order number for one. Salts and words go into the file --names. Anchors and countersignatures made before stay good, and
    so does the name of who countersigned. All that still stands in free words is listed at the end: read it before you hand
    the copy on. The log itself is left as it is: delete it where it must not stay.

    Example: troubleshoot log redact job.jsonl -o shared.jsonl --names names.json
    """
    import secrets

    from troubleshoot import __version__
    from troubleshoot.cli.exporting import NotWritten, write_new
    from troubleshoot.cli.machines_on_disk import who_works
    from troubleshoot.log.clock import SystemClock
    from troubleshoot.log.event import line_of
    from troubleshoot.log.next import Next
    from troubleshoot.log.redaction import KIND, names_in, plain_marks, signers_in, vouching, written_freely
    from troubleshoot.log.redaction import redact as take_out
    from troubleshoot.log.verify import read_events

    events, verdict = read_events(path)
    if not verdict.whole or not events:
        raise click.UsageError(f"Nothing is taken out of a log that does not verify. {_safe(verdict.sentences)[0]}")
    gone = [*names_in(events), *also]
    lines, texts = take_out(events, gone, notes=notes, dice=secrets.token_bytes)
    if not lines:
        raise click.UsageError("there is nothing to take out of that log")
    following = Next(
        session=verdict.session, version=__version__, who=who_works(), clock=SystemClock(), last=events[-1]
    )
    last = following.events(KIND, vouching(lines, "redaction"))
    whole = b"".join(lines.get(e.n, line_of(e)) for e in events) + b"".join(line_of(e) for e in last)
    try:
        write_new(names, texts.text().encode("utf-8"))
        write_new(output, whole)
    except NotWritten as no:
        raise click.UsageError(str(no)) from None
    from troubleshoot.text.showing import show

    say(
        f"{len(lines)} of {len(events)} lines have texts taken out: {show(str(output))}. What was taken out: {show(str(names))}."
    )
    say(f"Taken out wherever it stood as a word: {', '.join(map(show, gone))}.")
    if unseen := [name for name in also if not _stood(name, texts)]:
        say(f"Stood nowhere: {', '.join(map(show, unseen))}. Is it spelled otherwise there?")
    if signers := signers_in(events):
        say(
            f"Stays: {', '.join(map(show, signers))} as who countersigned; without the name the signature would not hold."
        )
    if written := written_freely(events, lines):
        say("Read before it is handed on. This still stands in free words, and somebody else may be named in it:")
        for n, words in written:
            say(f"  event {n}: {show(plain_marks(words))}")
        say("--name WORD takes out a name, an order number or any other word; --notes notes and comments whole.")


def _stood(name: str, texts: Texts) -> bool:
    return any(name.casefold() in taken.casefold() for _, taken in texts.texts.values())


def _texts(path: str | None) -> Texts | None:
    from troubleshoot.cli.machines_on_disk import read_text
    from troubleshoot.log.redaction import read_texts
    from troubleshoot.text.showing import show

    if path is None:
        return None
    try:
        return read_texts(read_text(Path(path)).decode("utf-8", "replace"))
    except ValueError as no:
        raise click.UsageError(f"{show(path)}: {no}") from None


@log.command("show")
@click.argument("path", type=LOG)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, each an event.")
@click.pass_context
def show_log(ctx: click.Context, path: str, as_json: bool) -> None:
    """Print the events of the log at PATH, up to the first that cannot be trusted. Exit code 0 whole, 1 not.

    Example: troubleshoot log show job.jsonl
    """
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
    """Print what the screen shows of the job at PATH as it stands, as text. Nothing is written. Exit code as verify.

    Example: troubleshoot log sheet job.jsonl --width 80
    """
    from troubleshoot.cli.machines_on_disk import open_desk
    from troubleshoot.job.decided import Ui
    from troubleshoot.job.fitting import desk_of, fitting
    from troubleshoot.job.folding import fold
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
    desk = desk_of(open_desk(state.machine), state)
    say(as_text(view(desk, fitting(desk, state), Ui(), width, len(events)), show), nl=False)
    for sentence in _safe(verdict.sentences):
        complain(sentence)
    ctx.exit(0 if verdict.whole else 1)


def _value(value: object) -> str:
    from troubleshoot.log.event import canonical

    return value if isinstance(value, str) else canonical(value)


def _safe(sentences: tuple[str, ...]) -> list[str]:
    from troubleshoot.text.showing import show

    return [show(sentence) for sentence in sentences]
