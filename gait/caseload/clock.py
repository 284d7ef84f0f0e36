"""The clock of the store: workstations that share one must not disagree about how long ago something was."""

from typing import Any

from sqlalchemy import Float
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import GenericFunction


class now_s(GenericFunction[float]):
    """s since 1970 (UTC), as the database tells it."""

    type = Float()
    inherit_cache = True


@compiles(now_s, "sqlite")
def _on_sqlite(element: now_s, compiler: Any, **more: Any) -> str:
    return "((julianday('now') - 2440587.5) * 86400.0)"


@compiles(now_s, "postgresql")
def _on_postgresql(element: now_s, compiler: Any, **more: Any) -> str:
    return "extract(epoch from clock_timestamp())::double precision"
