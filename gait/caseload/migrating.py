"""Brings a store up to the tables that this version of pawfall knows."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection


def upgrade(connection: Connection, revision: str = "head") -> None:
    """Run every migration up to ``revision`` that the database behind ``connection`` has not seen."""
    config = settings()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def settings() -> Config:
    """Where the migrations lie, for Alembic."""
    config = Config()
    config.set_main_option("script_location", (Path(__file__).parent / "migrations").as_posix().replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config
