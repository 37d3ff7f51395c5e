"""What many jobs say together, as blocks of a report: the same as `troubleshoot history` prints, for paper and spreadsheets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from troubleshoot.report.blocks import Bars, Block, Facts, Heading, Items, Report, Table, Tone, Words
from troubleshoot.review.page import departures_of, not_mended, short
from troubleshoot.store.history import series

if TYPE_CHECKING:
    from troubleshoot.store.history import History
    from troubleshoot.store.row import JobRow


def past_report(
    found: History, newest: Sequence[JobRow], days: int, troubles: Mapping[str, str], made: str = ""
) -> Report:
    """newest: rows of the newest jobs, in any order; days: within which the same repair is a repeat; troubles: what is wrong
    with logs, by file."""
    title = f"{found.machine or 'All machines'}: {found.jobs} job{'' if found.jobs == 1 else 's'}"
    return Report(title, tuple(_blocks(found, newest, days, troubles)), (), made)


def _blocks(found: History, newest: Sequence[JobRow], days: int, troubles: Mapping[str, str]) -> Iterator[Block]:
    for file, why in troubles.items():
        yield Words(f"{file}: {why}", Tone.BAD)
    ends = ", ".join(f"{count} {how or 'open'}" for how, count in found.how)
    facts = [("from", found.first), ("to", found.last), ("ended", ends)]
    if found.median_minutes is not None:
        about = "~" if found.median_about else ""
        facts.append(("down", f"{about}{found.median_minutes:g} min, median of what was handed back"))
    if found.not_handed_back:
        facts.append(("not handed back", str(found.not_handed_back)))
    facts.append(("departures", str(found.departures)))
    yield Facts(tuple(facts))
    if found.median_about:
        yield Words("~ of some nobody said when the machine stopped: it may have been longer.", Tone.NOTE)
    for one in series(found):
        yield Heading(f"{one.title} ({one.unit})")
        yield Bars(one.title, tuple((name, value, f"{value:g}") for name, value in one.points))
    yield Heading(f"Again within {days} days")
    yield Items(
        tuple(f"{r.again}: {r.machine}: {r.repair}, {r.days} days after {r.before}" for r in found.repeats),
        "Nothing was mended twice.",
    )
    yield Heading("Newest")
    yield Table("job", ("machine", "began", "found", "ended", "minutes", "departures"), tuple(
        (row.machine, short(row.started), "; ".join((*(f"{f.words}, {f.sure}" for f in row.found), *not_mended(row))) or f'"{row.said}"',
         row.ending, "" if row.minutes_down is None else str(row.minutes_down), "; ".join(departures_of(row)) or "none")
        for row in sorted(newest, key=lambda r: r.started, reverse=True)
    ), "No job yet.")  # fmt: skip
