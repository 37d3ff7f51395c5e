"""The tables of the index. There are no migrations: another layout has tables of another name and is filled from the logs.

Times are seconds since 1970 in UTC where they are compared, and the text of the log where they are shown. Every text column
goes through `plain` first, for no database takes every text that a log can hold.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import BigInteger, Boolean, Column, Double, Index, Integer, MetaData, Table, Text

LAYOUT: Final = 4
"""Goes up with every change of a column, or of what is put into one."""

TABLES: Final = MetaData()

JOBS: Final = Table(
    f"jobs_{LAYOUT}", TABLES,
    Column("plant", Text, primary_key=True),
    Column("file", Text, primary_key=True),  # below the plant folder
    Column("size", BigInteger, nullable=False),
    Column("mtime_ns", BigInteger, nullable=False),
    Column("ctime_ns", BigInteger, nullable=False),
    Column("session", Text, nullable=False),
    Column("machine", Text, nullable=False),
    Column("is_job", Boolean, nullable=False),
    Column("is_open", Boolean, nullable=False),
    Column("began", Double, nullable=False),
    Column("month", Text, nullable=False),  # 2026-11, by the log's own offset
    Column("complaint", Text, nullable=False),
    Column("how", Text, nullable=False),
    Column("minutes", Integer),  # down
    Column("told", Boolean, nullable=False),  # people said since when
    Column("departures", Integer, nullable=False),
    Column("trouble", Text, nullable=False),  # what is wrong with its log
    Column("whole_row", Text, nullable=False),  # JSON
    Column("written", Text, nullable=False),  # JSON of what was written back; empty: see the log itself
    Index(f"jobs_{LAYOUT}_of_machine", "plant", "machine", "began"),
    Index(f"jobs_{LAYOUT}_began", "plant", "began"),
    Index(f"jobs_{LAYOUT}_open", "plant", "is_open"),
    Index(f"jobs_{LAYOUT}_session", "plant", "session"),
)  # fmt: skip

REPAIRS: Final = Table(
    f"repairs_{LAYOUT}", TABLES,
    Column("plant", Text, primary_key=True),
    Column("file", Text, primary_key=True),
    Column("n", Integer, primary_key=True),
    Column("machine", Text, nullable=False),
    Column("at", Double, nullable=False),
    Column("repair", Text, nullable=False),  # its group
    Column("words", Text, nullable=False),
    Column("sure", Text, nullable=False),
    Column("mended", Boolean, nullable=False),  # the job it is of ended so
    Index(f"repairs_{LAYOUT}_of_machine", "plant", "machine", "repair", "at"),
)  # fmt: skip

ANCHORS: Final = Table(
    "anchors", TABLES,  # of no layout: what was anchored once is not to be had from a log again
    Column("plant", Text, primary_key=True),
    Column("session", Text, primary_key=True),
    Column("file", Text, nullable=False),
    Column("n", Integer, nullable=False),
    Column("hash", Text, nullable=False),
    Index("anchors_of_file", "plant", "file"),  # an index made before there was this one answers without it, slower
)  # fmt: skip


def plain(text: str) -> str:
    """Text that every database takes: lone surrogates and NULs spelled out."""
    return text.encode("utf-8", "backslashreplace").decode().replace("\0", "\\x00")
