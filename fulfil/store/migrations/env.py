"""Run by Alembic for every command: works on the connection it is handed, in its transaction."""

from alembic import context

from fulfil.store.migrate import VERSION_TABLE
from fulfil.store.tables import everything

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=everything(),
    version_table=VERSION_TABLE,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
