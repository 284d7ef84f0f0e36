"""The store of a caseload: one SQLite file, or a PostgreSQL database that several workstations share."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, create_engine, event, select, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.orm import Session

from gait.caseload.clock import now_s
from gait.caseload.errors import CaseloadError, StoreError

FILE: Final = "store.sqlite"
#: The newest migration. A store that is older is brought up to it when it is opened.
HEAD: Final = "0002"
#: s for which a writer waits for another one; derived: a transaction takes milliseconds, so that this is a stuck one.
BUSY_S: Final = 30.0
#: Any number, the same in every process that may bring one database up to date.
UPGRADE_LOCK: Final = 7_042_019
#: Classes of PostgreSQL's errors: connection, serialisation and deadlock, resources, operator intervention.
PASSING_STATES: Final = ("08", "40", "53", "57")


@dataclass(frozen=True, slots=True)
class Store:
    """An open store. home: the folder of the caseload, where the files of its records lie."""

    home: Path
    engine: Engine = field(repr=False)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one moment of the store and holds up nobody."""
        with told(self), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A transaction that is written whole when the block ends, or not at all when it raises."""
        engine = self.engine.execution_options(pawfall_begin="BEGIN IMMEDIATE")
        with told(self), Session(engine) as session, session.begin():
            session.connection()  # begins here and now, and so takes its turn among writers
            yield session

    def now_s(self) -> float:
        """s since 1970 (UTC) on the clock of the store."""
        with self.reading() as connection:
            return float(connection.execute(select(now_s())).scalar_one())

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    @property
    def words(self) -> str:
        """What to call it, without a password."""
        return str(self.engine.url.database) if self.is_file else self.engine.url.render_as_string(hide_password=True)

    @property
    def is_file(self) -> bool:
        """Whether it is a SQLite file."""
        return self.engine.dialect.name == "sqlite"


def open_store(home: Path, url: str | None = None, *, create: bool = True) -> Store:
    """The store of the caseload in the folder ``home``, or at ``url``; an older one is brought up to date.

    create  whether a caseload may begin here; otherwise CaseloadError when there is none

    Raises StoreError when it cannot be opened.
    """
    home = home.resolve()
    if not create and url is None and not (home / FILE).is_file():
        raise CaseloadError(f"{home} holds no caseload. Begin one with: pawfall caseload add FOLDER --home {home}")
    home.mkdir(parents=True, exist_ok=True)
    store = Store(home, _engine(_url(home, url)))
    try:
        with told(store):
            _bring_up_to_date(store)
    except BaseException:
        store.close()
        raise
    return store


def _url(home: Path, url: str | None) -> URL:
    if url is None:
        return URL.create("sqlite", database=str(home / FILE))
    try:
        asked = make_url(url)
    except ArgumentError as error:
        raise CaseloadError(
            f"{url!r} is no address of a database. Give one as postgresql://user@host/name, or leave it out."
        ) from error
    if asked.get_backend_name() != "postgresql":
        raise CaseloadError(f"{asked.get_backend_name()} cannot hold a caseload; give a postgresql:// address.")
    return asked.set(drivername="postgresql+psycopg")


def _engine(url: URL) -> Engine:
    if url.get_backend_name() == "sqlite":
        engine = create_engine(url, connect_args={"timeout": BUSY_S})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    try:
        return create_engine(url, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise CaseloadError(
            "A PostgreSQL database needs psycopg, which is not installed: pip install 'pawfall[postgres]'"
        ) from error


def _prepare_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    """Each transaction is on the disk when it is said to be written, and what is deleted is overwritten."""
    connection.isolation_level = None  # transactions begin where _begin_sqlite says, not where sqlite3 guesses
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    """A writer takes its lock at once: one that reads first and writes later could be turned away half way."""
    connection.exec_driver_sql(connection.get_execution_options().get("pawfall_begin", "BEGIN"))


def _bring_up_to_date(store: Store) -> None:
    if _revision(store) == HEAD:
        return
    from gait.caseload.migrating import upgrade

    engine = store.engine.execution_options(pawfall_begin="BEGIN IMMEDIATE")
    with engine.begin() as connection:
        if not store.is_file:
            connection.execute(text("select pg_advisory_xact_lock(:key)"), {"key": UPGRADE_LOCK})
        upgrade(connection)


def _revision(store: Store) -> str:
    """The migration that the store has come to, "" = a new one. Raises StoreError when a newer pawfall made it."""
    with store.engine.connect() as connection:
        if not store.engine.dialect.has_table(connection, "alembic_version"):
            return ""
        found = connection.execute(text("select version_num from alembic_version")).scalar()
    if found and str(found) > HEAD:
        raise StoreError(f"{store.words} was made by a newer pawfall (store {found}, this one knows {HEAD}); update.")
    return str(found or "")


@contextmanager
def told(store: Store) -> Iterator[None]:
    """Turns what the database raises into StoreError: one line that says what to do."""
    try:
        yield
    except DBAPIError as error:
        words, conflict = f"The store {store.words} {_what(error)}", isinstance(error, IntegrityError)
        raise StoreError(words, passing=_passing(error), conflict=conflict) from error
    except SQLAlchemyError as error:
        raise StoreError(f"The store {store.words} cannot be used: {' '.join(str(error).split())}") from error


def _what(error: DBAPIError) -> str:
    said = " ".join(str(error.orig).split())
    if "locked" in said:
        return "is held by another program; try again when that has ended."
    if "disk is full" in said or "disk I/O" in said or "No space left" in said:
        return "has no room left on its disk; make room and go on with: pawfall caseload run"
    if "not a database" in said or "malformed" in said:
        return f"is damaged or no store of a caseload ({said}). Put a copy of it in its place."
    return f"cannot be reached or used: {said}"


def _passing(error: DBAPIError) -> bool:
    """Whether the same step may work later: a lost connection, a lock, a full disk."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    if isinstance(code, int):
        return code & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
    state = getattr(error.orig, "sqlstate", None)
    return state is None or str(state)[:2] in PASSING_STATES
