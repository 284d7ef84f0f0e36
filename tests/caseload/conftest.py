"""Stores to test on: a SQLite file, and a database of a real PostgreSQL server."""

import itertools
import os
from collections.abc import Iterator
from pathlib import Path

import postgres_server
import psycopg
import pytest

from gait.caseload.store import Store, open_store

NUMBERS = itertools.count(1)


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """Address of a running server with {} for the name of the database."""
    at = postgres_server.programs()
    if at is None and os.environ.get("CI") != "true":
        pytest.skip("no PostgreSQL server on this machine (apt-get install postgresql); .ci/run installs it")
    assert at is not None, "PostgreSQL is missing; .ci/run has to install it"
    with postgres_server.running(at) as address:
        yield address


@pytest.fixture
def database(postgres: str) -> str:
    """Address of a new, empty database."""
    name = f"caseload{next(NUMBERS)}"
    with psycopg.connect(postgres.format("postgres"), autocommit=True) as connection:
        connection.execute(f"create database {name}")  # type: ignore[arg-type]
    return postgres.format(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str | None:
    """Where a store lies: None = in a file of its caseload."""
    return None if request.param == "sqlite" else str(request.getfixturevalue("database"))


@pytest.fixture
def store(tmp_path: Path, url: str | None) -> Iterator[Store]:
    """A new store."""
    opened = open_store(tmp_path / "caseload", url)
    yield opened
    opened.close()


@pytest.fixture
def file_store(tmp_path: Path) -> Iterator[Store]:
    """A new store in a SQLite file."""
    opened = open_store(tmp_path / "caseload")
    yield opened
    opened.close()


@pytest.fixture(autouse=True)
def standins_can_be_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder of the tests on the path of every process that is started."""
    here = Path(__file__).parent
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(here), str(here.parents[1])]))
