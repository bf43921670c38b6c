"""Run the migrations on the connection handed in; Alembic asks for this file by name."""

from alembic import context

from blinkspan.library.tables import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    render_as_batch=True,  # SQLite cannot alter a column in place
)
context.run_migrations()
