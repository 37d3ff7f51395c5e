"""The index over all logs of a plant: SQLite or PostgreSQL, made from the logs and never more than they say.

It may be lost, stale, locked, damaged or out of reach: everything here then raises `IndexTrouble`, one sentence, and
whoever asked goes on without. The one thing that it knows and the logs do not is how far each log had once got (`anchors`).
"""

from __future__ import annotations

import errno
import json
import os
import stat
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import orjson
from sqlalchemy import Connection, Engine, Table, create_engine, delete, event, insert, select
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, InterfaceError, OperationalError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from troubleshoot.log.verify import session_of
from troubleshoot.store.row import JobRow, row_of
from troubleshoot.store.scan import Anchor, Glance, Stamp
from troubleshoot.store.tables import ANCHORS, JOBS, REPAIRS, TABLES, plain
from troubleshoot.store.written import Written, written_of
from troubleshoot.text.showing import show

PATIENCE_S: Final = 2
"""How long a database may take to answer at all, or to let go of a lock."""
_BATCH: Final = 500


class IndexTrouble(Exception):
    """The index cannot be used now; one sentence why, safe to print. `damaged`: it never can, and is to be made anew."""

    def __init__(self, words: str, *, damaged: bool = False) -> None:
        super().__init__(words)
        self.damaged = damaged


def address(where: str) -> URL:
    """The URL of an index: as given, or of the SQLite file at a path. Raises IndexTrouble where it is neither.

    ``postgresql://`` means the driver that comes with the extra ``postgres``.
    """
    if "://" not in where:
        return URL.create("sqlite", database=where)
    try:
        url = make_url(where)
    except ArgumentError:
        raise IndexTrouble(
            "The address of the index cannot be read; it looks like postgresql://person@host/name"
        ) from None
    if url.drivername in ("postgresql", "postgres"):
        url = url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("postgresql+psycopg", "sqlite"):
        raise IndexTrouble(f"The index is kept in SQLite or PostgreSQL, not in {show(url.drivername)}")
    return url


@dataclass(frozen=True, slots=True)
class Kept:
    """A job as the index has it."""

    file: str
    row: JobRow
    trouble: str
    """What is wrong with its log; empty where nothing is."""


class Index:
    """An index that is open. Every method raises IndexTrouble where the database does not do it."""

    def __init__(self, where: str, plant: Path, *, patience_s: int = PATIENCE_S) -> None:
        """where: a path or URL (`address`); plant: the folder whose logs are meant. Makes what is not there yet."""
        self.url = address(where)
        self.plant = plain(os.fspath(plant.absolute()))
        self._engine = self._connected(patience_s)
        with self._asking() as link:
            TABLES.create_all(link)

    @property
    def place(self) -> str:
        """Where it is, for a person: a path, or a URL without its password."""
        if self.url.drivername == "sqlite":
            return show(self.url.database or "in memory")
        return show(self.url.render_as_string(hide_password=True).replace("+psycopg", ""))

    def _connected(self, patience_s: int) -> Engine:
        if self.url.drivername == "sqlite":
            path = Path(self.url.database or ":memory:")
            if path.name == ":memory:":
                return create_engine(self.url)
            _private(path)
            # No pool: a file of a database costs nothing to open, and no descriptor outlives its use.
            engine = create_engine(self.url, connect_args={"timeout": patience_s}, poolclass=NullPool)
            event.listen(engine, "connect", _by_the_rules)
            return engine
        try:
            return create_engine(self.url, connect_args={"connect_timeout": patience_s}, pool_pre_ping=True)
        except ImportError:
            raise IndexTrouble(
                "The index is in PostgreSQL, and its driver is not installed: pip install troubleshoot[postgres]"
            ) from None

    def close(self) -> None:
        self._engine.dispose()

    @contextmanager
    def _asking(self) -> Iterator[Connection]:
        """One transaction; whatever the database says against it becomes one sentence."""
        try:
            with self._engine.begin() as link:
                yield link
        except SQLAlchemyError as error:
            raise self._trouble(error) from None
        except Exception as error:
            if isinstance(error, _driver_error(self._engine)):
                raise self._trouble(error) from None
            raise

    def _trouble(self, error: Exception) -> IndexTrouble:
        why = str(getattr(error, "orig", None) or error).strip().splitlines()
        words = show(why[0] if why else type(error).__name__)
        # Locked, full, read-only, away: these pass. A file that is no database, or tables that are not ours, do not.
        passing = isinstance(error, OperationalError | InterfaceError) and "no such column" not in words
        damaged = (
            self.url.drivername == "sqlite"
            and isinstance(error, DatabaseError)
            and not (passing and "malformed" not in words)
        )
        return IndexTrouble(f"The index at {self.place} cannot be used: {words}", damaged=damaged)

    # ------------------------------------------------------------------------------------------------- putting it in

    def stamps(self) -> dict[str, Stamp]:
        """What is indexed, and of which state of each file."""
        with self._asking() as link:
            stamp = (JOBS.c.size, JOBS.c.mtime_ns, JOBS.c.ctime_ns)
            found = link.execute(select(JOBS.c.file, *stamp).where(JOBS.c.plant == self.plant))
            return {file: Stamp(*of) for file, *of in found}

    def anchors(self) -> dict[str, Anchor]:
        """What was last seen of each log, by file."""
        with self._asking() as link:
            found = link.execute(
                select(ANCHORS.c.file, ANCHORS.c.session, ANCHORS.c.n, ANCHORS.c.hash).where(
                    ANCHORS.c.plant == self.plant
                )
            )
            return {file: Anchor(session, n, digest) for file, session, n, digest in found}

    def anchor(self, session: str, file: str = "") -> Anchor | None:
        """What was last seen of one log: of the file where it is known, else of the session."""
        with self._asking() as link:
            for column, value in ((ANCHORS.c.file, file), (ANCHORS.c.session, plain(session))):
                if not value:
                    continue
                found = link.execute(
                    select(ANCHORS.c.session, ANCHORS.c.n, ANCHORS.c.hash)
                    .where(ANCHORS.c.plant == self.plant, column == value)
                    .order_by(ANCHORS.c.n.desc())
                ).first()
                if found:
                    return Anchor(found[0], found[1], found[2])
        return None

    def gone(self, there: Mapping[str, tuple[Path, Stamp]]) -> dict[str, int]:
        """Logs that were anchored and are not among those that are there, under no name: file to how many events it had."""
        away = [(file, anchor) for file, anchor in sorted(self.anchors().items()) if file not in there]
        if not away:
            return {}
        sessions = {plain(session_of(path)) for path, _ in there.values()}
        return {file: anchor.n for file, anchor in away if anchor.session not in sessions}

    def put(self, glances: Sequence[Glance], gone: Iterable[str] = ()) -> None:
        """Take in logs as they were read, and forget the rows of files that are gone; all of it or nothing.

        A head is anchored only where the log is whole and agrees with what was anchored before, so that no later reading makes
        an altered log a good one. Anchors of logs that are gone stay.
        """
        out = [*(g.file for g in glances), *gone]
        with self._asking() as link:
            for table in (JOBS, REPAIRS):
                _forget(link, table, self.plant, out)
            for part in _parts(glances):
                _fill(link, JOBS, [self._job(g) for g in part])
                _fill(link, REPAIRS, [r for g in part for r in self._repairs(g)])
                heads = [g for g in part if g.events and not g.trouble]
                if heads:
                    link.execute(
                        delete(ANCHORS).where(
                            ANCHORS.c.plant == self.plant, ANCHORS.c.session.in_([plain(g.session) for g in heads])
                        )
                    )
                    by_session = {plain(g.session): g for g in sorted(heads, key=lambda g: g.events)}
                    _fill(link, ANCHORS, [
                        {"plant": self.plant, "session": session, "file": g.file, "n": g.events, "hash": g.head}
                        for session, g in by_session.items()
                    ])  # fmt: skip

    def empty(self) -> None:
        """Forget every row of this plant, so that all is read again. Anchors stay: no log can give them back."""
        with self._asking() as link:
            for table in (JOBS, REPAIRS):
                link.execute(delete(table).where(table.c.plant == self.plant))

    def _job(self, g: Glance) -> dict[str, Any]:
        row = g.row
        machine = row.machine if row else g.file.split("/")[0]
        began = datetime.fromisoformat(row.started) if row else None
        return {
            "plant": self.plant, "file": g.file, "size": g.stamp.size, "mtime_ns": g.stamp.mtime_ns,
            "ctime_ns": g.stamp.ctime_ns,
            "session": plain(g.session), "machine": plain(machine), "is_job": row is not None,
            "is_open": row is not None and row.open, "began": began.timestamp() if began else 0.0,
            "month": row.started[:7] if row else "", "complaint": plain(row.complaint) if row else "",
            "how": plain(row.how) if row else "", "minutes": row.minutes_down if row else None,
            "told": row is not None and row.down_told, "departures": row.told_departures if row else 0, "trouble": plain(g.trouble),
            "whole_row": _spelled(row, row.plain) if row else "",
            "written": _spelled(g.written.plain(), g.written.plain) if g.written else "",
        }  # fmt: skip

    def _repairs(self, g: Glance) -> list[dict[str, Any]]:
        if g.row is None:
            return []
        return [
            {
                "plant": self.plant, "file": g.file, "n": f.n, "machine": plain(g.row.machine),
                "at": datetime.fromisoformat(f.at).timestamp(), "repair": plain(f.group), "words": plain(f.words),
                "sure": f.sure, "mended": g.row.how == "mended",
            }
            for f in g.row.found
        ]  # fmt: skip

    # ------------------------------------------------------------------------------------------------------ asking it

    def rows(
        self, machine: str = "", *, only_open: bool = False, session: str = "", newest: int | None = None
    ) -> list[Kept]:
        """Jobs, oldest first. machine, session: only these; newest: only so many of them, the newest."""
        query = select(JOBS.c.file, JOBS.c.began, JOBS.c.trouble, JOBS.c.whole_row)
        query = query.where(JOBS.c.plant == self.plant, JOBS.c.is_job)
        if machine:
            query = query.where(JOBS.c.machine == plain(machine))
        if session:
            query = query.where(JOBS.c.session == plain(session))
        if only_open:
            query = query.where(JOBS.c.is_open)
        if newest is not None:
            query = query.order_by(JOBS.c.began.desc()).limit(newest)
        with self._asking() as link:
            found = sorted(link.execute(query).all(), key=lambda r: (r[1], r[0]))
        try:
            return [Kept(file, row_of(json.loads(row)), trouble) for file, _, trouble, row in found]
        except (ValueError, KeyError, TypeError):
            raise IndexTrouble(f"The index at {self.place} holds rows that are not its own", damaged=True) from None

    def table(self) -> dict[str, tuple[JobRow, Written]]:
        """The row of every job whose log was whole and ordinary and is as it was anchored last, with what was written back
        to it, by file. Whatever is not in it has to be read from its log."""
        query = (
            select(JOBS.c.file, JOBS.c.whole_row, JOBS.c.written, ANCHORS.c.n, ANCHORS.c.hash)
            .join(ANCHORS, (ANCHORS.c.plant == JOBS.c.plant) & (ANCHORS.c.session == JOBS.c.session))
            .where(JOBS.c.plant == self.plant, JOBS.c.is_job, JOBS.c.written != "")
        )
        with self._asking() as link:
            found = link.execute(query).all()
        out = {}
        try:
            for file, row, written, n, digest in found:
                made = row_of(json.loads(row))
                if (made.events, made.head) == (n, digest):  # or a longer log of that session was seen elsewhere
                    out[file] = made, written_of(json.loads(written))
        except (ValueError, KeyError, TypeError, IndexError):
            raise IndexTrouble(f"The index at {self.place} holds rows that are not its own", damaged=True) from None
        return out

    def troubles(self) -> dict[str, str]:
        """Logs that do not verify or are not as anchored, and why."""
        with self._asking() as link:
            found = link.execute(
                select(JOBS.c.file, JOBS.c.trouble).where(JOBS.c.plant == self.plant, JOBS.c.trouble != "")
            )
            return {file: why for file, why in sorted(found.all())}  # noqa: C416

    def ask(self, *queries: Any) -> list[Sequence[Any]]:
        """The rows of each query, all of one moment; for the questions of `history`."""
        with self._asking() as link:
            return [link.execute(query).all() for query in queries]


def _spelled(quick: object, plain_form: Callable[[], dict[str, Any]]) -> str:
    try:
        return orjson.dumps(quick).decode()
    except TypeError:  # a lone surrogate, which UTF-8 cannot carry
        return json.dumps(plain_form())


def _by_the_rules(link: Any, _: object) -> None:
    # The index can be made again, so a power cut may cost it its newest rows, not its shape.
    link.execute("PRAGMA synchronous=NORMAL")
    link.execute("PRAGMA trusted_schema=OFF")


def _private(path: Path) -> None:
    """An empty file that is nobody else's, where there is none; a folder for it. Raises IndexTrouble.

    A file that is there is never opened: closing any descriptor of it drops the locks that SQLite holds on it elsewhere in
    this process (POSIX advisory locks; sqlite.org, "How To Corrupt An SQLite Database File", section 2.2).
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        try:
            _made(path)
        except FileExistsError:
            mode = path.lstat().st_mode
            if not stat.S_ISREG(mode):
                raise OSError(errno.EINVAL, "it is a link, a folder or a device, not a file") from None
            if stat.S_IMODE(mode) != 0o600:
                path.chmod(0o600)
    except OSError as error:
        raise IndexTrouble(f"The index at {show(os.fspath(path))} cannot be used: {error.strerror or error}") from None


def _made(path: Path) -> None:
    """Make the file without opening it. Raises FileExistsError, also for a link that leads nowhere."""
    try:
        os.mknod(path, 0o600 | stat.S_IFREG)
    except PermissionError:  # some systems keep mknod for the superuser; a file this new has no locks yet
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600))


def _fill(link: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Add rows, all with the same columns. PostgreSQL takes them as one stream (COPY), which spares it a statement a row."""
    if not rows:
        return
    if link.dialect.name != "postgresql":
        link.execute(insert(table), list(rows))
        return
    quoted, names = link.dialect.identifier_preparer.quote, list(rows[0])
    copying = f"COPY {quoted(table.name)} ({', '.join(map(quoted, names))}) FROM STDIN"
    # In the transaction of `link`: it is the same connection, one floor down.
    driver: Any = link.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(copying) as stream:
        for row in rows:
            stream.write_row([row[name] for name in names])


def _driver_error(engine: Engine) -> type[Exception]:
    """What the driver raises where it is spoken to itself."""
    return engine.dialect.dbapi.Error if engine.dialect.dbapi is not None else SQLAlchemyError


def _forget(link: Connection, table: Any, plant: str, files: Sequence[str]) -> None:
    for part in _parts(files):
        link.execute(delete(table).where(table.c.plant == plant, table.c.file.in_(part)))


def _parts(whole: Sequence[Any]) -> Iterator[Sequence[Any]]:
    for begin in range(0, len(whole), _BATCH):
        yield whole[begin : begin + _BATCH]
