"""The table of the review as a sheet: every job in a few lines, and what is left to do. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from troubleshoot.job.keys import KEYS
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Entry, LiveKey, Role
from troubleshoot.review.reading import InTable
from troubleshoot.review.week import (
    COLUMNS,
    down_again,
    mended_since,
    open_actions,
    open_by_job,
    repeats,
    row_cells,
    worth_a_word,
)
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.store.row import JobRow

Page = tuple[str, Entry | None, tuple[LiveKey, ...]]
"""Title, place to type and keys of a sheet whose lines a pen has."""
ROWS: Final = "123456789abdfgijlmnoprstuvxz"
"""Keys of the rows of the table, without those that do something else on it."""
BACK: Final = KEYS["back"].live


@dataclass(frozen=True, slots=True)
class Jobs:
    """What the table is made of."""

    shown: Sequence[tuple[str, InTable]]
    """Every job to be shown, with a handle, oldest first."""
    earlier: Sequence[JobRow] = ()
    """Rows of the jobs before them."""
    notices: Sequence[str] = ()
    """What the person must hear of the index."""


def reading(pen: Pen, leads_back: bool) -> Page:
    """While the logs are being read."""
    pen.put("Reading the logs. Those that the index knows as they are now are not read again.", Role.TASK)
    return "REVIEW  reading", None, (BACK,) if leads_back else ()


def table(pen: Pen, jobs: Jobs, older: int, leads_back: bool) -> Page:
    """Every job in two or three lines, as many as there are keys. older: how many pages before the newest; leads_back: the
    review was entered from somewhere."""
    ones = [one for _, one in jobs.shown]
    for words in jobs.notices:
        pen.put(show(words), Role.NOTE)
    pen.put("Jobs read back, oldest first. Press the key of a row to open it.", Role.TASK)
    keys = []
    if not ones:
        pen.put("No job is on record here yet.", Role.NOTE)
    for key, (_, one) in zip(ROWS, in_reach(jobs.shown, older), strict=False):
        cells = dict(zip(COLUMNS, row_cells(one), strict=True))
        bad = f"{one.doubt}. " if one.doubt else ""
        pen.put(f"{key}  {bad}{cells['machine']}  {cells['down']}  {cells['found']}", Role.ROW,
                key=key, indent="   ")  # fmt: skip
        if one.row is not None:
            signed = "unsigned" if cells["signed"] == "no" else f"signed: {cells['signed']}"
            departures = "no departures" if cells["departures"] == "none" else f"departures: {cells['departures']}"
            part = "no part" if cells["part"] == "none" else f"part {cells['part']}"
            sure = "nothing mended" if cells["confirmed"] == "-" else cells["confirmed"]
            proof = cells["proved"].removesuffix(" checks")
            proved = {"-": "not proved yet", "no": "NOT proved"}.get(proof, f"proved {proof}")
            pen.put(
                f"   {sure}, {part}; {proved}; open: {cells['left open']}; {departures}; {signed}",
                Role.NOTE, key=key, indent="   ",
            )  # fmt: skip
        keys.append(LiveKey(key, "open", f"opens {one.name}", shown=False))
    if len(ones) > len(ROWS):
        last = len(ones) - older * len(ROWS)
        pen.put(f"Jobs {max(1, last - len(ROWS) + 1)} to {last} of {len(ones)}; 0 shows older ones.", Role.NOTE)
        keys.append(LiveKey("0", "older", "shows the jobs before these; after the oldest the newest again"))
    pen.put("~ when the job began: nobody said when it stopped.", Role.NOTE)
    todo = len(list(open_actions(ones)))
    keys.append(LiveKey("y", f"yours: {todo}", "what is left for you to do, what repeats, what is worth a word"))
    if leads_back:
        keys.append(BACK)
    return f"REVIEW  {len(ones)} jobs", None, tuple(keys)


def in_reach(shown: Sequence[tuple[str, InTable]], older: int) -> Sequence[tuple[str, InTable]]:
    """As many jobs as there are keys: the newest, or older ones."""
    last = len(shown) - older * len(ROWS)
    return shown[max(0, last - len(ROWS)) : last]


def to_do(pen: Pen, jobs: Jobs) -> Page:
    """What is left for whoever reads them."""
    ones = [one for _, one in jobs.shown]
    pen.put("Yours to do. Open the job to close one.", Role.TASK)
    asked = [words for _, words in mended_since(ones, jobs.earlier)]
    parts = (
        ("", list(open_by_job(ones)), "Nothing is left open."),
        *([("Mended since", asked, "")] if asked else []),
        ("The same again within 90 days", list(repeats(ones, jobs.earlier)), "Nothing was mended twice."),
        ("Down again within 7 days", list(down_again(ones, jobs.earlier)), "No machine was down twice."),
        ("Worth a word", list(worth_a_word(ones)), "Nothing."),
    )
    for title, rows, empty in parts:
        if title:
            pen.put(title, Role.TASK)
        for row in rows:
            pen.put(f" - {show(row)}", Role.ROW, indent="   ")
        if not rows:
            pen.put(f"   {empty}", Role.NOTE)
    return "REVIEW  yours to do", None, (BACK,)
