"""The review on this disk: what the runner behind its screen needs of the plant folder."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Sequence
from datetime import datetime
from pathlib import Path

from troubleshoot.cli.logs_on_disk import countersign, desk_of, logs_of, read_one, table_of, write_back
from troubleshoot.cli.machines_on_disk import who_works
from troubleshoot.review.session import ReviewSession, Shelf
from troubleshoot.review.table_page import Jobs


def begin_review(
    paths: Sequence[Path], since: datetime | None, *, at: Path | None = None, back: Callable[[], None] | None = None
) -> ReviewSession:
    """The review of these logs. at: one of them, to be opened straight away."""

    def jobs() -> Generator[tuple[int, int], None, Jobs]:
        read = yield from table_of(paths, since)
        return Jobs([(str(path), one) for path, one in read.shown], read.earlier, read.notices)

    shelf = Shelf(
        jobs=jobs, again=lambda handle: read_one(Path(handle)), desk=desk_of,
        write=lambda handle, kind, data: write_back(Path(handle), kind, data),
        sign=lambda handle, key_file, words, who: countersign(Path(handle), key_file, words, who), who=who_works(),
        said=bool(os.environ.get("TROUBLESHOOT_WHO")),
    )  # fmt: skip
    return ReviewSession(shelf, at=str(at) if at is not None else "", back=back)


def review_of_the_plant(back: Callable[[], None]) -> ReviewSession:
    """Every job of the plant, entered from its first page."""
    return begin_review(logs_of(()), None, back=back)
