"""The two databases. PostgreSQL is a server that `.ci/postgres` started; where there is none its tests are left out, and
on the build machine they fail."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from troubleshoot.store.index import Index, address
from troubleshoot.store.tables import ANCHORS, JOBS, REPAIRS

SERVER = "TROUBLESHOOT_TEST_POSTGRES"


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Path or URL of an index that nobody else has."""
    return str(tmp_path / "index" / "i.sqlite") if request.param == "sqlite" else request.getfixturevalue("postgresql")


@pytest.fixture
def postgresql(tmp_path: Path) -> Iterator[str]:
    """URL of a PostgreSQL database, with the rows of this test's plant taken out afterwards."""
    url = os.environ.get(SERVER, "")
    if not url and os.environ.get("CI"):
        pytest.fail(f"{SERVER} is not set, and this machine is the one that must have a PostgreSQL server")
    if not url:
        pytest.skip(f"{SERVER} is not set: .ci/postgres start FOLDER prints what it has to be")
    yield url
    from sqlalchemy import create_engine, delete

    engine = create_engine(address(url))
    with engine.begin() as link:
        for table in (JOBS, REPAIRS, ANCHORS):
            link.execute(delete(table).where(table.c.plant.startswith(str(tmp_path), autoescape=True)))
    engine.dispose()


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    folder = tmp_path / "plant"
    folder.mkdir()
    return folder


@pytest.fixture
def index(where: str, plant: Path) -> Iterator[Index]:
    made = Index(where, plant)
    yield made
    made.close()
