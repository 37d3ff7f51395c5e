"""Many jobs in one table, as a supervisor reads them on Monday: one row a job, then what repeats and what is theirs to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Final

from troubleshoot.report.blocks import Bars, Block, Heading, Items, Report, Table, Tone, Words
from troubleshoot.review.page import after_good, awaited_in, departures_of, heads_of, not_mended, proved_words, short
from troubleshoot.review.reading import BAD_SIGNATURE, NOT_WHOLE, InTable
from troubleshoot.store.row import JobRow

REPEATS_WITHIN: Final = timedelta(days=90)
AGAIN_WITHIN: Final = timedelta(days=7)
NIGHT: Final = (20, 6)
"""Hours from and to which a job counts as at night. Common practice, no published source."""
DOUBTS: Final = frozenset({NOT_WHOLE, BAD_SIGNATURE})
"""What is wrong with a record that somebody has to see to."""
COLUMNS: Final = (
    "machine",
    "down",
    "record",
    "log",
    "minutes",
    "found",
    "part",
    "confirmed",
    "proved",
    "left open",
    "departures",
    "signed",
)


def row_cells(one: InTable) -> tuple[str, ...]:
    """A job as one row, under `COLUMNS`."""
    row = one.row
    if row is None:
        words = one.verdict.sentences[0] if not one.verdict.whole else "there is no job in it"
        open_at = COLUMNS.index("left open")
        unknown = "" if one.verdict.whole else _left_open(one)
        return (
            one.name,
            "",
            one.doubt,
            one.name,
            "",
            words,
            *(unknown if k == open_at else "" for k in range(6, len(COLUMNS))),
        )
    parts = [f.item for f in row.found if f.act.startswith("replace")]
    return (
        row.machine, down_words(one, row), one.doubt, one.name,
        str(row.minutes_down) if row.minutes_down is not None else "",
        _found(one, row),
        ", ".join((*parts, *(f"{one.part or one.note} (awaited)" for one in awaited_in(one)))) or "none",
        ", ".join(dict.fromkeys((*(f.sure for f in row.found), *("confirmed, not mended" for _ in row.confirmed)))) or "-",
        "-" if row.how != "mended" else proved_words(row),
        _left_open(one),
        str(len(departures_of(row))) if row.departures else "none",
        ", ".join(dict.fromkeys(s.by + ("" if not s.after else ", not its end") for s in one.signatures if not s.wrong)) or "no",
    )  # fmt: skip


def _found(one: InTable, row: JobRow) -> str:
    found = "; ".join((*(f.words for f in row.found), *not_mended(row, awaited_in(one))))
    if not one.verdict.whole:
        return f"{found or 'nothing'}{after_good(one, 'up to')}"
    return found or (row.ending if row.how else "nothing yet, the job goes on")


def _left_open(one: InTable) -> str:
    if not one.verdict.whole:
        return f"unknown{after_good(one)}"
    still = sum(a.open for a in one.actions)
    unproved = "; closed, still not proved" if any(not a.open and a.sort == "not proved" for a in one.actions) else ""
    return (str(still) if still else "nothing") + unproved


def down_words(one: InTable, row: JobRow) -> str:
    """``23 Nov 02:50-03:35``; with a ~ where nobody told when it stopped, open where it is not handed back, and its
    length where the clock was set back meanwhile."""
    told = "" if row.down_told else "~"
    begun = f"{told}{short(row.down_from)}"
    if not row.down_to:
        return f"{begun}-"
    if one.set_back_min:
        return f"{begun}, {row.minutes_down} min, clock set back"
    same = row.down_to[:10] == row.down_from[:10]
    return f"{begun}-{short(row.down_to)[7:] if same else short(row.down_to)}"


def week_report(shown: Sequence[InTable], earlier: Sequence[JobRow] = (), made: str = "") -> Report:
    """shown: the jobs of the table, in order; earlier: rows of the 90 days before, to find repeats."""
    return Report(
        f"{len(shown)} job{'s' if len(shown) != 1 else ''} read back", tuple(_blocks(shown, earlier)),
        tuple(head for one in shown for head in heads_of(one)), made,
    )  # fmt: skip


def _blocks(shown: Sequence[InTable], earlier: Sequence[JobRow]) -> Iterator[Block]:
    for one in shown:
        for words, tone in one.banner():
            if tone is Tone.BAD:
                yield Words(f"{one.name}: {words}", tone)
    yield Table("job", COLUMNS, tuple(row_cells(one) for one in shown), "No job in this time.")
    yield Words(
        "~ when the job began; nobody said when the machine stopped.",
        Tone.NOTE,
    )
    yield Heading("The same again within 90 days")
    yield Items(repeats(shown, earlier), "Nothing was mended twice.")
    yield Heading("Down again within 7 days")
    yield Items(down_again(shown, earlier), "No machine was down twice.")
    yield Heading("Yours to do")
    yield Table("action", ("log", "id", "what"), tuple(open_actions(shown)), "Nothing is left open.")
    if asked := mended_since(shown, earlier):
        yield Items(tuple(words for _, words in asked))
    yield Heading("Worth a word")
    yield Items(tuple(worth_a_word(shown)), "Nothing.")
    if bars := time_down(shown):
        yield Heading("Time down")
        yield Bars("Minutes from standstill to hand-back, by machine", bars)


def time_down(shown: Sequence[InTable]) -> tuple[tuple[str, float, str], ...]:
    """Machine, minutes, and words: a job that was not handed back has no minutes yet, and is said all the same."""
    rows = [one.row for one in shown if one.row is not None and not one.row.not_begun]
    out = []
    for machine in dict.fromkeys(row.machine for row in rows):
        mine = [row for row in rows if row.machine == machine]
        minutes = sum(row.minutes_down or 0 for row in mine)
        about = "~" if any(row.minutes_down is not None and not row.down_told for row in mine) else ""
        still = [row for row in mine if row.minutes_down is None]
        more = f" + {len(still)} not handed back, since {short(still[0].down_from)}" if still else ""
        out.append((machine, float(minutes), f"{about}{minutes} min{more}"))
    return tuple(out)


def distrusted(one: InTable) -> str:
    """What asks for somebody about a record that does not hold."""
    first, words = one.banner()[0][0].rstrip("."), f"its record is {one.doubt}"
    after = "" if one.verdict.whole else f"; what is open{after_good(one)} is unknown"
    return f"{words}: {first}{after}. Keep the file as it is and find out why"


def open_actions(shown: Sequence[InTable]) -> Iterator[tuple[str, str, str]]:
    """What is left open in these jobs: (log, id, words). A record that cannot be trusted is one by itself, without an id: no
    word that is written to it settles that."""
    for one in shown:
        if one.doubt in DOUBTS:
            yield one.name, "", distrusted(one)
        for action in one.actions:
            if action.open:
                yield one.name, action.id, action.words


def open_by_job(shown: Sequence[InTable]) -> Iterator[str]:
    """The same by machine and day, as it is read on a page: words that several acts of one job share stand once."""
    for one in shown:
        if one.doubt in DOUBTS:
            yield f"{one.name}: {distrusted(one)}"
        if one.row is None or not (still := [a for a in one.actions if a.open]):
            continue
        because: dict[str, list[str]] = {}
        for action in still:
            what, colon, why = action.words.rpartition(": ") if action.sort == "can't" else ("", "", "")
            because.setdefault(why, []).append(what if colon else action.words)
        words = "; ".join(f"{', '.join(whats)}{f': {why}' if why else ''}" for why, whats in because.items())
        yield f"{one.row.machine}, {short(one.row.down_from)}: {words}"


def repeats(shown: Sequence[InTable], earlier: Sequence[JobRow] = ()) -> tuple[str, ...]:
    """The same repair or part again within 90 days, by machine; jobs in which nothing was found say nothing of that."""
    out = []
    for machine, jobs in _near(shown, earlier):
        by_repair: dict[str, list[JobRow]] = {}
        for job in jobs:
            for group in dict.fromkeys(f.group for f in job.found):
                by_repair.setdefault(group, []).append(job)
        out += [
            f"{machine}: {len(made)} times the same: {group}, {', '.join(short(j.down_from) for j in made)}"
            for group, made in by_repair.items() if len(made) > 1
        ]  # fmt: skip
    return tuple(out)


def down_again(shown: Sequence[InTable], earlier: Sequence[JobRow] = ()) -> tuple[str, ...]:
    """Machines that were down more than once within a week, whatever it was."""
    out = []
    for machine, jobs in _near(shown, earlier):
        last = datetime.fromisoformat(jobs[-1].started)
        week = [j for j in jobs if last - datetime.fromisoformat(j.started) <= AGAIN_WITHIN]
        if len(week) > 1:
            when = ", ".join(f"{short(j.down_from)} {_what(j)}" for j in week)
            out.append(f"{machine}: down {len(week)} times in {AGAIN_WITHIN.days} days: {when}")
    return tuple(out)


def mended_since(shown: Sequence[InTable], earlier: Sequence[JobRow] = ()) -> tuple[tuple[InTable, str], ...]:
    """Jobs that are still open though a later job mended their machine, each with a sentence that asks about it."""
    out = []
    for one in shown:
        row = one.row
        if row is None or not (row.open or awaited_in(one)):
            continue
        later = [
            other for _, jobs in _near(shown, earlier) for other in jobs
            if other.machine == row.machine and other.how == "mended"
            and datetime.fromisoformat(other.started) > datetime.fromisoformat(row.started)
        ]  # fmt: skip
        if later:
            words = f"a later job mended this machine ({short(later[0].down_from)}): close what is open in this one?"
            out.append((one, f"{row.machine}, {short(row.down_from)}, {row.ending}: {words}"))
    return tuple(out)


def _near(shown: Sequence[InTable], earlier: Sequence[JobRow]) -> Iterator[tuple[str, list[JobRow]]]:
    """The jobs of each machine of the table, oldest first, as far back as counts; without those that were not begun."""
    rows = {row.session: row for row in (*earlier, *(one.row for one in shown if one.row is not None))}
    newest = {one.row.session for one in shown if one.row is not None}
    by_machine: dict[str, list[JobRow]] = {}
    for row in sorted(rows.values(), key=lambda r: datetime.fromisoformat(r.started)):
        if not row.not_begun:
            by_machine.setdefault(row.machine, []).append(row)
    for machine, jobs in by_machine.items():
        last = datetime.fromisoformat(jobs[-1].started)
        near = [j for j in jobs if last - datetime.fromisoformat(j.started) <= REPEATS_WITHIN]
        if newest & {j.session for j in near}:
            yield machine, near


def _what(row: JobRow) -> str:
    return f"({'; '.join(f.words for f in row.found) or row.ending})"


def worth_a_word(shown: Sequence[InTable]) -> Iterator[str]:
    """What a supervisor asks about: parts without a confirming test, not proved, alone at night on live parts."""
    last: list[str] = []  # what many jobs have comes after what one of them has
    for one in shown:
        row = one.row
        if row is None:
            continue
        when = f"({short(row.down_from)}, {', '.join(row.who)})"
        unread = {d.words for d in row.departures if d.sort == "caution unread"}
        for departure in departures_of(row):
            if departure in unread:
                last.append(f"{row.machine}: {departure} {when}")
            else:
                yield f"{row.machine}: {departure} {when}"
        if row.alone and row.most_volts and _at_night(row):
            yield f"{row.machine}: alone at night, live work up to {row.most_volts} V {when}"
        if one.set_back_min:
            yield f"{row.machine}: the clock moved back {one.set_back_min} min during the job {when}"
    yield from last


def _at_night(row: JobRow) -> bool:
    hour = datetime.fromisoformat(row.started).hour
    return hour >= NIGHT[0] or hour < NIGHT[1]
