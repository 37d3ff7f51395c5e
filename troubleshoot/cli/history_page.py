"""The history of a machine, or of all, as blocks of a report: the same words and numbers as in the terminal, its bars drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from troubleshoot.report.blocks import Bars, Block, Heading, Items, Report, Table, Tone, Words
from troubleshoot.store.history import History, series


def report_of(
    found: History, head: Sequence[str], newest: Sequence[str], troubles: Mapping[str, str], days: int, made: str
) -> Report:
    """head: sentences about all of it; newest: a line a job, newest first; troubles: log to what is wrong with it; days: within
    which the same repair again is a repeat; made: when, and by which program."""
    blocks: list[Block] = [Words(f"{file}: {why}", Tone.BAD) for file, why in troubles.items()]
    blocks += [Words(sentence) for sentence in head]
    for one in series(found):
        blocks.append(Heading(one.title))
        blocks.append(
            Bars(f"{one.title} ({one.unit})", tuple((name, value, f"{value:g}") for name, value in one.points))
        )
    blocks.append(Heading(f"Again within {days} days"))
    blocks.append(
        Table(
            "again", ("machine", "repair", "again", "before", "days"),
            tuple((r.machine, r.repair, r.again, r.before, str(r.days)) for r in found.repeats), "Nothing was mended twice.",
        )
    )  # fmt: skip
    blocks += [Heading("Newest"), Items(tuple(newest), "No job yet.")]
    return Report(f"History of {found.machine or 'all machines'}", tuple(blocks), made=made)
