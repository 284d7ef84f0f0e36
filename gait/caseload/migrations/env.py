"""How Alembic reaches the database: over the connection that it is handed, in the transaction that is open there."""

from alembic import context

from gait.caseload.tables import Base

context.configure(
    connection=context.config.attributes["connection"], target_metadata=Base.metadata, render_as_batch=True
)
context.run_migrations()
