"""Opening, upgrading, losing and sharing a store."""

import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from command_line import call
from sqlalchemy import inspect, select, text

from gait.caseload import migrating
from gait.caseload import store as stores
from gait.caseload.errors import CaseloadError, StoreError
from gait.caseload.store import HEAD, Store, open_store
from gait.caseload.tables import Base, Dog, Note

#: s, the clock of the store against that of this process, on one machine
CLOCK_S = 0.5


def test_a_new_store_has_the_tables_of_the_program(store: Store) -> None:
    with store.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []
        assert set(inspect(connection).get_table_names()) == {*Base.metadata.tables, "alembic_version"}


def test_the_newest_migration_is_the_one_that_the_program_asks_for() -> None:
    assert ScriptDirectory.from_config(migrating.settings()).get_current_head() == HEAD


def test_opening_again_changes_nothing_and_is_quick(store: Store, url: str | None) -> None:
    with store.writing() as session:
        session.add(Dog(name="Tansy"))
    again = open_store(store.home, url, create=False)
    with again.reading() as connection:
        assert connection.scalars(select(Dog.name)).all() == ["Tansy"]
    again.close()


def test_the_clock_of_the_store_is_that_of_the_machine(store: Store) -> None:
    assert abs(store.now_s() - time.time()) < CLOCK_S


def test_a_transaction_that_fails_leaves_nothing(store: Store) -> None:
    with pytest.raises(ZeroDivisionError), store.writing() as session:
        session.add(Dog(name="Tansy"))
        session.flush()
        _ = 1 / 0
    with store.reading() as connection:
        assert connection.scalars(select(Dog.name)).all() == []


def test_two_spellings_of_a_dog_are_one(store: Store) -> None:
    with store.writing() as session:
        session.add(Dog(name="Dog 01"))
    with pytest.raises(StoreError) as caught, store.writing() as session:
        session.add(Dog(name="dog01"))
    assert caught.value.conflict and not caught.value.passing


def test_a_written_store_is_on_the_disk(file_store: Store) -> None:
    with file_store.reading() as connection:
        told = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in
                ("journal_mode", "synchronous", "foreign_keys", "secure_delete")}  # fmt: skip
    assert told == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "secure_delete": 1}


def test_a_store_of_a_newer_pawfall_is_left_alone(store: Store, url: str | None) -> None:
    with store.writing() as session:
        session.execute(text("update alembic_version set version_num = '9999'"))
    with pytest.raises(StoreError, match="newer pawfall"):
        open_store(store.home, url)


def test_a_file_that_is_no_store(tmp_path: Path) -> None:
    (tmp_path / stores.FILE).write_bytes(b"no database at all, only words" * 100)
    with pytest.raises(StoreError, match="damaged or no store") as caught:
        open_store(tmp_path)
    assert not caught.value.passing


def test_a_locked_store_says_so_and_may_be_tried_again(file_store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stores, "BUSY_S", 0.1)
    hasty = open_store(file_store.home)
    other = sqlite3.connect(file_store.home / stores.FILE, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="held by another program") as caught, hasty.writing():
        pass
    assert caught.value.passing
    with hasty.reading() as connection:  # reading goes on meanwhile
        assert connection.scalars(select(Dog.name)).all() == []
    other.close()
    hasty.close()


def test_a_full_disk_says_so_and_loses_nothing_written(file_store: Store) -> None:
    with file_store.writing() as session:
        session.add(Dog(name="Tansy"))
    with file_store.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreError, match="no room left") as caught, file_store.writing() as session:
        session.add(Note(name="large", value={"words": "x" * 1_000_000}))
    assert caught.value.passing
    with file_store.reading() as connection:
        assert connection.scalars(select(Dog.name)).all() == ["Tansy"]


def test_a_lost_connection_says_so_and_the_next_try_works(tmp_path: Path, database: str) -> None:
    store = open_store(tmp_path, database)
    with pytest.raises(StoreError) as caught, store.writing() as session:
        session.add(Dog(name="Tansy"))
        session.flush()
        mine = session.scalar(text("select pg_backend_pid()"))
        with store.engine.connect() as other:
            other.execute(text("select pg_terminate_backend(:pid)"), {"pid": mine})
        session.add(Dog(name="Brock"))
        session.flush()
    assert caught.value.passing
    with store.reading() as connection:
        assert connection.scalars(select(Dog.name)).all() == []
    store.close()


def test_no_server_at_the_address(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be reached") as caught:
        open_store(tmp_path, f"postgresql://anna:secret@/none?host={tmp_path}")
    assert caught.value.passing
    assert "secret" not in str(caught.value)


@pytest.mark.parametrize(
    ("url", "words"),
    [("mysql://here/cases", "mysql cannot hold"), ("no address", "no address of a database")],
    ids=["another kind", "nonsense"],
)
def test_addresses_that_are_none(tmp_path: Path, url: str, words: str) -> None:
    with pytest.raises(CaseloadError, match=words):
        open_store(tmp_path, url)


def test_a_command_on_a_folder_without_a_caseload_begins_none(tmp_path: Path) -> None:
    result = call("caseload", "pause", "--home", tmp_path / "typo")
    assert (result.exit_code, "holds no caseload" in result.stderr) == (2, True)
    assert not (tmp_path / "typo").exists()


OPEN = "import sys; from pathlib import Path; from gait.caseload.store import open_store; " \
       "open_store(Path(sys.argv[1]), sys.argv[2] or None)"  # fmt: skip


def test_many_processes_may_open_a_new_store_at_once(tmp_path: Path, url: str | None) -> None:
    words = [sys.executable, "-c", OPEN, str(tmp_path / "caseload"), url or ""]
    processes = [subprocess.Popen(words, stderr=subprocess.PIPE) for _ in range(4)]
    assert [(process.communicate()[1], process.returncode) for process in processes] == [(b"", 0)] * 4
