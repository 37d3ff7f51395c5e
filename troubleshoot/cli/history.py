"""``troubleshoot history`` and ``troubleshoot index``: what many jobs say together, and whether the index agrees with them."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from troubleshoot.cli import complete
from troubleshoot.cli.plots import EIGHTHS, FULL, bars
from troubleshoot.cli.say import complain, say

if TYPE_CHECKING:
    from troubleshoot.report.blocks import Report

_NEWEST = 5


@click.command()
@click.argument("machine", required=False, shell_complete=complete.machines)
@click.option(
    "--days",
    type=click.IntRange(1, 3650),
    default=90,
    show_default=True,
    help="The same repair again within so many days is a repeat.",
)
@click.option("--ascii", "ascii_only", is_flag=True, help="Bars of #, for terminals and printers that know no blocks.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="A new file: .html, .pdf, .csv or .json.")
@click.option("--force", is_flag=True, help="Replace an ordinary file of that name.")
def history(machine: str | None, days: int, ascii_only: bool, as_json: bool, output: Path | None, force: bool) -> None:
    """Say what failed on MACHINE, or on all, how it showed, how long it took, and what came back.

    On a terminal that is too short for it, it is read page by page. With -o it is a report, readable by you alone.

    Example: troubleshoot history belt-7
    """
    from troubleshoot.cli.data import plant_folder
    from troubleshoot.cli.index_on_disk import Progress, fresh_index
    from troubleshoot.cli.review import made_words
    from troubleshoot.review.page import departures_of
    from troubleshoot.review.past import past_report
    from troubleshoot.store import history as past
    from troubleshoot.store.scan import logs_of
    from troubleshoot.text.problem import nearest
    from troubleshoot.text.showing import show

    index, notices = fresh_index(Progress(complain))
    for sentence in notices:
        complain(sentence)
    jobs, fixes = past.ask(index, machine or "")
    if machine and not jobs:
        from troubleshoot.cli.machines_on_disk import machine_files

        known = {*(j.machine for j in past.ask(index)[0]), *machine_files()}
        if machine not in known:
            near = nearest(machine, sorted(known))
            raise click.UsageError(f"no machine {show(machine)!r}" + (f" (nearest: {near})" if near else ""))
    found = past.history(jobs, fixes, machine=machine or "", repeat_days=days)
    newest = index.rows(machine or "", newest=_NEWEST)
    troubles = index.troubles()
    gone = {
        file: f"gone; it had {_count(events, 'event')} when it was last seen"
        for file, events in index.gone(logs_of(plant_folder())).items()
        if not machine or file.split("/")[0] == machine
    }
    if as_json:
        say(json.dumps({
            **found.plain(), "repeat_days": days, "newest": [{"file": k.file, "trouble": k.trouble, **k.row.plain()} for k in newest],
            "troubles": {**troubles, **gone},
        }))  # fmt: skip
        return
    if output is not None:
        _write(output, force, past_report(found, [k.row for k in newest], days, {**troubles, **gone}, made_words()))
        return
    if not found.jobs:
        say(f"No job {'of ' + show(machine) if machine else ''} yet.".replace("  ", " "))
        return
    columns, rows = shutil.get_terminal_size((80, 24))
    width = max(40, min(100, columns - 1))
    lines = _lines(found, days, width, ascii_only or not _knows_blocks())
    lines.append("Newest")
    for kept in reversed(newest):
        lines.append("  " + _job(kept.row, bool(machine)))
        lines += [f"    departure: {words}" for words in departures_of(kept.row)]
    shown = [show(line) for line in lines]
    if sys.stdout.isatty() and sum(1 + max(0, len(line) - 1) // columns for line in shown) >= rows:
        click.echo_via_pager("\n".join(shown) + "\n")
    else:
        for line in shown:
            say(line)
    for file, why in {**troubles, **gone}.items():
        complain(show(f"{file}: {why}"))


def _lines(found: object, days: int, width: int, ascii_only: bool) -> list[str]:
    from troubleshoot.store.history import History, series

    assert isinstance(found, History)
    ends = ", ".join(f"{count} {how or 'open'}" for how, count in found.how)
    out = [
        f"{found.machine or 'All machines'}: {_count(found.jobs, 'job')} from {found.first} to {found.last} ({ends})."
    ]
    if found.median_minutes is not None:
        about = "~" if found.median_about else ""
        rest = f" {_count(found.not_handed_back, 'job')} not handed back." if found.not_handed_back else ""
        out.append(f"Down for {about}{_long(found.median_minutes)} (median of what was handed back).{rest}")
        if about:
            out.append("~ of some nobody said when the machine stopped: it may have been longer.")
    if found.departures:
        which = f"those of the newest {_NEWEST} jobs" if found.jobs > _NEWEST else "told"
        out.append(f"{_count(found.departures, 'departure')}, {which} below; troubleshoot review tells all of them.")
    out.append("")
    for one in series(found):
        out.append(f"{one.title} ({one.unit})")
        out += [f"  {line}" for line in bars(one.points, width - 2, ascii_only=ascii_only)]
        out.append("")
    if found.repeats:
        out.append(f"Again within {days} days")
        for r in found.repeats[:8]:
            of = "" if found.machine else f"{r.machine}: "
            out.append(f"  {r.again}  {of}{r.repair}, {_count(r.days, 'day')} after {r.before}")
        if len(found.repeats) > 8:
            out.append(f"  and {len(found.repeats) - 8} more")
        out.append("")
    return out


def _write(output: Path, force: bool, report: Report) -> None:
    from troubleshoot.cli.exporting import NotWritten, form_of, formed, write_new
    from troubleshoot.text.showing import show

    try:
        write_new(output, formed(report, form_of(output)), force=force)
    except NotWritten as no:
        raise click.UsageError(str(no)) from None
    say(f"History in {show(str(output))}")


def _job(row: object, one_machine: bool) -> str:
    from troubleshoot.review.page import not_mended
    from troubleshoot.store.row import JobRow

    assert isinstance(row, JobRow)
    what = "; ".join((*(f"{f.words}, {f.sure}" for f in row.found), *not_mended(row))) or f'"{row.said}"'
    down = f", down {_long(row.minutes_down)}" if row.minutes_down is not None else ""
    return f"{row.started[:16].replace('T', ' ')}  {'' if one_machine else row.machine + ': '}{what}: {row.how or 'open'}{down}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _long(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"


def _knows_blocks() -> bool:
    try:
        (FULL + EIGHTHS).encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


@click.command()
@click.option("--rebuild", is_flag=True, help="Read every log again. What was anchored stays.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def index(ctx: click.Context, rebuild: bool, as_json: bool) -> None:
    """Bring the index over all logs of the plant up to date, and say where it lies and what it misses.

    Exit code 0 all logs are whole and as they were last seen, 1 one is not, or one is gone.

    Example: troubleshoot index --rebuild
    """
    from troubleshoot.cli.data import plant_folder
    from troubleshoot.cli.index_on_disk import Progress, fresh_index, index_place
    from troubleshoot.store.scan import logs_of
    from troubleshoot.text.showing import show

    found, notices = fresh_index(Progress(complain), everything=rebuild)
    for sentence in notices:
        complain(sentence)
    logs, anchors = logs_of(plant_folder()), found.anchors()
    gone = found.gone(logs)
    troubles = found.troubles()
    usable = not notices and bool(index_place())
    if as_json:
        say(json.dumps({
            "place": found.place if usable else None, "logs": len(logs), "anchored": len(anchors), "troubles": troubles, "gone": gone,
        }))  # fmt: skip
    else:
        say(f"Index: {found.place}" if usable else "Index: none; the answer comes from the logs themselves")
        say(f"{_count(len(logs), 'log')}, {len(anchors)} anchored")
        for file, why in troubles.items():
            say(show(f"{file}: {why}"))
        for file, events in gone.items():
            say(show(f"{file}: gone; it had {_count(events, 'event')} when it was last seen"))
    ctx.exit(1 if troubles or gone else 0)
