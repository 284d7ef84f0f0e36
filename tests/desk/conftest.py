"""Desks to test on."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_maker import make_desk

from gait.caseload.store import Store, open_store
from gait.desk.room import Desk


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A new store in a SQLite file."""
    made = open_store(tmp_path / "home")
    yield made
    made.close()


@pytest.fixture
def desk(store: Store) -> Desk:
    """A desk over it whose reading has not begun."""
    return make_desk(store)
